"""Tools, their length and cutter compensation: NISTIR 6556, sections 3.5.10, 3.5.11, 3.6.3 and 3.7, from memory."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from gcode_guard.program.state import ToolFacts
from tests.language.reading import Read, point, read, read_any, refused

TOOLS = {1: ToolFacts(Decimal(3), Decimal(0)), 2: ToolFacts(Decimal(5), Decimal(7)), 3: ToolFacts(Decimal(1), None)}


def with_tools(program: str, **rules: Any) -> Read:
    return read(program, **{"tools": TOOLS, "first_tool": 1} | rules)


def refused_with_tools(program: str, *said: str, **rules: Any) -> None:
    refused(program, *said, **{"tools": TOOLS, "first_tool": 1} | rules)


# Tool change (sections 3.6.3 and 3.7.3) ------------------

def test_t_names_a_tool_and_m6_brings_it() -> None:
    found = with_tools("G0 X1\nT2\nX2\nM6\nG0 X3\n")
    assert [move.tool for move in found.moves] == [1, 1, 2]
    assert with_tools("M6 T2\nG0 X3\n").moves[0].tool == 2


def test_errors_of_a_tool_change() -> None:
    refused_with_tools("M6\n", "no T word")
    refused_with_tools("T9 M6\n", "tool 9 is not in the setup")
    refused_with_tools("G41\nT2 M6\n", "under cutter compensation")


@pytest.mark.parametrize(("after", "end"), [
    ("unknown", (None, None, None)), ("high", (None, None, "high")), ("same", (4, 5, None))])
def test_where_the_tool_stands_after_a_change(after: str, end: tuple[Any, ...]) -> None:
    assert with_tools("G0 X4 Y5\nT2 M6\n", after_tool_change=after).end == end


# Tool length (section 3.5.11) ------------------

@pytest.mark.parametrize(("block", "said"), [
    ("G43", "without H"), ("G43 H2", "tool 1 is in the spindle"), ("G43 H0", "tool 1 is in the spindle"),
    ("G43 H-1", "H-1"), ("G43 H1.5", "H1.5"), ("G49 H1", "G49 with H1"), ("G43.1 Z5", "G43.1"), ("H1", "H word"),
])
def test_errors_of_tool_lengths(block: str, said: str) -> None:
    refused_with_tools(block + "\n", said)


def test_h_is_held_against_the_tool_in_the_spindle_not_against_t() -> None:
    assert with_tools("T2\nG43 H1 Z30 G0\n").end[2] == 30
    refused_with_tools("T2\nG43 H2\n", "tool 1 is in the spindle")
    assert with_tools("T2 M6\nG43 H2 G0 Z30\n").end[2] == 30
    refused_with_tools("T2 M6\nT1\nG43 H1\n", "tool 2 is in the spindle")


def test_g43_before_the_tool_is_known() -> None:
    refused_with_tools("G43 H1\n", "which tool", first_tool=-1)


def test_from_m6_to_g43_the_height_is_not_known_whatever_z_says() -> None:
    program = "T2 M6\nG0 Z30\nX0 Y0\nG43 H2\nZ20\n"
    found = with_tools(program, after_tool_change="high")
    assert [end[2] for _, end in found.path] == [None, None, 20]
    found = with_tools(program.replace("G0 Z30\n", "G0\n"), after_tool_change="high")
    assert [end[2] for _, end in found.path] == ["high", 20]


def test_from_g49_to_g43_the_height_is_not_known() -> None:
    found = with_tools("G43 H1\nG0 Z30\nG49\nG0 Z40\nG91 Z1\nG90 G43 H1\nZ20\n")
    assert [end[2] for _, end in found.path] == [30, None, None, 20]


def test_g49_in_a_safety_line_matters_only_to_a_program_that_uses_g43() -> None:
    assert with_tools("G90 G40 G49 G80\nG0 Z30\n").end[2] == 30
    found = with_tools("G90 G40 G49 G80\nG0 X5\nG0 Z30\nG43 H1\n")
    assert [end[2] for _, end in found.path] == [50, None]


def test_a_machine_height_between_m6_and_g43_is_not_known() -> None:
    found = with_tools("T2 M6\nG0 G53 Z-1\nG43 H2\nG53 Z-1\n", zero=point(0, 0, 60))
    assert [end[2] for _, end in found.path][0] is None
    # Tool 2 hangs 7 mm lower than the tool for which the machine's zero holds.
    assert found.end[2] == 52


def test_a_longer_tool_hangs_lower_in_machine_coordinates() -> None:
    assert with_tools("G53 G0 Z-1\n", zero=point(0, 0, 60)).end[2] == 59
    assert with_tools("G0 X0 Y0\nG53 Z-1\n", zero=point(0, 0, 60), first_tool=-1).end[2] is None


def test_a_cycle_or_a_shift_without_the_length() -> None:
    refused_with_tools("T2 M6\nG0 X0 Y0\nG99 G81 X1 Y1 Z-5 R2\nG43 H2\n", "G43 before it")
    refused_with_tools("T2 M6\nG0 X0 Y0 Z20\nG92 Z0\nG43 H2\n", "not known")


# Cutter compensation (section 3.5.10) ------------------

@pytest.mark.parametrize(("block", "said"), [
    ("G41 D2", "not the tool in the spindle"), ("G42 D7", "not the tool in the spindle"), ("G41.1", "needs D"),
    ("G42.1 D-6", "needs D"), ("G41 D1 H1", "H word"), ("G40 D1", "D word"), ("D1", "D word"),
])
def test_errors_of_d(block: str, said: str) -> None:
    refused_with_tools(block + "\n", said)


@pytest.mark.parametrize("code", ["G41", "G42", "G41.1 D6", "G42.1 D6"])
def test_errors_of_compensation(code: str) -> None:
    refused_with_tools(f"G18 {code}\n", "outside the plane XY")
    refused_with_tools(f"G19\n{code}\n", "outside the plane XY")
    refused_with_tools(f"{code}\n{code}\n", "while it is on")
    refused_with_tools(f"{code}\nG42\n", "while it is on")
    refused_with_tools(f"{code}\nG18\n", "plane changes")
    refused_with_tools(f"{code}\nG20\n", "units change")
    refused_with_tools(f"{code}\nG38.2 Z0\n", "under cutter compensation")
    refused_with_tools("starts".replace("starts", f"{code}\n"), "nothing says in which plane",
                       starts_in=("G21", "G90", "F100"))


@pytest.mark.parametrize(("code", "grow"), [
    ("G41", 3), ("G42 D1", 3), ("G41 D0", 3), ("G41.1 D8", 4), ("G20 G42.1 D0.5", 6.35)])
def test_the_path_is_wider_by_the_radius(code: str, grow: float) -> None:
    found = with_tools(f"G0 X1\n{code}\nG1 X2 F9\nG0 Z60\nG1 X3\nG40 Y3 X4\nX5\n")
    assert [move.grow for move in found.moves] == [0, grow, grow, grow, grow, 0]


def test_a_tool_that_is_not_certain_may_be_the_widest() -> None:
    found = read("G41\nG1 X2\n", tools=TOOLS, first_tool=-1)
    assert found.moves[0].grow == 5


def test_nothing_is_put_in_from_g41_to_the_first_move_after_g40() -> None:
    found = with_tools("G0 X1\nG41\nM8\nG1 X2\nG40\nG4 P1\nX3 Y3\nX4\n")
    assert [step.frozen for step in found.steps] == [False, True, True, True, True, True, True, False]


def test_after_g40_the_tool_stands_beside_its_path_until_x_and_y_are_given() -> None:
    # Cancelling moves nothing by itself: the report's control goes on from beside the path.
    found = with_tools("G41\nG1 X20 Y20\nG40\nG0 Z60\nX0\nZ55\nY0\nZ50\n")
    assert [move.grow for move in found.moves] == [3, 3, 3, 3, 3, 0]


def test_after_g40_an_increment_is_in_doubt() -> None:
    refused_with_tools("G41\nG1 X20 Y20\nG40\nG91 G0 X5\n", "from beside it on another")
    found = with_tools("G41\nG1 X20 Y20\nG40\nG91 G28 Z0\nG28 X0 Y0\nG90\nM30\n", home=point(0, 0, 90))
    assert found.left == []
    assert with_tools("G41\nG1 X20 Y20\nG40\nG91 G0 Z5\nG90 X0 Y0\nG91 X5\n").end[0] == 5


@pytest.mark.parametrize("block", ["G2 X30 I5", "G92 X0", "G10 L20 P1 Y0", "G28.1", "G30.1", "G0 X20 Y20", "G0 X20"])
def test_after_g40_what_needs_the_tool_on_its_path(block: str) -> None:
    refused_with_tools(f"G41\nG1 X20 Y20\nG40\n{block}\n")


def test_cancelling_what_is_not_on() -> None:
    found = with_tools("G40\nG91 G0 X5\nG40 X5\nG92 X0\n")
    assert all(move.grow == 0 for move in found.moves) and found.end[0] == 10
    assert not any(step.frozen for step in found.steps)


def test_the_end_under_compensation_is_told() -> None:
    assert "cutter compensation (G41)" in with_tools("G41\nG1 X20 Y20\nM30\n").left
    assert read_any("G41\nG1 X20 Y20\nM30\n").reasons == []


def test_behind_a_block_that_is_not_understood_what_is_certain_is_still_told() -> None:
    tools = {1: ToolFacts(Decimal(3), None)}
    found = read_any("G0 X1\nG999\nT7\nM6\nG55\nT1 M6\nM6 T8\nG43\nG43 H8\nG54\nG1 X5\n", tools=tools,
                     shifts={"G54": point(0, 0, 0)})
    assert [(line, reason.split(":")[0]) for line, reason in found.reasons[1:]] == [
        (4, "tool 7 is not in the setup"), (5, "the work offset G55 is not in the setup"),
        (7, "tool 8 is not in the setup"), (8, "G43 without H")]
    found = read_any("G999\nX1 Q2\nG0 X1 Q2\nG1 X1 R2 F1\nG81 X1 R2\nG0 G4 P1\nG0 X1 G64 P1\nG2 X1 R2\nG0 Z1 S1 T1\n")
    assert [(line, reason.split(":")[0]) for line, reason in found.reasons[1:]] == [
        (3, "nothing in the block uses its Q word"), (4, "nothing in the block uses its R word")]
    found = read_any("G10 L2 P2 X0 Y0 Z0\nG55\n", tools=tools, shifts={"G54": point(0, 0, 0)})
    assert [line for line, _ in found.reasons] == [1], "the program itself may have given the offset"
