"""Ways home and blocks of machine coordinates against the wall of wall.py: programs before and after."""

from __future__ import annotations

from decimal import Decimal

import pytest

from gcode_guard.program.moves import Move
from tests.repair.wall import HOME, IN_DOUBT, SAME, STORED, ZERO, Planned, became, limits

D = Decimal
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
    "a point beyond the wall that is too low": (
        "G0 Z25\nG28 X150 Z5\nG0 Z1\nG1 Z-1\n", "G0 Z25\nG28 X150 Z23.0\nG0 Z1\nG1 Z-1\n"),
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
    "out of an unknown height, and back at the height that is known now": (
        "T1 M6\nG28 X50\nG0 X0\nZ1\nG1 Z-1\n", "T1 M6\nG0 Z23.0\nG28 X50\nG0 X0\nZ1\nG1 Z-1\n"),
    "with a stop, which stays in its block": (
        "G0 Z5\nG28 X50 M0\nG1 Z-1\n", "G0 Z23.0\nG28 X50 M0\nG0 Z5.0\nG1 Z-1\n"),
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


@pytest.mark.parametrize(("z", "written"), [(40, "40"), (5, "23.0")])
def test_home_from_an_unknown_place_by_way_of_a_height(z: int, written: str) -> None:
    program = "G28 Z{}\nG0 X0 Y0\nZ1\nG1 Z-1\n"
    assert became(program.format(z), None, **HOME) == program.format(written)


@pytest.mark.parametrize(("motion", "pending"), [("G0 X1\n", []), ("G1 X1\n", [3]), ("G80\n", [])])
def test_a_rise_before_a_way_home_leaves_another_motion_in_force(motion: str, pending: list[int]) -> None:
    assert Planned("G1 Z5\n" + motion + "G28 X50\nG1 Z-1\n", limits(), **HOME).motion_pending == pending


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
    "down over the wall": (
        "G0 Z5\nG53 G0 X210 Z60\nG1 Z-1\n", "G0 Z23.0\nG53 G0 X210\nG0 G53 Z60\nG1 Z-1\n"),
    "down over the wall from high enough, with a number and a comment": (
        "N9 g53 g0 x210 z60 (over)\nG1 Z-1\n", "N9 g53 g0 x210 (over)\ng0 g53 z60\nG1 Z-1\n"),
    "a Z that leads nowhere, before the way over the wall": (
        "G0 Z5\nG53 G0 Z55\nG0 X200\nG1 Z-1\n", "G0 Z5\nG53 G0 Z55\nG0 Z23.0\nG0 X200\nG0 Z5.0\nG1 Z-1\n"),
    "a Z that leads nowhere, behind the wall": (
        "G0 Z5\nX200\nG53 G0 Z55\nG1 Z-1\n", "G0 Z23.0\nX200\nG53 G0 Z55\nG1 Z-1\n"),
    "up, and across": ("G0 Z5\nG53 G0 Z80\nX200\nG1 Z-1\n", "G0 Z5\nG53 G0 Z80\nX200\nG1 Z-1\n"),
    "down behind a way that was raised": (
        "G0 Z5\nX200\nG53 G0 Z60\nG1 Z-1\n", "G0 Z23.0\nX200\nG53 G0 Z60\nG1 Z-1\n"),
    "across behind a way that was raised": (
        "G0 Z5\nX200\nG53 G0 X10\nG1 Z-1\n", "G0 Z23.0\nX200\nG53 G0 X10\nG0 Z5.0\nG1 Z-1\n"),
    "up to just what the way needs": (
        "G0 Z5\nG53 G0 X210 Z73\nG1 Z-1\n", "G0 Z23.0\nG53 G0 X210 Z73\nG1 Z-1\n"),
    "down over the wall, with the slash and a setting": (
        "/G53 G0 X210 Z60 #2=5\nG1 Z-1\n", "/G53 G0 X210\n/G0 G53 Z60 #2=5\nG1 Z-1\n"),
    "under G91, which does not count there": (
        "G91\nG53 G0 X210 Z60\nG90 G1 Z-1\n", "G91\nG53 G0 X210\nG0 G53 Z60\nG90 G1 Z-1\n"),
    "a Z that leads nowhere, in the first block": ("G53 G0 Z80\nG1 Z-1\n", "G53 G0 Z80\nG1 Z-1\n"),
    "X that leads nowhere, behind a way that was raised": (
        "G0 Z5\nX200\nG53 G0 X210\nG1 Z-1\n", "G0 Z23.0\nX200\nG53 G0 X210\nG0 Z5.0\nG1 Z-1\n"),
    "across to the same height, behind a way that was raised": (
        "G0 Z5\nX200\nG53 G0 X230 Z55\nG1 Z-1\n", "G0 Z23.0\nX200\nG53 G0 X230 Z55\nG1 Z-1\n"),
    "up without a tool length": (
        "G43 H1\nG49\nG53 G0 Z80\nG43 H1\nG0 Z1\n", "G43 H1\nG49\nG53 G0 Z80\nG43 H1\nG0 Z1\n"),
    "out of an unknown height": (
        "T1 M6\nG53 G0 X210\nG0 Z1\nG1 Z-1\n", "T1 M6\nG0 Z23.0\nG53 G0 X210\nG0 Z1\nG1 Z-1\n"),
}


@pytest.mark.parametrize(("before", "after"), MACHINE.values(), ids=MACHINE.keys())
def test_machine_coordinates(before: str, after: str) -> None:
    assert became(before, block_delete="run", **ZERO, **SAME) == after


@pytest.mark.parametrize(("program", "start", "end"), [
    ("G53 G0 X210 Z60\n", (200, 100, 30), (200, 100, 10)),
    ("G0 Z5\nX200\nG53 G0 Z55\n", (200, 100, 23), (200, 100, 5)),
])
def test_a_block_of_machine_coordinates_is_let_down_where_that_way_is_clear(
        program: str, start: tuple[int, ...], end: tuple[int, ...]) -> None:
    asked = []

    def level(move: Move) -> float:
        asked.append((move.start, move.end, move.upright))
        return 0.0

    assert not Planned(program, limits(level=level), **ZERO).said
    assert asked == [(start, end, True)]


def test_a_way_to_a_stored_home_that_was_not_raised_may_be_in_doubt() -> None:
    program = "G0 Z25\nX200\nG91 G28 Z0\nG90 G0 X0\nG1 Z-1\n"
    assert became(program, **STORED | IN_DOUBT) == program
