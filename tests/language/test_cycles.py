"""Canned cycles: NISTIR 6556, section 3.5.16, from memory. G73 is not in the report (common practice, no source)."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from gcode_guard.program.state import ANY_TOOL, ToolFacts
from tests.language.reading import point, read, refused

R, C = "rapid", "cut"
WORDS = {"G73": "Q1", "G81": "", "G82": "P0.5", "G83": "Q1", "G84": "", "G85": "", "G86": "P0.5", "G87": "I1 J2 K-2",
         "G88": "P0.5", "G89": "P0.5"}


def block(code: str, words: str = "X10 Y5 Z-5 R2") -> str:
    return f"{code} {words} {WORDS[code]}\n"


# The report's worked examples (section 3.5.16.2) ------------------

def test_first_example_of_g81() -> None:
    # "Suppose the current position is (1, 2, 3) and the XY-plane has been selected, and the following line of NC code
    # is interpreted: G90 G81 G98 X4 Y5 Z1.5 R2.8".
    assert read("G90 G81 G98 X4 Y5 Z1.5 R2.8\n", start=(1, 2, 3)).path == [
        (R, (4, 5, 3)),      # 1. a traverse parallel to the XY-plane to (4,5,3)
        (R, (4, 5, 2.8)),    # 2. a traverse parallel to the Z-axis to (4,5,2.8)
        (C, (4, 5, 1.5)),    # 3. a feed parallel to the Z-axis to (4,5,1.5)
        (R, (4, 5, 3)),      # 4. a traverse parallel to the Z-axis to (4,5,3)
    ]


def test_second_example_of_g81() -> None:
    # "G91 G81 G98 X4 Y5 Z-0.6 R1.8 L3" from (1, 2, 3): Z of the clear plane is 3 + 1.8 = 4.8, of the bottom 4.2.
    path = read("G91 G81 G98 X4 Y5 Z-0.6 R1.8 L3\n", start=(1, 2, 3)).path
    assert path[0] == (R, (1, 2, 4.8))  # the preliminary move, as old Z is below R
    holes = [[(R, (x, y, 4.8)), (C, (x, y, 4.2)), (R, (x, y, 4.8))] for x, y in ((5, 7), (9, 12), (13, 17))]
    assert path[1:] == [move for hole in holes for move in hole]


# What each cycle does ------------------

DOWN = [(R, (10, 5, 50)), (R, (10, 5, 2))]
OUT = {"rapid": (R, (10, 5, 50)), "feed": (C, (10, 5, 50))}


@pytest.mark.parametrize(("code", "out", "effects"), [
    ("G81", "rapid", []),
    ("G82", "rapid", ["dwell 0.5"]),
    ("G84", "feed", ["spindle reversed", "spindle as before"]),
    ("G85", "feed", []),
    ("G86", "rapid", ["dwell 0.5", "spindle off", "spindle as before"]),
    ("G89", "feed", ["dwell 0.5"]),
])
def test_in_and_out(code: str, out: str, effects: list[str]) -> None:
    # Sections 3.5.16.2 (G81), .3 (G82), .5 (G84), .6 (G85), .7 (G86), .10 (G89).
    found = read("M3\n" + block(code))
    assert found.path == [*DOWN, (C, (10, 5, -5)), OUT[out]]
    assert found.effects[1:] == effects


def test_g83_pecks_and_clears_the_hole() -> None:
    # Section 3.5.16.4: feed down by Q, rapid out to the clear plane, rapid down to within a little of the last bottom.
    path = read("G83 X10 Y5 Z-1.5 R2 Q1.5\n").path
    assert path[2:4] == [(C, (10, 5, 0.5)), (R, (10, 5, 2))]
    assert path[4][0] == R and 0.5 < path[4][1][2] < 0.5 + 0.5
    assert [move for move in path if move[0] == C] == [(C, (10, 5, z)) for z in (0.5, -1, -1.5)]
    assert path[-1] == (R, (10, 5, 50))


def test_g73_pecks_and_stays_in_the_hole() -> None:
    path = read("G73 X10 Y5 Z-1.5 R2 Q1.5\n").path
    inside = path[2:-1]
    assert [move for move in inside if move[0] == C] == [(C, (10, 5, z)) for z in (0.5, -1, -1.5)]
    assert all(end[2] < 1 for _, end in inside)


def test_a_peck_deeper_than_the_hole_is_one_feed() -> None:
    for code in ("G73", "G83"):
        assert read(f"{code} X10 Y5 Z-1 R2 Q9\n").path == [*DOWN, (C, (10, 5, -1)), OUT["rapid"]]


def test_g87_bores_from_below() -> None:
    # Section 3.5.16.8: aside, down, back in, up to K at feed, down at feed, aside, out, back in.
    found = read("M3\nG87 X10 Y5 Z-9 R2 I3 J4 K-2\n")
    assert found.path == [
        *DOWN, (R, (13, 9, 2)), (R, (13, 9, -9)), (R, (10, 5, -9)), (C, (10, 5, -2)), (C, (10, 5, -9)),
        (R, (13, 9, -9)), (R, (13, 9, 50)), (R, (10, 5, 50))]
    assert found.effects[1:] == ["spindle off, oriented", "spindle as before"] * 2


def test_g88_leaves_the_way_out_to_the_operator() -> None:
    # Section 3.5.16.9: stop the program, so that the operator can retract the spindle by hand.
    found = read("M3\n" + block("G88"))
    assert found.path == [*DOWN, (C, (10, 5, -5))]
    assert "stop, out by hand" in found.effects
    assert found.end == (10, 5, None)


# Error cases ------------------

ERRORS = [
    *[(code, "X10 Y5 Z-5", "no R level") for code in WORDS],
    *[(code, "X10 Y5 R2", "no depth") for code in WORDS],
    *[(code, "Z-5 R-5.1 X10", "below its depth") for code in WORDS],
    *[(code, "X10 Y5 Z-5 R2 L0", "L0") for code in WORDS],
    *[(code, "X10 Y5 Z-5 R2 L-1", "L-1") for code in WORDS],
    *[(code, "X10 Y5 Z-5 R2 L1.5", "L1.5") for code in WORDS],
    *[(code, "Z-5 R2 A90 X1", "rotary axis") for code in WORDS],
]


@pytest.mark.parametrize(("code", "words", "said"), ERRORS, ids=lambda value: str(value))
def test_errors_of_every_cycle(code: str, words: str, said: str) -> None:
    # Section 3.5.16: R missing or below Z, L not a positive integer, no X, Y or Z, a rotary axis moved.
    refused("M3\n" + block(code, words), said)


@pytest.mark.parametrize("code", WORDS)
def test_a_cycle_without_axis_words(code: str) -> None:
    refused(f"M3\n{code} R2 {WORDS[code]}\n", "axis words")


@pytest.mark.parametrize("code", WORDS)
def test_a_cycle_under_inverse_time_or_compensation(code: str) -> None:
    refused("M3\nG93 F2\n" + block(code), "inverse time")
    refused("M3\nG41\n" + block(code), "under cutter compensation")


@pytest.mark.parametrize("code", ["G82", "G86", "G88", "G89"])
def test_a_dwell_that_is_missing_or_negative(code: str) -> None:
    refused(f"M3\n{code} X10 Y5 Z-5 R2\n", "needs a dwell")
    refused(f"M3\n{code} X10 Y5 Z-5 R2 P-1\n", "needs a dwell")
    assert read(f"M3\n{code} X10 Y5 Z-5 R2 P0\n").path[2] == (C, (10, 5, -5))


@pytest.mark.parametrize("code", ["G73", "G83"])
def test_a_peck_that_is_missing_or_not_positive(code: str) -> None:
    for words in ("", "Q0", "Q-1"):
        refused(f"{code} X10 Y5 Z-5 R2 {words}\n", "needs a peck")


@pytest.mark.parametrize("code", ["G81", "G82", "G84", "G85", "G86", "G87", "G88", "G89"])
def test_a_q_that_no_cycle_needs(code: str) -> None:
    # Table 5: Q belongs to G83. Another control may peck by it.
    refused("M3\n" + block(code, "X10 Y5 Z-5 R2 Q1"), "Q word")


@pytest.mark.parametrize("words", ["", "I1", "J1", "K-2", "I1 J1", "I1 K-9.1"])
def test_words_of_g87(words: str) -> None:
    refused(f"M3\nG87 X10 Y5 Z-9 R2 {words}\n", "G87")


def test_a_cycle_that_needs_its_spindle() -> None:
    # Sections 3.5.16.5 and 3.5.16.7 to .9: an error where the spindle does not turn (clockwise for G84).
    for before in ("", "M5\n", "M3\nM5\n", "M4\n"):
        refused(before + block("G84"), "clockwise")
    for code in ("G86", "G87", "G88"):
        for before in ("", "M5\n", "M4\nM5\n"):
            refused(before + block(code), "stops the spindle")
        assert read("M4\n" + block(code)).path[0] == DOWN[0]


def test_a_tool_change_stops_the_spindle() -> None:
    # Section 3.6.3.
    refused("M3\nT1 M6\nG0 X0 Y0\nZ50\n" + block("G84"), "clockwise")


# Sticky words ------------------

def test_words_stay_until_they_are_given_again() -> None:
    # Section 3.5.16.1.
    path = read("G99 G83 X10 Y5 Z-5 R2 Q12\nX20\nY6 R3\nX30 Z-8\n").path
    assert [end for kind, end in path if kind == C] == [(10, 5, -5), (20, 5, -5), (20, 6, -5), (30, 6, -8)]
    assert [end[2] for kind, end in path if kind == R] == [50, 2, 2, 2, 2, 3, 3, 3, 3, 3]


@pytest.mark.parametrize("words", ["X20 R2", "X20 Z-5"])
def test_words_do_not_stay_for_another_cycle(words: str) -> None:
    refused("G81 X10 Y5 Z-5 R2\nG85 " + words + "\n", "G85 has no")


def test_words_do_not_outlive_the_cycle() -> None:
    refused("G81 X10 Y5 Z-5 R2\nG80\nG81 X20\n", "no R level")
    refused("G81 X10 Y5 Z-5 R2\nG0 X20\nG81 X20\n", "no R level")


def test_repeats_are_not_sticky() -> None:
    found = read("G91 G81 X1 Y0 Z-3 R-48 L3\nX1\n")
    assert sum(kind == C for kind, _ in found.path) == 4


def test_repeats_in_absolute_mode_drill_one_place() -> None:
    path = read("G99 G81 X10 Y5 Z-5 R2 L2\n").path
    assert path == [*DOWN, (C, (10, 5, -5)), (R, (10, 5, 2)), (C, (10, 5, -5)), (R, (10, 5, 2))]


def test_an_incremental_r_counts_from_the_start_of_each_block() -> None:
    found = read("G91 G99 G81 X1 Y0 Z-3 R-10\nX1\n")
    assert [end[2] for kind, end in found.path if kind == C] == [37, 27]


# Initial and R level (sections 3.5.16.1 and 3.5.20) ------------------

def test_g98_returns_to_where_the_series_began() -> None:
    found = read("G99 G81 X10 Y5 Z-5 R2\nX20\nG98 X30\nX40\n")
    assert [end[2] for kind, end in found.path if kind == R] == [50, 2, 2, 2, 2, 2, 50, 50, 2, 50]
    assert "initial level" in found.assumptions


def test_g98_never_returns_below_r() -> None:
    path = read("G0 Z1\nG98 G81 X10 Y5 Z-5 R2\n").path
    assert path[1:] == [(R, (0, 0, 2)), (R, (10, 5, 2)), (C, (10, 5, -5)), (R, (10, 5, 2))]


def test_a_new_series_has_a_new_initial_level() -> None:
    found = read("G98 G81 X10 Y5 Z-5 R2\nG0 Z20\nG81 X20 Z-5 R2\n")
    assert found.end[2] == 20


def test_below_r_both_orders_are_followed() -> None:
    # The report rises before it goes across; other controls go across first: that way is a second reading.
    step = read("G0 Z1\nG81 X10 Y5 Z-5 R2\n").steps[-1]
    ways = {(move.shadow, tuple(map(float, move.end))) for move in step.moves}  # type: ignore[arg-type]
    assert (True, (10, 5, 1)) in ways and (False, (0, 0, 2)) in ways


def test_without_g98_or_g99_the_way_across_is_followed_at_the_r_level_too() -> None:
    found = read("G81 X10 Y5 Z-5 R2\nX20\n")
    shadows = [tuple(map(float, move.end)) for move in found.steps[-1].moves if move.shadow]  # type: ignore[arg-type]
    assert shadows == [(20, 5, 2)] and "return level" in found.assumptions
    said = read("G98 G81 X10 Y5 Z-5 R2\nX20\n")
    assert not [move for move in said.steps[-1].moves if move.shadow] and "return level" not in said.assumptions


def test_so_are_the_ways_between_the_repeats_of_the_first_block() -> None:
    (step,) = read("G91 G81 X10 Y5 Z-5 R-8 L3\n").steps
    shadows = [tuple(map(float, move.end)) for move in step.moves if move.shadow]  # type: ignore[arg-type]
    assert shadows == [(20, 10, 42), (30, 15, 42)]  # no hole comes before the first


# Other planes, changes within a series, unknown places ------------------

def test_in_every_plane_the_third_axis_drills() -> None:
    # Section 3.5.16: G17 drills along Z, G18 along Y, G19 along X.
    assert read("G18 G99 G81 X7 Y-5 Z8 R2\n", start=(0, 9, 0)).path == [
        (R, (7, 9, 8)), (R, (7, 2, 8)), (C, (7, -5, 8)), (R, (7, 2, 8))]
    assert read("G19 G99 G81 X-5 Y7 Z8 R2\n", start=(9, 0, 0)).path == [
        (R, (9, 7, 8)), (R, (2, 7, 8)), (C, (-5, 7, 8)), (R, (2, 7, 8))]


@pytest.mark.parametrize("change", ["G18", "G20", "G91", "G92 Z5", "G92 X0", "G10 L20 P1 Z4", "G55", "T2 M6", "G43 H1"])
def test_what_changes_the_meaning_of_sticky_words(change: str) -> None:
    program = f"G81 X10 Y5 Z-5 R2\n{change}\nX20 Y5 F100\n"
    refused(program, "within a canned cycle", first_tool=1, after_tool_change="same",
            shifts={"G55": (1, 2, 3)}, uses_length=False)


def test_what_does_not_change_the_meaning_of_sticky_words() -> None:
    found = read("G81 X10 Y5 Z-5 R2\nG54 G90 G17 G21\nM8\nG4 P1\n(door)\nS9000 F50\nX20\n")
    assert found.path[-2:] == [(C, (20, 5, -5)), (R, (20, 5, 50))]


def test_coordinates_after_g80() -> None:
    # Section 3.5.15: an error, axis words while G80 is in force, unless another code uses them.
    refused("G81 X10 Y5 Z-5 R2\nG80 X20\n", "after G80")
    refused("G81 X10 Y5 Z-5 R2\nG80\nX20\n", "after G80")
    assert read("G81 X10 Y5 Z-5 R2\nG80 G92 X0\nG0 X5\n").end[0] == 15


def test_a_motion_ends_a_cycle() -> None:
    assert read("G81 X10 Y5 Z-5 R2\nG0\nX20\n").path[-1] == (R, (20, 5, 50))


def test_a_hole_at_a_place_that_is_not_known() -> None:
    refused("G0 X0 Y0\nG91 G81 X5 Z-1 R1\n", "machine.start", start=None)
    refused("G0 Z20\nG81 X10 Z-5 R2\n", "a place that is not known", start=None)
    assert read("G0 Z20\nG99 G81 X10 Y5 Z-5 R2\n", start=None).end == (10, 5, 2)


def test_a_return_to_a_height_that_is_not_known() -> None:
    refused("G98 G81 X10 Y5 Z-5 R2\n", "height that is not known", start=None)
    assert read("G99 G81 X10 Y5 Z-5 R2\n", start=None).end == (10, 5, 2)


@pytest.mark.parametrize("code", ["G84", "G85", "G89"])
def test_a_return_at_feed_to_a_height_that_is_not_known(code: str) -> None:
    # Which of two tools of different length stands at the machine height is not known: the feed out would end at it.
    rules: dict[str, Any] = {"zero": point(0, 0, 60), "first_tool": ANY_TOOL, "tools": {
        1: ToolFacts(Decimal(3), Decimal(0)), 2: ToolFacts(Decimal(3), Decimal(7))}}
    before = "G0 X0 Y0\nG53 Z-1\nM3\n"
    refused(before + block(code), "returns at feed", **rules)
    assert read(before + "G99 " + block(code), **rules).path[-1] == (C, (10, 5, 2))
    assert read(before + block(code), **rules | {"first_tool": 2}).path[-1] == (C, (10, 5, 52))


# Behind a cycle that nothing says the return level of ------------------

DRILLED = "G0 Z25\nG81 X20 Y100 Z-5 R2 F100\nG80\n"


@pytest.mark.parametrize(("rest", "shadows"), [
    ("G0 X200", [(2, 2)]), ("G0 X200\nG0 Y0", [(2, 2), (2, 2)]), ("G0 X200 Z30\nG0 X0", [(2, 30)]),
    ("G0 Z25\nG0 X200", []), ("G0 Z5\nG0 X200\nG0 Z25\nX0", []), ("G91 G0 Z1\nX10\nX10 Z1", [(3, 3), (3, 4)]),
    ("M5\nG0 X200", [(2, 2)]), ("G1 X200", [(2, 2)]), ("G1 X200 Z-1", [(2, -1)]), ("G1 Z-1\nX200", [])])
def test_until_a_height_is_said_the_tool_may_stand_at_the_r_level(rest: str, shadows: list[tuple[int, int]]) -> None:
    def found(program: str) -> list[tuple[float, float]]:
        moves = [move for step in read(program, (0, 100, 30)).steps for move in step.moves]
        return [(float(move.start[2]), float(move.end[2])) for move in moves if move.shadow]  # type: ignore[arg-type]

    assert found(DRILLED + rest + "\n") == shadows
    assert found(DRILLED.replace("G81", "G98 G81") + rest + "\n") == []
    assert found(DRILLED.replace("G81", "G99 G81") + rest + "\n") == []


@pytest.mark.parametrize("block", ["G2 X40 I10 J0", "G92 Z0", "G28.1"])
def test_what_hangs_on_the_height_behind_a_doubtful_cycle_is_refused(block: str) -> None:
    refused(DRILLED + block + "\n", "G98 or G99", start=(0, 100, 30))
    read(DRILLED.replace("G81", "G98 G81") + block + "\n", (0, 100, 30))
