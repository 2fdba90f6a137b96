"""Rapids in the material: a sideways rapid over the stock with the tip below its top is reported and never refused.

The generated programs are held against shapely and a plain reader of the language: the part of a way that lies below
the top, seen from above, either crosses the stock or does not.
"""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
import shapely

from tests.guarding import run, write_bench
from tests.referee.plain_options import options_of
from tests.referee.plain_reader import read
from tests.referee.plain_state import Move

BENCH = """
format = 1
units = "{units}"
[program]
starts_in = ["G21", "G90", "G17", "F600"]
[stock]
corner = [{x}, {y}]
size = [{width}, {depth}]
top = {top}
[machine]
start = [0.0, 0.0, {start}]
rapid_path = "{path}"
{machine}
[[tools]]
number = 1
diameter = 6.0
"""
PLAIN = {"units": "mm", "x": 10.0, "y": 10.0, "width": 100.0, "depth": 50.0, "top": 2.0, "start": 20.0, "machine": ""}

TABLE = {  # program, findings under straight, findings under unknown paths: (line, mm below the top)
    "through a slot": ("G0 X20 Y20\nG1 Z-1\nG0 X60\nG0 Z20\n", [(3, 3.0)], [(3, 3.0)]),
    "exactly at the top": ("G0 X20 Y20\nG1 Z2\nG0 X60\nG0 Z20\n", [], []),
    "a hair below it": ("G0 X20 Y20\nG1 Z1.999\nG0 X60\nG0 Z20\n", [(3, 0.001)], [(3, 0.001)]),
    "beside the stock": ("G0 X0 Y0\nG1 Z-1\nG0 X120\nG0 Y80\nG0 Z20\n", [], []),
    "partly over it": ("G0 X0 Y20\nG1 Z-1\nG0 X11\nG0 Z20\n", [(3, 3.0)], [(3, 3.0)]),
    "past a corner, which only a bent path cuts": (
        "G0 X5 Y14\nG1 Z-1\nG0 X15 Y5\nG0 Z20\n", [], [(3, 3.0)]),
    "down on a slope, below the top once it is past the stock": (
        "G0 X100 Y20\nG0 X120 Z0\nG0 Z20\n", [], [(2, 2.0)]),
    "down on a slope, below the top over the stock": (
        "G0 X20 Y20\nG0 X100 Z-16\nG0 Z20\n", [(2, 18.0)], [(2, 18.0)]),
    "upright": ("G0 X20 Y20\nG0 Z-1\nG0 Z20\n", [], []),
    "a cut and an arc are no rapids": ("G0 X20 Y20\nG1 Z-1\nG1 X60\nG2 X80 I10 J0\nG0 Z20\n", [], []),
    "between holes whose R is below the top": (
        "G0 X20 Y20\nG0 Z5\nG99 G81 Z-3 R1\nX40\nX60\nG80\nG0 Z20\n", [(4, 1.0), (5, 1.0)], [(4, 1.0), (5, 1.0)]),
    "between holes under G98 above it": ("G0 X20 Y20\nG0 Z5\nG98 G81 Z-3 R1\nX40\nX60\nG80\nG0 Z20\n", [], []),
    "all holes of one block are one": ("G0 X20 Y20\nG0 Z5\nG91 G99 G81 X10 Z-4 R-4 L3\nG80\nG90 G0 Z20\n",
                               [(3, 1.0)], [(3, 1.0)]),
    "by way of a point, homewards": ("G0 X20 Y20\nG1 Z-1\nG91 G28 X0\nG90 G0 Z20\n", [(3, 3.0)], [(3, 3.0)]),
    "out of a height that a probe left open, from which the tool is led up first": (
        "G0 X20 Y20\nG0 Z5\nG38.2 Z-3 F50\nG0 X60\nG0 Z20\n", [], []),
    "out of a height of which nothing is known": ("G28 Z5\nG0 X20 Y20\nG0 X60 Z20\n", [], []),
}


@pytest.mark.parametrize("path", ["straight", "unknown"])
@pytest.mark.parametrize("name", TABLE)
def test_by_hand(tmp_path: Path, name: str, path: str) -> None:
    program, straight, unknown = TABLE[name]
    came = run(program + "M30\n", write_bench(tmp_path, BENCH.format(**PLAIN, path=path)))
    found = [(record["line"], record["by_mm"]) for record in came.records("finding") if record["kind"] == "in-stock"]
    assert found == (straight if path == "straight" else unknown)
    assert came.exit == 0, came.findings


def test_without_stock_nothing_is_said(tmp_path: Path) -> None:
    bench = BENCH.format(**PLAIN, path="straight")
    without = bench[: bench.index("[stock]")] + bench[bench.index("[machine]") :]
    assert run(TABLE["through a slot"][0] + "M30\n", write_bench(tmp_path, without)).findings == []


@pytest.mark.parametrize("path", ["straight", "unknown"])
@pytest.mark.parametrize("units", ["mm", "inch"])
def test_generated_programs_against_shapely(tmp_path: Path, units: str, path: str) -> None:
    dice = np.random.default_rng([20261128, len(units), len(path)])
    met = missed = 0
    for _ in range(30):
        scale = 25.4 if units == "inch" else 1.0
        x, y, top = (round(float(value), 2) for value in dice.uniform((-30, -20, -5), (30, 20, 5)))
        bench = BENCH.format(units=units, path=path, machine="", start=round(40.0 / scale, 4),
                             x=round(x / scale, 4), y=round(y / scale, 4), top=round(top / scale, 4),
                             width=round(60.0 / scale, 4), depth=round(40.0 / scale, 4))
        program = written(dice, top)
        came = run(program, write_bench(tmp_path, bench))
        assert came.exit == 0, f"{came.findings}\n{program}"
        table = tomllib.loads(bench)
        expected = []
        for move in read(program.encode(), options_of(table)).moves:
            where = over(move, table["stock"], scale, path == "straight")
            if where is None:
                break  # too near a boundary for two ways of reckoning
            expected += [move.line] if where and move.line not in expected else []
        else:
            told = sorted(record["line"] for record in came.records("finding") if record["kind"] == "in-stock")
            assert told == sorted(expected), f"{bench}\n{program}"
            met += len(expected)
            missed += program.count("G0") - len(expected)
    assert met > 60 and missed > 60


def written(dice: np.random.Generator, top: float) -> str:
    """Cuts, arcs, holes and rapids about the top of the stock."""
    blocks = ["G0 X0 Y0"]
    for _ in range(14):
        x, y, z = (round(float(value), 2) for value in dice.uniform((-60, -60, top - 4), (120, 90, top + 4)))
        across = f"G0 X{x} Y{y}"
        blocks += [[f"G0 Z{z}", across], [f"{across} Z{z}", f"G0 X{y} Y{x}"], [f"{across} Z{z}"],
                   [f"G1 X{x} Y{y} Z{z}"],
                   ["G91 G2 X10 Y0 I5 J0", "G90"], [f"G0 Z{top + 6:.2f}", f"G9{dice.integers(8, 10)} G81 X{x} Y{y}"
                                                    f" Z{top - 8:.2f} R{z}", f"X{y} Y{x}", "G80"]][dice.integers(6)]
    return "\n".join([*blocks, "G0 Z40", "M30", ""])


def over(move: Move, stock: dict[str, list[float]], scale: float, straight: bool) -> bool | None:
    """Whether a move is a rapid that runs over the stock below its top; None where that is too close to call."""
    if move.kind != "rapid" or move.start[:2] == move.end[:2]:
        return False
    ends = np.array([move.start, move.end], dtype=float)
    top = float(np.asarray(stock["top"])) * scale
    if abs(ends[:, 2].min() - top) < 1e-3:
        return None
    if ends[:, 2].min() > top:
        return False
    if straight and ends[:, 2].max() > top:
        high = int(ends[:, 2].argmax())
        share = (ends[high, 2] - top) / (ends[high, 2] - ends[1 - high, 2])
        ends[high] += share * (ends[1 - high] - ends[high])
    corner, size = (np.array(stock[key]) * scale for key in ("corner", "size"))
    block = shapely.box(*corner, *(corner + size))
    way = shapely.LineString(ends[:, :2]) if straight else shapely.box(*ends[:, :2].min(axis=0),
                                                                      *ends[:, :2].max(axis=0))
    inside, outside = way.intersects(block.buffer(-1e-3)), way.intersects(block.buffer(1e-3))
    return None if inside != outside else bool(inside) and math.isfinite(top)
