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


RIDING = BENCH.replace("height = 60.0 }}]", "height = 60.0 }}]\nshoe = {{ diameter = 90.0, rides_at = 10.0 }}")


def told(came: Guarded, name: str) -> str:
    """The one message about an obstacle that cuts run into."""
    (text,) = [r["text"] for r in came.records("finding") if r["kind"] == "cut-contact" and r["obstacle"] == name]
    return str(text)


def test_a_shoe_that_stays_with_the_gantry_must_be_clear_of_the_obstacle_in_rapids_too(tmp_path: Path) -> None:
    """The shoe (45 mm) needs 45 + 8 + 1 mm from the pin's axis in the cut that ends at X60, and 1 + 3 mm more in the
    rapid that leaves there: 58 mm, where it has 40."""
    place = "center = [{x}, 100.0]\ndiameter = 16.0"
    program = "G0 X0 Y100\nG1 Z-3\nG1 X60\nG0 Z5\nG0 X0\nG1 Z-3\nG0 Z60\nM30\n"

    def at(x: float) -> Guarded:
        text = RIDING.format(shape="cylinder", place=place.format(x=x), top=14.0)
        return run(program, write_bench(tmp_path, text))

    text = told(at(100.0), "clamp")
    assert "with the shoe" in text
    assert 'move "clamp" by 18 mm to +X' in text
    assert at(118.0).exit == 0 and at(117.9).exit == 3
    assert "lower its top by 9 mm" in text  # the shoe at 10 needs a top of 10 - 1 - 3 - 1 = 5 in the rapid


def test_a_low_ceiling_counts_where_no_way_leads_round(tmp_path: Path) -> None:
    """The rapids to and fro at the highest that the machine has need 3 + 1 mm more than the cut between them."""
    place = "center = [{x}, 100.0]\ndiameter = 16.0"
    low = BENCH.replace("[spindle]", "reach = {{ z = [-20.0, 30.0] }}\n[spindle]").replace("0.0, 60.0]", "0.0, 30.0]")
    program = "G0 X0 Y100\nG1 Z-3\nG1 X90\nG0 Z30\nG0 X0\nM30\n"

    def at(x: float) -> Guarded:
        return run(program, write_bench(tmp_path, low.format(shape="cylinder", place=place.format(x=x), top=40.0)))

    text = told(at(95.0), "clamp")
    assert "with the cutter" in text
    # The nut (21 mm) at 22 mm in the cut: 21 + 8 + 1 from the axis, so to 120; in the rapid at 55 it passes over; the
    # cutter (4 mm) at 30 mm in the rapid: 4 + 8 + 1 + 3 + 1, so to 107. The cut decides.
    assert "by 25 mm to +X" in text, text
    assert at(120.0).exit == 0 and at(119.9).exit == 3


def test_many_hits_are_one_message_that_names_lines_part_and_depth(tmp_path: Path) -> None:
    rows = "".join(f"G1 X{x}\nG1 Y{100 + k % 2}\n" for k, x in enumerate((120, 60) * 8))
    came = guard(tmp_path, "pin", f"G0 X60 Y100\nG1 Z-3\n{rows}G0 Z60\nM30\n")
    text = told(came, "clamp")
    assert re.match(r"\d+ cuts run into \"clamp\" \(lines 3, 5, .*\.\.\.\), up to 18 mm below what would clear it,"
                    r" with the cutter; ", text), text  # 14 + 1 - -3


@pytest.mark.parametrize(("length_", "part", "depth"), [(25.0, "cutter", 18.0), (10.0, "collet nut", 8.0)])
def test_names_the_part_of_the_assembly(tmp_path: Path, length_: float, part: str, depth: float) -> None:
    """A way 20 mm beside a pin of 16 mm: the cutter (4 mm) passes it, the nut (21 mm) 10 mm above the tip does not."""
    text = BENCH.format(shape="cylinder", place="center = [100.0, 100.0]\ndiameter = 16.0", top=14.0)
    setup = write_bench(tmp_path, text.replace("length = 25.0", f"length = {length_}"))
    y = 100 if part == "cutter" else 120
    came = run(f"G0 X60 Y{y}\nG1 Z-3\nG1 X140\nG0 Z60\nM30\n", setup)
    assert f"up to {depth:g} mm below what would clear it, with the {part};" in told(came, "clamp")


def test_in_inches_the_advice_is_rounded_up_in_inches(tmp_path: Path) -> None:
    text = BENCH.format(shape="cylinder", place="center = [4.0, 4.0]\ndiameter = 0.63", top=0.55)
    text = text.replace('"mm"', '"inch"').replace('"G21", "G90", "G17", "F600"', '"G20", "G90", "G17", "F20"')
    for old, new in (("-19.0", "-0.75"), ("60.0]", "2.5]"), ("42.0", "1.65"), ("height = 60.0", "height = 2.5"),
                     ("diameter = 8.0", "diameter = 0.315"), ("length = 25.0", "length = 1.0")):
        text = text.replace(old, new)
    program = "G0 X2.4 Y4\nG1 Z-.12\nG1 X4.4 Y4.203\nG0 Z2.5\nM30\n"
    said = told(run(program, write_bench(tmp_path, text)), "clamp")
    move = re.search(r"move \"clamp\" by ([\d.]+) in to ([+-])([XY])", said)
    assert move and "mm to" not in said, said
    far = float(move[1]) * (1 if move[2] == "+" else -1)
    for by, passes in ((far, True), (far * (1 - 0.1 / 25.4 / abs(far)), False)):
        place = [4.0 + by, 4.0] if move[3] == "X" else [4.0, 4.0 + by]
        moved = text.replace("center = [4.0, 4.0]", f"center = {place}")
        assert (run(program, write_bench(tmp_path, moved)).exit == 0) == passes


def test_a_way_out_of_an_unknown_height_is_no_trouble_for_the_advice(tmp_path: Path) -> None:
    """Where the tool starts is not known: lowering the clamp helps nothing against the rapid across from there."""
    low = BENCH.replace("start = [0.0, 0.0, 60.0]", "reach = {{ z = [-20.0, 30.0] }}")
    text = low.format(shape="cylinder", place="center = [60.0, 100.0]\ndiameter = 16.0", top=40.0)
    came = run("G0 X0 Y100\nG0 Z5\nG1 Z-3\nG1 X60\nG0 Z30\nM30\n", write_bench(tmp_path, text))
    assert came.exit in (3, 4) and (4, "cut-contact") in came.findings


@pytest.mark.parametrize("x", [94.0, 106.0])
def test_a_program_that_starts_inside_the_obstacle(tmp_path: Path, x: float) -> None:
    """A pin of 16 mm, tolerance 1, a cutter of 8 mm, the start at X100: 13 mm between the axes are enough."""
    inside = BENCH.replace("start = [0.0, 0.0, 60.0]", "start = [100.0, 100.0, 5.0]")
    program = "G0 Z60\nG0 X200\nG1 Z-3\nG0 Z60\nM30\n"

    def at(x: float) -> Guarded:
        return run(program, write_bench(tmp_path, inside.format(
            shape="cylinder", place=f"center = [{x}, 100.0]\ndiameter = 16.0", top=14.0)))

    (text,) = [record["text"] for record in at(x).records("finding") if "starts inside" in record["text"]]
    far = 113.0 - x if x >= 100.0 else x - 87.0
    way = "+X" if x >= 100.0 else "-X"
    assert f"move \"clamp\" by {far:g} mm to {way} or lower its top by 10 mm, which clears every move" in text
    signed = far if way == "+X" else -far
    assert at(x + signed).exit == 0 and at(x + signed * (1 - 0.1 / far)).exit == 3


LOW_CEILING = BENCH.replace("[spindle]", "reach = {{ z = [-20.0, 30.0] }}\n[spindle]").replace(
    "0.0, 60.0]", "0.0, 30.0]")


def test_under_a_low_ceiling_it_is_the_least_with_which_the_rapids_pass_too(tmp_path: Path) -> None:
    """A post of 40 mm beside a cut along Y100, which is free of it 4 + 8 + 1 = 13 mm beside its axis, so from Y113 on;
    the rapid back, at the 30 mm that the machine has, 3 + 1 mm farther: from Y117 on."""
    program = "G0 X0 Y100\nG1 Z-3\nG1 X200\nG0 Z30\nG0 X0\nM30\n"
    thin = LOW_CEILING.replace("diameter = 42.0", "diameter = 8.0")

    def at(y: float) -> Guarded:
        return run(program, write_bench(tmp_path, thin.format(
            shape="cylinder", place=f"center = [100.0, {y}]\ndiameter = 16.0", top=40.0)))

    text = told(at(104.0), "clamp")
    assert 'move "clamp" by 13 mm to +Y' in text, text
    assert at(117.0).exit == 0 and at(116.9).exit == 3


def test_says_what_was_not_tried_where_the_program_is_too_long(tmp_path: Path,
                                                              monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("gcode_guard.advice.MOST_BLOCKS", 0)
    monkeypatch.setattr("gcode_guard.advice.FEWEST_READINGS", 1)
    text = told(guard(tmp_path, "pin", PROGRAMS["a line"]), "clamp")
    assert "clears every cut of the program; whether all of its rapids are clear then was not tried" in text
