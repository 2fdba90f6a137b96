"""The rule of clearance in single numbers, worked out by hand, and batches that are cut into pieces.

The clamp: x 10 to 70, y 200 to 230, up to 18, wrong by 0.5 at most. A cutter of radius 3 alone comes too near within
3 + 0.5 + 3 = 6.5 mm of it, lower than 18 + 0.5 + 3 = 21.5.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from gcode_guard.space import clearance
from gcode_guard.space.assembly import Assembly
from gcode_guard.space.clearance import Encounters, Sweeps, distances, encounters, needed_heights
from gcode_guard.space.hulls import bar, box, cylinder
from gcode_guard.space.scene import Scene, SceneSolid

CLAMP = SceneSolid(0, [box((40, 215), (60, 30))], 18.0, 0.5)
POST = SceneSolid(1, [cylinder((300, 100), 12)], 40.0, 0.0)  # radius 6
RAIL = SceneSolid(2, [bar((0, 0), (100, 0), 4)], 10.0, 1.0)  # 2 mm either side
CUTTER = Assembly([0.0], [3.0], ["cutter"])
NUT = Assembly([0.0, 20.0], [3.0, 21.0], ["cutter", "collet nut/spindle"])
INF = math.inf


def scene(*solids: SceneSolid) -> Scene:
    return Scene.build(solids or [CLAMP])


def one(start: tuple[float, ...], end: tuple[float, ...], tool: Assembly = CUTTER, beside: float = 3.0,
        above: float = 3.0, table: Scene | None = None, clipping_only: bool = True, **sweep: Any) -> Encounters:
    return encounters(table or scene(), tool, Sweeps([start], [end], **sweep), beside, above,
                      clipping_only=clipping_only)


# How high ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("tool", "sweep", "height"),
    [
        (CUTTER, {}, 21.5),
        (CUTTER, {"margin": 1.0}, 22.5),
        (CUTTER, {"sink": 0.25}, 21.75),  # the tip may really run so much lower
        (CUTTER, {"grow": 5.0}, 21.5),  # sideways alone
        (CUTTER, {"margin": 1.0, "sink": 0.25}, 22.75),
        # A shoe that hangs 5 mm below the tip must be above 21.5 itself.
        (Assembly([-5.0], [40.0], ["shoe"]), {}, 26.5),
        (Assembly([-5.0, 0.0], [2.0, 40.0], ["shoe", "nut"]), {}, 26.5),
        (Assembly([20.0], [3.0], ["cutter"]), {}, 1.5),
    ],
)
@pytest.mark.parametrize("boxed", [False, True])
def test_over_the_clamp(tool: Assembly, sweep: dict[str, float], height: float, boxed: bool) -> None:
    across = (-60.0, 215.0, 0.0), (140.0, 215.0, 0.0)
    assert needed_heights(scene(), tool, Sweeps([across[0]], [across[1]], boxed, **sweep), 3.0, 3.0) == [height]
    for level, clips in ((height, False), (height - 0.001, True), (height + 50, False), (height - 50, True)):
        start, end = (-60.0, 215.0, level), (140.0, 215.0, level)
        found = one(start, end, tool, box=boxed, **sweep)
        assert bool(len(found)) == clips
        if clips:
            worst = found.depth.max()
            assert worst == pytest.approx(height - level)


@pytest.mark.parametrize(
    ("sweep", "reach"),
    [({}, 6.5), ({"margin": 1.0}, 7.5), ({"grow": 0.5}, 7.0), ({"sink": 0.25}, 6.5), ({"margin": 1, "grow": 0.5}, 8.0)],
)
@pytest.mark.parametrize("boxed", [False, True])
@pytest.mark.parametrize("side", [(-1, 0), (1, 0), (0, -1), (0, 1)])
def test_past_the_clamp(sweep: dict[str, float], reach: float, boxed: bool, side: tuple[int, int]) -> None:
    for gap, clips in ((reach, False), (reach - 0.001, True)):
        x, y = 40 + side[0] * (30 + gap), 215 + side[1] * (15 + gap)
        along = (100.0 * side[1], 100.0 * side[0])
        start, end = (x - along[0], y - along[1], 5.0), (x + along[0], y + along[1], 5.0)
        assert bool(len(one(start, end, box=boxed, **sweep))) == clips
        heights = needed_heights(scene(), CUTTER, Sweeps([start], [end], boxed, **sweep), 3.0, 3.0)
        assert (heights[0] > -INF) == clips


@pytest.mark.parametrize(
    ("start", "end", "clips"),
    [
        # Falls by 1 in 10, and is at exactly 21.5 where it leaves the reach at x = 3.5; lower only beyond it.
        ((103.5, 215, 31.5), (-96.5, 215, 11.5), False),
        ((103.5, 215, 31.499), (-96.5, 215, 11.499), True),
        # Rises out of reach and comes in high enough.
        ((-96.5, 215, 11.5), (103.5, 215, 31.5), False),
        # Past the corner at (70, 230), on a slant: nearest at (75, 234) + along (-4, 5): 6.403 away, within 6.5.
        ((79, 229, 5), (71, 239, 5), True),
        ((79.2, 229.2, 5), (71.2, 239.2, 5), False),
    ],
)
def test_along_a_slope_and_past_a_corner(start: tuple[float, ...], end: tuple[float, ...], clips: bool) -> None:
    assert bool(len(one(start, end))) == clips
    assert bool(len(one(end, start))) == clips


def test_a_clearance_of_nothing_asks_for_contact() -> None:
    # Radius 3 and tolerance 0.5 at 18.5.
    for y, z, touches in ((196.5, 5.0, False), (196.501, 5.0, True), (215.0, 18.5, False), (215.0, 18.499, True)):
        assert bool(len(one((0, y, z), (80, y, z), beside=0.0, above=0.0))) == touches


# What is told -----------------------------------------------------------------------------------------------------


def test_where_and_how_deep_along_a_slope() -> None:
    # At 5 + x/10 the tip comes into reach at x = 3.5, lowest there: 5.35.
    for start, end in (((0, 215, 5), (100, 215, 15)), ((100, 215, 15), (0, 215, 5))):
        found = one(start, end)
        assert (found.move.tolist(), found.hull.tolist(), found.obstacle.tolist(), found.section.tolist()) == (
            [0], [0], [0], [0])
        assert found.needed.tolist() == [21.5]
        assert found.lowest == pytest.approx([5.35])
        assert found.depth == pytest.approx([16.15])
        assert found.at == pytest.approx(np.array([[3.5, 215.0]]))


def test_a_path_that_ends_within_reach_is_lowest_at_its_own_end() -> None:
    found = one((-100, 215, 20), (40, 215, 6))
    assert found.lowest.tolist() == [6.0] and found.at.tolist() == [[40.0, 215.0]]
    found = one((40, 215, 6), (-100, 215, 20), sink=0.5)
    assert found.lowest.tolist() == [5.5] and found.at.tolist() == [[40.0, 215.0]]
    straight_down = one((40, 215, 60), (40, 215, 4))
    assert straight_down.lowest.tolist() == [4.0] and straight_down.at.tolist() == [[40.0, 215.0]]


def test_of_a_box_the_place_nearest_to_the_middle_of_the_hull_is_told() -> None:
    inside = one((0, 0, 2), (100, 300, 50), box=True)
    assert (inside.at.tolist(), inside.lowest.tolist()) == ([[40.0, 215.0]], [2.0])
    beside = one((75, 100, 50), (100, 205, 2), box=True, sink=0.5)
    assert (beside.at.tolist(), beside.lowest.tolist()) == ([[75.0, 205.0]], [1.5])
    deep = one((75, 100, 50), (INF, INF, -INF), box=True)
    assert (deep.at.tolist(), deep.lowest.tolist(), deep.depth.tolist()) == ([[75.0, 215.0]], [-INF], [INF])


def test_what_is_near_is_told_even_where_it_is_high_enough() -> None:
    high = (-60.0, 215.0, 100.0), (140.0, 215.0, 100.0)
    assert len(one(*high)) == 0
    near = one(*high, clipping_only=False)
    assert (near.lowest.tolist(), near.needed.tolist(), near.depth.tolist()) == ([100.0], [21.5], [-78.5])
    both = one((-60, 215, 10), (140, 215, 10), NUT, clipping_only=False)
    assert both.section.tolist() == [0, 1]
    assert both.needed.tolist() == [21.5, 1.5]
    assert one((-60, 215, 10), (140, 215, 10), NUT).section.tolist() == [0]


def test_encounters_stand_in_the_order_of_moves_hulls_and_sections() -> None:
    table = scene(CLAMP, RAIL, SceneSolid(9, [box((0, 0), (5, 5)), box((50, 0), (5, 5))], 18.0, 0.5))
    moves = Sweeps([(200, 0, -9), (40, 215, -9), (-50, 0, -9)], [(-50, 0, -9), (40, 215, -9), (200, 0, -9)])
    found = encounters(table, NUT, moves, 3.0, 3.0)
    rows = list(zip(found.move.tolist(), found.hull.tolist(), found.section.tolist(), strict=True))
    assert rows == [(0, 1, 0), (0, 1, 1), (0, 2, 0), (0, 2, 1), (0, 3, 0), (0, 3, 1), (1, 0, 0), (1, 0, 1),
                    (2, 1, 0), (2, 1, 1), (2, 2, 0), (2, 2, 1), (2, 3, 0), (2, 3, 1)]
    assert found.obstacle.tolist() == [2, 2, 9, 9, 9, 9, 0, 0, 2, 2, 9, 9, 9, 9]
    picked = found.take(np.array([6, 0]))
    assert (picked.move.tolist(), picked.hull.tolist(), len(picked)) == ([1, 0], [0, 1], 2)


def test_nothing_is_told_where_nothing_is() -> None:
    nothing = one((500, 500, 0), (600, 500, 0))
    assert len(nothing) == 0 and nothing.at.shape == (0, 2)
    assert len(one((0, 0, 0), (0, 0, 0), table=Scene.build([]))) == 0
    # Within the reach of the widest section alone, and that one is high enough.
    assert len(one((90, 215, 2), (90, 300, 2), NUT)) == 0


# Distances --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("start", "end", "boxed", "hull", "distance"),
    [
        ((0, 190), (100, 190), False, 0, 10.0),
        ((0, 210), (100, 210), False, 0, 0.0),  # through it
        ((30, 210), (50, 220), False, 0, 0.0),  # wholly inside
        ((80, 240), (80, 300), False, 0, math.hypot(10, 10)),  # from its end to a corner
        ((80, 245), (90, 235), False, 0, math.hypot(12.5, 12.5)),  # from its middle to a corner
        ((0, 215), (5, 215), False, 0, 5.0),
        ((200, 215), (200, 215), False, 0, 130.0),
        ((300, 120), (400, 120), False, 1, 14.0),  # round bodies from their edge
        ((300, 103), (400, 103), False, 1, 0.0),
        ((50, 10), (50, 20), False, 2, 8.0),
        ((130, 40), (130, 50), False, 2, 48.0),  # 30, 40: 50 from its end
        ((80, 100), (100, 190), True, 0, math.hypot(10, 10)),
        ((0, 100), (100, 190), True, 0, 10.0),
        ((0, 100), (100, 300), True, 0, 0.0),
        ((320, 0), (330, 300), True, 1, 14.0),
        ((0, 0), (INF, 190), True, 0, 10.0),
        ((-INF, -INF), (0, 190), True, 0, math.hypot(10, 10)),
        ((-INF, -INF), (INF, INF), True, 1, 0.0),
    ],
)
def test_distances_in_the_plane(start: tuple[float, float], end: tuple[float, float], boxed: bool, hull: int,
                                distance: float) -> None:
    table, index = scene(CLAMP, POST, RAIL), (np.array([0]), np.array([hull]))
    for a, b in ((start, end), (end, start)):
        assert distances(table, Sweeps([(*a, 5.0)], [(*b, 7.0)], boxed), *index) == pytest.approx([distance])


# Batches ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("at_once", [None, 300])
@pytest.mark.parametrize("count", [100, 129, 200])
def test_a_batch_answers_like_its_moves(count: int, at_once: int | None, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file of moves 10 mm apart past the clamp and over it, in a batch that is looked at in blocks of 64, and cut
    into small pieces; every third one is a box, and every fifth lies far away."""
    if at_once:
        monkeypatch.setattr(clearance, "NUMBERS_AT_ONCE", at_once)
    number = np.arange(count)
    x, y = (number % 20) * 10.0 - 60, 150 + (number // 20) * 15.0 + np.where(number % 5 == 4, 5000.0, 0.0)
    z = np.where(number % 7 == 0, 30.0, 4.0 + number % 3)
    start, end = np.column_stack([x, y, z]), np.column_stack([x + 30, y + 10, z + 5])
    sweeps = Sweeps(start, end, number % 3 == 0, margin=(number % 2) * 1.0, sink=(number % 4) * 0.1, grow=0.25)
    table = scene(CLAMP, POST, RAIL, SceneSolid(3, [cylinder((20, 160), 9), bar((60, 170), (90, 190), 6)], 25.0, 0.0))
    whole = encounters(table, NUT, sweeps, 3.0, 3.0, clipping_only=False)
    clipping = encounters(table, NUT, sweeps, 3.0, 3.0)
    heights = needed_heights(table, NUT, sweeps, 3.0, 3.0)
    met, clipped = set(), set()
    for m in range(count):
        # One hull and one section at a time, by distance and height alone.
        for hull in range(len(table)):
            apart = distances(table, sweeps, np.array([m]), np.array([hull]))[0]
            for section in (0, 1):
                reach = NUT.radius[section] + table.tolerance[hull] + 3.0 + sweeps.margin[m] + 0.25
                if apart < reach - 1e-6:
                    met.add((m, hull, section))
                needed = table.top[hull] + table.tolerance[hull] + 3.0 + sweeps.margin[m] - NUT.from_[section]
                if apart < reach - 1e-6 and (sweeps.box[m] or z[m] + 5 < needed) and z[m] - sweeps.sink[m] < needed:
                    clipped.add((m, hull, section))
    rows = list(zip(whole.move.tolist(), whole.hull.tolist(), whole.section.tolist(), strict=True))
    assert rows == sorted(met) and len(met) > 50
    below = set(zip(clipping.move.tolist(), clipping.hull.tolist(), clipping.section.tolist(), strict=True))
    assert clipped <= below <= met
    assert not any(whole.depth[k] > 1e-6 and row not in below for k, row in enumerate(rows))
    near = np.array(sorted({m for m, _, _ in met}))
    expected = [max(whole.needed[whole.move == m]) + sweeps.sink[m] for m in near]
    assert heights[near] == pytest.approx(expected)
    assert np.isinf(np.delete(heights, near)).all()


def test_a_thin_tool_and_no_clearance_at_all() -> None:
    """A scriber of 0.4 mm meets the clamp 0.7 mm beside it: 0.2 + 0.5."""
    scriber = Assembly([0.0], [0.2], ["cutter"])
    for gap, height in ((0.699, 18.5), (0.701, -INF)):
        past = Sweeps([(0, 200 - gap, 0)], [(90, 200 - gap, 0)])
        assert needed_heights(scene(), scriber, past, 0.0, 0.0).tolist() == [height]
    exact = scene(SceneSolid(0, [box((40, 215), (60, 30))], 18.0, 0.0))
    within = Sweeps([(0, 199.9, 0)], [(90, 199.9, 0)])
    assert needed_heights(exact, scriber, within, 0.0, 0.0).tolist() == [18.0]


@pytest.mark.parametrize("length", [0.0, 0.25, 0.5, 2.0])
def test_a_short_move_is_met_where_it_comes_into_reach(length: float) -> None:
    # Into reach at x = 3.5, halfway along.
    level = one((3.5 - length / 2, 215, 5), (3.5 + length / 2 + 1e-3, 215, 5))
    assert level.at[0, 0] == pytest.approx(3.5) or (length == 0.0 and level.at[0, 0] == pytest.approx(3.5, abs=1e-3))
    down = one((3.5 - length / 2 - 1e-3, 215, 8), (3.5 + length / 2 + 1e-3, 215, 4))
    assert down.lowest.tolist() == [4.0]
    up = one((3.5 - length / 2 - 1e-3, 215, 4), (3.5 + length / 2 + 1e-3, 215, 8))
    assert up.lowest == pytest.approx([6.0], abs=1e-6)


# What is left out early -------------------------------------------------------------------------------------------


def candidates(table: Scene, tool: Assembly, sweeps: Sweeps, clipping_only: bool) -> set[tuple[int, int, int]]:
    return {triple for pairs in clearance._near_pairs(table, tool, sweeps, 3.0, 2.5, clipping_only)
            for triple in zip(*(column.tolist() for column in pairs), strict=True)}


@pytest.mark.parametrize("clipping_only", [True, False])
@pytest.mark.parametrize(("seed", "count"), [(0, 60), (1, 128), (2, 129), (3, 300)])
def test_nothing_is_looked_at_closely_whose_box_is_clear(seed: int, count: int, clipping_only: bool) -> None:
    """Box against box by hand, with the widest margins of the batch: what remains is what the exact rule looks at."""
    rng = np.random.default_rng(seed)
    start = np.column_stack([rng.uniform(-60, 340, count), rng.uniform(-40, 260, count), rng.uniform(-30, 30, count)])
    end = start + rng.uniform(-20, 20, (count, 3))
    sweeps = Sweeps(start, end, rng.random(count) < 0.3, margin=rng.choice([0.0, 1.0], count),
                    sink=rng.choice([0.0, 0.5], count), grow=rng.choice([0.0, 0.25], count))
    table = scene(CLAMP, POST, RAIL, SceneSolid(3, [cylinder((20, 160), 9), bar((60, 170), (90, 190), 6)], 25.0, 0.0))
    tool = Assembly([-2.0, 0.0, 20.0], [1.0, 3.0, 21.0], ["shoe", "cutter", "collet nut/spindle"])
    expected = set()
    for m in range(count):
        for hull in range(len(table)):
            x0, y0, x1, y1 = table.bounds[hull]
            for section in range(3):
                reach = tool.radius[section] + table.tolerance[hull] + 3.0 + 1.0 + 0.25
                needed = table.top[hull] + table.tolerance[hull] + 2.5 + 1.0 - tool.from_[section]
                low, high = np.minimum(start[m], end[m]), np.maximum(start[m], end[m])
                beside = (x0 - reach <= high[0] and x1 + reach >= low[0]
                          and y0 - reach <= high[1] and y1 + reach >= low[1])
                if beside and (not clipping_only or low[2] - 0.5 < needed):
                    expected.add((m, hull, section))
    assert candidates(table, tool, sweeps, clipping_only) == expected
    assert 10 < len(expected) < count * 5


def test_a_batch_high_above_all_or_far_from_all_is_not_looked_at_closely() -> None:
    over = Sweeps([(-60, 215, 25)] * 3, [(140, 215, 90)] * 3, margin=1.0, sink=1.0)
    # 18 + 0.5 + 2.5 + 1 = 22, and the tip may run 1 mm lower.
    assert candidates(scene(), CUTTER, over, True) == set()
    assert candidates(scene(), CUTTER, over, False) == {(0, 0, 0), (1, 0, 0), (2, 0, 0)}
    lower = Sweeps([(-60, 215, 22.9)] * 3, [(140, 215, 90)] * 3, margin=1.0, sink=1.0)
    assert len(candidates(scene(), CUTTER, lower, True)) == 3
    assert candidates(scene(), CUTTER, Sweeps([(500, 0, 0)], [(600, 0, 0)]), False) == set()


@pytest.mark.parametrize("place", [0, 1, 63, 64, 65, 127, 128, 191, 199])
def test_one_move_among_many_far_away_is_found_wherever_it_stands(place: int) -> None:
    start = np.full((200, 3), -9000.0)
    start[:, 2] = 90.0
    start[place] = 40, 215, 5
    end = start + (1, 0, 0)
    found = encounters(scene(), CUTTER, Sweeps(start, end), 3.0, 3.0)
    assert found.move.tolist() == [place]
    heights = needed_heights(scene(), CUTTER, Sweeps(start, end), 3.0, 3.0)
    assert heights[place] == 21.5 and np.isneginf(np.delete(heights, place)).all()
