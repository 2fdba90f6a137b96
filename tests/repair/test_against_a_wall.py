"""How a run is planned, without a setup and without geometry: programs before and after, and what is told.

The wall of wall.py: between X72 and X128 a rapid must stay above 23 mm. The tool starts at X0 Y100 Z30.
"""

from __future__ import annotations

from math import inf
from typing import Any

import pytest

from tests.repair.wall import HOME, IN_DOUBT, KNOWN, LOW, SAME, SHIFTED, UP, ZERO, Planned, became, limits

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
    "a Z word before the one that the way across stands at": (
        "G0 Z5\nX50\nZ6\nX200\nG1 Z-1\n", "G0 Z5\nX50\nZ23.0\nX200\nG0 Z6.0\nG1 Z-1\n"),
    "close over the wall, then into it, and on": (
        "G0 X100\nG0 Z21\nZ10\nX200\nG1 Z-1\n", "G0 X100\nG0 Z21\nZ23.0\nX200\nG0 Z10.0\nG1 Z-1\n"),
    "an end within the wall, which no lift cures": ("G0 X100\nG0 Z1\nG1 Z-1\n", "G0 X100\nG0 Z1\nG1 Z-1\n"),
    "up to just what it needs, by its own word": (
        LOW + "G0 X200 Z23\nX0\nG1 Z-1\n", LOW + "G0 Z23\nG0 X200\nX0\nG1 Z-1\n"),
    "over the wall to an end in an expression, with a setting": (
        "#1=5\nG0 X200 Z[#1] #2=[#1+1] (over)\nX0\nG1 Z-1\n",
        "#1=5\nG0 X200 #2=[#1+1] (over)\nX0\nG0 Z5.0\nG1 Z-1\n"),
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
    "in an expression on a slope": (
        "#1=1\nG0 Z5\nX200\nX300\nG91 X5 Z[#1]\nG1 Z-1\n",
        "#1=1\nG0 Z23.0\nX200\nX300\nG0 Z5.0\nG91 X5 Z[#1]\nG1 Z-1\n"),
    "in an expression, behind a word that was raised and a setting": (
        "#1=1\nG0 Z25\nX200 Z20 #2=[#1+1] (over)\nG91 Z[#1]\nG1 Z-1\n",
        "#1=1\nG0 Z25\nX200 Z23.0 (over)\nG0 Z20.0 #2=[#1+1]\nG91 Z[#1]\nG1 Z-1\n"),
    "in an expression, behind a height in an expression and a setting": (
        "#1=20\nG0 Z25\nX200 Z[#1] #2=[#1+1] ; MAX\nG91 Z[#1]\nG1 Z-1\n",
        "#1=20\nG0 Z25\nX200 ; MAX\nG0 Z20.0 #2=[#1+1]\nG91 Z[#1]\nG1 Z-1\n"),
    "in an expression, behind a block that was taken apart and has settings": (
        "#1=1\nG0 Z5\nX50\nG1 Z20\nG0 X200 Z20 Y90 #2=5 #3=6\nG91 Z[#1]\nG1 Z-1\n",
        "#1=1\nG0 Z5\nX50\nG1 Z20\nG0 Z23.0\nG0 X200 Y90\nG0 Z20.0 #2=5 #3=6\nG91 Z[#1]\nG1 Z-1\n"),
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
    "before a hole out of a height that was not known": (
        "T1 M6\nG0 X200\nG99 G81 X210 Z-5 R2\nG80\nG1 Z-2\n",
        "T1 M6\nG0 Z23.0\nG0 X200\nG99 G81 X210 Z-5 R2\nG80\nG1 Z-2\n"),
    "to a hole out of a height that is not known": (
        "T1 M6\nG99 G81 X200 Z-5 R2\nG80\nG1 Z-2\n",
        "T1 M6\nG0 Z23.0\nG0 X200.0 Y100.0\nG0 Z2.0\nG99 G81 X200 Z-5 R2\nG80\nG1 Z-2\n"),
    "to a hole back over the wall, from below its R level": (
        "G1 Z1\nG0 X200\nG98 G81 X0 Z-5 R2\nG80\n",
        "G1 Z1\nG0 Z23.0\nG0 X200\nG0 X0.0 Y100.0\nG0 Z2.0\nG98 G81 X0 Z-5 R2\nG80\n"),
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
    assert became(before, block_delete="run", **SHIFTED, **SAME) == after


def test_a_slope_that_is_clear_is_so_from_higher_up_too() -> None:
    # By the heights at its ends alone this slope would have to be taken apart.
    room = {"level": lambda move: 40.0}
    assert became("G0 Z5\nX200\nX300 Z40\nG1 Z-1\n", room=room) == "G0 Z23.0\nX200\nX300 Z40\nG1 Z-1\n"


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
    "Y alone, and then X": (
        "G0 Z5\nY0\nM3\nX200\nG1 Z-1\n", "G0 Z23.0\nY0\nM3\nX200\nG0 Z5.0\nG1 Z-1\n"),
    "Y alone, and then a slope": (
        "G0 Z5\nY0\nM3\nG0 X200 Z1\nG1 Z-1\n", "G0 Z23.0\nY0\nM3\nG0 X200\nG0 Z1\nG1 Z-1\n"),
    "X alone known, and the same height again": (
        "G0 Z5\nX0\nM3\nG0 Z5\nY0\nG1 Z-1\n", "G0 Z23.0\nX0\nM3\nG0 Z23.0\nY0\nG0 Z5.0\nG1 Z-1\n"),
    "Y alone known, and the same height again": (
        "G0 Z5\nY0\nM3\nG0 Z5\nX0\nG1 Z-1\n", "G0 Z23.0\nY0\nM3\nG0 Z23.0\nX0\nG0 Z5.0\nG1 Z-1\n"),
    "increments across": ("G0 X0 Y0\nG91 X200\nG90 G0 Z1\n", "G0 Z23.0\nG0 X0 Y0\nG91 X200\nG90 G0 Z1\n"),
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
    "beyond the wall, and a slope there": (
        "#1=1\nG0 X200 Z[#1+1]\nG0 X210 Z[#1+1]\nG1 Z-1\n", "#1=1\nG0 X200\nG0 X210 Z[#1+1]\nG1 Z-1\n"),
    "beyond the wall, and a slope back round its end": (
        "#1=1\nG0 X200 Y300 Z[#1+1]\nG0 X0 Z[#1+1]\nG1 Z-1\n", "#1=1\nG0 X200 Y300\nG0 X0 Z[#1+1]\nG1 Z-1\n"),
    "down and back": ("G0 X200\nZ5\nX0\nG1 Z-1\n", "G0 X200\nZ23.0\nX0\nG0 Z5.0\nG1 Z-1\n"),
    "a slope and back": ("G0 X200 Z5\nX0\nG1 Z-1\n", "G0 X200 Z23.0\nX0\nG0 Z5.0\nG1 Z-1\n"),
    "a slope alone": ("M3\nG0 X200 Z5\nG1 Z-1\n", "M3\nG0 X200\nG0 Z5\nG1 Z-1\n"),
    "an increment down at the end": ("G91 G0 X200\nG0 Z-5\n", "G91 G0 X200\nG0 Z-5\n"),
}


@pytest.mark.parametrize(("before", "after"), ABOVE.values(), ids=ABOVE.keys())
def test_out_of_a_height_that_is_only_known_to_be_high(before: str, after: str) -> None:
    assert became(UP + before, **HOME) == UP + after


# Behind a hole, where nothing said whether the cycle returns to its initial level (Z5) or to its R level (Z2).
EITHER = "G0 Z5\nG81 X20 Z-5 R2\nG80\n"
EITHER_LEVEL = {
    "away from the wall": ("G0 X30\nG1 Z-1\n", "G0 X30\nG1 Z-1\n"),
    "over the wall": ("G0 X200\nG1 Z-1\n", "G0 Z23.0\nG0 X200\nG0 Z5.0\nG1 Z-1\n"),
    "away from the wall, behind an effect": ("M3\nG0 X30\nG1 Z-1\n", "M3\nG0 X30\nG1 Z-1\n"),
    "over the wall and back": ("G0 X200\nX0\nG1 Z-1\n", "G0 Z23.0\nG0 X200\nX0\nG0 Z5.0\nG1 Z-1\n"),
    "one behind the other": ("G0 X30\nX200\nG1 Z-1\n", "G0 X30\nG0 Z23.0\nX200\nG0 Z5.0\nG1 Z-1\n"),
    "a slope and back": ("G0 X200 Z4\nX0\nG1 Z-1\n", "G0 Z23.0\nG0 X200\nX0\nG0 Z4.0\nG1 Z-1\n"),
    "home": ("G28 X50\nG1 Z-1\n", "G0 Z23.0\nG80\nG28 X50\nG0 Z5.0\nG80\nG1 Z-1\n"),
    "home away from the wall": ("G28 X30 Z40\nG0 Z1\nG1 Z-1\n", "G28 X30 Z40\nG0 Z1\nG1 Z-1\n"),
    "machine coordinates": ("G53 G0 X210\nG1 Z-1\n", "G0 Z23.0\nG53 G0 X210\nG0 Z5.0\nG1 Z-1\n"),
    "machine coordinates away from the wall": ("G53 G0 X40\nG1 Z-1\n", "G53 G0 X40\nG1 Z-1\n"),
}


@pytest.mark.parametrize(("before", "after"), EITHER_LEVEL.values(), ids=EITHER_LEVEL.keys())
def test_where_a_cycle_may_have_left_the_tool_at_either_level(before: str, after: str) -> None:
    assert became(EITHER + before, **HOME, **ZERO) == EITHER + after


def test_a_way_home_that_only_the_r_level_is_too_low_for() -> None:
    """From Z30 it would be clear, from Z2 not; to the Z40 of its own both are, and that stays."""
    before = "G0 Z30\nG81 X20 Z-5 R2\nG80\n"
    after = before + "G0 Z30.0\nG80\nG28 X150 Z40\nG0 Z1\nG1 Z-1\n"
    assert became(before + "G28 X150 Z40\nG0 Z1\nG1 Z-1\n", **HOME) == after


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
    "over the wall to an end in an expression, and back": (
        UP + "#1=1\nG0 X200 Z[#1]\nX0\nG1 Z-1\n", HOME,
        [(4, "split", 1.0, None, -inf, 1), (5, "split", 1.0, None, -inf, 1)]),
    "machine coordinates, across and then down": (
        "G53 G0 X210 Z60\nG1 Z-1\n", ZERO, [(1, "split", 10.0, 30.0, 30.0, 1)]),
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


def test_what_is_told_of_a_height_said_again() -> None:
    told = Planned("G0 Z5\nM3\nG0 Z6\nM5\nG0 Z6\nX0 Y0\nG1 Z-1\n", limits(), None).told
    assert [(line, programmed, level) for line, _, programmed, level, *_ in told] == [
        (1, 5.0, 23.0), (3, 6.0, 23.0), (5, 6.0, 23.0), (6, 6.0, 23.0)]
