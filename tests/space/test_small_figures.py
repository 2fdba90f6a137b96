"""Distances and stretches of figures that are smaller than a millimetre, thin, or just touching, against GEOS.

Outlines of many corners have sides far shorter than a millimetre, and tools of engravers are as thin.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from gcode_guard.space.distance import box_distance, path_distance, path_frame, stretch_within
from gcode_guard.space.hulls import Hull, outline

FUZZ = 1e-9
MOST = 7  # vertices


def convex(rng: np.random.Generator, count: int, size: float) -> np.ndarray:
    """(count, 2): corners of a convex figure, counter-clockwise, about a place near the origin."""
    angles = (np.arange(count) + rng.uniform(0.1, 0.9, count)) * (2 * np.pi / count)
    points = np.column_stack([np.cos(angles), rng.choice([1.0, 0.05]) * np.sin(angles)])
    turn = rng.uniform(0, 2 * np.pi)
    turned = points @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    return rng.uniform(-0.5, 0.5, 2) + size * turned


def figures(rng: np.random.Generator, n: int) -> tuple[np.ndarray, np.ndarray, list[shapely.Geometry]]:
    """Vertices (n, MOST, 2) padded with the last one, true counts, and the same for GEOS."""
    vertices, counts, geos = np.empty((n, MOST, 2)), rng.integers(1, MOST + 1, n), []
    for row, count in enumerate(counts):
        points = convex(rng, int(count), float(rng.choice([0.01, 0.3, 2.0])))
        vertices[row, :count], vertices[row, count:] = points, points[-1]
        geos.append({1: shapely.Point, 2: shapely.LineString}.get(int(count), shapely.Polygon)(
            points if count > 1 else points[0]))
    return vertices, counts, geos


def paths(rng: np.random.Generator, n: int) -> tuple[np.ndarray, np.ndarray, list[shapely.Geometry]]:
    start = rng.uniform(-1.5, 1.5, (n, 2))
    end = start + rng.uniform(-1, 1, (n, 2)) * rng.choice([0.0, 0.05, 0.9, 4.0], (n, 1))
    level = rng.random(n) < 0.2
    end[level, 1] = start[level, 1]
    return start, end, [shapely.LineString(ends) if (ends[0] != ends[1]).any() else shapely.Point(ends[0])
                        for ends in zip(start, end, strict=True)]


@pytest.mark.parametrize("seed", range(2))
def test_from_paths_to_figures(seed: int) -> None:
    rng = np.random.default_rng(seed)
    vertices, count, figure = figures(rng, 1500)
    start, end, path = paths(rng, 1500)
    unit, length = path_frame(start, end)
    ours = path_distance(start, unit, length, vertices, count)
    theirs = shapely.distance(np.array(path), np.array(figure))
    assert ours == pytest.approx(theirs, abs=FUZZ)
    assert (theirs == 0).sum() > 100 and (theirs > 0).sum() > 100


@pytest.mark.parametrize("seed", range(2))
def test_from_upright_boxes_to_figures(seed: int) -> None:
    rng = np.random.default_rng(10 + seed)
    vertices, _, figure = figures(rng, 1500)
    start, end, _ = paths(rng, 1500)
    low, high = np.minimum(start, end), np.maximum(start, end)
    theirs = [shapely.distance(shapely.MultiPoint([a, b]).envelope, other)
              for a, b, other in zip(low, high, figure, strict=True)]
    assert box_distance(low, high, vertices) == pytest.approx(theirs, abs=FUZZ)
    low[:, 0] = -math.inf
    high[:, 1] = math.inf
    far = [shapely.distance(shapely.box(-1e4, b, a, 1e4), other)
           for a, b, other in zip(high[:, 0], low[:, 1], figure, strict=True)]
    assert box_distance(low, high, vertices) == pytest.approx(far, abs=FUZZ)


@pytest.mark.parametrize("seed", range(2))
def test_the_stretch_of_a_path_within_reach(seed: int) -> None:
    """It is there where GEOS has the path nearer than the limit; both its ends are at the limit, or ends of the path;
    and between them the path is nowhere farther off."""
    rng = np.random.default_rng(20 + seed)
    n = 1500
    vertices, count, figure = figures(rng, n)
    start, end, path = paths(rng, n)
    limit = rng.choice([0.002, 0.1, 0.8, 2.5], n)
    unit, length = path_frame(start, end)
    first, last = stretch_within(start, unit, length, vertices, count, limit)
    apart = shapely.distance(np.array(path), np.array(figure))
    met = first <= last
    sure = np.abs(apart - limit) > 1e-7
    assert (met == (apart < limit))[sure].all()
    assert 200 < met.sum() < n - 200
    assert (first[~met] == math.inf).all() and (last[~met] == -math.inf).all()
    assert (first[met] >= 0).all() and (last[met] <= length[met]).all()

    def off(part: np.ndarray) -> np.ndarray:
        """Distances from the figures of the places so far along the paths."""
        places = start[met] + part[:, None] * unit[met]
        return shapely.distance(shapely.points(places), np.array(figure)[met])

    for part, own_end in ((first[met], np.zeros(met.sum())), (last[met], length[met])):
        at_end = part == own_end
        assert off(part) == pytest.approx(np.where(at_end, off(part), limit[met]), abs=1e-6)
        assert (off(part)[at_end] <= limit[met][at_end] + 1e-6).all()
    for share in (0.1, 0.5, 0.9):
        assert (off(first[met] + share * (last - first)[met]) <= limit[met] + 1e-6).all()


def test_a_limit_of_nothing_is_never_kept() -> None:
    square = np.array([[(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)]] * 3)
    start, limit = np.full((3, 2), -0.5), np.array([0.0, -1.0, 1e-3])
    unit, length = path_frame(start, np.full((3, 2), 0.5))
    first, last = stretch_within(start, unit, length, square, np.full(3, 4), limit)
    assert (first > last).tolist() == [True, True, False]
    assert (first[0], last[0]) == (math.inf, -math.inf)
    assert (first[2], last[2]) == (0.0, pytest.approx(math.sqrt(2)))


def test_a_triangle_round_a_path_is_met_in_the_middle_too() -> None:
    """5 mm from every side, with a reach of 1 mm: only the inside of the triangle holds the path."""
    triangle = np.array([[(-30.0, -10.0), (30.0, -10.0), (0.0, 40.0)]])
    unit, length = path_frame(np.array([[-1.0, 0.0]]), np.array([[1.0, 0.0]]))
    for count in (3,):
        assert path_distance(np.array([[-1.0, 0.0]]), unit, length, triangle, np.array([count])).tolist() == [0.0]
        first, last = stretch_within(np.array([[-1.0, 0.0]]), unit, length, triangle, np.array([count]), np.ones(1))
        assert (first.tolist(), last.tolist()) == ([0.0], [2.0])


def test_one_of_two_that_meets_says_nothing_of_the_other() -> None:
    square = np.array([[(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)]] * 3)
    start, end = np.array([[-5.0, 0.0], [-5.0, 4.0], [0.0, 0.0]]), np.array([[5.0, 0.0], [5.0, 4.0], [0.5, 0.5]])
    unit, length = path_frame(start, end)
    assert path_distance(start, unit, length, square, np.full(3, 4)).tolist() == [0.0, 3.0, 0.0]


def test_a_path_of_no_length_is_a_point() -> None:
    way = np.array([[0.0, 0.0], [3e-13, 4e-13], [3e-9, 4e-9], [3.0, 4.0]])
    unit, length = path_frame(np.zeros((4, 2)), way)
    assert length.tolist() == [0.0, 0.0, pytest.approx(5e-9), 5.0]
    assert unit.tolist() == [[1.0, 0.0], [1.0, 0.0], pytest.approx([0.6, 0.8]), [0.6, 0.8]]


# Footprints -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("size", [0.003, 0.5, 3.0, 400.0])
def test_outlines_of_any_size(size: float) -> None:
    for shape, pieces in (
        ([(0, 0), (2, 0), (1, 2)], 1),
        ([(0, 0), (1, 2), (2, 0)], 1),  # clockwise
        ([(0, 0), (2, 0), (2, 2), (1, 0.5), (0, 2)], 3),  # no cut from the notch leaves two convex pieces
        ([(0, 2), (1, 0.5), (2, 2), (2, 0), (0, 0)], 3),
        ([(0, 0), (3, 0), (3, 1), (1, 1), (1, 3), (0, 3)], 2),
    ):
        for about in ((0.0, 0.0), (250.0, -40.0)):
            points = size * np.array(shape, dtype=float) + about
            found = outline(points.tolist())
            union = shapely.union_all([shapely.Polygon(piece.vertices) for piece in found])
            assert len(found) == pieces
            assert shapely.symmetric_difference(union, shapely.Polygon(points)).area <= 1e-9 * size
            assert all(shapely.Polygon(piece.vertices).exterior.is_ccw for piece in found)


def test_a_comb_is_cut_into_one_piece_for_each_tooth_and_its_back() -> None:
    """Five teeth: cut along the back there are six pieces; greedy joining may leave one or two more."""
    teeth = [point for x in range(0, 50, 10) for point in ((x, 20), (x, 5), (x + 4, 5), (x + 4, 20))]
    comb = [(-5.0, 0.0), (49.0, 0.0), *[(float(x), float(y)) for x, y in reversed(teeth)], (-5.0, 20.0)]
    polygon = shapely.Polygon(comb)
    assert polygon.is_valid
    found = outline(comb)
    assert len(found) <= 8
    covered = shapely.union_all([shapely.Polygon(piece.vertices) for piece in found])
    assert shapely.symmetric_difference(covered, polygon).area < 1e-9
    # No two of them could be joined to one convex piece.
    shapes = [shapely.Polygon(piece.vertices) for piece in found]
    for k, one in enumerate(shapes):
        for other in shapes[k + 1 :]:
            both = one.union(other)
            assert both.geom_type != "Polygon" or both.convex_hull.area - both.area > 1e-9


@pytest.mark.parametrize(
    "points",
    [
        [(0, 0), (4, 0), (0, 4), (4, 4)],  # a bow tie
        [(0, 0), (10, 0), (10, 10), (5, 1e-3), (0, 10)],  # a notch
        [(0, 0), (4, 0), (4, 4), (2, 4), (2, 6), (1, 4), (0, 4)],
        [(math.cos(a), math.sin(a)) for a in np.arange(5) * 4 * np.pi / 5],  # round twice, turning left everywhere
        [(0, 0), (4, 0), (8, 0), (4, 0), (4, 4)],  # there and back
    ],
)
def test_what_is_not_convex_is_no_hull(points: list[tuple[float, float]]) -> None:
    with pytest.raises(ValueError):
        Hull(np.array(points))


@pytest.mark.parametrize("size", [0.001, 0.5, 300.0])
def test_what_is_convex_is_a_hull(size: float) -> None:
    for shape in ([(0, 0), (2, 0), (1, 2)], [(0, 0), (1, 0), (2, 0), (2, 2)], [(0, 0), (1, 2), (2, 0)],
                  [(0, 0), (0, 0), (2, 0), (2, 2)], [(0, 0), (5, -0.1), (10, 0), (5, 0.1)]):
        points = size * np.array(shape, dtype=float)
        hull = Hull(points)
        x, y = hull.vertices.T
        ours = 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
        assert ours == pytest.approx(shapely.Polygon(points).area) and ours > 0
        assert len(hull.vertices) == len(shapely.Polygon(points).convex_hull.exterior.coords) - 1
