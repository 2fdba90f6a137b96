"""Ctrl-C, SIGTERM, SIGHUP and SIGKILL at every line from the start of the command to the end of what it writes, and at
some moments of the real thing."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import pytest

from .calling import MENDED, PROGRAM, SETUP, Place, environment

ROOT = Path(__file__).parents[2]
STEPS = {"review": 23, "room": 23, "walk": 5, "setup": 5, "demo": 7}


def struck(place: Place, number: int, step: int) -> list[tuple[int, dict[str, str]]]:
    """The status and the files of every run, each struck `step` lines later than the one before."""
    return [(status, found) for _, status, found in struck_in_turn(place, [number], step)]


def struck_in_turn(place: Place, numbers: Sequence[int], step: int, *words: str,
                   ) -> list[tuple[int, int, dict[str, str]]]:
    """The same for a command of its own and several signals: the signal, the status and the files of every run."""
    call = [sys.executable, "-m", "tests.hostile.struck", str(place.folder),
            ",".join(str(int(number)) for number in numbers), str(step), *words]
    came = subprocess.run(call, cwd=ROOT, capture_output=True, text=True, timeout=300,
                          env=environment(TMPDIR=str(place.folder)))
    assert came.returncode == 0 and came.stderr == "", came.stderr
    return [(found["number"], found["status"], found["found"]) for found in map(json.loads, came.stdout.splitlines())]


@pytest.mark.parametrize(("number", "step"), [(signal.SIGTERM, 3), (signal.SIGINT, 7), (signal.SIGHUP, 19)])
def test_all_is_written_or_nothing_wherever_a_signal_strikes(place: Place, number: signal.Signals, step: int) -> None:
    runs = struck(place, number, step)
    assert len(runs) > 100 / step
    untouched = {"p.nc": PROGRAM.decode(), "bench.toml": SETUP}
    for at, (status, found) in enumerate(runs, 1):
        assert status in (-number, 0), at
        if "d" not in found:
            assert status == -number and found == untouched, at
            continue
        assert found["p.nc"] == MENDED.decode() and found["bench.toml"] == SETUP, at
        assert set(found) == {"p.nc", "bench.toml", "d", "l"}, at
        assert found["d"].startswith("--- ") and json.loads(found["l"].splitlines()[-1])["record"] == "summary", at
    assert runs[-1][0] == 0 and sum("d" not in found for _, found in runs) > 80 / step


ENDING = (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)
OTHERS: dict[str, tuple[int, set[str]]] = {
    "review p.nc --page new.html --log old --setup bench.toml": (1, {"new.html", "old"}),
    "room p.nc --grid new --page old --area 60,80,140,120 --step 20 --setup bench.toml": (0, {"new", "old"}),
    "room p.nc --place toe --write --grid old --area 60,80,140,120 --step 20 --setup with-parts.toml":
        (0, {"with-parts.toml", "old"}),
    "walk -o old --setup bench.toml": (0, {"old"}),
    "setup draw bench.toml --page old": (0, {"old"}),
    "setup new new.toml --defaults": (0, {"new.toml"}),
}
"""Commands that write: how they end, and which files they write."""
PARTS = """format = 1
units = "mm"
parts = [{ name = "toe", solids = [{ shape = "cylinder", center = [0, 0], diameter = 20, height = 30 }] }]
"""


def with_parts(place: Place) -> None:
    """A setup with a library of parts, and an older file in the place of an output."""
    (place.folder / "with-parts.toml").write_text(SETUP + '[parts]\nfiles = ["parts.toml"]\n')
    (place.folder / "parts.toml").write_text(PARTS)
    (place.folder / "old").write_text("from before\n")


@pytest.mark.parametrize("call", OTHERS)
def test_every_command_writes_all_or_nothing_wherever_a_signal_strikes(place: Place, call: str) -> None:
    with_parts(place)
    before = {path.name: path.read_text() for path in place.folder.iterdir()}
    ends, written = OTHERS[call]
    runs = struck_in_turn(place, ENDING, STEPS[call.split()[0]], *call.split())
    assert len(runs) > 9
    _, status, after = runs[-1]
    assert status == ends and set(after) == {*before, *written}
    assert {name for name in after if after[name] != before.get(name)} == written
    for at, (number, status, found) in enumerate(runs[:-1], 1):
        assert status == -number and found in (before, after), at
    assert any(found == before for _, _, found in runs) and after == runs[-2][2]


def test_the_demo_leaves_all_or_nothing_wherever_a_signal_strikes(place: Place) -> None:
    runs = struck_in_turn(place, ENDING, STEPS["demo"], "demo")
    left = [sorted(Path(name).name for name in found if "/" in name) for _, _, found in runs]
    assert runs[-1][1] == 0 and len(left[-1]) == 6
    for at, (number, status, _) in enumerate(runs[:-1], 1):
        assert status == -number and left[at - 1] in ([], left[-1]), at
    assert [] in left and all(len(found) == 2 + len(files) for (_, _, found), files in zip(runs, left, strict=True))


@pytest.mark.parametrize("stream", ["1>&3", "2>&3", ">&3 2>&1"])
@pytest.mark.parametrize("call", OTHERS)
def test_a_reader_that_goes_away_leaves_no_half(place: Place, call: str, stream: str) -> None:
    """At the very first word; nothing waits in a buffer, so it may come while files are being prepared."""
    with_parts(place)
    before = {path.name: path.read_text() for path in place.folder.iterdir()}
    reading, writing = os.pipe()
    os.close(reading)
    try:
        came = place.shell(f"$G {call} {stream.replace('3', str(writing))}", pass_fds=[writing],
                           environment={"PYTHONUNBUFFERED": "1"})
    finally:
        os.close(writing)
    ends, written = OTHERS[call]
    assert came.returncode in (ends, -signal.SIGPIPE, 128 + signal.SIGPIPE)
    assert b"Traceback" not in came.stderr and b"gcode-guard:" not in came.stderr
    after = {path.name: path.read_text() for path in place.folder.iterdir()}
    assert {name for name in after if after[name] != before.get(name)} in (set(), written)
    assert came.returncode or after != before


def test_nothing_is_half_written_where_it_is_killed(place: Place) -> None:
    """Nothing can be tidied up then, but no file under its own name is ever anything but whole."""
    for at, (status, found) in enumerate(struck(place, signal.SIGKILL, 11), 1):
        assert status in (-signal.SIGKILL, 0)
        assert found["p.nc"] in (PROGRAM.decode(), MENDED.decode()), at
        assert "l" not in found or json.loads(found["l"].splitlines()[-1])["record"] == "summary", at
        left = set(found) - {"p.nc", "bench.toml", "d", "l"}
        assert all(name.startswith(".gcode-guard-") and name.endswith(".part") for name in left), at


@pytest.mark.parametrize(("number", "seconds"), [
    (signal.SIGINT, 0.02), (signal.SIGINT, 0.15), (signal.SIGTERM, 0.3), (signal.SIGINT, 0.6), (signal.SIGHUP, 1.2)])
def test_the_real_thing_ends_quietly(place: Place, number: signal.Signals, seconds: float) -> None:
    """From the loading on; 200,000 blocks keep it busy for longer than that."""
    (place.folder / "p.nc").write_bytes(PROGRAM.replace(b"M30\n", b"") * 30_000 + b"M30\n")
    running = place.start("filter", "p.nc", "-o", "p.nc", "--diff", "d", "--setup", "bench.toml")
    time.sleep(seconds)
    running.send_signal(number)
    out, said = running.communicate(timeout=60)
    # In its very first instants the interpreter itself answers an interrupt, with its own words.
    assert running.returncode == -number or (seconds < 0.1 and running.returncode in (1, 130))
    assert (out, said) == (b"", b"") or seconds < 0.1
    assert place.names() == set()


def test_while_it_waits_for_its_input(place: Place) -> None:
    running = place.start("filter", "--setup", "bench.toml", "-o", "x", stdin=subprocess.PIPE)
    assert running.stdin is not None
    running.stdin.write(PROGRAM)
    running.stdin.flush()
    time.sleep(1.0)
    running.send_signal(signal.SIGTERM)
    assert running.communicate(timeout=60) == (b"", b"")
    assert running.returncode == -signal.SIGTERM and place.names() == set()


def test_a_signal_that_a_library_swallows_is_raised_anew() -> None:
    """What is raised in a finaliser, or in a function that a library calls back, is printed and lost."""
    script = """
import os, signal, sys, time
from gcode_guard.signals import Stopped, listen, quietly
class Last:
    def __del__(self):
        os.kill(os.getpid(), signal.SIGTERM)
        for _ in range(100): pass
listen()
try:
    del [Last()][:]
    time.sleep(20)
except Stopped as stopped:
    quietly(stopped.number)
"""
    came = subprocess.run([sys.executable, "-c", script], timeout=15, capture_output=True)
    assert came.returncode == -signal.SIGTERM
