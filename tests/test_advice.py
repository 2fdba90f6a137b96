"""Advice on an obstacle that cuts run into: as far as it says is enough, 0.1 mm less is not."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.guarding import Guarded, run, write_bench

BENCH = """
format = 1
units = "mm"
[program]
starts_in = ["G21", "G90", "G17", "F600"]
[table]
z = -19.0
[machine]
start = [0.0, 0.0, 60.0]
[spindle]
sections = [{{ diameter = 42.0, height = 60.0 }}]
[[tools]]
number = 1
diameter = 8.0
length = 25.0
[[obstacles]]
name = "clamp"
shape = "{shape}"
{place}
top = {top}
"""
SHAPES = {
    "box": ("box", "center = [{x}, {y}]\nsize = [40.0, 20.0]\nangle = 20.0"),
    "pin": ("cylinder", "center = [{x}, {y}]\ndiameter = 16.0"),
    "jig": ("outline", "points = [[{x}, {y}], [{x1}, {y}], [{x1}, {y1}], [{x2}, {y2}], [{x}, {y1}]]"),
}
PROGRAMS = {
    "a line": "G0 X60 Y100\nG1 Z-3\nG1 X110 Y105\nG0 Z60\nM30\n",
    "an arc": "G0 X90 Y100\nG1 Z-3\nG2 X110 Y100 I10 J0\nG0 Z60\nM30\n",
    "holes": "G0 X0 Y0\nG98 G81 X95 Y92 Z-5 R3\nX108 Y120\nG80\nG0 Z60\nM30\n",
    "the end of a run": "G0 X104 Y101\nG0 Z4\nM0\nG0 Z60\nM30\n",
}
NUMBER = r"([\d.]+) mm"


def guard(folder: Path, shape: str, program: str, x: float = 100.0, y: float = 100.0, top: float = 14.0) -> Guarded:
    name, place = SHAPES[shape]
    text = place.format(x=x, y=y, x1=x + 40, y1=y + 20, x2=x + 20, y2=y + 8)
    return run(program, write_bench(folder, BENCH.format(shape=name, place=text, top=top)))


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("program", PROGRAMS.values(), ids=PROGRAMS.keys())
def test_as_far_as_it_says_and_no_less(tmp_path: Path, shape: str, program: str) -> None:
    came = guard(tmp_path, shape, program)
    if came.exit == 0:
        pytest.fail("the bench of this test is meant to be in the way")
    (text,) = [record["text"] for record in came.records("finding") if "clears every move" in record["text"]]
    move = re.search(rf"move \"clamp\" by {NUMBER} to ([+-])([XY])", text)
    assert move, text
    far, sign, axis = float(move[1]), 1.0 if move[2] == "+" else -1.0, move[3]
    for by, passes in ((far, True), (far - 0.1, False)):
        x, y = (100.0 + sign * by, 100.0) if axis == "X" else (100.0, 100.0 + sign * by)
        assert (guard(tmp_path, shape, program, x, y).exit == 0) == passes
    lower = re.search(rf"lower its top by {NUMBER}", text)
    assert lower, text
    for by, passes in ((float(lower[1]), True), (float(lower[1]) - 0.1, False)):
        assert (guard(tmp_path, shape, program, top=14.0 - by).exit == 0) == passes


def test_says_so_where_no_move_is_enough(tmp_path: Path) -> None:
    """A pocket 400 mm square all round the pin, deeper than the table."""
    rows = "".join(f"G1 Y{y}\nG1 X{300 if k % 2 else -100}\n" for k, y in enumerate(range(-100, 310, 10)))
    came = guard(tmp_path, "pin", f"G0 X-100 Y-100\nG1 Z-25\n{rows}G0 Z60\nM30\n")
    assert came.exit == 3
    assert any("no move of" in record["text"] for record in came.records("finding"))
