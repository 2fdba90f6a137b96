"""Small cases worked out by hand: stacked cylinders, chords of arcs, footprints, and what the index keeps of them."""

from __future__ import annotations

import math

import numpy as np
import pytest

from gcode_guard.space.arcs import flatten
from gcode_guard.space.assembly import Assembly
from gcode_guard.space.clearance import Sweeps
from gcode_guard.space.hulls import Hull, bar, box, cylinder, outline
from gcode_guard.space.scene import Scene, SceneSolid

# Stacked cylinders -----------------------------------------------------------------------------------------------


def test_sections_of_the_same_width_are_one_and_not_undercut() -> None:
    tool = Assembly([0, 20, 40], [3, 3, 21], ["cutter", "shank", "nut"])
    assert not tool.undercut
    assert not Assembly([0, 20], [3.0, 3.5], ["cutter", "shank"]).undercut
    reduced = tool.reduce()
    assert (reduced.from_.tolist(), reduced.part, reduced.undercut) == ([0.0, 40.0], ("cutter", "nut"), False)


def test_of_two_sections_alike_at_one_height_one_is_left() -> None:
    assert Assembly([0, 20, 20], [3, 21, 21], ["cutter", "nut", "shoe"]).reduce().radius.tolist() == [3.0, 21.0]
    assert Assembly([0, 0], [21, 3], ["shoe", "cutter"]).reduce().part == ("shoe",)
    lower = Assembly([0, 20, 20], [30, 10, 25], ["disc", "nut", "shoe"]).reduce()
    assert lower.part == ("disc",) and lower.undercut


def test_nothing_to_drop_leaves_the_assembly_itself() -> None:
    tool = Assembly([0, 20], [3, 21], ["cutter", "nut"])
    assert tool.reduce() is tool
    assert len(tool) == 2


def test_whole_numbers_are_lengths_too_and_what_is_given_may_change_afterwards() -> None:
    heights, radii = np.array([0, 20]), np.array([3, 21])
    tool = Assembly(heights, radii, ["cutter", "nut"])
    heights[1] = 5
    radii[0] = 50
    assert tool.from_.tolist() == [0.0, 20.0] and tool.radius.tolist() == [3.0, 21.0]
    assert tool.from_.dtype == tool.radius.dtype == np.float64
    for column in (tool.from_, tool.radius):
        with pytest.raises(ValueError):
            column[0] = 1.0


# Arcs ------------------------------------------------------------------------------------------------------------


def arc(start: tuple[float, ...], end: tuple[float, ...], clockwise: bool = False, plane: int = 17,
        centre: tuple[float, ...] = (0, 0, 0), sagitta: float = 0.01) -> np.ndarray:
    """The ends of all chords, the start before them."""
    _, first, last = flatten([start], [end], [centre], [plane], [clockwise], sagitta)
    return np.concatenate([first[:1], last])


def turned(points: np.ndarray, plane: int = 17) -> float:
    """How far chords about the middle turn, in degrees, counter-clockwise positive."""
    a, b = {17: (0, 1), 18: (2, 0), 19: (1, 2)}[plane]
    angles = np.unwrap(np.arctan2(points[:, b], points[:, a]))
    return math.degrees(angles[-1] - angles[0])


@pytest.mark.parametrize(
    ("start", "end", "sagitta", "chords"),
    [
        # pi/2 * sqrt(10 / (8 * 0.01)) = 17.6
        ((10, 0, 0), (0, 10, 0), 0.01, 18),
        # pi/2 * sqrt(10 / (8 * 0.1)) = 5.6
        ((10, 0, 0), (0, 10, 0), 0.1, 6),
        # the greatest bend of a spiral: 20 + 2 * 10 / (pi/2) = 32.7; pi/2 * sqrt(32.7 / 0.08) = 31.8
        ((10, 0, 0), (0, 20, 0), 0.01, 32),
        ((20, 0, 0), (0, 10, 0), 0.01, 32),
        # 0.1 * sqrt(1 / 0.08) = 0.35: one chord
        ((1, 0, 0), (math.cos(0.1), math.sin(0.1), 0), 0.01, 1),
    ],
)
def test_no_more_chords_than_the_sagitta_asks_for(start: tuple[float, ...], end: tuple[float, ...], sagitta: float,
                                                  chords: int) -> None:
    assert len(arc(start, end, sagitta=sagitta)) == chords + 1


@pytest.mark.parametrize("plane", [17, 18, 19])
def test_a_helix_climbs_evenly(plane: int) -> None:
    along = {17: 2, 18: 1, 19: 0}[plane]
    start, end = np.full(3, 5.0), np.full(3, 5.0)
    first, second = {17: (0, 1), 18: (2, 0), 19: (1, 2)}[plane]
    start[first], start[second], end[first], end[second] = 10, 0, 0, 10
    end[along] = 12.0
    points = arc(tuple(start), tuple(end), plane=plane)
    assert points[:, along] == pytest.approx(np.linspace(5, 12, len(points)))
    assert turned(points, plane) == pytest.approx(90)
    assert turned(arc(tuple(start), tuple(end), True, plane), plane) == pytest.approx(-270)
    assert np.hypot(points[:, first], points[:, second]) == pytest.approx(np.full(len(points), 10))


@pytest.mark.parametrize("clockwise", [False, True])
@pytest.mark.parametrize("plane", [17, 18, 19])
def test_ends_that_are_the_same_but_for_rounding_are_a_full_turn(plane: int, clockwise: bool) -> None:
    first, second = {17: (0, 1), 18: (2, 0), 19: (1, 2)}[plane]
    start, nearly, apart, aside = (np.array([3.0, 3.0, 3.0]) for _ in range(4))
    for place, a, b in ((start, 6, 8), (nearly, 6 - 4e-7, 8 + 3e-7), (apart, 6 - 4e-6, 8 + 3e-6),
                        (aside, 6 + 4e-6, 8 - 3e-6)):
        place[first], place[second] = a, b
    way = -1 if clockwise else 1
    assert turned(arc(tuple(start), tuple(nearly), clockwise, plane), plane) == pytest.approx(way * 360, abs=1e-3)
    # 5e-6 mm farther on counter-clockwise: a sliver that way, all but a sliver the other way.
    ahead, behind = (abs(turned(arc(tuple(start), tuple(end), clockwise, plane), plane)) for end in (apart, aside))
    assert (ahead, behind) == pytest.approx((360, 0) if clockwise else (0, 360), abs=1e-3)


def test_an_end_farther_out_on_the_same_ray_is_a_full_turn() -> None:
    points = arc((10, 0, 0), (12, 0, 0))
    assert turned(points) == pytest.approx(360)
    assert np.hypot(points[:, 0], points[:, 1]) == pytest.approx(np.linspace(10, 12, len(points)))


def test_one_radian_is_one_radian() -> None:
    points = arc((1000, 0, 0), (1000 * math.cos(1), 1000 * math.sin(1), 0))
    assert turned(points) == pytest.approx(math.degrees(1))


def test_whole_numbers_are_taken_as_lengths() -> None:
    points = arc((1, 0, 0), (0, 1, 0))
    assert np.hypot(points[:, 0], points[:, 1]) == pytest.approx(np.ones(len(points)))
    owner, _, _ = flatten([(1, 0, 0)] * 2, [(0, 1, 0)] * 2, [(0, 0, 0)] * 2, [17, 17], [0, 1])
    assert owner.tolist() == [0] * 6 + [1] * 17  # pi/2 and 3/2 pi times sqrt(1/0.08): 5.6 and 16.7


# Footprints ------------------------------------------------------------------------------------------------------


def corners(hull: Hull) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in hull.vertices]


def test_a_hull_keeps_its_true_corners_counter_clockwise() -> None:
    clockwise = Hull(np.array([(0, 0), (0, 10), (5, 10), (10, 10), (10, 0), (5, 0)]), 2)
    assert sorted(corners(clockwise)) == [(0.0, 0.0), (0.0, 10.0), (10.0, 0.0), (10.0, 10.0)]
    x, y = clockwise.vertices.T
    assert 0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) == 100.0
    assert clockwise.bounds == (-2.0, -2.0, 12.0, 12.0)
    assert isinstance(clockwise.radius, float)
    with pytest.raises(ValueError):
        clockwise.vertices[0, 0] = 5.0


def test_what_is_given_to_a_hull_may_change_afterwards() -> None:
    points = np.array([[0.0, 0.0], [4.0, 0.0]])
    hull = Hull(points, 1.0)
    points[1] = 100.0
    assert corners(hull) == [(0.0, 0.0), (4.0, 0.0)]
    assert Hull(np.array([[1, 2]])).vertices.dtype == np.float64
    assert Hull(np.array([[1, 2]])).radius == 0.0


@pytest.mark.parametrize(
    ("angle", "expected"),
    [
        (0, [(8, 19), (12, 19), (12, 21), (8, 21)]),
        (90, [(11, 18), (11, 22), (9, 22), (9, 18)]),
        (180, [(12, 21), (8, 21), (8, 19), (12, 19)]),
        (-90, [(9, 22), (9, 18), (11, 18), (11, 22)]),
        (360, [(8, 19), (12, 19), (12, 21), (8, 21)]),
        (450, [(11, 18), (11, 22), (9, 22), (9, 18)]),
    ],
)
def test_a_box_turned_by_quarters_has_upright_sides(angle: float, expected: list[tuple[float, float]]) -> None:
    assert sorted(corners(box((10, 20), (4, 2), angle))) == sorted(expected)


def test_a_box_turned_by_30_degrees() -> None:
    # The corner (2, 1) turned: 2 cos 30 - 1 sin 30, 2 sin 30 + 1 cos 30.
    turned_corner = (10 + math.sqrt(3) - 0.5, 20 + 1 + math.sqrt(3) / 2)
    found = box((10, 20), (4, 2), 30).vertices
    assert np.abs(found - turned_corner).sum(axis=1).min() < 1e-12
    other = (10 + math.sqrt(3) + 0.5, 20 + 1 - math.sqrt(3) / 2)  # (2, -1) turned
    assert np.abs(found - other).sum(axis=1).min() < 1e-12
    assert corners(box((10, 20), (4, 2))) == corners(box((10, 20), (4, 2), 0.0))


def test_bars_and_discs() -> None:
    assert (corners(bar((0, 0), (5, 0), 3)), bar((0, 0), (5, 0), 3).radius) == ([(0.0, 0.0), (5.0, 0.0)], 1.5)
    assert corners(bar((5, 5), (5, 5), 3)) == [(5.0, 5.0)]
    assert corners(bar((5, 5), (5, 6), 3)) == [(5.0, 5.0), (5.0, 6.0)]
    assert (corners(cylinder((3, 4), 12)), cylinder((3, 4), 12).radius) == ([(3.0, 4.0)], 6.0)


def test_an_outline_may_say_a_corner_twice() -> None:
    square = [(0, 0), (0, 0), (10, 0), (10, 10), (10, 10), (0, 10), (0, 0)]
    (piece,) = outline(square)
    assert sorted(corners(piece)) == [(0.0, 0.0), (0.0, 10.0), (10.0, 0.0), (10.0, 10.0)]


def test_a_corner_that_bends_inward_by_less_than_can_be_measured_is_straight() -> None:
    assert len(outline([(0, 0), (50, 5e-10), (100, 0), (100, 50), (0, 50)])) == 1
    dented = outline([(0, 0), (50, 0.001), (100, 0), (100, 50), (0, 50)])
    assert len(dented) > 1


@pytest.mark.parametrize(
    ("points", "pieces"),
    [
        ([(0, 0), (20, 0), (20, 5), (5, 5), (5, 20), (0, 20)], 2),  # an angle bracket
        ([(0, 0), (20, 0), (20, 20), (15, 20), (15, 5), (5, 5), (5, 20), (0, 20)], 3),  # a fork of two
        ([(0, 0), (30, 0), (30, 5), (20, 5), (20, 20), (10, 20), (10, 5), (0, 5)], 2),  # a T: at best 2 pieces
    ],
)
def test_outlines_in_few_convex_pieces(points: list[tuple[float, float]], pieces: int) -> None:
    found = outline(points)
    assert pieces <= len(found) <= pieces + 1
    assert sum(area(piece) for piece in found) == pytest.approx(abs(shoelace(np.array(points, dtype=float))))


def shoelace(points: np.ndarray) -> float:
    x, y = points.T
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def area(hull: Hull) -> float:
    return shoelace(hull.vertices)


def test_an_outline_far_from_zero_keeps_its_shape() -> None:
    far = [(1e6 + x, 1e6 + y) for x, y in [(0, 0), (0.02, 0), (0.02, 0.02), (0, 0.02)]]
    (piece,) = outline(far)
    assert len(piece.vertices) == 4


# The scene -------------------------------------------------------------------------------------------------------

SOLIDS = [
    SceneSolid(7, [cylinder((0, 0), 10)], 18.0, 0.5),
    SceneSolid(3, [box((100, 0), (20, 10)), bar((50, 50), (60, 50), 4)], 25.0, 1.0),
    SceneSolid(5, [Hull(np.array([(200, 0), (210, 0), (205, 10)]))], 4.0, 3.0),
]


def test_a_scene_holds_its_hulls_in_columns() -> None:
    scene = Scene.build(SOLIDS)
    assert len(scene) == 4
    assert scene.count.tolist() == [1, 4, 2, 3]
    assert scene.obstacle.tolist() == [7, 3, 3, 5]
    assert scene.radius.tolist() == [5.0, 0.0, 2.0, 0.0]
    assert scene.top.tolist() == [18.0, 25.0, 25.0, 4.0]
    assert scene.tolerance.tolist() == [0.5, 1.0, 1.0, 3.0]
    assert scene.highest == 26.0
    assert scene.bounds.tolist() == [[-5, -5, 5, 5], [90, -5, 110, 5], [48, 48, 62, 52], [200, 0, 210, 10]]
    assert scene.vertices.shape == (4, 4, 2)
    # Rows with fewer corners repeat their last one.
    assert scene.vertices[0].tolist() == [[0.0, 0.0]] * 4
    assert scene.vertices[2].tolist() == [[50.0, 50.0], [60.0, 50.0], [60.0, 50.0], [60.0, 50.0]]
    assert scene.vertices[3, 3].tolist() == scene.vertices[3, 2].tolist()


def test_some_hulls_of_a_scene_in_another_order() -> None:
    some = Scene.build(SOLIDS).take([3, 0])
    assert len(some) == 2
    assert (some.count.tolist(), some.obstacle.tolist(), some.radius.tolist()) == ([3, 1], [5, 7], [0.0, 5.0])
    assert (some.top.tolist(), some.tolerance.tolist(), some.highest) == ([4.0, 18.0], [3.0, 0.5], 18.5)
    assert some.bounds.tolist() == [[200, 0, 210, 10], [-5, -5, 5, 5]]
    assert some.vertices[1, 0].tolist() == [0.0, 0.0]
    assert Scene.build(SOLIDS).take([]).highest == -math.inf
    assert len(Scene.build(SOLIDS).take([])) == 0


def test_an_empty_scene() -> None:
    scene = Scene.build([])
    assert (len(scene), scene.highest, scene.bounds.shape, scene.vertices.shape) == (0, -math.inf, (0, 4), (0, 1, 2))
    assert scene.top.dtype == scene.radius.dtype == scene.tolerance.dtype == np.float64
    assert scene.obstacle.dtype == scene.count.dtype == np.int64
    box_, hull = scene.near(np.zeros((2, 2)), np.ones((2, 2)))
    assert len(box_) == len(hull) == 0


# Sweeps ----------------------------------------------------------------------------------------------------------


def test_sweeps_take_whole_numbers_one_value_or_a_column() -> None:
    sweeps = Sweeps([(0, 5, 9), (1, 2, 3)], [(4, 1, 2), (1, 7, 3)], [0, 1], margin=2, sink=[1, 0], grow=0.5)
    assert sweeps.start.dtype == sweeps.end.dtype == sweeps.margin.dtype == sweeps.sink.dtype == np.float64
    assert sweeps.box.dtype == np.bool_ and sweeps.box.tolist() == [False, True]
    assert (sweeps.margin.tolist(), sweeps.sink.tolist(), sweeps.grow.tolist()) == ([2.0, 2.0], [1.0, 0.0], [0.5, 0.5])
    assert sweeps.low.tolist() == [[0, 1, 2], [1, 2, 3]]
    assert sweeps.high.tolist() == [[4, 5, 9], [1, 7, 3]]
    last = sweeps.take(np.array([1]))
    assert (len(last), last.start.tolist(), last.end.tolist()) == (1, [[1, 2, 3]], [[1, 7, 3]])
    assert (last.box.tolist(), last.margin.tolist(), last.sink.tolist(), last.grow.tolist()) == ([True], [2.0], [0.0],
                                                                                                [0.5])
    plain = Sweeps([(0, 0, 0)], [(1, 1, 1)])
    assert (plain.box.tolist(), plain.margin.tolist(), plain.sink.tolist(), plain.grow.tolist()) == ([False], [0.0],
                                                                                                   [0.0], [0.0])
    assert Sweeps([(0, 0, 0)] * 2, [(1, 1, 1)] * 2, True).box.tolist() == [True, True]
