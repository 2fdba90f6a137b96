"""Speed and memory as ratios, measured in one run on the same files; docs/speed.md tells what came of it.

Not part of the test run:

    python -m pytest tests/bench/test_speed.py              # a quarter of an hour, 500 MB of programs
    python -m pytest tests/bench/test_speed.py -k "not ten" # without the relief of ten million blocks

Every pair is measured in turns, at least five times each, and the medians are compared: of the time on the processor
(user and system), which other work on the machine changes less than the time on the clock. The yardstick is a bare loop
that finds the words of each line with one regular expression and converts their numbers to float.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.bench import make

ROOT = Path(__file__).parent.parent.parent
LOOP = """
import re, sys
WORD = re.compile(rb"([A-Za-z])[ \\t]*([+-]?[\\d.]+)")
with open(sys.argv[1], "rb") as file:
    for line in file:
        for letter, number in WORD.findall(line):
            float(number)
"""
PYGCODE = """
import sys
from pygcode import Line, Machine
machine = Machine()
with open(sys.argv[1]) as file:
    for number, line in enumerate(file):
        if number > int(sys.argv[2]):
            break
        if not line.startswith(("%", "(")):
            machine.process_block(Line(line.strip()).block)
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Programs and benches, made when they are first asked for."""
    folder = tmp_path_factory.mktemp("speed")
    for count in (12, 1000):
        (folder / f"bench-{count}.toml").write_text(make.bench(count))
    (folder / "bench-bar.toml").write_text(make.bench(12, bar=True))
    make.write(folder, "five.nc", iter(["G21 G90", "G0 Z5.", "G0 X10. Y10.", "G1 Z-1. F300", "G0 Z5."]))
    return folder


def relief(folder: Path, millions: int) -> Path:
    return make.write(folder, f"relief-{millions}m.nc", make.program(make.relief(), millions * 1_000_000))


def call(*arguments: str | Path) -> tuple[float, float]:
    """Runs a Python process to its end: seconds on the processor, and its peak memory in MB."""
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    process = subprocess.Popen([sys.executable, *map(str, arguments)], cwd=ROOT, stderr=subprocess.DEVNULL,
                               env=environment)
    _, status, usage = os.wait4(process.pid, 0)
    assert os.waitstatus_to_exitcode(status) == 0
    return usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024


def filtered(program: Path, bench: str) -> tuple[float, float]:
    """The whole command, proof included, into a file."""
    setup, out = program.parent / bench, program.parent / "out.nc"
    return call("-m", "gcode_guard", "filter", program, "--setup", setup, "-o", out)


def looped(program: Path) -> tuple[float, float]:
    return call("-c", LOOP, program)


def medians(benchmark, rounds: int, *runs: Callable[[], tuple[float, float]]) -> list[float]:
    """The median seconds of each run, all taken in turns; the first one is what the benchmark plugin times."""
    times: list[list[float]] = [[] for _ in runs]

    def first() -> None:
        times[0].append(runs[0]()[0])
        for number, run in enumerate(runs[1:], 1):
            times[number].append(run()[0])

    first()
    times = [[] for _ in runs]
    benchmark.pedantic(first, rounds=rounds, iterations=1)
    found = [statistics.median(column) for column in times]
    benchmark.extra_info["seconds"] = [round(seconds, 3) for seconds in found]
    benchmark.extra_info["ratio"] = round(found[0] / found[-1], 2)
    return found


def per_block(seconds: float, blocks: int) -> float:
    return seconds / blocks


def test_relief_against_the_bare_loop(benchmark, folder: Path) -> None:
    program = relief(folder, 1)
    guard, loop = medians(benchmark, 7, lambda: filtered(program, "bench-12.toml"), lambda: looped(program))
    assert guard <= 0.6 * loop


def test_a_thousand_obstacles_against_twelve(benchmark, folder: Path) -> None:
    program = relief(folder, 1)
    many, few = medians(benchmark, 7, lambda: filtered(program, "bench-1000.toml"),
                        lambda: filtered(program, "bench-12.toml"))
    assert many <= 1.5 * few


@pytest.mark.parametrize(("name", "blocks", "bench", "most"), [
    ("comments", 1_000_000, "bench-12.toml", 2.0),
    ("arcs", 300_000, "bench-12.toml", 3.0),
    ("drilling", 100_000, "bench-12.toml", 6.0),
    ("clipping", 1_000_000, "bench-bar.toml", 10.0),
    ("clipping-often", 1_000_000, "bench-bar.toml", 10.0),
])
def test_other_programs_against_the_relief_a_block(
        benchmark, folder: Path, name: str, blocks: int, bench: str, most: float) -> None:
    made = {"comments": make.commented, "arcs": make.arcs, "clipping": lambda: make.clipping(100),
            "clipping-often": lambda: make.clipping(10)}
    lines = make.drilling(blocks) if name == "drilling" else make.program(made[name](), blocks)
    program, plain = make.write(folder, f"{name}.nc", lines), relief(folder, 1)
    other, own = medians(benchmark, 5, lambda: filtered(program, bench), lambda: filtered(plain, "bench-12.toml"))
    ratio = per_block(other, blocks) / per_block(own, 1_000_000)
    benchmark.extra_info["ratio a block"] = round(ratio, 2)
    assert ratio <= most


def test_ten_million_blocks_take_no_more_memory(benchmark, folder: Path) -> None:
    small, large = relief(folder, 1), relief(folder, 10)
    usual = max(filtered(small, "bench-12.toml")[1] for _ in range(3))
    most = benchmark.pedantic(lambda: filtered(large, "bench-12.toml")[1], rounds=1, iterations=1)
    benchmark.extra_info["MB"] = [round(usual), round(most)]
    assert most <= 1.1 * usual and most < 120


def test_a_block_against_pygcode(benchmark, folder: Path) -> None:
    program, blocks = relief(folder, 1), 20_000
    guard, other = medians(benchmark, 5, lambda: filtered(program, "bench-12.toml"),
                           lambda: call("-c", PYGCODE, program, str(blocks)))
    ratio = per_block(other, blocks) / per_block(guard, 1_000_000)
    benchmark.extra_info["times faster"] = round(ratio)
    assert ratio >= 60


def test_a_small_program_against_importing_the_libraries(benchmark, folder: Path) -> None:
    program = folder / "five.nc"
    guard, imports = medians(benchmark, 11, lambda: filtered(program, "bench-12.toml"),
                             lambda: call("-c", "import numpy, rtree, typer"))
    assert guard <= 1.5 * imports
