"""How blocks are written: the program's own style, and numbers rounded to the safe side; by hand."""

from __future__ import annotations

from decimal import Decimal

import pytest

from gcode_guard.program.state import NOWHERE_KNOWN, State
from gcode_guard.repair.write import Pen, Style, spell_number

D = Decimal
PLAIN = Style()


@pytest.mark.parametrize(
    ("texts", "before", "after"),
    [
        # spelling of G0, gap, decimals, line end
        ([("g00 x1.25 z5", "\r\n")], PLAIN, Style("g00", " ", 2, "\r\n")),
        ([("N5G0X1.5Y2", "\n")], Style(gap=" "), Style("G0", "", 1, "\n")),
        ([("G000 X1.125", "\n")], Style(gap=""), Style("G000", " ", 3, "\n")),
        # without a G0 the case of the coordinates tells; in a comment it tells nothing
        ([("x1 y2.125", "\n")], PLAIN, Style("g0", " ", 3)),
        ([("x1. (Now Y2)", "\n")], PLAIN, Style("g0")),
        ([("X1 (y2 z3)", "\n")], PLAIN, PLAIN),
        ([("(x1) X2", "\n")], PLAIN, PLAIN),
        ([("G01X5.5F900", "\n")], Style("G00"), Style("G00", "", 1)),
        # G0 is neither the beginning of another code nor of a number
        ([("G0.5", "\n"), ("G04 P1", "\n"), ("G01 X1", "\n")], Style("G00"), Style("G00", " ", 1)),
        # the most decimals of a coordinate, four at most, one at least; other words do not count
        ([("G0 X1.5", "\n"), ("G0 Y1.2345678", "\n"), ("G0 Z2.", "\n")], PLAIN, Style(decimals=4)),
        ([("G0 Z-1.125", "\n"), ("G0 X+ 1.5", "\n")], PLAIN, Style(decimals=3)),
        ([("G1 F100.125", "\n")], Style(decimals=2), Style(decimals=2)),
        ([("G1 X5", "\n")], Style(decimals=3), Style(decimals=3)),
        ([("G2 I1.25 J-1", "\n")], PLAIN, Style(decimals=2)),
        ([("r1.25", "\n")], PLAIN, Style(decimals=2)),
        # what a block does not show stays as it was; of two blocks the later counts
        ([("M3", "")], Style("g00", "", 3, "\r\n"), Style("g00", "", 3, "\r\n")),
        ([], Style("g00", "", 3, "\r\n"), Style("g00", "", 3, "\r\n")),
        ([("G0X1Y1", "\n"), ("G00 X2", "\r\n")], PLAIN, Style("G00", " ", 1, "\r\n")),
        ([("G00 X2", "\r\n"), ("G0X1Y1", "\n")], PLAIN, Style("G0", "", 1, "\n")),
    ],
)
def test_the_style_is_what_the_blocks_show(texts: list[tuple[str, str]], before: Style, after: Style) -> None:
    assert before.seen(texts) == after


def test_letters_follow_the_case_of_g0() -> None:
    assert Style("g00").letter("Z") == "z"
    assert Style("G00").letter("Z") == "Z"


@pytest.mark.parametrize(
    ("value", "decimals", "written"),
    [
        ("5", 1, "5.0"), ("5", 3, "5.000"), ("5", 0, "5.0"), ("5.25", 1, "5.25"), ("5.2500", 1, "5.25"),
        ("-0.5", 2, "-0.50"), ("0", 2, "0.00"), ("-0.000", 1, "0.0"), ("1E+3", 1, "1000.0"), ("1E-7", 1, "0.0000001"),
        ("100", 2, "100.00"),
    ],
)
def test_numbers_are_exact_and_carry_a_point_with_a_digit_on_both_sides(value: str, decimals: int,
                                                                         written: str) -> None:
    assert spell_number(D(value), decimals) == written


def pen(style: Style = PLAIN, shift: tuple[int, int, int] = (10, 20, 8), extra: tuple[int, int, int] = (1, 2, 4),
        **state: str | None) -> Pen:
    """A pen where the program's zero lies at (11, 22, 12) in the bench frame."""
    shifts, extras = (tuple(map(D, three)) for three in (shift, extra))
    return Pen(style, State(NOWHERE_KNOWN, **{"units": "G21", "distance": "G90"} | state, shift=shifts, extra=extras))


MM, INCH = {"units": "G21"}, {"units": "G20"}
ADD = {"distance": "G91"}


@pytest.mark.parametrize(
    ("state", "to", "start", "text", "reached"),
    [
        (MM, 23.0, None, "Z11.0", "23"),
        (MM, 23.0, "5", "Z11.0", "23"),  # in absolute distances it does not matter where the tool stands
        (MM, 23.0004, None, "Z11.001", "23.001"),  # up, never down
        (MM, 23.00000002, None, "Z11.001", "23.001"),
        (MM, 23.000000005, None, "Z11.0", "23"),  # what the arithmetic may be off by
        (MM, -3.0004, None, "Z-15.0", "-3"),
        (ADD, 23.0004, "5.5", "Z17.501", "23.001"),
        (INCH, 12 + 23.0, None, "Z0.9056", "35.00224"),  # 23 mm are 0.90551 inch
        (INCH | ADD, 23.0, "0", "Z0.9056", "23.00224"),
        ({"units": None}, 23.0004, None, "Z11.001", "23.001"),
    ],
)
def test_a_rise_is_rounded_up(state: dict[str, str], to: float, start: str | None, text: str, reached: str) -> None:
    assert pen(**state).rise(to, D(start) if start else None) == (text, D(reached))


@pytest.mark.parametrize(
    ("state", "ceiling", "start", "text", "reached"),
    [
        (MM, 20.0, None, "Z8.0", "20"),
        (MM, 20.0, "5", "Z8.0", "20"),
        (MM, 20.0004, None, "Z8.0", "20"),
        (MM, 19.9999, None, "Z7.999", "19.999"),  # down, never beyond the machine
        (MM, 19.999999995, None, "Z8.0", "20"),
        (MM, 19.99999998, None, "Z7.999", "19.999"),
        (ADD, 20.0, "5.5", "Z14.5", "20"),
        (INCH, 12 + 20.0, None, "Z0.7874", "31.99996"),  # 20 mm are 0.78740157 inch
        ({"units": None}, 19.9999, None, "Z7.999", "19.999"),
    ],
)
def test_the_greatest_height_is_rounded_down(state: dict[str, str], ceiling: float, start: str | None, text: str,
                                             reached: str) -> None:
    assert pen(**state).highest(ceiling, D(start) if start else None) == (text, D(reached))


@pytest.mark.parametrize(
    ("state", "axis", "to", "start", "text"),
    [
        (MM, 0, "30", None, "X19.0"), (MM, 1, "30", None, "Y8.0"), (MM, 2, "30", None, "Z18.0"),
        (MM, 2, "30", "5", "Z18.0"),
        (ADD, 0, "30", "5", "X25.0"), (ADD, 2, "3", "5.25", "Z-2.25"),
        (INCH, 0, "36.4", None, "X1.0"), (INCH | ADD, 1, "25.4", "50.8", "Y-1.0"),
        (INCH | ADD, 0, "10", "0", "X0.3937008"),  # 10 mm are 0.39370079 inch: to the last digit that is written
        (INCH | ADD, 0, "3.13580418", "0", "X0.1234569"),  # exactly 0.1234568575
        (MM, 0, "11.0000001", None, "X0.0000001"),  # seven digits are written as they are
        (MM, 0, "11.1234567", None, "X0.1234567"),
        (MM, 0, "11.00000015", None, "X0.0000002"),  # an eighth is rounded, a half to the even neighbour
        (MM, 0, "11.00000025", None, "X0.0000002"),
    ],
)
def test_a_coordinate_is_led_to_exactly(state: dict[str, str], axis: int, to: str, start: str | None,
                                        text: str) -> None:
    assert pen(**state).exactly(axis, D(to), D(start) if start else None) == text


def test_words_have_the_decimals_of_the_program_as_far_as_the_unit_has_them() -> None:
    four = Style("g0", "", 4)
    assert pen(four).word("Z", D(5)) == "z5.000"
    assert pen(four, units="G20").word("Z", D(5)) == "z5.0000"
    assert pen(four, units=None).word("Z", D(5)) == "z5.000"
    assert pen(Style(decimals=2)).word("X", D("5.125")) == "X5.125"


def test_a_rapid_is_written_with_the_gap_and_the_slash_of_the_program() -> None:
    assert pen().rapid("X1.0", "Y2.0") == "G0 X1.0 Y2.0"
    assert pen(Style("g00", "")).rapid("x1.0", "y2.0", deleted=True) == "/g00x1.0y2.0"


def test_distances_count_from_where_the_tool_stands_only_under_g91() -> None:
    assert pen(distance="G91").incremental
    assert not pen().incremental
    assert not pen(distance=None).incremental
