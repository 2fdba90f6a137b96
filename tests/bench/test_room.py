"""The map of a relief of a million blocks against `filter` on it: time as a ratio, and the greatest memory in use.

The ratio is that of the processor's time: other work on the machine may make either wait.

    python -m pytest -s tests/bench/test_room.py
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator
from math import cos, sin
from pathlib import Path

import pytest

BLOCKS = 1_000_000
SIDE = 600.0  # mm, of the relief
MOST_TIMES = 10.0
MOST_MEMORY = 300.0  # MB
BENCH = """format = 1
units = "mm"
[program]
starts_in = ["G21", "G90", "G17"]
[stock]
corner = [0.0, 0.0]
size = [610.0, 610.0]
top = 0.0
thickness = 19.0
[machine]
start = [0.0, 0.0, 60.0]
[spindle]
sections = [{ diameter = 42.0, height = 30.0 }, { diameter = 80.0, height = 120.0 }]
SHOE
[[tools]]
number = 1
diameter = 6.0
length = 32.0
[[obstacles]]
name = "left clamp"
shape = "box"
center = [-150.0, 300.0]
size = [40.0, 30.0]
top = 20.0
"""
SHOES = {"plain": "", "shoe": "shoe = { diameter = 140.0, bottom = 20.0 }"}


def relief() -> Iterator[str]:
    """Rows of a wavy ground, each with a plunge and a retract."""
    yield from ("G21 G90 G17", "S18000 M3", "G0 Z30.000")
    rows, points = BLOCKS // 1004, 1000
    for row in range(rows):
        y = 5 + SIDE * row / rows
        yield from (f"G0 X5.000 Y{y:.3f}", "G0 Z2.000", "G1 Z-1.000 F900")
        for k in range(points):
            x = 5 + SIDE * k / points
            yield f"G1 X{x:.3f} Z{-4 + 3 * sin(x / 19) * cos(y / 23):.3f}" + (" F2400" if k == 0 else "")
        yield "G0 Z5.000"
    yield from ("G0 Z30.000", "M5", "M30")


def measured(*words: str) -> tuple[float, float, float]:
    """Seconds of the processor and of the clock, and greatest memory (MB) of a call."""
    begun = time.perf_counter()
    child = os.posix_spawn(sys.executable, [sys.executable, "-m", "gcode_guard", *words], dict(os.environ),
                           file_actions=[(os.POSIX_SPAWN_OPEN, 2, os.devnull, os.O_WRONLY, 0)])
    _, status, usage = os.wait4(child, 0)
    assert os.waitstatus_to_exitcode(status) == 0
    return usage.ru_utime + usage.ru_stime, time.perf_counter() - begun, usage.ru_maxrss / 1024


@pytest.mark.parametrize("shoe", list(SHOES))
def test_a_fine_map_of_a_long_relief(tmp_path: Path, shoe: str) -> None:
    program, bench = tmp_path / "relief.nc", tmp_path / "bench.toml"
    program.write_text("\n".join(relief()) + "\n")
    bench.write_text(BENCH.replace("SHOE", SHOES[shoe]))
    setup = ["--setup", str(bench)]
    filtered, waited, _ = measured("filter", str(program), *setup, "-o", str(tmp_path / "out.nc"))
    mapped, drawn, memory = measured("room", str(program), *setup, "--grid", str(tmp_path / "map.csv"), "--step", "1",
                                     "--area", "0,0,610,610")
    print(f"\n{shoe}: filter {filtered:.1f} s, map {mapped:.1f} s, {mapped / filtered:.2f} times, {memory:.0f} MB;"
          f" by the clock {waited:.1f} s and {drawn:.1f} s")
    assert mapped <= MOST_TIMES * filtered
    assert memory < MOST_MEMORY
