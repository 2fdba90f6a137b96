"""Programs cut into runs, and what is told of a rapid and of a block; by the contract and by hand."""

from __future__ import annotations

from decimal import Decimal
from math import inf

import pytest

from gcode_guard.program.moves import Kind, Move, Step
from gcode_guard.program.state import ANYWHERE, HIGH, Coordinate, Position, Span
from gcode_guard.repair.limits import Limits, Stuck, trouble_of
from gcode_guard.repair.run import (
    Item,
    Leg,
    Run,
    Runs,
    finite,
    is_plain,
    is_still_cut,
    is_still_machine,
    kind_of,
    lowest,
    programmed_height,
    taken_height,
    takes_height,
)
from gcode_guard.repair.series import Series
from tests.language.reading import read

D = Decimal
PLACE: Position = (D(0), D(0), D(5))
ABOVE: Position = (D(0), D(0), D(30))
BESIDE: Position = (D(9), D(0), D(5))


def move(start: Position = PLACE, end: Position = BESIDE, upright: bool = False) -> Move:
    return Move(1, Kind.RAPID, start, end, 1, None, 1.0, upright=upright)


# Rapids -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("leg", "trusted", "exempt", "bad"),
    [
        (Leg(move()), True, False, False),
        (Leg(move(), clips=True), True, False, True),
        (Leg(move(ABOVE, PLACE, True), clips=True), True, True, False),
        (Leg(move(ABOVE, PLACE, True), clips=True, contact=True), True, False, True),
        (Leg(move(ABOVE, PLACE, True)), True, True, False),
        # out of an unknown height only an upright rapid is trusted, and at an unknown place none is exempt
        (Leg(move((D(0), D(0), ANYWHERE), BESIDE)), False, False, True),
        (Leg(move((D(0), D(0), ANYWHERE), PLACE, True), clips=True), True, True, False),
        (Leg(move((D(0), D(0), Span(2.0, inf)), BESIDE)), True, False, False),
        (Leg(move((D(0), D(0), HIGH), BESIDE)), True, False, False),
        (Leg(move((ANYWHERE, D(0), D(5)), (ANYWHERE, D(0), D(2)), True), clips=True), True, False, True),
        (Leg(move((D(0), ANYWHERE, D(5)), (D(0), ANYWHERE, D(2)), True), clips=True), True, False, True),
    ],
)
def test_which_rapids_are_bad(leg: Leg, trusted: bool, exempt: bool, bad: bool) -> None:
    assert (leg.trusted, leg.exempt, leg.bad) == (trusted, exempt, bad)


def test_a_rapid_of_which_nothing_was_said_is_clear() -> None:
    leg = Leg(move())
    assert (leg.clips, leg.contact, leg.needed, leg.obstacles) == (False, False, -inf, ())


def test_a_height_that_can_be_told() -> None:
    assert [finite(height) for height in (D("5.5"), D(0), Span(2.0, 9.0), Span(2.0, inf), ANYWHERE, HIGH)] == [
        5.5, 0.0, 2.0, 2.0, None, None]


def test_the_lowest_of_a_height() -> None:
    assert (lowest(D("5.5")), lowest(Span(2.0, 9.0)), lowest(ANYWHERE), lowest(HIGH)) == (5.5, 2.0, -inf, inf)


# Blocks -----------------------------------------------------------------------------------------------------------


def step(block: str, before: str = "G0 X0 Y0 Z50\n", **rules: object) -> Step:
    return read(before + block + "\n", **rules).steps[-1]


def legs(of: Step) -> list[Leg]:
    return [Leg(one) for one in of.moves]


@pytest.mark.parametrize(
    ("block", "before", "has_z"),
    [
        ("G0 X5 Z9", "", True), ("Z9", "G0\n", True), ("G0 X5", "", False),
        ("G91 G0 X5 Z0", "", False), ("G91 G0 X5 Z1", "", True), ("G0 Z50", "", True), ("G91 G0 Z0", "", False),
    ],
)
def test_whether_a_block_says_a_height(block: str, before: str, has_z: bool) -> None:
    of = step(block, before)
    assert Item(of, "plain", legs(of)).has_z == has_z
    assert not Item(of, "machine", legs(of)).has_z


def test_an_increment_to_a_height_that_is_not_known_is_one() -> None:
    of = step("G91 G0 Z0")
    unknown = Leg(move((D(0), D(0), ANYWHERE), (D(0), D(0), ANYWHERE), True))
    assert Item(of, "plain", [unknown]).has_z


def test_what_the_bad_rapids_of_a_block_need() -> None:
    of = step("G0 X5")
    item = Item(of, "plain", [Leg(move(), True, False, 12.0, (3, 1)), Leg(move(), False, False, 40.0, (7,)),
                              Leg(move(), True, True, 23.0, (2, 1))])
    assert (item.need, item.obstacles, item.crosses) == (23.0, (2, 1, 3), True)
    clear = Item(of, "plain", [Leg(move(ABOVE, PLACE, True), True, False, 40.0, (7,))])
    assert (clear.need, clear.obstacles, clear.crosses) == (-inf, (), False)
    assert Run([clear, item]).bad and not Run([clear]).bad and not Run([]).bad


@pytest.mark.parametrize(
    ("block", "whole"),
    [("G28 X0", True), ("G30 X0", True), ("G53 G0 X5", True), ("G92 X0", True), ("G10 L2 P1 X5", True),
     ("G0 X5", False), ("G1 X5", False), ("G0 G90 X5 M3", False)],
)
def test_which_blocks_are_never_taken_apart(block: str, whole: bool) -> None:
    of = step(block, zero=(D(0), D(0), D(0)), home=PLACE, home2=PLACE)
    assert Item(of, "plain").whole == whole


def test_where_a_block_leaves_the_tool() -> None:
    of = step("G0 X5 Z9")
    assert Item(of, "plain", legs(of)).end == (D(5), D(0), D(9))
    two = Item(of, "plain", [Leg(move(PLACE, ABOVE)), Leg(move(ABOVE, BESIDE))])
    assert two.end == BESIDE
    assert Item(of, "plain").end == (D(5), D(0), D(9))
    # After a way home it is what the readings agree on, wherever the last way leads.
    assert Item(of, "home", [Leg(move(PLACE, ABOVE))]).end == (D(5), D(0), D(9))
    assert Run([Item(of, "plain", [Leg(move())]), two]).end == BESIDE


@pytest.mark.parametrize(
    ("part", "kind"),
    [("plain", "plain"), ("home", "home"), ("home-all", "home"), ("by-way", "home"), ("machine", "machine"),
     ("traverse", "entry"), ("up", "entry"), ("down", "entry"), ("retract", "fixed"), ("peck", "fixed"),
     ("side", "fixed")],
)
def test_kinds_of_items(part: str, kind: str) -> None:
    assert kind_of(part) == kind


@pytest.mark.parametrize(
    ("block", "plain"),
    [("G0 X0", True), ("Y0", True), ("Z50", True), ("G0", False), ("F100", False), ("G1 X5", False),
     ("G28 X0", False), ("G30 X0", False), ("G53 X0", False), ("G92 X0", False), ("G10 L2 P1 X5", False),
     ("G90 G0 Z50 M3", True)],
)
def test_which_blocks_are_a_plain_rapid(block: str, plain: bool) -> None:
    assert is_plain(step(block, zero=(D(0), D(0), D(0)), home=PLACE, home2=PLACE)) == plain


def test_a_skipped_and_a_refused_block_are_no_plain_rapid() -> None:
    assert not is_plain(step("/G0 X0", block_delete="skip"))
    assert is_plain(step("/G0 X0", block_delete="run"))


STORES = {"zero": (D(0), D(0), D(0)), "home": PLACE, "home2": PLACE}


@pytest.mark.parametrize(
    ("block", "still"),
    [("G1 X0", True), ("G1 Z50", True), ("G1 X0 Y0 Z50", True), ("G1 X5", False), ("G1", False), ("G1 F200", False),
     ("G0 X0", False), ("G53 G1 X0", False), ("G92 X0", False)],
)
def test_which_blocks_are_a_cut_that_leads_nowhere(block: str, still: bool) -> None:
    assert is_still_cut(step(block, "G1 X0 Y0 Z50\n", **STORES)) == still


def test_a_cut_that_leads_nowhere_needs_no_word_of_its_own_for_it() -> None:
    assert is_still_cut(step("Y0", "G1 X0\n")) and not is_still_cut(step("F300", "G1 X0\n"))


@pytest.mark.parametrize(
    ("block", "still"),
    [("G53 G0 X0", True), ("G53 G0 Z50", True), ("G53 G0 X5", False), ("G0 X0", False), ("G53 G1 X0", False)],
)
def test_which_blocks_of_machine_coordinates_lead_nowhere(block: str, still: bool) -> None:
    assert is_still_machine(step(block, **STORES)) == still


@pytest.mark.parametrize(
    ("block", "kind", "sets"),
    [("G0 X5 Z9", "plain", True), ("G0 X5", "plain", False), ("G53 G0 X5", "machine", False),
     ("G53 G0 Z5", "machine", True), ("G28 X5 Z9", "home", False), ("G98 G81 X5 Z-5 R2", "entry", False)],
)
def test_which_blocks_set_the_height_of_what_follows(block: str, kind: str, sets: bool) -> None:
    of = step(block, **STORES)
    assert Item(of, kind, legs(of)).sets_z == sets


# Runs -------------------------------------------------------------------------------------------------------------


def cut_into_runs(program: str, **rules: object) -> list[Run]:
    runs = Runs()
    for of in read(program, **rules).steps:
        runs.add(of, legs(of))
    runs.close()
    return runs.closed


def lines(run: Run) -> list[int]:
    return [item.step.block.line for item in run.items]


@pytest.mark.parametrize(
    ("program", "expected"),
    [
        ("G0 X1\nX2\nX3\n", [[1, 2, 3]]),
        ("G0 X1\nG1 X2\nG0 X3\n", [[1], [3]]),  # a cut ends a run
        ("G0 X1\nM3\nX2\n", [[1], [3]]),  # and so does an effect at a known place
        ("G0 X1 M3\nX2\n", [[1, 2]]),  # one that comes before its block's own rapid belongs before the run
        ("G0 X1\nX2 M3\nX3\n", [[1], [2, 3]]),
        ("G0 X1 M0\nX2\n", [[1], [2]]),  # a stop comes after it
        ("G0 X1\n(nothing)\nF200\nX2\n", [[1, 4]]),
        ("G0 X1\nX1\nX2\n", [[1, 2, 3]]),  # a rapid that leads nowhere is part of it
        ("G0 X1\nG1 X1\nX2\nG0 X3\n", [[1], [4]]),
        ("", []), ("M3\n", []), ("G1 X5\n", []),
    ],
)
def test_runs_end_at_cuts_and_effects(program: str, expected: list[list[int]]) -> None:
    assert [lines(run) for run in cut_into_runs(program)] == expected


def test_a_run_starts_where_the_tool_stands() -> None:
    first, second = cut_into_runs("G0 X1\nX2\nG1 X7 F100\nG0 X3\n")
    assert first.start == (D(0), D(0), D(50)) and first.end == (D(2), D(0), D(50))
    assert second.start == (D(7), D(0), D(50)) and second.end == (D(3), D(0), D(50))
    (nowhere,) = cut_into_runs("G0 Z50\nX0\n")
    assert nowhere.start == (D(0), D(0), D(50))


def test_at_a_place_that_is_not_known_a_run_goes_on_over_an_effect() -> None:
    assert [lines(run) for run in cut_into_runs("G0 Z5\nM3\nX0 Y0\n", start=None)] == [[1, 3]]
    # but not over a tool change, behind which everything is fresh
    changed = cut_into_runs("G0 Z5\nM6 T1\nG0 Z9\nX0 Y0\n", start=None)
    assert [(lines(run), run.fresh) for run in changed] == [([1], False), ([3, 4], True)]
    known = cut_into_runs("G0 X1\nM6 T1\nG0 X2\n")
    assert [run.fresh for run in known] == [False, True]
    assert [run.fresh for run in cut_into_runs("G0 X1\nM6 T1\nG0 X2 Y2 Z9\nM3\nX4\n")] == [False, True, False]


def test_a_cycle_is_a_way_in_and_a_way_out_at_each_hole() -> None:
    first, second, third = cut_into_runs("G0 Z5\nG98 G81 X10 Y0 Z-5 R2 F100\nX20\nG80\nG0 X0\n")
    assert [(item.kind, item.hole) for item in first.items] == [("plain", 0), ("entry", 0)]
    assert len(first.items[1].legs) == 2  # across, and down to R
    assert [(item.step.block.line, item.kind) for item in second.items] == [(2, "fixed"), (3, "entry")]
    assert [(item.step.block.line, item.kind) for item in third.items] == [(3, "fixed"), (5, "plain")]


def test_the_holes_of_a_repeated_cycle_are_items_of_their_own() -> None:
    runs = cut_into_runs("G0 Z5\nG91 G98 G81 X10 Y0 Z-7 R-3 L3 F100\nG80\n")
    assert [[(item.kind, item.hole) for item in run.items] for run in runs] == [
        [("plain", 0), ("entry", 0)], [("fixed", 0), ("entry", 1)], [("fixed", 1), ("entry", 2)], [("fixed", 2)]]


def test_a_hole_without_a_depth_has_a_way_in_and_a_way_out_all_the_same() -> None:
    (run,) = cut_into_runs("G0 Z5\nG98 G81 X10 Y0 Z2 R2 F100\nX20\n")
    assert [(item.kind, item.step.block.line) for item in run.items] == [
        ("plain", 1), ("entry", 2), ("fixed", 2), ("entry", 3), ("fixed", 3)]


@pytest.mark.parametrize(
    ("block", "effect", "takes"),
    [("G28.1", "G28.1", True), ("G30.1", "G30.1", True), ("G92 Z0", "G92 Z0", True), ("G92 X0", "G92 X0", False),
     ("G10 L20 P1 Z0", "G10 L20 P1", True), ("G10 L20 P1 X0", "G10 L20 P1", False),
     ("M3", "M3", False), ("G0 Z5 M3", "M3", False)],
)
def test_which_effects_take_the_height_of_the_tool(block: str, effect: str, takes: bool) -> None:
    assert takes_height(step(block), effect) == takes


def test_the_height_that_moves_were_programmed_to() -> None:
    assert programmed_height([]) is None
    assert programmed_height([move((D(0), D(0), ANYWHERE), (D(9), D(0), ANYWHERE))]) is None
    assert programmed_height([move((D(0), D(0), HIGH), (D(9), D(0), HIGH))]) is None
    assert programmed_height([move(PLACE, BESIDE)]) == 5.0
    assert programmed_height([move(PLACE, BESIDE), move(BESIDE, ABOVE, True)]) == 5.0
    assert programmed_height([move(PLACE, ABOVE, True)]) == 30.0
    assert programmed_height([move(PLACE, ABOVE, True), move(ABOVE, PLACE, True)]) == 5.0
    assert programmed_height([move(ABOVE, PLACE, True), move(PLACE, ABOVE, True)]) == 30.0


def test_the_calls_of_subprograms_end_a_run_at_a_place_that_is_not_known() -> None:
    program = "G0 Z5\nM98 P1\nG0 Z9\nM30\nO1\nG0 Z7\nM99\n"
    assert [lines(run) for run in cut_into_runs(program, start=None)] == [[1], [6], [3]]


def test_a_run_names_the_block_behind_it_that_takes_the_height_of_the_tool() -> None:
    still, stored, known = (cut_into_runs(program, start=start)[0].taken for program, start in (
        ("G0 X1\nG1 X1\n", PLACE), ("G0 Z5\nG28.1\n", None), ("G0 X1\nG92 Z0\n", PLACE)))
    assert still is not None and still.block.line == 2
    assert stored is not None and stored.block.line == 2
    assert known is None


# Series of cycles -------------------------------------------------------------------------------------------------

SERIES = "G0 Z5\n{} G81 X10 Y0 Z-5 R2 F100\nX20 R{}\n"


@pytest.mark.parametrize(
    ("retract", "level", "begun", "elsewhere"),
    [
        ("G98", 1, 8, True),  # G98 would return to 8 mm, and not to 5
        ("G98", 1, 5, False),
        ("G98", 9, 8, False),  # from below its R level a cycle returns to that
        ("G98", 6, 8, True),
        ("G99", 1, 8, False),  # it returns to the R level in any case
        ("", 1, 8, True),
        ("G98", 1, None, False),
    ],
)
def test_a_series_that_began_higher_returns_elsewhere(retract: str, level: int, begun: int | None,
                                                      elsewhere: bool) -> None:
    run = cut_into_runs(SERIES.format(retract, level))[1]
    assert (run.items[-1].kind, run.items[-1].step.block.line) == ("entry", 3)
    assert Series(None if begun is None else D(begun)).returns_elsewhere(run) == elsewhere


def test_a_new_series_begins_where_the_program_begins_it() -> None:
    series = Series(D(8))
    first, second, third = cut_into_runs(SERIES.format("G98", 1))[:3]
    assert not series.returns_elsewhere(first) and series.begun_at is None
    series = Series(D(8))
    assert not series.returns_elsewhere(third) and series.begun_at == 8  # the way out of the last hole begins none


def test_a_series_out_of_a_height_that_is_only_known_to_be_high_returns_there() -> None:
    run = cut_into_runs("G91 G28 Z0\nG90\nG98 G81 X10 Y0 Z-5 R2 F100\nX20\n")[1]
    assert (run.items[-1].kind, run.items[-1].step.block.line) == ("entry", 4)
    assert not Series(D(8)).returns_elsewhere(run)


def test_the_further_holes_of_a_block_return_with_the_first() -> None:
    runs = cut_into_runs("G0 Z5\nG91 G98 G81 X10 Y0 Z-7 R-3 F100\nX10 L2\n")
    assert [(run.items[-1].kind, run.items[-1].hole) for run in runs] == [
        ("entry", 0), ("entry", 0), ("entry", 1), ("fixed", 1)]
    assert [Series(D(8)).returns_elsewhere(run) for run in runs] == [False, True, False, False]


# What no edit cures -----------------------------------------------------------------------------------------------


def test_trouble_names_the_obstacle_of_the_item_or_else_of_its_run() -> None:
    of, other = read("G0 X5\nX9\n").steps
    clear = Item(of, "plain", [Leg(move())])
    bad = Item(other, "plain", [Leg(move(), True, False, 23.0, (4, 2))])
    own = trouble_of(Stuck(bad, 3, "what", "advice"), Run([clear, bad]))
    assert (own.line, own.exit, own.what, own.advice, own.obstacle, own.by) == (2, 3, "what", "advice", 4, None)
    runs = trouble_of(Stuck(clear, 4, "what", "advice"), Run([clear, bad]))
    assert (runs.line, runs.exit, runs.obstacle) == (1, 4, 4)
    assert trouble_of(Stuck(clear, 4, "what", "advice"), Run([clear])).obstacle is None
    assert str(Stuck(clear, 4, "what", "advice")) == "what"


@pytest.mark.parametrize(
    ("block", "what"),
    [("G1 Z50", "is a cut that leads nowhere from where the program has the tool"),
     ("G92 Z0", "takes the height of the tool for a zero or a home")],
)
def test_what_is_said_of_a_block_that_takes_the_height_of_a_lifted_tool(block: str, what: str) -> None:
    trouble = taken_height(step(block, "G0 X0\n"))
    assert (trouble.line, trouble.exit, trouble.what, trouble.advice, trouble.obstacle) == (
        2, 3, f"this block {what}, and the rapids before it must be lifted",
        "say where the program starts (machine.start), or go to a known X and Y before this block", None)


def test_without_a_bench_there_are_no_limits() -> None:
    limits = Limits()
    assert (limits.ceiling, limits.everything, limits.rise_from) == (inf, -inf, -inf)
    assert limits.way_round is None and limits.faster_round is None


def test_a_height_is_a_coordinate() -> None:
    heights: list[Coordinate] = [D(5), HIGH]
    assert [lowest(height) for height in heights] == [5.0, inf]
