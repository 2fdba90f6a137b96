"""What the walk says and where it goes, worked out by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

from gcode_guard.setup import load_setup
from gcode_guard.walk.program import CannotWalk, walk
from tests.guarding import run, write_bench

BENCH = """format = 1
units = "mm"
[clearance]
above = 3.0
beside = 3.0
tolerance = 1.0
[machine]
corner_rounding = 1.0
[[tools]]
number = 1
name = "6 mm end mill"
diameter = 6.0
[[obstacles]]
name = "left (old) clamp"
shape = "box"
center = [40.0, 20.0]
size = [20.0, 10.0]
top = 10.0
"""
# Top 10, tolerance 1, clearance 3: down to 14. Across: 1 of corner rounding more, and 25 of room, is 40.
# Each corner is as far from the middle; the way home from the fourth is the shortest, and to it over the short sides.
WHOLE = """(Walk round the bench of bench.toml)
(Cutter only: the collet nut, the spindle and the dust shoe were not checked, nor were the gantry's beam, the Z\
 plate, hoses and cables)
G21
G90
G94
G54
M5
M0 (Take the cutter out, or be sure of its length: tool 1, 6 mm end mill, its tip where Z was set. Hand on the stop)
G0 Z40.000
G0 X40.000 Y20.000
G1 Z14.000 F400.0
M0 (1 of 5: left /old/ clamp, middle. Is the tip over it, with 4.0 mm of air, from 3.0 mm to 5.0 mm)
G1 Z40.000 F1500.0
G1 X50.000 Y25.000 F1500.0
G1 Z14.000 F400.0
M0 (2 of 5: left /old/ clamp, corner 3 of 4. Is the tip over it, with 4.0 mm of air, from 3.0 mm to 5.0 mm)
G1 Z40.000 F1500.0
G1 X50.000 Y15.000 F1500.0
G1 Z14.000 F400.0
M0 (3 of 5: left /old/ clamp, corner 2 of 4. Is the tip over it, with 4.0 mm of air, from 3.0 mm to 5.0 mm)
G1 Z40.000 F1500.0
G1 X30.000 Y15.000 F1500.0
G1 Z14.000 F400.0
M0 (4 of 5: left /old/ clamp, corner 1 of 4. Is the tip over it, with 4.0 mm of air, from 3.0 mm to 5.0 mm)
G1 Z40.000 F1500.0
G1 X30.000 Y25.000 F1500.0
G1 Z14.000 F400.0
M0 (5 of 5: left /old/ clamp, corner 4 of 4. Is the tip over it, with 4.0 mm of air, from 3.0 mm to 5.0 mm)
G1 Z40.000 F1500.0
G1 X0.000 Y30.000 F1500.0
M30
"""


def text_of(folder: Path, bench: str, tool: int | None = None) -> str:
    return walk(load_setup(write_bench(folder, bench)), tool).text.decode()


def test_the_whole_walk_over_one_clamp(tmp_path: Path) -> None:
    assert text_of(tmp_path, BENCH.replace("[machine]", "[machine]\nstart = [0.0, 30.0, 30.0]")) == WHOLE


def test_an_inch_bench_walks_in_inches(tmp_path: Path) -> None:
    """Top 0.5, tolerance 0.04, clearance 0.12: 0.66. Across 0.04 more, and 25 mm, is 1.6843, rounded up to 1.685."""
    bench = (BENCH.replace('"mm"', '"inch"').replace("above = 3.0", "above = 0.12")
             .replace("beside = 3.0", "beside = 0.1").replace("tolerance = 1.0", "tolerance = 0.04")
             .replace("rounding = 1.0", "rounding = 0.04")
             .replace("diameter = 6.0", "diameter = 0.25").replace("[40.0, 20.0]", "[4.0, 2.0]")
             .replace("[20.0, 10.0]", "[1.5, 0.5]").replace("top = 10.0", "top = 0.5"))
    lines = text_of(tmp_path, bench).splitlines()
    assert lines[2] == "G20"
    assert lines[8:10] == ["G0 Z1.6850", "G0 X4.0000 Y2.0000"]
    assert lines[10] == "G1 Z0.6600 F15.7"
    assert "with 0.16 in of air, from 0.12 in to 0.20 in" in lines[11]


def test_the_round_trip_begins_and_ends_where_the_tool_stands(tmp_path: Path) -> None:
    bench = BENCH.replace("[machine]", "[machine]\nstart = [5.0, 6.0, 60.0]")
    lines = text_of(tmp_path, bench).splitlines()
    assert lines[8] == "G0 Z60.000"  # no lower than it stands
    assert lines[-2:] == ["G1 X5.000 Y6.000 F1500.0", "M30"]


def test_the_spindle_keeps_off_what_stands_beside(tmp_path: Path) -> None:
    """The clamp's neighbour, 30 mm taller, stands under the collet nut, 20 above the tip: 40 + 1 + 3 - 20 is 24."""
    bench = BENCH.replace("diameter = 6.0", "diameter = 6.0\nlength = 20.0") + """
[[obstacles]]
name = "post"
shape = "cylinder"
center = [65.0, 20.0]
diameter = 10.0
top = 40.0
[spindle]
sections = [{ diameter = 40.0, height = 100.0 }]
"""
    text = text_of(tmp_path, bench)
    middle = text.index("X40.000 Y20.000")
    assert text[middle:].splitlines()[1].startswith("G1 Z24.000")
    assert "left /old/ clamp, middle. Is the tip over it, with 14.0 mm of air, from 13.0 mm to 15.0 mm" in text


def test_what_is_outside_the_reach_is_said_and_not_visited(tmp_path: Path) -> None:
    bench = BENCH.replace("[machine]", "[machine]\nreach = { x = [0.0, 45.0], y = [0.0, 100.0], z = [-10.0, 80.0] }")
    made = walk(load_setup(write_bench(tmp_path, bench)))
    assert made.missed == ["2 of the corners of left (old) clamp are outside the reach"]
    assert "(Not visited: 2 of the corners of left /old/ clamp are outside the reach)" in made.text.decode()
    assert made.stops == 3 and b"X50" not in made.text


def test_a_thing_whose_middle_and_corners_are_outside_is_visited_where_it_is_reached(tmp_path: Path) -> None:
    bench = BENCH.replace("[machine]", "[machine]\nreach = { x = [0.0, 35.0], y = [18.0, 22.0], z = [-10.0, 80.0] }")
    text = text_of(tmp_path, bench)
    assert "G0 X35.000 Y20.000" in text and "near its middle" in text


def test_with_several_tools_it_must_be_said_which(tmp_path: Path) -> None:
    bench = BENCH + "[[tools]]\nnumber = 7\ndiameter = 3.0\n"
    with pytest.raises(ValueError, match="--tool N"):
        text_of(tmp_path, bench)
    text = text_of(tmp_path, bench, 7)
    assert "\nT7\n" in text and "tool 7" in text
    assert run(text, tmp_path / "bench.toml").exit == 0  # without saying the tool again


def test_a_shoe_that_cannot_rise_over_an_obstacle_makes_a_refusal(tmp_path: Path) -> None:
    """A shoe that stays with the gantry, 5 mm above the table, meets a clamp of 10 mm wherever the tip is lifted to."""
    bench = BENCH.replace("diameter = 6.0", "diameter = 6.0\nlength = 40.0") + """
[spindle]
sections = [{ diameter = 40.0, height = 100.0 }]
shoe = { diameter = 90.0, rides_at = 5.0 }
"""
    with pytest.raises(CannotWalk) as refused:
        text_of(tmp_path, bench)
    assert "shoe" in f"{refused.value} {refused.value.reasons}"


def test_nothing_on_the_bench_is_nothing_to_walk_to(tmp_path: Path) -> None:
    with pytest.raises(CannotWalk, match="nothing to walk to"):
        text_of(tmp_path, BENCH[: BENCH.index("[[obstacles]]")])


def test_the_walk_does_not_run_into_the_stock(tmp_path: Path) -> None:
    """Something that ends 10 under the stock's top and touches its edge: over its middle the tip comes down to -10 + 4,
    over the corners at the edge only to 4 above the stock. A shoe that rides 2 above the stock does not hinder it."""
    stock = "[stock]\ncorner = [50.0, 0.0]\nsize = [200.0, 40.0]\ntop = 0.0\nthickness = 19.0\n"
    shoe = "[spindle]\nsections = [{ diameter = 20.0, height = 100.0 }]\nshoe = { diameter = 60.0, rides_at = 2.0 }\n"
    bench = BENCH.replace("top = 10.0", "top = -10.0").replace("6.0", "6.0\nlength = 30.0")
    text = text_of(tmp_path, bench + stock + shoe)
    blocks = text.splitlines()
    down = {blocks[k - 1]: block for k, block in enumerate(blocks) if block.startswith("G1 Z") and "F400" in block}
    assert down["G0 X40.000 Y20.000"] == "G1 Z-6.000 F400.0"
    assert down["G1 X50.000 Y25.000 F1500.0"] == "G1 Z4.000 F400.0"
    assert down["G1 X30.000 Y25.000 F1500.0"] == "G1 Z-6.000 F400.0"
    assert "corner 3 of 4, above stock. Is the tip over it, with 4.0 mm of air" in text


def test_a_long_name_does_not_push_the_air_out_of_the_comment(tmp_path: Path) -> None:
    text = text_of(tmp_path, BENCH.replace("left (old) clamp", "the clamp that " + 30 * "very " + "long ago was mine"))
    assert text.count("with 4.0 mm of air, from 3.0 mm to 5.0 mm)") == 5
