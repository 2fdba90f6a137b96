"""What is refused at the wall of wall.py, to the word."""

from __future__ import annotations

from math import inf
from typing import Any

import pytest

from tests.repair.wall import CORNERS, HOME, IN_DOUBT, KNOWN, LOW, SAME, STORED, TOP, ZERO, Planned, limits

ONTO = ("3", "the tool must stand higher before it, and would come down by it where that is not clear; take its Z"
        " out, or go to a place in X and Y that is clear before it")
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
ADDED = ("4", "under G91 no height can be written out of one that is not known; " + TOP)
ADDS = ("4", "an increment starts at a height that is not known; " + TOP)
UNDER: dict[str, Any] = {"rise_from": 0.0, "rise_advice": "raise it first"}
REFUSED: dict[str, tuple[str, Any, dict[str, Any], dict[str, Any], int, tuple[str, str]]] = {
    "an increment out of an unknown height that was raised": (
        "G0 X0 Y0\nG91 G0 Z5\n", None, {}, {}, 2, FIXED),
    "an increment on a slope out of an unknown height that was raised": (
        "G0 X200 Y0\nG91 X5 Z3\nG90 G0 Z1\n", None, {}, {}, 2, FIXED),
    "increments across out of an unknown height": ("T1 M6\nG91 G0 X200\nG90 G0 Z1\n", KNOWN, {}, SAME, 2, ADDED),
    "increments on a slope out of an unknown height": (
        "T1 M6\nG91 G0 X200 Z5\nG90 G0 Z1\n", KNOWN, {}, SAME, 2, ADDED),
    "increments down from above everything, and back": (
        "G91 G28 Z0\nG0 X200 Z-5\nX-200\n", KNOWN, {}, HOME, 2, ADDED),
    "an increment down a slope, behind an end in an expression that was passed over high": (
        "G91 G28 Z0\nG90\n#1=1\nG0 X200 Z[#1+1]\nG91 X-200 Z1\nG90 G1 Z-1\n", KNOWN, {}, HOME, 5, ADDS),
    "an increment across there, at the end of the run": (
        "G91 G28 Z0\nG90\n#1=1\nG0 X200 Z[#1+1]\nG91 X-200\nG90 G1 Z-1\n", KNOWN, {}, HOME, 5, ADDS),
    "home from a point before the wall that is worked out": ("G28 X50 Z[5]\nG0 Z1\n", KNOWN, {}, HOME, 1, EARLY),
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
    "home by way of a point beyond the wall that is worked out": (
        "G0 Z25\nG28 X150 Z[5]\nG0 Z1\n", KNOWN, {}, HOME, 2, EARLY),
    "G53 down over the wall, with a stop": ("G0 Z5\nG53 G0 X210 Z60 M0\n", KNOWN, {}, ZERO, 2, EARLY),
    "G53 down over the wall from high enough, with an effect": ("M3 G53 G0 X210 Z60\n", KNOWN, {}, ZERO, 1, EARLY),
    "G53 down onto the wall": ("G53 G0 X100 Z60\nG0 X200\n", KNOWN, {}, ZERO, 1, EARLY),
    "G53 that leads nowhere, down onto the wall": ("G0 X100 Z5\nG53 G0 Z55\nG0 X200\n", KNOWN, {}, ZERO, 2, ONTO),
    "G53 that leads nowhere, at a place that is not known": (
        "G0 Z5\nM6 T1\nG0 Z5\nG53 G0 Z55\nG0 X200\n", KNOWN, {}, ZERO, 4, ONTO),
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
    "increments behind a cycle that may return to either level, under a low ceiling": (
        "G0 Z5\nG81 X20 Z-5 R2\nG80\nG91 G0 X200\nG90 G1 Z-1\n", KNOWN, LOW_ROOM, {}, 4, NO_WAY),
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
    "a block with a tool length under a low ceiling": (
        "G0 Z5\nG1 Z4\nG43 H1 G0 X200 Y100\nG1 Z-1\n", KNOWN, LOW_ROOM, {}, 3, MORE),
    "the same on a slope under a low ceiling": (
        "G43 H1 G0 X200 Y100 Z5\nG1 Z-1\n", KNOWN, LOW_ROOM, {}, 1,
        ("3", "its block (G43, G0) must not be taken apart; put the move on a line of its own")),
    "a tool length in the block of a hole": (
        "G0 Z5\nG43 H1 G98 G81 X200 Y100 Z-5 R2\nG80\n", KNOWN, {}, {}, 2,
        ("3", "its block (G43, G98, G81) must not be taken apart; put the move on a line of its own")),
    "no tool length any more, under a low ceiling": (
        "G43 H1\nG0 Z5\nG49\nG0 X200\nG43 H1\nG0 Z1\n", KNOWN, LOW_ROOM, {}, 4, NO_LENGTH),
    "no tool length from a known height, under a low ceiling": (
        "G49\nG0 X200 Y100\nG43 H1\nG0 Z1\n", (0, 100, 5), LOW_ROOM, {}, 2, NO_LENGTH),
    "no distance mode before it": (
        "N1 G90 G28 X0 Y0\nG0 Z1\n", None, {}, {"starts_in": ("G17", "F100", "G21"), **HOME}, 1,
        ("4", "units and distance mode are not known before it; add them to program.starts_in")),
    "no units, but a distance mode before it": (
        "N1 G21 G28 X0 Y0\nG0 Z1\n", None, {}, {"starts_in": ("G17", "F100", "G90"), **HOME}, 1,
        ("4", "units and distance mode are not known before it; add them to program.starts_in")),
    "perhaps in the material, without a stock": (
        LOW + "G0 X200\nG1 Z-2\n", KNOWN, {"rise_from": inf, "rise_advice": "raise it first"}, {}, 3,
        ("3", "its tool is wider below than above and may stand in the material (without [stock] that is not known),"
         " where it must not be raised; raise it first")),
    "increments behind a cycle that may return to either level": (
        "G0 Z5\nG81 X20 Z-5 R2\nG80\nG91 G0 X200\nG90 G1 Z-1\n", KNOWN, {}, {}, 4,
        ("4", "under G91 no height can be written out of one that is not known; put G98 or G99 before the cycle, or"
         " into program.starts_in")),
    "a height in inches that ends beyond the machine": (  # 23 mm are 0.90551 in, and 0.9056 in are 23.00224 mm
        "G20\nG0 Z.2\nX8\nG1 Z-.1 F9\n", KNOWN, {"ceiling": 23.0}, {}, 2,
        ("3", "it needs a height of 23.003 mm, and the machine ends at 23 mm; lower or move the obstacle; with [stock]"
         " and machine.reach given, a way round is looked for")),
    "increments down from above everything, under a low ceiling": (
        "G91 G28 Z0\nG0 Z-5\nX200\n", KNOWN, LOW_ROOM, HOME, 2, ADDED),
    "to a hole out of an unknown height under a low ceiling": (
        "T1 M6\nG99 G81 X200 Y100 Z-5 R2\nG80\n", KNOWN, LOW_ROOM, SAME, 2, NO_WAY),
    "to a hole beside the path that was compensated, under a low ceiling": (
        "G41 D1\nG1 X10 Z2\nG40\nG0 Z3\nG98 G81 X200 Y100 Z-5 R1\n", KNOWN, LOW_ROOM, {}, 5, NO_WAY),
    "home by way of a point beyond the wall, under a low ceiling": (
        "G0 Z25\nG28 X150 Z5\nG0 Z1\nG1 Z-1\n", KNOWN, LOW_ROOM, HOME, 2,
        ("3", "it needs a height of 23 mm, and the machine ends at 20 mm; lower or move the obstacle; or go round it"
         " with G0 X Y in blocks before this one")),
    "to the second home, stored": (
        "G0 Z5\nG1 Z4\nG91 G30 X150 Z1\n", KNOWN, {}, HOME | {"home2": STORED["home"]}, 3, STORES),
    "G53 down over the wall, where no heights are known": (
        "G53 G0 X210 Z60\n", KNOWN, {"level": None}, ZERO, 1, EARLY),
    "G53 down over the wall, at a Y that is not known": (
        "G0 Z40\nG53 G0 X210 Z60\n", None, {}, ZERO, 2, EARLY),
    "G53 that leads nowhere, where a subprogram begins": (
        "G0 Z5\nG0 X0\nM98 P1\nG0 X200 Y0\nM30\nO1\nG53 G0 Z55\nM99\n", None, {}, ZERO, 7, ONTO),
    "cutter compensation": ("G41 D1\nG1 X10 Z2\nG0 X200\nG40\nG0 Z9\n", KNOWN, {}, {}, 3, SIDE),
}


@pytest.mark.parametrize(("program", "start", "room", "rules", "line", "said"), REFUSED.values(), ids=REFUSED.keys())
def test_refused(program: str, start: Any, room: dict[str, Any], rules: dict[str, Any], line: int,
                 said: tuple[str, str]) -> None:
    assert Planned(program, limits(**room), start, **rules).said == f"{said[0]} line {line}: {said[1]}"
