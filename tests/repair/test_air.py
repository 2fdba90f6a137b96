"""Traverses at feed: which blocks are one, and how they are lifted; by hand."""

from __future__ import annotations

from decimal import Decimal

import pytest

from gcode_guard.program.moves import Step
from gcode_guard.repair.air import is_air_feed, lift_air_feed
from gcode_guard.repair.write import Style
from tests.language.reading import read

D = Decimal


def step(program: str, **rules: object) -> Step:
    return read(program, (0, 0, 5), **rules).steps[-1]


@pytest.mark.parametrize(
    ("program", "air"),
    [
        ("G1 X200 F900\n", True),
        ("G1 X200 Y90 S100 M8 F900\n", True),
        ("G93\nG1 X200 F2\n", False),  # the time of the whole way is said: three pieces would take three times as long
        ("G53 G1 X200 F900\n", False),
        ("G1 X200 Z6 F900\n", False),  # not level
        ("G1 Z6 F900\n", False),
        ("G1 Z5 F900\n", False),
        ("G0 X200\n", False),
        ("G2 X200 I100 F900\n", False),
        ("G38.2 X200 F100\n", False),
        ("G98 G81 X200 Y0 Z1 R3 F100\n", False),
        ("F900\n", False),
        ("G41 D1\nG1 X10\nG1 X200 F900\n", False),  # nothing may be put in under cutter compensation
    ],
)
def test_a_level_straight_cut_alone_is_a_traverse_at_feed(program: str, air: bool) -> None:
    assert is_air_feed(step(program, zero=(D(0), D(0), D(0))), 5.0) == air


def test_it_lies_wholly_at_or_above_the_floor() -> None:
    of = step("G1 X200 F900\n")
    assert is_air_feed(of, 5.0) and is_air_feed(of, 4.0) and is_air_feed(of, -5.0)
    assert not is_air_feed(of, 5.001)


@pytest.mark.parametrize(
    ("program", "style", "pieces"),
    [
        ("N5 G1 X200 Y90 F900 M8 (over)\n", Style(),
         ["N5 G1 Z23.0 F900 M8 (over)", "G1 X200 Y90 F900", "G1 Z5.0"]),
        ("/G1 X200 F900\n", Style(), ["/G1 Z23.0 F900", "/G1 X200 F900", "/G1 Z5.0"]),
        ("g1y90x200f900\n", Style("g00", "", 3), ["g1z23.000f900", "g01x200y90f900", "g01z5.000"]),
        ("G91 G1 X200 F900\n", Style("G00"), ["G91 G1 Z18.0 F900", "G01 X200 F900", "G01 Z-18.0"]),
        ("G1 X200 F900 M0\n", Style(), ["G1 Z23.0 F900", "G1 X200 F900", "G1 Z5.0 M0"]),
        ("G1 X200 F0900.50\n", Style(), ["G1 Z23.0 F0900.50", "G1 X200 F0900.50", "G1 Z5.0"]),
        ("G1 X200 F900\nY50 #1=3\n", Style(), ["Z23.0", "G1 Y50 F900", "G1 Z5.0 #1=3"]),
    ],
)
def test_up_across_and_down_at_its_own_feed(program: str, style: Style, pieces: list[str]) -> None:
    of = step(program, block_delete="run")
    draft = lift_air_feed(of, 23.0, style)
    assert draft.own == pieces
    assert (draft.block, draft.moves) == (of.block, [of.moves[0]])
    assert (draft.programmed, draft.level) == (5.0, 23.0)


def test_a_feed_in_inches_is_said_in_inches_where_it_is_carried_over() -> None:
    draft = lift_air_feed(step("G20 G1 X2 F35.5\nX8\n"), 25.4, Style())
    assert draft.own == ["Z1.0", "G1 X8 F35.5", "G1 Z0.1968504"]


def test_a_height_of_a_fraction_is_rounded_up() -> None:
    draft = lift_air_feed(step("G1 X200 F900\n"), 23.0001, Style())
    assert draft.own is not None and draft.own[0] == "G1 Z23.001 F900" and draft.level == 23.001
