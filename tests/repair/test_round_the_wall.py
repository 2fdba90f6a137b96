"""Ways round the end of the wall of wall.py: programs before and after, and for which heights they are asked."""

from __future__ import annotations

from math import inf
from typing import Any

import pytest

from gcode_guard.program.moves import Move
from tests.repair.wall import CORNERS, HOME, KNOWN, UP, ZERO, Planned, became, limits

# Round the end of the wall, where the machine ends at 20 mm.
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
    "inches: 20 mm are 0.62992 inch above 4 mm": (
        {}, KNOWN, CUT + "G20\nG91\nG0 Z.1\nX8\nG90 G1 Z-.1 F9\n",
        CUT + "G20\nG91\nG0 Z0.6299\nX2.3622047 Y7.8740157\nG0 X3.1496063 Y0.0\nG0 X2.488189 Y-7.8740157\n"
        "G0 Z-0.5299\nG90 G1 Z-.1 F9\n", (19.99946,)),
    "inches, from a height that is only known to be high": (
        HOME, KNOWN, UP + "G20\nG0 Z.2\nX8\nG1 Z-.1 F9\n",
        UP + "G20\nG0 Z0.7874\nX2.3622047 Y11.8110236\nG0 X5.511811 Y11.8110236\nG0 X8.0 Y3.9370079\n"
        "G0 Z0.2\nG1 Z-.1 F9\n", (19.99996,)),
    "a lift in the block itself, to the ceiling": (
        {"ceiling": 23.0}, KNOWN, CUT + "G0 X200\nG1 Z-1\n", CUT + "G0 Z23.0\nG0 X200\nG0 Z4.0\nG1 Z-1\n", ()),
    "to a hole, where a lift to the ceiling is enough": (
        {"ceiling": 23.0}, KNOWN, "G0 Z5\nG98 G81 X20 Z-5 R2\nX200\nG80\nG1 Z-2\n",
        "G0 Z5\nG98 G81 X20 Z-5 R2\nG0 Z23.0\nG0 X200.0 Y100.0\nG0 Z5.0\n"
        "G98 G81 X200.0 Y100.0 Z-5.0 R2.0\nG80\nG1 Z-2\n", ()),
    "to a hole with its R level at the ceiling": (
        {}, KNOWN, "G1 Z5\nG98 G81 X200 Z-5 R20\nG80\n",
        "G1 Z5\nG0 Z20.0\n" + ROUND + "G0 X200.0 Y100.0\nG98 G81 X200 Z-5 R20\nG80\n", (20.0,)),
    "to a hole from its R level": (
        {"ceiling": 5.0}, KNOWN, "G1 Z5\nG98 G81 X200 Y100 Z-5 R5\nG80\n",
        "G1 Z5\n" + ROUND + "G0 X200.0 Y100.0\nG98 G81 X200 Y100 Z-5 R5\nG80\n", (5.0,)),
    # By one reading the tool stands at 2 mm behind the hole: it must go up first, however high it may stand.
    "to a hole, perhaps from the R level of the one before": (
        {}, KNOWN, "G0 Z25\nG81 X20 Z-5 R2\nX200\nG80\nG1 Z-2\n",
        "G0 Z25\nG81 X20 Z-5 R2\nG0 Z25.0\n" + ROUND + "G0 X200.0 Y100.0\nG81 X200.0 Y100.0 Z-5.0 R2.0\n"
        "G80\nG1 Z-2\n", (25.0,)),
    "to a hole": (
        {}, KNOWN, "G0 Z5\nG98 G81 X20 Z-5 R2\nX200\nG80\nG1 Z-2\n",
        "G0 Z5\nG98 G81 X20 Z-5 R2\nG0 Z20.0\n" + ROUND + "G0 X200.0 Y100.0\nG0 Z5.0\n"
        "G98 G81 X200.0 Y100.0 Z-5.0 R2.0\nG80\nG1 Z-2\n", (20.0,)),
}


@pytest.mark.parametrize(("more", "start", "before", "after", "at"), DETOURS.values(), ids=DETOURS.keys())
def test_ways_round(more: dict[str, Any], start: tuple[float, float, float], before: str, after: str,
                    at: tuple[float, ...]) -> None:
    asked = []

    def way_round(move: Move, height: float) -> list[tuple[float, float]]:
        asked.append(height)
        return CORNERS

    rules = {key: more[key] for key in more if key in HOME}
    room: dict[str, Any] = {"ceiling": more.get("ceiling", 20.0), "way_round": way_round}
    assert became(before, start, room, **rules) == after
    assert tuple(asked) == pytest.approx(at)
    # Without a way the same is refused, unless it needs none.
    for gone, said in ((lambda move, height: None, "and there is no way round; "), (None, "and the machine ends at ")):
        planned = Planned(before, limits(**room | {"way_round": gone}), start, **rules)
        assert (said in planned.said) == bool(at)


@pytest.mark.parametrize(("corners", "way"), [
    ([(60.0, 300.0)], "G0 X60.0 Y200.0\nG0 X140.0 Y-200.0\n"),
    ([(60.0, 300.0), (100.0, 310.0), (140.0, 300.0)],
     "G0 X60.0 Y200.0\nG0 X40.0 Y10.0\nG0 X40.0 Y-10.0\nG0 X60.0 Y-200.0\n"),
])
def test_a_way_round_by_increments_ends_where_the_block_does(corners: list[tuple[float, float]], way: str) -> None:
    room = {"ceiling": 20.0, "way_round": lambda move, height: corners}
    before = CUT + "G91 G0 X200\nG90 G1 Z-1\n"
    assert Planned(before, limits(**room)).text == CUT + f"G91 G0 Z16.0\n{way}G0 Z-16.0\nG90 G1 Z-1\n"


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


# A shoe that stays with the gantry, which no lift takes over the wall: (before, height of the way round, after, own
# height that the way round is asked for).
SHOES = {
    "at its own height": ("G0 Z5\nX200\nG1 Z-1\n", 5.0, "G0 Z5\n" + ROUND[3:] + "G0 X200.0 Y100.0\nG1 Z-1\n", 5.0),
    "higher": (
        "G0 Z5\nX200\nG1 Z-1\n", 9.0, "G0 Z5\nZ9.0\n" + ROUND + "G0 X200.0 Y100.0\nG0 Z5.0\nG1 Z-1\n", 5.0),
    "on a slope down": (
        "G0 Z5\nX200 Z2\nG1 Z-1\n", 5.0, "G0 Z5\n" + ROUND[3:] + "G0 X200.0 Y100.0\nG0 Z2\nG1 Z-1\n", 5.0),
    "on a slope up": ("G0 Z5\nX200 Z7\nG1 Z-1\n", 7.0, "G0 Z5\nZ7\n" + ROUND + "G0 X200.0 Y100.0\nG1 Z-1\n", 7.0),
    "on a slope up, higher": (
        "G0 Z5\nX200 Z7\nG1 Z-1\n", 9.0, "G0 Z5\nZ9.0\n" + ROUND + "G0 X200.0 Y100.0\nG0 Z7\nG1 Z-1\n", 7.0),
    "on a slope up by an increment": (
        CUT + "G91 G0 X200 Z2\nG90 G1 Z-1\n", 6.0,
        CUT + "G91 G0 Z2\nG0 X60.0 Y200.0\nG0 X80.0 Y0.0\nG0 X60.0 Y-200.0\nG90 G1 Z-1\n", 6.0),
    "to a hole": (
        "G0 Z5\nG98 G81 X200 Y100 Z-2 R3\nG80\n", 5.0,
        "G0 Z5\n" + ROUND + "G0 X200.0 Y100.0\nG98 G81 X200 Y100 Z-2 R3\nG80\n", 5.0),
    "to a hole, higher": (
        "G0 Z5\nG98 G81 X200 Y100 Z-2 R3\nG80\n", 9.0,
        "G0 Z5\nG0 Z9.0\n" + ROUND + "G0 X200.0 Y100.0\nG0 Z5.0\nG98 G81 X200 Y100 Z-2 R3\nG80\n", 5.0),
    "a slope from above everything": (
        UP + "G0 X200 Z1\n", inf, UP + ROUND + "G0 X200.0 Y100.0\nG0 Z1\n", inf),
    "perhaps from the R level of a hole": (
        "G0 Z5\nG81 X20 Z-2 R2\nG80\nG0 X200\nG1 Z-1\n", 5.0,
        "G0 Z5\nG81 X20 Z-2 R2\nG80\nG0 Z5.0\n" + ROUND + "G0 X200.0 Y100.0\nG1 Z-1\n", 2.0),
    "from above everything": (UP + "G0 X200\nG0 Z1\n", inf, UP + ROUND + "G0 X200.0 Y100.0\nG0 Z1\n", inf),
}


@pytest.mark.parametrize(("before", "height", "after", "own"), SHOES.values(), ids=SHOES.keys())
def test_round_under_a_shoe(before: str, height: float, after: str, own: float) -> None:
    asked = []

    def past_shoe(move: Move, own: float, ceiling: float) -> tuple[list[tuple[float, float]], float]:
        asked.append((own, ceiling))
        return CORNERS, height

    planned = Planned(before, limits(ceiling=60.0, past_shoe=past_shoe), KNOWN, shoe=True, **HOME)
    assert (planned.said, planned.text, asked) == ("", after, [(own, 60.0)])
    assert [(kind, at) for _, kind, _, at, *_ in planned.told] == [("detour", height if height < inf else None)]
    gone = Planned(before, limits(ceiling=60.0, past_shoe=lambda *_: None, way_round=lambda *_: None), KNOWN, shoe=True,
                   **HOME)
    assert gone.said.endswith("the dust shoe stays with the gantry, no lift takes it over, and there is no way round;"
                              " move the obstacle")


def test_round_under_a_shoe_and_back_on_a_slope_by_increments() -> None:
    # The way there leads 1 mm up from 4 mm, the way back to the block's own end at 10 mm.
    ways = {4.0: (CORNERS, 5.0), 10.0: (CORNERS[::-1], 10.0)}
    room = limits(ceiling=60.0, past_shoe=lambda move, own, ceiling: ways[own])
    assert Planned(CUT + "G91 G0 X200\nX-200 Z6\nG90 G1 Z-1\n", room, shoe=True).text == (
        CUT + "G91 G0 Z1.0\nG0 X60.0 Y200.0\nG0 X80.0 Y0.0\nG0 X60.0 Y-200.0\n"
        "Z5.0\nG0 X-60.0 Y200.0\nG0 X-80.0 Y0.0\nG0 X-60.0 Y-200.0\nG90 G1 Z-1\n")


@pytest.mark.parametrize(("block", "height"), [("G0 X200 Z7", 7.0), ("G0 X200", 9.0)])
def test_an_undercut_tool_is_not_raised_for_a_way_round_under_a_shoe(block: str, height: float) -> None:
    room = limits(rise_from=0.0, rise_advice="raise it first", past_shoe=lambda *_: (CORNERS, height))
    assert Planned(f"G0 Z5\nG1 Z-1\n{block}\n", room, shoe=True).said == (
        "3 line 3: its tool is wider below than above and stands in the material, where it must not be raised; raise it"
        " first")


def test_from_a_place_that_is_not_known_no_way_round_under_a_shoe_is_looked_for() -> None:
    room = limits(ceiling=60.0, past_shoe=lambda *_: (CORNERS, 25.0), way_round=lambda *_: CORNERS)
    assert Planned("G0 Z25\nG0 X0 Y100\nG0 Z1\n", room, None, shoe=True).said == (
        "3 line 2: the dust shoe stays with the gantry, no lift takes it over, and there is no way round; move the"
        " obstacle")


def test_upwards_from_above_everything_no_height_takes_the_shoe_over() -> None:
    room = limits(ceiling=60.0, past_shoe=lambda *_: None, way_round=lambda *_: None)
    assert Planned("G91 G28 Z0\nG0 X200 Z5\n", room, shoe=True, **HOME).said == (
        "3 line 2: the dust shoe stays with the gantry, no lift takes it over, and there is no way round; move the"
        " obstacle")


@pytest.mark.parametrize("block", ["G28 X50", "G53 G0 X210"])
def test_no_way_round_is_written_before_a_block_that_stays_whole(block: str) -> None:
    room = limits(ceiling=60.0, past_shoe=lambda *_: (CORNERS, 5.0), way_round=lambda *_: CORNERS)
    assert Planned(f"G0 Z5\n{block}\n", room, KNOWN, shoe=True, **HOME, **ZERO).said == (
        "3 line 2: the dust shoe stays with the gantry, no lift takes it over; move the obstacle; or go round it with"
        " G0 X Y in blocks before this one")


def test_what_is_told_of_a_way_round() -> None:
    room = limits(ceiling=20.0, way_round=lambda move, height: CORNERS)
    told = [(1, "lift", 5.0, 20.0, 20.0, 1), (2, "detour", 5.0, 20.0, 20.0, 1)]
    assert Planned("G0 Z5\nX200\nG1 Z-1\n", room).told == told
