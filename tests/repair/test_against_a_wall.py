"""How a run is planned, without a setup and without geometry: programs before and after, and refusals to the word.

The wall of wall.py: between X72 and X128 a rapid must stay above 23 mm. The tool starts at X0 Y100 Z30.
"""

from __future__ import annotations

from decimal import Decimal
from math import inf
from typing import Any

import pytest

from gcode_guard.program.moves import Move
from gcode_guard.program.state import HIGH
from tests.repair.wall import Planned, limits

D = Decimal
SAME = {"after_tool_change": "same"}
HOME = {"home_axes": "named", "home": (D(200), D(100), HIGH), "home2": (D(200), D(100), HIGH)}
STORED = HOME | {"home": (D(200), D(100), D(25))}
IN_DOUBT = {"home_axes": "unknown"}
ZERO = {"zero": (D(-10), D(-20), D(-50))}
UP = "G91 G28 Z0\nG90\n"  # at an unknown height above everything
LOW = "G0 Z5\nG1 Z-1\n"
SHIFTED = {"shifts": {"G54": (D(0), D(0), D(0)), "G55": (D(10), D(20), D(8))}}
KNOWN: tuple[float, float, float] = (0, 100, 30)
TOP = ('say where the tool stands: machine.start, or after_tool_change = "high" where M6 leaves it above'
       " everything")


def became(program: str, start: tuple[float, float, float] | None = KNOWN, room: dict[str, Any] | None = None,
           **rules: Any) -> str:
    """What a program becomes; it must come through a second time as it is, without a look for a way round."""
    planned = Planned(program, limits(**(room or {})), start, **rules)
    assert not planned.said
    again = {key: value for key, value in (room or {}).items() if "round" not in key}
    assert Planned(planned.text, limits(**again), start, **rules).text == planned.text
    return planned.text


LEVELS = {
    "a slope that comes down in the clear": ("G0 X200 Z23\nG1 Z-1\n", "G0 X200 Z23\nG1 Z-1\n"),
    "one that comes down too early, at the end of the run": ("G0 X200 Z22\nG1 Z-1\n", "G0 X200\nG0 Z22\nG1 Z-1\n"),
    "and before a way back": ("G0 X200 Z22\nX0\nZ1\nG1 Z-1\n", "G0 X200 Z23.0\nX0\nZ1\nG1 Z-1\n"),
    "a slope up from a level that was raised": (
        "G0 X50 Z5\nX200 Z6\nX0\nG1 Z-1\n", "G0 X50 Z23.0\nX200 Z23.0\nX0\nG0 Z6.0\nG1 Z-1\n"),
    "one that ends high enough by itself": (
        "G0 X50 Z5\nX200 Z40\nX0\nG1 Z-1\n", "G0 X50 Z23.0\nX200 Z40\nX0\nG1 Z-1\n"),
    "and a slope down behind it": (
        "G0 X50 Z5\nX200 Z40\nX0 Z3\nG1 Z-1\n", "G0 X50 Z23.0\nX200 Z40\nX0\nG0 Z3\nG1 Z-1\n"),
    "slopes before the wall": ("G0 X50 Z5\nX60 Z40\nX0 Z3\nG1 Z-1\n", "G0 X50 Z5\nX60 Z40\nX0 Z3\nG1 Z-1\n"),
    "an end in an expression": (
        "#1=5\nG0 X50 Z[#1]\nX200\nG1 Z-1\n", "#1=5\nG0 X50 Z[#1]\nG0 Z23.0\nX200\nG0 Z5.0\nG1 Z-1\n"),
    "over the wall to an end in an expression, and back": (
        "#1=5\nG0 X200 Z[#1]\nX0\nG1 Z-1\n", "#1=5\nG0 X200\nX0\nG0 Z5.0\nG1 Z-1\n"),
    "with a stop between": (
        "#1=5\nG0 X200 Z[#1] M0\nX0\nG1 Z-1\n",
        "#1=5\nG0 X200\nG0 Z[#1] M0\nG0 Z23.0\nX0\nG0 Z5.0\nG1 Z-1\n"),
    "a Z word between two ways across": (
        "G0 X0\nG0 Z5\nX200\nZ1\nX0\nG1 Z-1\n", "G0 X0\nG0 Z23.0\nX200\nZ23.0\nX0\nG0 Z1.0\nG1 Z-1\n"),
    "down beside the wall at the end": ("G0 X74\nG0 Z1\nG1 Z-1\n", "G0 X74\nG0 Z1\nG1 Z-1\n"),
    "down beside the wall before a spindle starts": (
        "G0 X74\nG0 Z20\nM3\nX200\nG0 Z1\nG1 Z-1\n", "G0 X74\nG0 Z20\nM3\nG0 Z23.0\nX200\nG0 Z1\nG1 Z-1\n"),
    "down beside the wall and away from it": (
        "G0 X74\nG0 Z1\nG0 X60\nG1 Z-1\n", "G0 X74\nG0 Z23.0\nG0 X60\nG0 Z1.0\nG1 Z-1\n"),
    "down into the wall and on": (
        "G0 X100\nG0 Z1\nG0 X200\nG1 Z-1\n", "G0 X100\nG0 Z23.0\nG0 X200\nG0 Z1.0\nG1 Z-1\n"),
    "down close over the wall and on": (
        "G0 X100\nG0 Z21\nG0 X200\nG1 Z-1\n", "G0 X100\nG0 Z23.0\nG0 X200\nG0 Z21.0\nG1 Z-1\n"),
    "close over the wall, by an expression": (
        "#1=20\nG0 X100\nG0 Z[#1]\nG0 X200\nG1 Z-1\n",
        "#1=20\nG0 X100\nG0 Z[#1]\nG0 Z23.0\nG0 X200\nG0 Z20.0\nG1 Z-1\n"),
    "up over the wall, high enough": (
        "G0 Z5\nG0 X100\nG0 Z25\nG0 X200\nG1 Z-1\n", "G0 Z23.0\nG0 X100\nG0 Z25\nG0 X200\nG1 Z-1\n"),
    "up over the wall, not high enough": (
        "G0 Z5\nG0 X100\nG0 Z21\nG0 X200\nG0 Z5\nG1 Z-1\n", "G0 Z23.0\nG0 X100\nG0 Z23.0\nG0 X200\nG0 Z5\nG1 Z-1\n"),
    "the height said again at the end": ("G0 Z5\nX200\nZ5 M0\nG1 Z-1\n", "G0 Z23.0\nX200\nZ5 M0\nG1 Z-1\n"),
}

INCREMENTS = {
    "two slopes": (
        "G0 Z5\nG1 Z4\nG91\nG0 X200 Z2\nX-200 Z3\nG90\nG1 Z-1\n",
        "G0 Z5\nG1 Z4\nG91\nG0 Z19.0\nG0 X200\nX-200\nG0 Z-14.0\nG90\nG1 Z-1\n"),
    "a slope up that is enough, and one down that stays high": (
        "G0 X50 Z5\nG1 Z4\nG91\nG0 X150 Z30\nX-150 Z-3\nG90\nG1 Z-1\n",
        "G0 X50 Z5\nG1 Z4\nG91\nG0 Z30\nG0 X150\nX-150 Z-3\nG90\nG1 Z-1\n"),
    "a slope raised before one that would have been enough": (
        "G0 X50 Z5\nG1 Z4\nG91\nG0 X10 Z6\nX140 Z30\nG90\nG1 Z-1\n",
        "G0 X50 Z5\nG1 Z4\nG91\nG0 X10 Z19.0\nX140 Z17.0\nG90\nG1 Z-1\n"),
    "and come down with the next": (
        "G0 X50 Z5\nG1 Z4\nG91\nG0 X10 Z6\nX140\nX5 Z-2\nG90\nG1 Z-1\n",
        "G0 X50 Z5\nG1 Z4\nG91\nG0 X10 Z19.0\nX140\nX5 Z-15.0\nG90\nG1 Z-1\n"),
    "and go up with the next": (
        "G0 X50 Z5\nG1 Z4\nG91\nG0 X10 Z6\nX140\nX5 Z30\nX-140\nG90\nG1 Z-1\n",
        "G0 X50 Z5\nG1 Z4\nG91\nG0 X10 Z19.0\nX140\nX5 Z17.0\nX-140\nG90\nG1 Z-1\n"),
    "the way down in a block that names X, and does not move it": (
        "G0 X50 Z5\nG1 Z4\nG91\nG0 X150\nX0 Z2\nG90\nG1 Z-1\n",
        "G0 X50 Z5\nG1 Z4\nG91\nG0 Z19.0\nG0 X150\nX0 Z-17.0\nG90\nG1 Z-1\n"),
    "up in the clear, and down over the wall": (
        "G0 X50 Z5\nG1 Z4\nG91\nG0 X150\nG0 X5 Z40\nX-140 Z-35\nG90\nG1 Z-1\n",
        "G0 X50 Z5\nG1 Z4\nG91\nG0 Z19.0\nG0 X150\nG0 X5 Z21.0\nX-140\nG0 Z-35.0\nG90\nG1 Z-1\n"),
    "begun and ended around one block": (
        LOW + "G91 G0 X200\nG90 G1 Z-1\n", LOW + "G91 G0 Z24.0\nG0 X200\nG0 Z-24.0\nG90 G1 Z-1\n"),
    "begun at the end of the run": (
        "G0 Z5\nX200\nG91\nX5\nG90\nG1 Z-1\n", "G0 Z23.0\nX200\nG91\nX5\nG0 Z-18.0\nG90\nG1 Z-1\n"),
    "with a stop": ("G0 Z5\nX200\nG91 Z1 M1\nG1 Z-1\n", "G0 Z23.0\nX200\nG91 Z-17.0 M1\nG1 Z-1\n"),
    "in an expression, behind a stop": (
        "#1=1\nG0 Z5\nX200\nX300 M1\nG91 Z[#1]\nG1 Z-1\n",
        "#1=1\nG0 Z23.0\nX200\nX300\nG0 Z5.0 M1\nG91 Z[#1]\nG1 Z-1\n"),
    "in an expression": (
        "#1=1\nG0 Z5\nX200\nX300\nG91 Z[#1]\nG1 Z-1\n", "#1=1\nG0 Z23.0\nX200\nX300\nG0 Z5.0\nG91 Z[#1]\nG1 Z-1\n"),
}

PIECES = {
    "across and down": ("N7 G0 X200 Z5 S900 M3 (over) M0\nG1 Z-1\n", "N7 G0 X200 S900 M3 (over)\nG0 Z5 M0\nG1 Z-1\n"),
    "up, across, down, with all that a block can carry": (
        LOW + "N7 G0 Y5 (a) X200 S900 M3 #2=5 (over) M0\nG1 Z-1\n",
        LOW + "N7 G0 Z23.0 (a) S900 M3 (over)\nG0 X200 Y5\nG0 Z-1.0 #2=5 M0\nG1 Z-1\n"),
    "a counter counts once, behind the last piece": (
        "#2=1\n" + LOW + "G0 X200 #2=[#2+1] #3=4 M1\nG1 Z-1\n",
        "#2=1\n" + LOW + "G0 Z23.0\nG0 X200\nG0 Z-1.0 #2=[#2+1] #3=4 M1\nG1 Z-1\n"),
    "with the slash": (LOW + "/N7 G0 Y5 X200 M1\nG1 Z-1\n", LOW + "/N7 G0 Z23.0\n/G0 X200 Y5\n/G0 Z-1.0 M1\nG1 Z-1\n"),
    "a stop at the end of the run": (
        LOW + "G0 X200\nX300 M1\nG1 Z-1\n", LOW + "G0 Z23.0\nG0 X200\nX300\nG0 Z-1.0 M1\nG1 Z-1\n"),
    "a stop in the only block": (LOW + "G0 X200 M1\nG1 Z-1\n", LOW + "G0 Z23.0\nG0 X200\nG0 Z-1.0 M1\nG1 Z-1\n"),
    "a setting and a stop at the end of the run": (
        LOW + "G0 X200\nX300 Y5 #3=5 M1\nG1 Z-1\n", LOW + "G0 Z23.0\nG0 X200\nX300 Y5\nG0 Z-1.0 #3=5 M1\nG1 Z-1\n"),
    "a comment, a slash and a stop at the end of the run": (
        LOW + "/G0 X200\n/N9 X300 Y5 M1 ; end\nG1 Z-1\n",
        LOW + "/G0 Z23.0\n/G0 X200\n/N9 X300 Y5 ; end\n/G0 Z-1.0 M1\nG1 Z-1\n"),
    "tight and small": (
        "g0z5\ng1z-1\ng0x200\nx300y5m1\ng1z-1\n",
        "g0z5\ng1z-1\ng0z23.0\ng0x200\nx300y5\ng0z-1.0m1\ng1z-1\n"),
    "a number and a comment stay with their block": (
        LOW + "N5 G0 X200 (over)\nG1 Z-1\n", LOW + "G0 Z23.0\nN5 G0 X200 (over)\nG0 Z-1.0\nG1 Z-1\n"),
    "a mode on the first piece": (LOW + "G90 G0 X200\nG1 Z-1\n", LOW + "G90 G0 Z23.0\nG0 X200\nG0 Z-1.0\nG1 Z-1\n"),
    "another zero from this block on": (
        LOW + "G55 G0 X200\nG1 Z-1\n", LOW + "G55 G0 Z15.0\nG0 X200\nG0 Z-9.0\nG1 Z-1\n"),
    "a zero that was set": (
        "G55\nG0 Z5\nG92 Z6\nG1 Z-1\nG0 X200\nG1 Z-1\n",
        "G55\nG0 Z5\nG92 Z6\nG1 Z-1\nG0 Z16.0\nG0 X200\nG0 Z-1.0\nG1 Z-1\n"),
    "behind what only sets a mode": (
        "G0 Z5\nX200\nX210 (far)\nF200\nG1 Z-1\n", "G0 Z23.0\nX200\nX210 (far)\nG0 Z5.0\nF200\nG1 Z-1\n"),
    "before cutter compensation": (
        "G0 Z5\nX200\nG41 D1\nG1 X210\nG1 Z-1\nG40\nG0 Z9\n",
        "G0 Z23.0\nX200\nG0 Z5.0\nG41 D1\nG1 X210\nG1 Z-1\nG40\nG0 Z9\n"),
    "before a hole": (
        "G0 Z5\nX200\nG98 G81 X210 Z-5 R2\nG80\nG1 Z-2\n",
        "G0 Z23.0\nX200\nG0 Z5.0\nG98 G81 X210 Z-5 R2\nG80\nG1 Z-2\n"),
    "before a hole where the tool stands": (
        LOW + "G0 X200\nG98 G81 X200 Z-5 R2\nG80\nG1 Z-2\n",
        LOW + "G0 Z23.0\nG0 X200\nG0 Z-1.0\nG98 G81 X200 Z-5 R2\nG80\nG1 Z-2\n"),
    "before a hole, and between holes": (
        "G0 Z2\nX200\nG98 G81 X210 Z-5 R5\nX0\nG80\nG1 Z-2\n",
        "G0 Z23.0\nX200\nG0 Z2.0\nG98 G81 X210 Z-5 R5\nG0 Z23.0\nG0 X0.0 Y100.0\nG0 Z5.0\n"
        "G98 G81 X0.0 Y100.0 Z-5.0 R5.0\nG80\nG1 Z-2\n"),
    "before a hole in another plane": (
        "G0 Z5\nG18\nX200\nG98 G81 Y50 X210 R120\nG80\nG17\nG1 Z-2\n",
        "G0 Z23.0\nG18\nX200\nG0 Z5.0\nG98 G81 Y50 X210 R120\nG80\nG17\nG1 Z-2\n"),
}


@pytest.mark.parametrize(("before", "after"), [*LEVELS.values(), *INCREMENTS.values(), *PIECES.values()],
                         ids=[*LEVELS, *INCREMENTS, *PIECES])
def test_from_a_known_place(before: str, after: str) -> None:
    assert became(before, block_delete="run", **SHIFTED) == after


# Out of a height that is not known: 50 mm clear all, and nothing is let down below `floor`.
UNKNOWN_HEIGHT = {
    "away from everything: above all": (3.0, "G0 X50\nZ1\nG1 Z-1\n", "G0 Z50.0\nG0 X50\nZ1\nG1 Z-1\n"),
    "over the wall: as high as it needs": (3.0, "G0 X200\nZ1\nG1 Z-1\n", "G0 Z23.0\nG0 X200\nZ1\nG1 Z-1\n"),
    "where that is just what the stock asks for": (
        23.0, "G0 X200\nZ1\nG1 Z-1\n", "G0 Z23.0\nG0 X200\nZ1\nG1 Z-1\n"),
    "where the stock asks for more: above all": (30.0, "G0 X200\nZ1\nG1 Z-1\n", "G0 Z50.0\nG0 X200\nZ1\nG1 Z-1\n"),
    "behind a height that is said": (3.0, "G0 Z40\nX50\nZ1\nG1 Z-1\n", "G0 Z40\nX50\nZ1\nG1 Z-1\n"),
    "a slope down": (3.0, "G0 X50 Z2\nG1 Z-1\n", "G0 Z50.0\nG0 X50\nG0 Z2\nG1 Z-1\n"),
    "a slope up above all": (3.0, "G0 X50 Z60\nG1 Z-1\n", "G0 Z60\nG0 X50\nG1 Z-1\n"),
    "two ways across": (3.0, "G0 X50\nX60\nZ1\nG1 Z-1\n", "G0 Z50.0\nG0 X50\nX60\nZ1\nG1 Z-1\n"),
}


@pytest.mark.parametrize(("floor", "before", "after"), UNKNOWN_HEIGHT.values(), ids=UNKNOWN_HEIGHT.keys())
def test_out_of_an_unknown_height(floor: float, before: str, after: str) -> None:
    assert became("T1 M6\n" + before, room={"everything": 50.0, "floor": floor}, **SAME) == "T1 M6\n" + after


UNKNOWN_PLACE = {
    "across first": ("G0 X0 Y0\nG0 Z1\nG1 Z-1\n", "G0 Z23.0\nG0 X0 Y0\nG0 Z1\nG1 Z-1\n"),
    "down first": ("G0 Z5\nG0 X0 Y0\nG1 Z-1\n", "G0 Z23.0\nG0 X0 Y0\nG0 Z5.0\nG1 Z-1\n"),
    "all at once": ("G0 X0 Y0 Z5\nG1 Z-1\n", "G0 Z23.0\nG0 X0 Y0\nG0 Z5\nG1 Z-1\n"),
    "all at once, high enough": ("G0 X200 Y0 Z40\nG1 Z-1\n", "G0 Z40\nG0 X200 Y0\nG1 Z-1\n"),
    "high enough first": ("G0 Z40\nG0 X200 Y0\nG1 Z-1\n", "G0 Z40\nG0 X200 Y0\nG1 Z-1\n"),
    "an effect before the place is known": (
        "G0 Z1\nM3\nG0 X200 Y0\nG1 Z-1\n", "G0 Z23.0\nM3\nG0 X200 Y0\nG0 Z1.0\nG1 Z-1\n"),
    "X alone known before it": (
        "G0 Z5\nG0 X50\nM3\nG0 Y100 X200\nG0 Z1\nG1 Z-1\n", "G0 Z23.0\nG0 X50\nM3\nG0 Y100 X200\nG0 Z1\nG1 Z-1\n"),
    "X alone, and then Y": ("G0 Z5\nX0\nM3\nY0\nG1 Z-1\n", "G0 Z23.0\nX0\nM3\nY0\nG0 Z5.0\nG1 Z-1\n"),
    "across twice": ("G0 X0 Y0\nG0 X200\nG0 Z1\nG1 Z-1\n", "G0 Z23.0\nG0 X0 Y0\nG0 X200\nG0 Z1\nG1 Z-1\n"),
    "across, an effect, and across": (
        "G0 X200 Y0\nM3\nG0 X0\nG0 Z1\nG1 Z-1\n", "G0 Z23.0\nG0 X200 Y0\nM3\nG0 X0\nG0 Z1\nG1 Z-1\n"),
    "the same height again behind an effect": (
        "G0 Z5\nM3\nG0 Z5\nX0 Y0\nG1 Z-1\n", "G0 Z23.0\nM3\nG0 Z23.0\nX0 Y0\nG0 Z5.0\nG1 Z-1\n"),
    "a greater height behind an effect": (
        "G0 Z5\nM3\nG0 Z50\nX0 Y0\nG0 Z1\nG1 Z-1\n", "G0 Z23.0\nM3\nG0 Z50\nX0 Y0\nG0 Z1\nG1 Z-1\n"),
    "a lower height between two effects": (
        "G0 Z5\nM3\nG0 Z1\nM5\nX0 Y0\nG1 Z-1\n", "G0 Z23.0\nM3\nG0 Z23.0\nM5\nX0 Y0\nG0 Z1.0\nG1 Z-1\n"),
    "an increment, of which the end is led to where the place is known": (
        "G0 Z5\nG91 G0 Z2\nG90 X0 Y0\nG1 Z-1\n", "G0 Z23.0\nG91 G0 Z0.0\nG90 X0 Y0\nG0 Z7.0\nG1 Z-1\n"),
    "a slope to where Y is not known": (
        "G0 Z5\nG0 X0 Z2\nG0 Y0\nG1 Z-1\n", "G0 Z23.0\nG0 X0 Z23.0\nG0 Y0\nG0 Z2.0\nG1 Z-1\n"),
    "the same from high enough": (
        "G0 Z25\nG0 X0 Z2\nG0 Y0\nG1 Z-1\n", "G0 Z25\nG0 X0 Z23.0\nG0 Y0\nG0 Z2.0\nG1 Z-1\n"),
}


@pytest.mark.parametrize(("before", "after"), UNKNOWN_PLACE.values(), ids=UNKNOWN_PLACE.keys())
def test_from_an_unknown_place(before: str, after: str) -> None:
    assert became(before, None) == after


ABOVE = {
    "a slope to an end in an expression": (
        "#1=1\nG0 X200 Z[#1+1]\nG0 X0 Z[#1+1]\nG1 Z-1\n", "#1=1\nG0 X200\nG0 X0\nG0 Z[#1+1]\nG1 Z-1\n"),
    "the same away from the wall": (
        "#1=1\nG0 X60 Z[#1+1]\nG0 X0 Z[#1+1]\nG1 Z-1\n", "#1=1\nG0 X60 Z[#1+1]\nG0 X0 Z[#1+1]\nG1 Z-1\n"),
    "down and back": ("G0 X200\nZ5\nX0\nG1 Z-1\n", "G0 X200\nZ23.0\nX0\nG0 Z5.0\nG1 Z-1\n"),
    "a slope and back": ("G0 X200 Z5\nX0\nG1 Z-1\n", "G0 X200 Z23.0\nX0\nG0 Z5.0\nG1 Z-1\n"),
    "a slope alone": ("M3\nG0 X200 Z5\nG1 Z-1\n", "M3\nG0 X200\nG0 Z5\nG1 Z-1\n"),
    "an increment down at the end": ("G91 G0 X200\nG0 Z-5\n", "G91 G0 X200\nG0 Z-5\n"),
}


@pytest.mark.parametrize(("before", "after"), ABOVE.values(), ids=ABOVE.keys())
def test_out_of_a_height_that_is_only_known_to_be_high(before: str, after: str) -> None:
    assert became(UP + before, **HOME) == UP + after


# A tool that is wider below than above may be raised from Z0 on.
UNDERCUT = {
    "free behind the first Z": (LOW + "G0 Z5\nX200\nG1 Z-2\n", LOW + "G0 Z5\nG0 Z23.0\nX200\nG0 Z5.0\nG1 Z-2\n"),
    "just free behind it": (LOW + "G0 Z0\nX200\nG1 Z-2\n", LOW + "G0 Z0\nG0 Z23.0\nX200\nG0 Z0.0\nG1 Z-2\n"),
    "free before it": (
        "G0 Z5\nG1 Z0\nG0 Z5\nX200\nG1 Z-2\n", "G0 Z5\nG1 Z0\nG0 Z23.0\nX200\nG0 Z5.0\nG1 Z-2\n"),
}


@pytest.mark.parametrize(("before", "after"), UNDERCUT.values(), ids=UNDERCUT.keys())
def test_an_undercut_tool(before: str, after: str) -> None:
    assert became(before, room={"rise_from": 0.0}) == after


HIGH_HOMES = {
    "a point on the way that is high enough": (
        "G0 Z5\nG28 X50 Z30\nG0 Z1\nG1 Z-1\n", "G0 Z5\nG28 X50 Z30\nG0 Z1\nG1 Z-1\n"),
    "the same beyond the wall": (
        "G0 Z5\nG28 X150 Z30\nG0 Z1\nG1 Z-1\n", "G0 Z23.0\nG28 X150 Z30\nG0 Z1\nG1 Z-1\n"),
    "with the rise for a way before it": (
        "G0 Z5\nX200\nG28 X50 Z30\nG0 Z1\nG1 Z-1\n", "G0 Z23.0\nX200\nG28 X50 Z30\nG0 Z1\nG1 Z-1\n"),
    "without Z": ("G0 Z5\nG28 X50\nG1 Z-1\n", "G0 Z23.0\nG28 X50\nG0 Z5.0\nG1 Z-1\n"),
    "G80 in force": ("G0 Z5\nG80\nG28 X50\nG1 Z-1\n", "G0 Z23.0\nG80\nG28 X50\nG0 Z5.0\nG80\nG1 Z-1\n"),
    "G80 in force behind a cut, with the slash": (
        "G0 Z5\nG1 Z4\nG80\n/G28 X50\nG1 Z-1\n",
        "G0 Z5\nG1 Z4\nG80\n/G0 Z23.0\n/G80\n/G28 X50\n/G0 Z4.0\n/G80\nG1 Z-1\n"),
    "a way before it, and the way down behind it": (
        "G0 Z5\nX200\nG28 X50\nG1 Z-1\n", "G0 Z23.0\nX200\nG28 X50\nG0 Z5.0\nG1 Z-1\n"),
    "a way home that leads nowhere": (
        "G0 Z5\nX200\nG28 X200\nG0 X0\nZ1\nG1 Z-1\n", "G0 Z23.0\nX200\nG28 X200\nG0 X0\nZ1\nG1 Z-1\n"),
    "with all axes": ("G0 Z5\nX200\nG28\nG0 X0\nZ1\nG1 Z-1\n", "G0 Z23.0\nX200\nG28\nG0 X0\nZ1\nG1 Z-1\n"),
    "by an increment that dips": (
        "G0 Z5\nX50\nG91 G28 X150 Z-2\nG90 G0 Z1\nG1 Z-1\n",
        "G0 Z23.0\nX50\nG0 Z25.0\nG91 G28 X150 Z-2\nG90 G0 Z1\nG1 Z-1\n"),
    "by an increment that dips in the clear": (
        "G0 Z5\nX200\nG91 G28 X10 Z-3\nX0\nG90 G0 Z1\nG1 Z-1\n",
        "G0 Z23.0\nX200\nG91 G28 X10 Z-3\nX0\nG90 G0 Z1\nG1 Z-1\n"),
    "by an increment that rises, behind an effect": (
        "G0 Z5\nX200\nM3\nG91 G28 X-150 Z3\nG90 G0 Z1\nG1 Z-1\n",
        "G0 Z23.0\nX200\nG0 Z5.0\nM3\nG0 Z23.0\nG91 G28 X-150 Z3\nG90 G0 Z1\nG1 Z-1\n"),
    "out of an unknown height": (
        "T1 M6\nG28 X50\nG0 Z1\nG1 Z-1\n", "T1 M6\nG0 Z23.0\nG28 X50\nG0 Z1\nG1 Z-1\n"),
    "out of an unknown height, by an increment of nothing": (
        "T1 M6\nG91 G28 X5 Z0\nG90 G0 X0\nZ1\n", "T1 M6\nG0 Z23.0\nG91 G28 X5 Z0\nG90 G0 X0\nZ1\n"),
    "out of an unknown height, by an increment that rises": (
        "T1 M6\nG91 G28 X5 Z0.5\nG90 G0 X0\nZ1\n", "T1 M6\nG0 Z23.0\nG91 G28 X5 Z0.5\nG90 G0 X0\nZ1\n"),
    "out of an unknown height, by way of one that is said": (
        "T1 M6\nG28 X150 Z30\nG0 X0\nZ1\n", "T1 M6\nG0 Z23.0\nG28 X150 Z30\nG0 X0\nZ1\n"),
    "out of an unknown height, down by an increment at one place": (
        "T1 M6\nG91 G28 Z-2\nG90 G0 X0\nZ1\n", "T1 M6\nG91 G28 Z-2\nG90 G0 X0\nZ1\n"),
    "Z first": ("G0 Z5\nG91 G28 Z0\nG28 X0\nG90 G0 Z1\nG1 Z-1\n", "G0 Z5\nG91 G28 Z0\nG28 X0\nG90 G0 Z1\nG1 Z-1\n"),
}


@pytest.mark.parametrize(("before", "after"), HIGH_HOMES.values(), ids=HIGH_HOMES.keys())
def test_ways_home(before: str, after: str) -> None:
    assert became(before, block_delete="run", **HOME, **SAME) == after
    second = before.replace("G28", "G30")
    assert became(second, block_delete="run", **HOME, **SAME) == after.replace("G28", "G30")


@pytest.mark.parametrize(("home", "down"), [("G91 G28 X0\nG90 G0 X0\n", "G90 "), ("G28 X50\nG0 X0\n", "")])
def test_behind_a_way_home_that_may_take_z_along_nothing_is_known_of_it(home: str, down: str) -> None:
    before = "G0 Z5\nG1 Z4\n" + home + "Z1\nG1 Z-1\n"
    rise = "G0 Z5\nG1 Z4\nG0 Z23.0\n"
    assert became(before, **HOME) == rise + home + "Z1\nG1 Z-1\n"
    first, second = home.splitlines()
    assert became(before, **HOME | IN_DOUBT) == f"{rise}{first}\n{down}G0 Z23.0\nG0 X0\nZ1\nG1 Z-1\n"


# The program stored the home at X200 Y100 Z25 itself.
STORED_HOMES = {
    "Z first": ("G0 Z5\nG91 G28 Z0\nG28 X0\nG90 G0 Z1\nG1 Z-1\n", "G0 Z5\nG91 G28 Z0\nG28 X0\nG90 G0 Z1\nG1 Z-1\n"),
    "behind a way that was raised": (
        "G0 Z5\nX200\nG91 G28 Z0\nG90 X0\nG0 Z1\nG1 Z-1\n", "G0 Z23.0\nX200\nG91 G28 Z0\nG90 X0\nG0 Z1\nG1 Z-1\n"),
    "and a cut at its height": (
        "G0 Z5\nX200\nG91 G28 Z0\nG90 X0\nG1 Z-1\n", "G0 Z23.0\nX200\nG91 G28 Z0\nG90 X0\nG1 Z-1\n"),
    "X alone, which leaves Z where it is": ("G0 Z5\nG28 X50\nG1 Z-1\n", "G0 Z23.0\nG28 X50\nG0 Z5.0\nG1 Z-1\n"),
    "out of an unknown height": (
        "T1 M6\nG91 G28 Z2\nG90 G0 X0\nZ1\nG1 Z-1\n", "T1 M6\nG91 G28 Z2\nG90 G0 X0\nZ1\nG1 Z-1\n"),
}


@pytest.mark.parametrize(("before", "after"), STORED_HOMES.values(), ids=STORED_HOMES.keys())
def test_ways_to_a_stored_home(before: str, after: str) -> None:
    assert became(before, **STORED, **SAME) == after
    second = HOME | {"home2": STORED["home"]}
    assert became(before.replace("G28", "G30"), **second, **SAME) == after.replace("G28", "G30")


def test_with_all_axes_x_alone_leads_to_the_stored_height_too() -> None:
    before = "G0 Z5\nX150\nG28 X150\nG0 X0\nG1 Z-1\n"
    assert became(before, **STORED | {"home_axes": "all"}) == before.replace("Z5", "Z23.0")


def test_without_axes_it_leads_to_the_stored_height_too() -> None:
    before, rules = "G0 Z26\nX150\nG28\nG0 X0\nG1 Z-1\n", HOME | {"home": (D(200), D(100), D(20))}
    assert became(before, **rules) == "G0 Z26\nX150\nG28\nG0 Z23.0\nG0 X0\nG0 Z20.0\nG1 Z-1\n"


@pytest.mark.parametrize("z", [20, 25])
def test_behind_a_stored_home_the_tool_stands_at_its_height(z: int) -> None:
    rules = HOME | {"home": (D(50), D(100), D(z))}
    again, down = ("G0 Z23.0\n", "G0 Z20.0\n") if z == 20 else ("", "")
    assert became("G0 Z26\nX200\nG0 Z24\nX50\nG28 Z24\nG0 X200\nG1 Z-1\n", **rules) == (
        f"G0 Z26\nX200\nG0 Z24\nX50\nG28 Z24\n{again}G0 X200\n{down}G1 Z-1\n")


# The machine's zero lies at X-10 Y-20 Z-50.
MACHINE = {
    "across": ("G0 Z5\nG1 Z4\nG53 G0 X210\nG1 Z-1\n", "G0 Z5\nG1 Z4\nG0 Z23.0\nG53 G0 X210\nG0 Z4.0\nG1 Z-1\n"),
    "a slope up": ("G0 Z5\nG53 G0 X210 Z80\nG1 Z-1\n", "G0 Z23.0\nG53 G0 X210 Z80\nG1 Z-1\n"),
    "up, and across": ("G0 Z5\nG53 G0 Z80\nX200\nG1 Z-1\n", "G0 Z5\nG53 G0 Z80\nX200\nG1 Z-1\n"),
    "down behind a way that was raised": (
        "G0 Z5\nX200\nG53 G0 Z60\nG1 Z-1\n", "G0 Z23.0\nX200\nG53 G0 Z60\nG1 Z-1\n"),
    "across behind a way that was raised": (
        "G0 Z5\nX200\nG53 G0 X10\nG1 Z-1\n", "G0 Z23.0\nX200\nG53 G0 X10\nG0 Z5.0\nG1 Z-1\n"),
    "out of an unknown height": (
        "T1 M6\nG53 G0 X210\nG0 Z1\nG1 Z-1\n", "T1 M6\nG0 Z23.0\nG53 G0 X210\nG0 Z1\nG1 Z-1\n"),
}


@pytest.mark.parametrize(("before", "after"), MACHINE.values(), ids=MACHINE.keys())
def test_machine_coordinates(before: str, after: str) -> None:
    assert became(before, **ZERO, **SAME) == after


# Round the end of the wall, where the machine ends at 20 mm.
CORNERS = [(60.0, 300.0), (140.0, 300.0)]
ROUND = "G0 X60.0 Y300.0\nG0 X140.0 Y300.0\n"
CUT = "G0 Z5\nG1 Z4\n"
DETOURS = {
    "from a retract of the program's own": (
        {}, KNOWN, "G0 Z5\nX200\nG1 Z-1\n", "G0 Z20.0\n" + ROUND[3:] + "G0 X200.0 Y100.0\nG0 Z5.0\nG1 Z-1\n", (20.0,)),
    "a digit below what it needs": (
        {"ceiling": 22.9}, KNOWN, "G0 Z5\nX200\nG1 Z-1\n",
        "G0 Z22.9\n" + ROUND[3:] + "G0 X200.0 Y100.0\nG0 Z5.0\nG1 Z-1\n", (22.9,)),
    "just as high as it needs, which is a lift": (
        {"ceiling": 23.0}, KNOWN, "G0 Z5\nX200\nG1 Z-1\n", "G0 Z23.0\nX200\nG0 Z5.0\nG1 Z-1\n", ()),
    "a slope down": (
        {}, KNOWN, CUT + "G0 X200 Y100 Z2\nG1 Z-1\n",
        CUT + "G0 Z20.0\n" + ROUND + "G0 X200 Y100\nG0 Z2\nG1 Z-1\n", (20.0,)),
    "a slope up": (
        {}, KNOWN, CUT + "G0 X200 Y90 Z10\nG1 Z-1\n",
        CUT + "G0 Z20.0\n" + ROUND + "G0 X200 Y90\nG0 Z10\nG1 Z-1\n", (20.0,)),
    "increments": (
        {}, KNOWN, CUT + "G91 G0 X200\nG90 G1 Z-1\n",
        CUT + "G91 G0 Z16.0\nG0 X60.0 Y200.0\nG0 X80.0 Y0.0\nG0 X60.0 Y-200.0\nG0 Z-16.0\nG90 G1 Z-1\n", (20.0,)),
    "increments on a slope": (
        {}, KNOWN, CUT + "G91 G0 X200 Z2\nG90 G1 Z-1\n",
        CUT + "G91 G0 Z16.0\nG0 X60.0 Y200.0\nG0 X80.0 Y0.0\nG0 X60.0 Y-200.0\nG0 Z-14.0\nG90 G1 Z-1\n", (20.0,)),
    "with all that a block can carry": (
        {}, KNOWN, CUT + "N4 G0 Y90 X200 S100 M3 M0 (round)\nG1 Z-1\n",
        CUT + "N4 G0 Z20.0 S100 M3 (round)\n" + ROUND + "G0 X200 Y90\nG0 Z4.0 M0\nG1 Z-1\n", (20.0,)),
    "inches: 20 mm are 0.78740 inch": (
        {}, KNOWN, "G20\nG0 Z.2\nG1 Z.1 F9\nG0 X8\nG1 Z-.1\n",
        "G20\nG0 Z.2\nG1 Z.1 F9\nG0 Z0.7874\nG0 X2.3622047 Y11.8110236\nG0 X5.511811 Y11.8110236\nG0 X8.0 Y3.9370079\n"
        "G0 Z0.1\nG1 Z-.1\n", (19.99996,)),
    "from above the ceiling, at the height where the tool is": (
        {}, (0, 100, 21), "G0 X200 Y100\nG1 Z-1\n", ROUND + "G0 X200 Y100\nG1 Z-1\n", (21.0,)),
    "a slope from there": (
        {}, (0, 100, 21), "G0 X200 Y100 Z2\nG1 Z-1\n", ROUND + "G0 X200 Y100\nG0 Z2\nG1 Z-1\n", (21.0,)),
    "straight across from high enough above the ceiling": (
        {}, KNOWN, "G0 X200 Y100 Z2\nG1 Z-1\n", "G0 X200 Y100\nG0 Z2\nG1 Z-1\n", ()),
    "a ceiling where the tool stands": (
        {"ceiling": 4.0}, KNOWN, CUT + "G0 X200\nG1 Z-1\n", CUT + ROUND + "G0 X200.0 Y100.0\nG1 Z-1\n", (4.0,)),
    "to a hole": (
        {}, KNOWN, "G0 Z5\nG98 G81 X20 Z-5 R2\nX200\nG80\nG1 Z-2\n",
        "G0 Z5\nG98 G81 X20 Z-5 R2\nG0 Z20.0\n" + ROUND + "G0 X200.0 Y100.0\nG0 Z5.0\n"
        "G98 G81 X200.0 Y100.0 Z-5.0 R2.0\nG80\nG1 Z-2\n", (20.0,)),
}


@pytest.mark.parametrize(("more", "start", "before", "after", "at"), DETOURS.values(), ids=DETOURS.keys())
def test_ways_round(more: dict[str, float], start: tuple[float, float, float], before: str, after: str,
                    at: tuple[float, ...]) -> None:
    asked = []

    def way_round(move: Move, height: float) -> list[tuple[float, float]]:
        asked.append(height)
        return CORNERS

    room: dict[str, Any] = {"ceiling": 20.0, "way_round": way_round} | more
    assert became(before, start, room) == after
    assert tuple(asked) == at
    # Without a way the same is refused, unless it needs none.
    for gone, said in ((lambda move, height: None, "and there is no way round; "), (None, "and the machine ends at ")):
        planned = Planned(before, limits(**room | {"way_round": gone}), start)
        assert (said in planned.said) == bool(at)


FASTER = {
    "at its own height": (
        CUT + "G0 X200\nG1 Z-1\n", CUT + ROUND + "G0 X200.0 Y100.0\nG1 Z-1\n", [(4.0, 23.0)]),
    "not behind a retract that the run raises": ("G0 Z5\nX200\nG1 Z-1\n", "G0 Z23.0\nX200\nG0 Z5.0\nG1 Z-1\n", []),
    "not on a slope": (CUT + "G0 X200 Z6\nG1 Z-1\n", CUT + "G0 Z23.0\nG0 X200\nG0 Z6\nG1 Z-1\n", []),
    "not home": ("G0 Z5\nG28 X50\nG1 Z-1\n", "G0 Z23.0\nG28 X50\nG0 Z5.0\nG1 Z-1\n", []),
}


@pytest.mark.parametrize("ceiling", [60.0, inf])
@pytest.mark.parametrize(("before", "after", "asks"), FASTER.values(), ids=FASTER.keys())
def test_ways_round_that_are_faster(before: str, after: str, asks: list[tuple[float, float]], ceiling: float) -> None:
    asked = []

    def faster(move: Move, height: float, need: float) -> list[tuple[float, float]]:
        asked.append((height, need))
        return CORNERS

    assert became(before, room={"ceiling": ceiling, "faster_round": faster}, **HOME) == after
    assert asked == asks
    slower = became(before, room={"ceiling": ceiling, "faster_round": lambda move, height, need: None}, **HOME)
    assert slower == (CUT + "G0 Z23.0\nG0 X200\nG0 Z4.0\nG1 Z-1\n" if asks else after)


# What the log tells of changed blocks: (line, kind, programmed height, height now, the same from the program's zero,
# rapids of the block), by hand. -----------------------------------------------------------------------------------
TOLD: dict[str, tuple[str, dict[str, Any], list[tuple[int, str, float | None, float | None, float, int]]]] = {
    "taken apart": (LOW + "G0 X200\nG1 Z-1\n", {}, [(3, "split", -1.0, 23.0, 23.0, 1)]),
    "down with the block": (LOW + "G0 X200 Z2\nG1 Z-1\n", {}, [(3, "split", -1.0, 23.0, 23.0, 1)]),
    "a word, and the way down behind it": (
        LOW + "G0 Z5\nX200\nX210\nG1 Z-1\n", {}, [(3, "lift", 5.0, 23.0, 23.0, 1), (5, "split", 5.0, 23.0, 23.0, 1)]),
    "a word, and a way down of the program's own": (
        "G0 Z5\nX200\nX300 Z4\nG1 Z-2\n", {}, [(1, "lift", 5.0, 23.0, 23.0, 1)]),
    "a zero 7 mm higher": (
        "G55\nG0 Z5\nG92 Z6\nG1 Z-1\nG0 X200\nG1 Z-1\n", SHIFTED, [(5, "split", 6.0, 23.0, 16.0, 1)]),
    "from above everything": (UP + "G0 X200 Z5\nG1 Z-1\n", HOME, [(3, "split", 5.0, None, -inf, 1)]),
    "from above everything, and back": (
        UP + "G0 X200 Z5\nX0\nG1 Z-1\n", HOME, [(3, "lift", 5.0, 23.0, 23.0, 1), (4, "split", 5.0, 23.0, 23.0, 1)]),
    "out of an unknown height": ("T1 M6\nG0 X200\nZ1\nG1 Z-1\n", SAME, [(2, "split", None, 23.0, 23.0, 1)]),
    "home": (
        "G0 Z5\nG28 X50\nG1 Z-1\n", HOME, [(1, "lift", 5.0, 23.0, 23.0, 1), (2, "split", 5.0, 23.0, 23.0, 2)]),
    "home in doubt": (
        "G0 Z5\nG28 X50\nG0 X0\nG0 Z1\nG1 Z-1\n", HOME | IN_DOUBT,
        [(1, "lift", 5.0, 23.0, 23.0, 1), (3, "split", None, 23.0, 23.0, 1)]),
    "home with Z": ("G0 Z5\nG91 G28 Z0 X0\nG90 G0 Z1\nG1 Z-1\n", HOME, [(1, "lift", 5.0, 23.0, 23.0, 1)]),
    "machine coordinates": (
        "G0 Z5\nX200\nG53 G0 X10\nG1 Z-1\n", ZERO, [(1, "lift", 5.0, 23.0, 23.0, 1), (3, "split", 5.0, 23.0, 23.0, 1)]),
    "between holes from the initial level": (
        "G0 Z5\nG98 G81 X20 Z-5 R2\nX200\nG80\nG1 Z-2\n", {}, [(3, "split", 5.0, 23.0, 23.0, 3)]),
    "between holes from the R level": (
        "G0 Z5\nG99 G81 X20 Z-5 R2\nX200\nG80\nG1 Z-2\n", {}, [(3, "split", 2.0, 23.0, 23.0, 2)]),
}


@pytest.mark.parametrize(("program", "rules", "told"), TOLD.values(), ids=TOLD.keys())
def test_what_is_told(program: str, rules: dict[str, Any],
                      told: list[tuple[int, str, float | None, float | None, float, int]]) -> None:
    planned = Planned(program, limits(), KNOWN, **rules)
    assert planned.told == told
    assert all(draft.obstacles == {0} for draft in planned.drafts.values())


def test_what_is_told_of_a_way_round() -> None:
    room = limits(ceiling=20.0, way_round=lambda move, height: CORNERS)
    told = [(1, "lift", 5.0, 20.0, 20.0, 1), (2, "detour", 5.0, 20.0, 20.0, 1)]
    assert Planned("G0 Z5\nX200\nG1 Z-1\n", room).told == told


# What is refused: (program, start, limits, rules, line, what is said) ---------------------------------------------

EARLY = ("3", "its way comes down too early, and its block must not be taken apart; put the Z move on a line of"
         " its own,"
         " after the move in X and Y")
STORES = ("3", "it leads home to a height that the program stored itself, and comes down on its way; go to that place"
          " with G0 X Y at a height that is clear, and only then home")
FIXED = ("3", "its increment cannot be changed; write it as absolute distances (G90)")
PLAIN = ("3", "its Z word is not a plain number; write the height as a number")
WIDE = ("3", "its tool is wider below than above and stands in the material, where it must not be raised; raise it"
        " first")
NO_LENGTH = ("4", "no tool length offset is in force here, so no height can be written; put G43 and the tool's"
             " number as"
             " H before it, or " + TOP)
MORE = ("3", "its block carries more than its move and must not be taken apart; put the spindle, tool and stop words on"
        " a line of their own")
SIDE = ("3", "it runs under cutter compensation, where nothing may be put in; raise the traverse in the program,"
        " or move"
        " the obstacle")
NO_WAY = ("3", "it needs a height of 23 mm, the machine ends at 20 mm, and there is no way round; lower or move the"
          " obstacle")
LOW_ROOM: dict[str, Any] = {"ceiling": 20.0, "way_round": lambda move, height: CORNERS}
UNDER: dict[str, Any] = {"rise_from": 0.0, "rise_advice": "raise it first"}
REFUSED: dict[str, tuple[str, Any, dict[str, Any], dict[str, Any], int, tuple[str, str]]] = {
    "an increment out of an unknown height that was raised": (
        "G0 X0 Y0\nG91 G0 Z5\n", None, {}, {}, 2, FIXED),
    "the same height again in an expression": (
        "#1=5\nG0 Z5\nM3\nG0 Z[#1]\nX0 Y0\nG1 Z-1\n", None, {}, {}, 4, PLAIN),
    "an increment in an expression behind an effect": (
        "#1=5\nG0 Z5\nM3\nG91 G0 Z[#1]\nG90 X0 Y0\nG1 Z-1\n", None, {}, {}, 4, PLAIN),
    "down into the wall in an expression": ("#1=5\nG0 X100\nG0 Z[#1]\nG0 X200\nG1 Z-1\n", KNOWN, {}, {}, 3, PLAIN),
    "an increment in an expression, with a stop": (
        "#1=1\nG0 Z5\nX200\nG91 Z[#1] M1\nG1 Z-1\n", KNOWN, {}, {}, 4, FIXED),
    "no units before it": (
        "N1 G21 G90 G28 X0 Y0\nG0 Z1\n", None, {}, {"starts_in": ("G17", "F100"), **HOME}, 1,
        ("4", "units and distance mode are not known before it; add them to program.starts_in")),
    "a slope by an increment from above everything": (
        "G91 G28 Z0\nG0 X200 Z-5\n", KNOWN, {}, HOME, 2, ("4", "its end is at a height that is not known; " + TOP)),
    "a tool in the material": (LOW + "G0 X200\nG1 Z-2\n", KNOWN, UNDER, {}, 3, WIDE),
    "still in the material": (LOW + "G0 Z-0.5\nX200\nG1 Z-2\n", KNOWN, UNDER, {}, 3, WIDE),
    "out of the material on a slope": (LOW + "G0 X10 Z5\nX200\nG1 Z-2\n", KNOWN, UNDER, {}, 3, WIDE),
    "out of the material on a slope over the wall": (LOW + "G0 X200 Z50\nG1 Z-2\n", KNOWN, UNDER, {}, 3, WIDE),
    "perhaps in the material": ("G0 Z5\nM3\nG0 X0 Y0\nG1 Z-2\n", None, UNDER, {}, 1, WIDE),
    "home by way of a point beyond the wall that is too low": (
        "G0 Z25\nG28 X150 Z5\nG0 Z1\n", KNOWN, {}, HOME, 2, EARLY),
    "G53 down over the wall": ("G0 Z5\nG53 G0 X210 Z60\n", KNOWN, {}, ZERO, 2, EARLY),
    "G53 down over the wall from high enough": ("G53 G0 X210 Z60\n", KNOWN, {}, ZERO, 1, EARLY),
    "an effect before the way home": ("G0 Z5\nG1 Z4\nM5 G28 X50\nG1 Z-1\n", KNOWN, {}, HOME, 3, MORE),
    "to a stored home": ("G0 Z5\nG1 Z4\nG91 G28 X150 Z1\n", KNOWN, {}, STORED, 3, STORES),
    "to a stored home perhaps": (
        "G0 Z5\nG28 X50\nG0 Z1\n", KNOWN, {}, STORED | IN_DOUBT, 2, STORES),
    "to a stored home by X, with all axes": (
        "G0 Z5\nG28 X50\nG0 Z1\n", KNOWN, {}, STORED | {"home_axes": "all"}, 2, STORES),
    "to a stored home with all axes": ("G0 Z5\nG1 Z4\nG28\n", KNOWN, {}, STORED, 3, STORES),
    "to a stored home perhaps, from a height that was raised": (
        "G0 Z5\nX200\nG91 G28 Z0\nG90 G0 X0\n", KNOWN, {}, STORED | IN_DOUBT, 3, STORES),
    "by way of a point at an unknown height": (
        "T1 M6\nG91 G28 X5 Z-2\nG90 G0 X0\nZ1\n", KNOWN, {}, HOME | SAME, 2,
        ("4", "the point by way of which it goes home lies at a height that is not known; name that height in G90, or"
         " leave it out with Z0 in G91")),
    "no tool length": ("T1 M6\nG0 X200\nG43 H1\nG0 Z1\n", KNOWN, {}, SAME, 2, NO_LENGTH),
    "no tool length any more": ("G43 H1\nG0 Z5\nG49\nG0 X200\nG43 H1\nG0 Z1\n", KNOWN, {}, {}, 4, NO_LENGTH),
    "cutter compensation that begins before the place is known": (
        "G0 Z5\nG41 D1\nG0 X0 Y0\nG1 Z-1\n", None, {}, {}, 3,
        ("3", "nothing may be put in behind it; raise the traverse in the program itself")),
    "out of an unknown place under a low ceiling": (
        "G0 X0 Y100\nG0 Z1\n", None, LOW_ROOM, {}, 1, NO_WAY),
    "out of an unknown height under a low ceiling": (
        "T1 M6\nG0 X200 Y100\nG0 Z1\n", KNOWN, LOW_ROOM, SAME, 2, NO_WAY),
    "home under a low ceiling": (
        "G0 Z5\nG28 X50\nG1 Z-1\n", KNOWN, LOW_ROOM, HOME, 2,
        ("3", "it needs a height of 23 mm, and the machine ends at 20 mm; lower or move the obstacle; or go round it"
         " with G0 X Y in blocks before this one")),
    "a slope by an increment from above everything, under a low ceiling": (
        "G91 G28 Z0\nG0 X200 Z-4\n", KNOWN, LOW_ROOM, HOME, 2,
        ("4", "its end is at a height that is not known; " + TOP)),
    "a tool in the material under a low ceiling": (
        LOW + "G0 X200\nG1 Z-2\n", KNOWN, UNDER | LOW_ROOM, {}, 3, WIDE),
    "cutter compensation under a low ceiling": (
        "G41 D1\nG1 X10 Z2\nG0 X200\nG40\nG0 Z9\n", KNOWN, LOW_ROOM, {}, 3, SIDE),
    "cutter compensation": ("G41 D1\nG1 X10 Z2\nG0 X200\nG40\nG0 Z9\n", KNOWN, {}, {}, 3, SIDE),
}


@pytest.mark.parametrize(("program", "start", "room", "rules", "line", "said"), REFUSED.values(), ids=REFUSED.keys())
def test_refused(program: str, start: Any, room: dict[str, Any], rules: dict[str, Any], line: int,
                 said: tuple[str, str]) -> None:
    assert Planned(program, limits(**room), start, **rules).said == f"{said[0]} line {line}: {said[1]}"


def test_a_way_to_a_stored_home_that_was_not_raised_may_be_in_doubt() -> None:
    program = "G0 Z25\nX200\nG91 G28 Z0\nG90 G0 X0\nG1 Z-1\n"
    assert became(program, **STORED | IN_DOUBT) == program
