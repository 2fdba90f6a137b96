"""What must hold of any bytes as a program and of any bytes as a setup: what the fuzzer hunts for and the corpus keeps.

No traceback, no more than a budget of time for each byte, no growth of memory, and no exit 0 that the proof does not
confirm; the fast reader and the exact one say the same; guarded again the output stays as it is.
"""

from __future__ import annotations

import io
import resource
import time
from functools import cache
from pathlib import Path

from gcode_guard.guard import guard
from gcode_guard.rules import check_start
from gcode_guard.setup import Setup, SetupError, load_setup_data
from gcode_guard.setup.describe import describe
from gcode_guard.source import Source
from gcode_guard.verify import verify

SECONDS, SECONDS_A_BYTE = 2.0, 0.002  # of the processor, for one program with all that is asked of it
MEMORY = 300 << 20  # bytes that one program may add to the most that was ever in use

BENCHES = {
    "known": "start = [0.0, 0.0, 40.0]",
    "high": 'start = "high"\nafter_tool_change = "high"\nrapid_path = "straight"',
    "nowhere": 'home_axes = "all"\nafter_tool_change = "same"',
    "low": 'start = [0.0, 0.0, 15.0]\nreach = { x = [-50.0, 90.0], y = [-50.0, 90.0], z = [-30.0, 18.0] }',
    "timed": "start = [0.0, 0.0, 40.0]\nrapid_rate = [5000.0, 5000.0, 2000.0]\nacceleration = [400.0, 400.0, 200.0]",
}
"""Benches that differ in what is known of the machine."""
BENCH = """format = 1
units = "{units}"
measured_on = 2026-11-20
[program]
starts_in = ["G21", "G90", "G17", "F100"]
block_delete = "{block_delete}"
harmless = ["M101"]
[clearance]
above = 1.0
beside = 0.5
tolerance = 0.2
[stock]
corner = [0.0, 0.0]
size = [40.0, 40.0]
top = 0.0
thickness = 5.0
[repair]
air_feeds = {air_feeds}
detour = "{detour}"
[machine]
home = [-10.0, -10.0, 75.0]
home2 = [-10.0, 40.0, 75.0]
zero = [-100.0, -80.0, 150.0]
reference_tool = 1
{machine}
[offsets]
G54 = [100.0, 80.0, -150.0]
G55 = [130.0, 80.0, -150.0]
"G59.1" = [100.0, 92.7, -148.0]
[spindle]
sections = [{{ diameter = 8.0, height = 20.0 }}]
[[tools]]
number = 1
diameter = 2.0
length = 30.0
[[tools]]
number = 2
sections = [{{ diameter = 3.0, height = 4.0 }}, {{ diameter = 2.0, height = 9.0 }}]
length = 42.5
[[obstacles]]
name = "pin"
shape = "cylinder"
center = [6.0, 5.0]
diameter = 2.0
top = 4.0
[[obstacles]]
name = "toe"
shape = "box"
center = [14.0, 3.0]
size = [3.0, 2.0]
angle = 30.0
height = 12.0
[[obstacles]]
name = "rail"
shape = "bar"
from = [0.0, 25.0]
to = [30.0, 26.0]
width = 2.0
top = 9.0
sacrificial = true
[[obstacles]]
name = "jig"
shape = "outline"
points = [[25.0, 2.0], [31.0, 2.0], [31.0, 9.0], [28.0, 4.0], [25.0, 9.0]]
top = 2.0
"""
PROGRAM = b"""S900 M3
G0 X0 Y0
G0 Z5
G1 Z-1 F100
G0 Z3
G0 X40 Y40
G81 X41 Y40 Z-1 R3
X-5
G80
G2 X-3 I1 J0
G0 Z30
M30
"""


class Broken(AssertionError):
    """Something that must hold of any bytes does not."""


@cache
def bench(number: int) -> tuple[Setup, int | None]:
    """One of the benches, and the tool that is in the spindle."""
    return load_setup_data(bench_text(number).encode(), "bench.toml"), (None, 1, 2)[number // len(BENCHES) // 8 % 3]


def bench_text(number: int) -> str:
    """The setup file of one of the benches."""
    names = list(BENCHES)
    first = number % len(names)
    rest = number // len(names)
    return BENCH.format(
        machine=BENCHES[names[first]], units="mm", block_delete=("run", "skip")[rest % 2],
        air_feeds=("false", "true")[rest // 2 % 2], detour=("when-needed", "when-faster")[rest // 4 % 2])


def hold_program(data: bytes) -> int:
    """Guards the bytes behind the first, on the bench that the first says. Returns the exit status."""
    setup, tool = bench(data[0] if data else 0)
    return hold_on(setup, tool, data[1:])


def hold_on(setup: Setup, tool: int | None, program: bytes) -> int:
    begun, used = time.process_time(), most_memory()
    status, output, diff = guarded(setup, tool, program)
    plain = guarded(setup, tool, program, lane=False)
    if plain != (status, output, diff):
        raise Broken(f"the fast reader gives {status}, the exact one {plain[0]}")
    if status == 0:
        if output != program:
            with Source.from_stream(io.BytesIO(program), "a") as a, Source.from_stream(io.BytesIO(output), "b") as b:
                proof = verify(a, b, setup, tool, lane=False)
            if not proof.holds:
                raise Broken(f"exit 0, and the proof says {proof}")
        again = guarded(setup, tool, output)
        if again != (0, output, b""):
            raise Broken(f"guarded again it gives {again[0]}")
        if bool(diff) != (output != program):
            raise Broken("the diff does not tell whether something changed")
    took = time.process_time() - begun
    if took > SECONDS + SECONDS_A_BYTE * len(program):
        raise Broken(f"{len(program)} bytes took {took:.1f} s")
    if most_memory() - used > MEMORY:
        raise Broken(f"{len(program)} bytes took {most_memory() - used >> 20} MB")
    return status


def guarded(setup: Setup, tool: int | None, program: bytes, lane: bool = True) -> tuple[int, bytes, bytes]:
    with Source.from_stream(io.BytesIO(program), "program") as source:
        outcome = guard(source, setup, tool=tool, lane=lane)
        try:
            if outcome.defect:
                raise Broken(f"its own proof fails: {outcome.defect}")
            log = io.BytesIO()
            outcome.log.write_to(log, outcome.run, outcome.summary)  # type: ignore[arg-type]
            if outcome.exit not in (0, 3, 4):
                raise Broken(f"exit {outcome.exit}")
            if outcome.exit and not outcome.reasons:
                raise Broken("refused without a reason")
            outcome.output.seek(0)
            outcome.diff.seek(0)
            found = outcome.exit, outcome.output.read(), outcome.diff.read()
            if outcome.exit and found[1:] != (b"", b""):
                raise Broken("refused, and something was written")
            return found
        finally:
            outcome.close()


def hold_setup(data: bytes, place: Path = Path("bench.toml")) -> bool:
    """Reads the bytes as a setup and, where they are one, guards a small program with it. Returns whether they are."""
    begun, used = time.process_time(), most_memory()
    try:
        setup = load_setup_data(data, place)
        check_start(setup)
    except SetupError as error:
        if not str(error).strip() or not str(error).startswith(str(place)):
            raise Broken(f"an error without a place: {error}") from error
        return False
    finally:
        took = time.process_time() - begun
        if took > SECONDS + SECONDS_A_BYTE * len(data):
            raise Broken(f"{len(data)} bytes of a setup took {took:.1f} s")
        if most_memory() - used > MEMORY:
            raise Broken(f"{len(data)} bytes of a setup took {most_memory() - used >> 20} MB")
    if not describe(setup):
        raise Broken("a setup of which nothing can be said")
    for tool in (None, next(iter(setup.tools))):
        hold_on(setup, tool, PROGRAM)
    return True


def most_memory() -> int:
    """Bytes, the most that this process ever had in use (getrusage(2): in kilobytes on Linux)."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss << 10
