"""Ways round single obstacles, by hand.

The cutter's radius is 4; with 2 beside, 0.5 for the rounding of corners and a tolerance of 0.5 its axis keeps 7 mm from
a footprint, and places to turn at lie 0.01 mm farther out: at 7.01 from a side; round a corner or a disc at the
corners of a polygon about it, every 30 degrees, that is at 7.01 / cos 15.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from gcode_guard.space import ways
from gcode_guard.space.assembly import Assembly
from gcode_guard.space.hulls import Hull, bar, box, cylinder
from gcode_guard.space.scene import Scene, SceneSolid
from gcode_guard.space.ways import KeepOut, way_round

CUTTER = Assembly([0.0], [4.0], ["cutter"])
# The nut is 30 wide from the axis and hangs 25 mm above the tip.
NUT = Assembly([0.0, 25.0], [4.0, 30.0], ["cutter", "collet nut/spindle"])
BOUNDS = ((-50.0, 250.0), (-50.0, 250.0))
Way = list[tuple[float, float]] | None


def scene(*hulls: Hull, top: float = 50.0) -> Scene:
    return Scene.build([SceneSolid(k, [hull], top, 0.5) for k, hull in enumerate(hulls)])


def find(table: Scene, start: tuple[float, float] = (5.0, 60.0), end: tuple[float, float] = (195.0, 60.0),
         tool: Assembly = CUTTER, z: float = 20.0, **more: Any) -> Way:
    given = {"beside": 2.0, "above": 2.0, "corner": 0.5, "bounds": BOUNDS} | more
    return way_round(table, tool, start, end, z, **given)


# x 90 to 110, y 35 to 75: nearer over the top (y 82.01) than below it (y 27.99).
BLOCK = box((100, 55), (20, 40))


@pytest.mark.parametrize("as_box", [False, True])
def test_straight_on_where_nothing_is_in_the_way(as_box: bool) -> None:
    assert find(scene(), as_box=as_box) == []
    assert find(scene(BLOCK), (5, 82.0), (195, 82.0), as_box=as_box) == []
    assert find(scene(BLOCK), (5, 60), (82.9, 60), as_box=as_box) == []
    assert find(scene(BLOCK), (5, 60), (5, 60), as_box=as_box) == []


@pytest.mark.parametrize("as_box", [False, True])
def test_none_where_an_end_is_too_near(as_box: bool) -> None:
    for place in ((83.1, 60.0), (100.0, 60.0)):
        assert find(scene(BLOCK), place, (195, 60), as_box=as_box) is None
        assert find(scene(BLOCK), (195, 60), place, as_box=as_box) is None


def test_round_a_block_along_its_corners() -> None:
    """The polygon about the left upper corner (90, 75) has its own corners at 105, 135 and 165 degrees."""
    far = 7.01 / math.cos(math.radians(15))
    turn = [(round(90 + far * math.cos(a), 3), round(75 + far * math.sin(a), 3)) for a in np.radians([165, 135, 105])]
    # Straight up from far below the corner every one of them is needed; the last lies on y = 82.01.
    assert find(scene(BLOCK), (82.98, 40.0), (110, 82.02)) == turn
    assert turn[2][1] == 82.01


def test_round_a_disc_over_its_top() -> None:
    """Radius 5 and 7 mm: 12 mm from the middle. The places at 75 and 105 degrees lie at 12.01 / cos 15 = 12.434."""
    over = [(96.782, 72.01), (103.218, 72.01)]
    under = [(x, round(120 - y, 3)) for x, y in over]
    assert find(scene(cylinder((100, 60), 10))) in (over, under)
    assert find(scene(cylinder((100, 60), 10)), bounds=((0, 200), (50, 80))) == over
    assert find(scene(cylinder((100, 60), 10)), bounds=((0, 200), (40, 70))) == under
    assert find(scene(cylinder((100, 60), 10)), bounds=((0, 200), (50, 70))) is None


def test_bounds_hold_the_places_to_turn_at_themselves() -> None:
    over = find(scene(BLOCK), bounds=((0.0, 200.0), (50.0, 82.011)), as_box=True)
    assert over == [(82.99, 82.01), (117.01, 82.01)]
    assert find(scene(BLOCK), bounds=((0.0, 200.0), (50.0, 82.009)), as_box=True) is None
    assert find(scene(BLOCK), bounds=((82.991, 117.009), (0.0, 200.0)), as_box=True) is None


def test_by_boxes_along_the_corners_of_the_grown_block() -> None:
    assert find(scene(BLOCK), as_box=True) == [(82.99, 82.01), (117.01, 82.01)]
    assert find(scene(BLOCK), (5, 40), (195, 40), as_box=True) == [(82.99, 27.99), (117.01, 27.99)]
    # From beside the block to above it one corner is enough.
    assert find(scene(BLOCK), (60, 55), (100, 120), as_box=True) == [(82.99, 82.01)] or find(
        scene(BLOCK), (60, 55), (100, 120), as_box=True) == [(60.0, 120.0)]
    assert find(scene(BLOCK), (55, 10), (145, 100), as_box=True) is not None


def test_a_bar_is_gone_round_at_its_nearer_end() -> None:
    """From (100, 0) up to (100, 90), 6 wide: 3 + 7.01 about the upper end (100, 90): y 100.01 at 75 and 105 degrees."""
    rail = scene(bar((100, 0), (100, 90), 6.0))
    far = 10.01 / math.cos(math.radians(15))
    found = find(rail, (5, 90), (195, 90))
    across = round(far * math.cos(math.radians(75)), 3)
    assert found == [(100 - across, 100.01), (100 + across, 100.01)]


def test_fewer_corners_are_worth_a_tenth_of_a_millimetre_each() -> None:
    """Places 0.02 mm apart in a row beside a long block save nothing: straight along it."""
    row = scene(box((100, 55), (20, 40)), box((130, 55), (20, 40)), box((160, 55), (20, 40)))
    assert find(row, as_box=True) == [(82.99, 82.01), (177.01, 82.01)]


def test_between_two_blocks_where_the_gap_is_wide_enough() -> None:
    """A gap of 14.1 mm: 7.01 from either side leave 0.08; one of 14 leaves nothing."""
    def wall(gap: float) -> Scene:
        return scene(box((100, 60 - gap / 2 - 100), (10, 200)), box((100, 60 + gap / 2 + 100), (10, 200)))
    for as_box in (False, True):
        through = find(wall(14.1), (5, 100), (195, 100), as_box=as_box)
        assert through is not None
        assert all(abs(y - 60) <= 0.05 for x, y in through if 93 <= x <= 107)
        assert find(wall(13.9), (5, 100), (195, 100), as_box=as_box) is None


def test_what_blocks_the_way_round_is_gone_round_too() -> None:
    """A wider block stands on top of the first one's corner, out of the straight way: the search takes it in."""
    both = scene(BLOCK, box((100, 90), (60, 20)))  # x 70 to 130, y 80 to 100
    assert find(both, as_box=True) == [(82.99, 27.99), (117.01, 27.99)]
    shut_below = scene(BLOCK, box((100, 90), (60, 20)), box((100, 0), (200, 60)))  # y -30 to 30
    over = find(shut_below, as_box=True)
    assert over == [(62.99, 107.01), (137.01, 107.01)]


@pytest.mark.parametrize(
    ("z", "tool", "free"),
    [
        # 50 + 0.5 + 2 + 0.5 = 53: at that height it is passed over.
        (53.0, CUTTER, True), (52.999, CUTTER, False), (20.0, CUTTER, False),
        (53.0, NUT, True), (52.999, NUT, False),
    ],
)
@pytest.mark.parametrize("as_box", [False, True])
def test_over_what_is_low_enough(z: float, tool: Assembly, free: bool, as_box: bool) -> None:
    assert (find(scene(BLOCK), tool=tool, z=z, as_box=as_box) == []) == free


def test_only_what_reaches_down_to_the_obstacle_keeps_away_from_it() -> None:
    """At 28 mm the nut's foot is at 53: just over it. Lower, its 30 mm count: 30 + 3 = 33 instead of 7."""
    assert find(scene(BLOCK), tool=NUT, z=28.0, as_box=True) == [(82.99, 82.01), (117.01, 82.01)]
    assert find(scene(BLOCK), tool=NUT, z=27.9, as_box=True) == [(56.99, 108.01), (143.01, 108.01)]
    assert find(scene(BLOCK), tool=NUT, z=27.9, start=(60, 60)) is None
    shoe = Assembly([-5.0, 0.0], [10.0, 10.0], ["shoe", "cutter"])
    assert find(scene(BLOCK), tool=shoe, z=57.9, as_box=True) == [(76.99, 88.01), (123.01, 88.01)]
    assert find(scene(BLOCK), tool=shoe, z=58.0, as_box=True) == []


@pytest.mark.parametrize("as_box", [False, True])
def test_what_is_to_be_kept_out_of_counts_at_any_height(as_box: bool) -> None:
    """3 mm and 0.5 for the rounding of corners from a sheet of x 80 to 120, y 30 to 70 - however high the tool is."""
    sheet = KeepOut(box((100, 50), (40, 40)), 3.0)
    found = find(scene(), (5, 60), (195, 60), z=500.0, keep_out=[sheet], as_box=as_box)
    assert found is not None and found[0][1] == 73.51 and found[-1][1] == 73.51
    assert find(scene(), (5, 73.5), (195, 73.5), z=500.0, keep_out=[sheet], as_box=as_box) == []
    assert find(scene(), (5, 60), (100, 73.4), z=500.0, keep_out=[sheet], as_box=as_box) is None
    round_sheet = KeepOut(cylinder((100, 50), 40), 3.0)  # radius 20
    assert find(scene(), (5, 73.5), (195, 73.5), z=500.0, keep_out=[round_sheet], as_box=as_box) == []
    assert find(scene(), (5, 73.4), (195, 73.4), z=500.0, keep_out=[round_sheet], as_box=as_box) != []
    assert find(scene(), z=500.0, as_box=as_box) == []


@pytest.mark.parametrize("as_box", [False, True])
def test_a_search_that_would_take_too_long_is_given_up(as_box: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ways, "MOST_PLACES", 3)
    assert find(scene(BLOCK), as_box=as_box) is None
    assert find(scene(), as_box=as_box) == []
    monkeypatch.setattr(ways, "MOST_PLACES", 12)  # three for each corner, on lines four, and 6 by 5 crossings
    assert find(scene(BLOCK), as_box=as_box) is not None


def test_the_turns_of_a_hull_in_order() -> None:
    """A triangle turns by 120 degrees at each corner, a bar by 180 at each end, a disc by 360."""
    def turns(hull: Hull) -> list[float]:
        return [round(math.degrees(turn), 6) for _, _, turn in ways._corners(hull.vertices)]

    triangle = Hull(np.array([(0.0, 0.0), (2.0, 0.0), (1.0, math.sqrt(3))]))
    assert turns(triangle) == [120.0] * 3
    assert turns(box((0, 0), (5, 2), 20)) == [90.0] * 4
    assert turns(bar((0, 0), (5, 5), 2)) == [180.0, 180.0]
    assert turns(cylinder((0, 0), 2)) == [360.0]
    for _, before, turn in ways._corners(box((0, 0), (5, 2)).vertices):
        # The normals before and behind a corner of an upright box point along X and Y.
        assert (math.degrees(before) % 90, math.degrees(before + turn) % 90) == pytest.approx((0, 0), abs=1e-9)


def test_the_places_about_a_hull_lie_outside_and_their_polygon_does_not_cut_it() -> None:
    import shapely

    for hull in (box((3, 4), (20, 10), 25), bar((0, 0), (30, 10), 6), cylinder((5, 5), 9),
                 Hull(np.array([(0.0, 0.0), (30.0, 5.0), (10.0, 12.0)]), 1.5)):
        reach = hull.radius + 7.0
        places = ways._round_corners([(hull.vertices, reach)])
        core = shapely.MultiPoint(hull.vertices).convex_hull
        around = shapely.MultiPoint(places).convex_hull
        assert len(around.exterior.coords) - 1 == len(places)
        assert shapely.distance(core, around.exterior) == pytest.approx(reach + 0.01, abs=1e-6)
        far = shapely.distance(core, shapely.points(places)).max()
        assert far <= (reach + 0.01) / math.cos(math.radians(15)) + 1e-9


def test_what_blocked_once_is_kept_in_mind(monkeypatch: pytest.MonkeyPatch) -> None:
    """What blocks the straight way, and then the way round it, are both gone round together: three rounds, no more."""
    rounds = []
    among = ways._among

    def counted(space: Any, *rest: Any) -> Any:
        rounds.append(len(space.scene))
        assert len(rounds) < 9, "it goes round in circles"
        return among(space, *rest)

    monkeypatch.setattr(ways, "_among", counted)
    found = find(scene(BLOCK, box((100, 90), (60, 20)), box((100, 0), (200, 60))), as_box=True)
    assert found == [(62.99, 107.01), (137.01, 107.01)]
    assert rounds == sorted(rounds) and rounds[0] == 0


# The shoe of 30 mm from the axis rides at 10 mm: what ends at 10 - 3 (above, tolerance, corner) or lower passes.
SHOE = ways.Level(Assembly([0.0], [30.0], ["shoe"]), 10.0)


@pytest.mark.parametrize(
    ("top", "z", "corners"),
    [
        # however high the tip is, the shoe keeps 30 + 3 mm away from what is taller than 7
        (50.0, 20.0, [(56.99, 108.01), (143.01, 108.01)]),
        (50.0, 500.0, [(56.99, 108.01), (143.01, 108.01)]),
        (7.001, 20.0, [(56.99, 108.01), (143.01, 108.01)]),
        # the shoe passes over it; the tip only from 7 + 3 mm on
        (7.0, 10.0, []), (7.0, 9.999, [(82.99, 82.01), (117.01, 82.01)]),
    ],
)
def test_what_rides_at_its_own_height_is_carried_along(top: float, z: float, corners: Way) -> None:
    assert find(scene(BLOCK, top=top), z=z, as_box=True, riding=[SHOE]) == corners
    assert find(scene(BLOCK, top=top), z=z, start=(60.0, 60.0), as_box=True, riding=[SHOE]) == (
        None if len(corners or []) and corners[0][0] == 56.99 else [(82.99, 82.01), (117.01, 82.01)] if corners else [])
    with pytest.raises(ValueError):
        find(scene(BLOCK), riding=[ways.Level(SHOE.assembly, math.inf)])
