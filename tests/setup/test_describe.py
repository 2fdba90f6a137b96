"""The table of what was understood, in the setup's own units."""

from __future__ import annotations

from collections.abc import Callable

from gcode_guard.setup import Setup
from gcode_guard.setup.describe import describe

INCH = """
format = 1
units = "inch"
measured_on = 2026-11-25
[stock]
corner = [0.0, 0.0]
size = [24.0, 8.0]
top = 0.0
thickness = 0.75
[clearance]
above = 0.125
beside = 0.1
tolerance = 0.04
[machine]
reach = { z = [-2.5, 3.0] }
gantry_bottom = 3.5
[spindle]
sections = [{ diameter = 1.65, height = 1.2 }, { diameter = 3.15, height = 4.75 }]
shoe = { diameter = 5.5, bottom = 0.8, soft = true }
[[tools]]
number = 3
name = "slot\\u202ecutter"
diameter = 0.25
length = 1.25
[[obstacles]]
name = "toe clamp"
shape = "box"
center = [-0.75, 4.0]
size = [2.5, 1.25]
angle = 30.0
height = 1.5
tolerance = 0.02
sacrificial = true
[[obstacles]]
name = "dowel"
shape = "cylinder"
center = [12.0, 9.0]
diameter = 0.375
top = 0.3333
"""


def test_every_figure_stands_in_the_units_of_the_file(bench: Callable[..., Setup]) -> None:
    rows = {(row.section, row.key): row.text for row in describe(bench(INCH))}
    assert rows["setup", "units"] == "inch" and rows["setup", "measured on"] == "2026-11-25"
    assert rows["table", "surface"] == "Z -0.75 in"
    assert rows["clearance", "above obstacles"] == "0.125 in"
    assert rows["clearance", "beside obstacles"] == "0.1 in"
    assert rows["machine", "reach Z"] == "-2.5 to 3 in" and rows["machine", "reach X"] == "not given"
    assert rows["machine", "corner rounding"] == "0.03937 in"  # 1 mm
    assert rows["machine", "lowest part of the gantry"] == "3.5 in above the table"
    assert rows["spindle", "above the collet face"] == "1.65 in across from 0 in up, 3.15 in across from 1.2 in up"
    assert rows["spindle", "shoe"] == "5.5 in across, soft, 0.8 in below the collet face"
    assert rows["tool 3", "cutter"] == "0.25 in across" and rows["tool 3", "length to the collet face"] == "1.25 in"


def test_each_obstacle_tells_shape_place_top_and_tolerance(bench: Callable[..., Setup]) -> None:
    rows = {(row.section, row.key): row.text for row in describe(bench(INCH))}
    assert rows["toe clamp", "shape"] == "box 2.5 x 1.25 in, centre (-0.75, 4), turned 30 degrees"
    assert rows["toe clamp", "top"] == "Z 0.75 in"  # 1.5 above a table at -0.75
    assert rows["toe clamp", "tolerance"] == "0.02 in"
    assert rows["toe clamp", "sacrificial"] == "cuts may run into it"
    assert rows["dowel", "shape"] == "cylinder 0.375 in across, centre (12, 9)"
    assert (rows["dowel", "top"], rows["dowel", "tolerance"]) == ("Z 0.3333 in", "0.04 in")


def test_what_is_not_checked_is_said(bench: Callable[..., Setup]) -> None:
    rows = {(row.section, row.key): row.text for row in describe(bench(INCH.replace("length = 1.25\n", "")))}
    assert rows["tool 3", "length to the collet face"] == "not given: nothing above the cutter is checked"
    bare = {
        row.section: row.text
        for row in describe(bench('format = 1\nunits = "mm"\ntools = [{ number = 1, diameter = 6 }]'))
    }
    assert bare["spindle"] == "not given: only cutters are checked"
    assert bare["obstacles"] == "none: there is nothing to keep clear of"


def test_names_cannot_turn_or_control_the_terminal(bench: Callable[..., Setup]) -> None:
    rows = describe(bench(INCH))
    assert all(text.isprintable() for row in rows for text in row)
    assert any(row.text == "slot\\u202Ecutter" for row in rows)
