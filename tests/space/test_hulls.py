"""Footprints as rounded hulls, against GEOS through shapely."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import shapely

import gcode_guard
from gcode_guard.space.hulls import Hull, bar, box, cylinder, outline
from gcode_guard.space.scene import Scene, SceneSolid

from .benches import star


def covered(hulls: list[Hull]) -> shapely.Geometry:
    return shapely.union_all([shapely.Polygon(hull.vertices) for hull in hulls])


@pytest.mark.parametrize("seed", range(200))
def test_pieces_of_an_outline_cover_it_and_nothing_else(seed: int) -> None:
    rng = np.random.default_rng(seed)
    points = star(rng, rng.uniform(-500, 500, 2), float(rng.uniform(1, 100)))
    polygon = shapely.Polygon(points)
    if rng.random() < 0.5:
        points = points[::-1]
    if rng.random() < 0.5:
        points = np.concatenate((points, points[:1]))
    pieces = outline(points)
    for piece in pieces:
        core = shapely.Polygon(piece.vertices)
        assert core.exterior.is_ccw
        assert core.convex_hull.area - core.area <= 1e-9 * core.length
    assert shapely.symmetric_difference(covered(pieces), polygon).area <= 1e-9 * polygon.length
    triangles = len(np.unique(points, axis=0)) - 2
    assert (len(pieces) == 1) == (polygon.convex_hull.area - polygon.area < 1e-9)
    assert len(pieces) <= max(1, triangles)


def test_a_swallow_tail_needs_no_more_than_two_pieces() -> None:
    jig = [[100.0, 300.0], [160.0, 300.0], [160.0, 340.0], [130.0, 320.0], [100.0, 340.0]]
    assert len(outline(jig)) == 2


def test_a_convex_outline_is_one_piece_without_loading_shapely() -> None:
    """Start-up is felt in a pipe; it is asked of a fresh interpreter because this one has shapely already."""
    script = (
        "import sys; from gcode_guard.space.hulls import outline; from gcode_guard.space.scene import Scene;"
        "import gcode_guard.space.clearance; square = [(0, 0), (5, 0), (10, 0), (10, 10), (0, 10)];"
        "print(len(outline(square)), [name for name in ('shapely', 'rtree', 'networkx') if name in sys.modules])"
    )
    root = Path(gcode_guard.__file__).parents[1]
    said = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True, cwd=root)
    assert said.stdout == "1 []\n"


@pytest.mark.parametrize(
    "points",
    [
        [(0, 0), (4, 4), (4, 0), (0, 5)],  # sides cross
        [(0, 0), (2, 2), (2, 0), (0, 2)],  # sides cross and the areas cancel
        [(0, 0), (4, 0), (4, 4), (2, 0), (0, 4)],  # touches itself
        [(np.cos(a), np.sin(a)) for a in np.arange(5) * 4 * np.pi / 5],  # a star drawn in one line
        [(0, 0), (1, 1), (2, 2)],
        [(0, 0), (1, 0), (2, 0), (1, 0)],
        [(0, 0), (1, 1)],
        [(0, 0), (1, float("nan")), (2, 0)],
        [(0, 0, 0), (1, 0, 0), (1, 1, 0)],
    ],
)
def test_an_outline_that_is_not_simple_is_refused(points: list[tuple[float, ...]]) -> None:
    with pytest.raises(ValueError):
        outline(points)


def test_a_turned_box_is_shapelys_own() -> None:
    for angle in (0, 17.5, 90, 180, 270, -90, 450, -33):
        theirs = shapely.affinity.rotate(shapely.box(10, 202.5, 70, 227.5), angle, origin=(40, 215))
        ours = shapely.Polygon(box((40, 215), (60, 25), angle).vertices)
        assert shapely.symmetric_difference(ours, theirs).area < 1e-9
    upright = box((0, 0), (2, 1), 90).vertices
    assert sorted(map(tuple, upright)) == [(-0.5, -1), (-0.5, 1), (0.5, -1), (0.5, 1)]


def test_bounds_hold_the_rounded_hull() -> None:
    assert cylinder((300, 100), 12).bounds == (294, 94, 306, 106)
    assert bar((0, -12), (610, -12), 20).bounds == (-10, -22, 620, -2)
    assert bar((5, 5), (5, 5), 4).bounds == cylinder((5, 5), 4).bounds


@pytest.mark.parametrize(
    "make",
    [
        lambda: box((0, 0), (0, 5)),
        lambda: box((0, 0), (-1, 5)),
        lambda: box((float("nan"), 0), (1, 5)),
        lambda: box((0, 0), (1, 5), float("inf")),
        lambda: cylinder((0, 0), 0),
        lambda: cylinder((0, 0), float("nan")),
        lambda: bar((0, 0), (1, 1), -2),
        lambda: Hull(np.array([[0, 0], [4, 0], [1, 1], [0, 4]])),
        lambda: Hull(np.array([[0.0, 0.0]]), -1.0),
        lambda: Hull(np.empty((0, 2))),
        lambda: Scene.build([SceneSolid(0, [cylinder((0, 0), 5)], float("nan"), 1.0)]),
        lambda: Scene.build([SceneSolid(0, [cylinder((0, 0), 5)], 5.0, -1.0)]),
        lambda: Scene.build([SceneSolid(0, [], 5.0, 1.0)]),
    ],
)
def test_a_footprint_that_makes_no_sense_is_refused(make) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ValueError):
        make()
