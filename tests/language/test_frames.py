"""Work offsets, shifts, machine coordinates and homes: NISTIR 6556, sections 3.5.5, 3.5.8, 3.5.12, 3.5.13, 3.5.18."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from gcode_guard.program.state import HIGH, ToolFacts
from tests.language.reading import Read, point, read, refused

R = "rapid"
SHIFTS = {"G54": point(0, 0, 0), "G55": point(300, 0, 0), "G59.3": point(-10, -20, -30)}


# Work offsets (section 3.5.13) ------------------

@pytest.mark.parametrize(("code", "end"), [("G54", (10, 0, 5)), ("G55", (310, 0, 5)), ("G59.3", (0, -20, -25))])
def test_each_offset_moves_the_zero(code: str, end: tuple[float, ...]) -> None:
    assert read(f"{code}\nG0 X10 Y0 Z5\n", shifts=SHIFTS).end == end


def test_a_change_of_offset_moves_nothing_by_itself() -> None:
    found = read("G0 X10\nG55\nY5\nG91 X1\nG90 X1\n", shifts=SHIFTS)
    assert [end[0] for _, end in found.path] == [10, 10, 11, 301]


@pytest.mark.parametrize("code", ["G56", "G57", "G58", "G59", "G59.1", "G59.2"])
def test_an_offset_that_the_setup_does_not_give(code: str) -> None:
    key = f'offsets."{code}"' if "." in code else f"offsets.{code}"
    refused(f"{code}\nG0 X10\n", f"add {key}", shifts=SHIFTS)


def test_offsets_under_compensation() -> None:
    refused("G41\nG55\n", "under cutter compensation", shifts=SHIFTS)
    refused("G41\nG92 X0\n", "under cutter compensation")
    refused("G41\nG10 L20 P1 X0\n", "under cutter compensation")


# G92 and its family (section 3.5.18) ------------------

def test_the_reports_example_of_g92() -> None:
    # "Suppose the current point is at X=4 ... and there are no offsets: G92 X7 makes the X of the current point 7, and
    # the offset -3. Another G92 X9: the offset is -5."
    found = read("G0 X4\nG92 X7\n")
    assert found.state.extra[0] == -3
    found = read("G0 X4\nG92 X7\nG92 X9\n")
    assert found.state.extra[0] == -5
    assert read("G0 X4\nG92 X7\nG92 X9\nX10\n").end[0] == 5


def test_a_shift_holds_in_every_offset() -> None:
    assert read("G0 X4\nG92 X0\nG55 X1\n", shifts=SHIFTS).end[0] == 305


def test_a_shift_in_another_offset() -> None:
    # The tool stands at 4, which is X-296 in G55; G92 X0 makes it 0.
    found = read("G0 X4\nG55\nG92 X0\nX5\nG54 X5\n", shifts=SHIFTS)
    assert [end[0] for _, end in found.path] == [4, 9, -291]


def test_the_other_axes_keep_their_shift() -> None:
    assert read("G0 X4 Y4\nG92 X0\nG92 Y0\nX1 Y1\n").end[:2] == (5, 5)


@pytest.mark.parametrize(("code", "restored"), [("G92.1", 1), ("G92.2", 5)])
def test_a_shift_that_ends(code: str, restored: float) -> None:
    # G92.1 sets the shift and its parameters to zero, G92.2 keeps the parameters, G92.3 brings them back.
    program = f"G0 X4\nG92 X0\n{code}\nX1\n"
    assert read(program).end[0] == 1
    assert read(program + "G92.3\nX1\n").end[0] == restored


def test_a_shift_that_was_never_set() -> None:
    refused("G92.3\n", "did not set")
    assert read("G92.1\nG92.2\nG0 X1\n").end[0] == 1


def test_errors_of_g92() -> None:
    refused("G92\n", "no axis words")
    refused("G92 X0\n", "not known to be", start=None)
    refused("G0 X1\nG92 Y0\n", "not known to be", start=None)
    assert read("G0 X1\nG92 X0\nX1\n", start=None).end[0] == 2


def test_units_of_g92() -> None:
    assert read("G20 G0 X2\nG92 X1\nX0\n").end[0] == 25.4


# G10 (section 3.5.5) ------------------

def test_g10_l2_sets_an_offset_in_machine_coordinates() -> None:
    found = read("G10 L2 P2 X50 Y60 Z0\nG55 G0 X1 Y1 Z1\n", zero=point(-10, -10, 75))
    assert found.end == (41, 51, 76)


def test_g10_l20_makes_this_place_the_given_coordinates() -> None:
    found = read("G0 X4 Y6\nG10 L20 P1 X0 Y0\nX1 Y1\n")
    assert found.end[:2] == (5, 7)
    found = read("G0 X4\nG10 L20 P2 X0 Y0 Z0\nX1\nG55 X1\n")
    assert [end[0] for _, end in found.path] == [4, 1, 5]
    assert read("G55 G0 X4\nG10 L20 P0 X0\nX1\n", shifts=SHIFTS).end[0] == 305


def test_g10_beside_a_shift() -> None:
    assert read("G0 X4\nG92 X1\nG10 L20 P1 X0\nX1\n").end[0] == 5


@pytest.mark.parametrize(("block", "said"), [
    ("G10 L2 X0", "needs P"), ("G10 L2 P0 X0", "needs P"), ("G10 L2 P10 X0", "needs P"), ("G10 L20 P10 X0", "needs P"),
    ("G10 L2 P1.5 X0", "P1.5"), ("G10 L2 P-1 X0", "P-1"), ("G10 L1 P1 X0", "G10 L1"), ("G10 L10 P1 R3", "G10 L10"),
    ("G10 L11 P1 Z3", "G10 L11"), ("G10 P1 X0", "without L"), ("G10 L3 P1 X0", "G10 L3"), ("G10 L2 P1 R30 X0", "turns"),
    ("G91 G10 L2 P1 X0", "G91"), ("G10 L20 P5 X0", "the rest"),
])
def test_errors_of_g10(block: str, said: str) -> None:
    refused(block + "\n", said, zero=point(0, 0, 0))


def test_g10_l2_without_the_machines_zero() -> None:
    refused("G10 L2 P1 X0\n", "machine.zero")


def test_g10_l2_sets_no_height_that_each_tool_has_at_another_place() -> None:
    # The machine's Z is that of the spindle. With tools that hang differently low, the tip is at the height that G10
    # sets with one of them alone, unless tool length offsets make up for it.
    tools = {1: ToolFacts(Decimal(3), Decimal(0)), 2: ToolFacts(Decimal(3), Decimal(7))}
    rules: dict[str, Any] = {"zero": point(0, 0, 75), "tools": tools, "first_tool": 1}
    refused("G10 L2 P1 Z-50\nG0 Z1\n", "hang differently low", **rules)
    assert read("G10 L2 P1 X5 Y5\nG0 X1\n", **rules).end[0] == 6
    assert read("G43 H1\nG10 L2 P1 Z-50\nG0 Z1\n", **rules).end[2] == 26
    rules["tools"] = {1: tools[1], 3: ToolFacts(Decimal(1), Decimal(0))}
    assert read("G10 L2 P1 Z-50\nG0 Z1\n", **rules).end[2] == 26


def test_g10_where_the_tool_is_not_known_to_be() -> None:
    refused("G10 L20 P1 X0\n", "not known to be", start=None)


# G53 (section 3.5.12) ------------------

def test_g53_is_absolute_and_for_one_block() -> None:
    zero = point(-10, -10, 75)
    found = read("G55 G0 X0\nG53 X10 Z-5\nX0\n", zero=zero, shifts=SHIFTS)
    assert found.path == [(R, (300, 0, 50)), (R, (0, 0, 70)), (R, (300, 0, 70))]
    assert read("G91 G0 X5\nG53 X10\nX5\n", zero=zero).end[0] == 5
    assert read("G1 X5\nG53 X10 Y10\n", zero=zero).path[-1] == ("cut", (0, 0, 50))
    assert read("G20 G0 G53 X1\n", zero=zero).end[0] == pytest.approx(15.4)


def test_errors_of_g53() -> None:
    zero = point(0, 0, 0)
    refused("G53 X10\n", "without G0 or G1", zero=zero)
    refused("G2 X10 Y0 I5\nG53 X10\n", "without G0 or G1", zero=zero)
    refused("G80\nG53 X10\n", "without G0 or G1", zero=zero)
    refused("G53 G2 X10 I5\n", "without G0 or G1", zero=zero)
    refused("G53 G81 X10 Z-1 R1\n", "without G0 or G1", zero=zero)
    refused("G41\nG53 G0 X10\n", "under cutter compensation", zero=zero)
    refused("G53 G0\n", "no axis words", zero=zero)
    refused("G53 G0 X10\n", "machine.zero")


# G28 and G30 (section 3.5.8) ------------------

HOME, HOME2 = point(-10, -20, 90), point(-10, 400, 90)
AT_HOME = (-10, -20, "high")


def home(program: str, axes: str, **more: Any) -> Read:
    rules: dict[str, Any] = {"home": (HOME[0], HOME[1], HIGH), "home2": (HOME2[0], HOME2[1], HIGH)}
    return read(program, home_axes=axes, **(rules | more))


@pytest.mark.parametrize("axes", ["named", "all", "unknown"])
def test_without_axis_words_all_axes_go_home_straight_away(axes: str) -> None:
    for mode in ("G90", "G91"):
        found = home(f"{mode} G28\n", axes)
        assert found.path == [(R, AT_HOME)]
    assert home("G30\n", axes).end == (-10, 400, "high")


@pytest.mark.parametrize(("axes", "expected"), [
    ("named", [(0, 0, 60), (0, 0, "high")]),
    ("all", [(0, 0, 60), AT_HOME]),
    ("unknown", [(0, 0, 60), (0, 0, "high"), AT_HOME]),
])
def test_by_way_of_a_point(axes: str, expected: list[tuple[Any, ...]]) -> None:
    assert [end for _, end in home("G90 G28 Z60\n", axes).path] == expected
    assert [end for _, end in home("G91 G28 Z10\n", axes).path] == expected


@pytest.mark.parametrize(("axes", "end"), [
    ("named", (0, 0, "high")), ("all", AT_HOME), ("unknown", (None, None, "high"))])
def test_where_the_tool_is_known_to_stand_afterwards(axes: str, end: tuple[Any, ...]) -> None:
    assert home("G91 G28 Z0\n", axes).end == end


@pytest.mark.parametrize("axes", ["named", "all", "unknown"])
def test_the_usual_end_of_a_program(axes: str) -> None:
    found = home("G91 G28 Z0\nG28 X0 Y0\nG90\nM30\n", axes)
    assert found.end == AT_HOME and found.left == []


@pytest.mark.parametrize(("axes", "end"), [("named", (-10, -20, 50)), ("all", AT_HOME), ("unknown", (-10, -20, None))])
def test_axes_that_are_not_named(axes: str, end: tuple[Any, ...]) -> None:
    assert home("G91 G28 X0 Y0\n", axes).end == end


def test_g90_with_zero_goes_to_the_programs_zero_first() -> None:
    # A usual slip: G28 Z0 under G90 is a rapid down to Z0.
    assert home("G90 G28 Z0\n", "named").path[0] == (R, (0, 0, 0))


def test_the_motion_in_force_stays() -> None:
    found = home("G1 X5\nG28 Z50\nX9\n", "named", home=point(0, 0, 50))
    assert [kind for kind, _ in found.path] == ["cut", "cut"] and found.end == (9, 0, 50)


def test_a_home_that_the_program_made() -> None:
    # G28.1 and G30.1 are not in the report (common practice, no source).
    found = home("G0 X7 Y8 Z40\nG28.1\nX0 Y0 Z90\nG28\n", "unknown")
    assert found.path[-1] == (R, (7, 8, 40))
    found = home("G0 X7 Y8 Z40\nG30.1\nX0\nG28\nG30\n", "named")
    assert found.path[-2:] == [(R, AT_HOME), (R, (7, 8, 40))]


def test_a_home_that_the_program_made_with_another_tool() -> None:
    found = home("G0 X7 Y8 Z40\nG28.1\nT2 M6\nG28\n", "named", first_tool=1)
    assert found.end == (7, 8, None)


def test_homing_under_compensation() -> None:
    # Section 3.5.8: an error, cutter radius compensation is on.
    for code in ("G28", "G30", "G28.1", "G30.1"):
        refused(f"G41\n{code}\n", "under cutter compensation")


def test_homing_by_way_of_a_point_in_the_length_that_is_not_known() -> None:
    found = home("T1 M6\nG91 G28 Z0\nG43 H1\n", "named", first_tool=1)
    assert found.end == (None, None, "high")
