"""Ways round on crowded benches of all shapes with a spindle above the cutter: free by GEOS, short against a grid."""

from __future__ import annotations

import math

import networkx
import numpy as np
import pytest
import shapely

from gcode_guard.space.assembly import Assembly
from gcode_guard.space.hulls import bar, box, cylinder, outline
from gcode_guard.space.scene import Scene, SceneSolid
from gcode_guard.space.ways import KeepOut, way_round

from .benches import random_bench

Z, BESIDE, ABOVE, CORNER, STEP, SPAN = 12.0, 2.0, 2.0, 0.5, 5.0, 300.0
TOOL = Assembly([0.0, 20.0], [2.0, 12.0], ["cutter", "collet nut/spindle"])
BOUNDS = ((-60.0, 360.0), (-60.0, 360.0))
BACK, FRONT = (-50.0, -50.0), (350.0, 350.0)


def forbidden(bench) -> shapely.Geometry:  # type: ignore[no-untyped-def]
    """Where the axis may not be at this height: by the deciding rule, for every section, with GEOS's own offsets."""
    areas = []
    for solid, core, radius in zip(bench.solids, bench.cores, bench.radii, strict=True):
        for r, foot in zip(TOOL.radius, TOOL.from_, strict=True):
            if Z + foot < solid.top + solid.tolerance + ABOVE + CORNER:
                areas.append(core.buffer(radius + r + solid.tolerance + BESIDE + CORNER, quad_segs=128))
    return shapely.union_all(areas)


def legs_of(points: list[tuple[float, float]], as_box: bool) -> list[shapely.Geometry]:
    pairs = list(zip(points, points[1:], strict=False))
    return [shapely.MultiPoint(pair).envelope if as_box else shapely.LineString(pair) for pair in pairs]


def on_a_grid(area: shapely.Geometry, as_box: bool) -> float:
    """The shortest chain of steps between neighbours on a grid from BACK to FRONT, each step free by GEOS."""
    marks = np.arange(BACK[0], FRONT[0] + STEP, STEP)
    x, y = np.meshgrid(marks, marks, indexing="ij")
    shapely.prepare(area)
    graph = networkx.Graph()
    for di, dj in [(1, 0), (0, 1)] if as_box else [(1, 0), (0, 1), (1, 1), (1, -1)]:
        i, j = np.meshgrid(np.arange(len(marks) - di), np.arange(max(0, -dj), len(marks) - max(0, dj)), indexing="ij")
        a = np.stack((x[i, j], y[i, j]), axis=-1).reshape(-1, 2)
        b = np.stack((x[i + di, j + dj], y[i + di, j + dj]), axis=-1).reshape(-1, 2)
        free = ~shapely.intersects(area, shapely.linestrings(np.stack((a, b), axis=1)))
        length = STEP * math.hypot(di, dj)
        graph.add_edges_from((tuple(p), tuple(q), {"weight": length}) for p, q in zip(a[free], b[free], strict=True))
    try:
        return float(networkx.dijkstra_path_length(graph, BACK, FRONT))
    except (networkx.NetworkXNoPath, networkx.NodeNotFound):
        return math.inf


@pytest.mark.parametrize("as_box", [False, True])
@pytest.mark.parametrize("count", [6, 14, 22])
@pytest.mark.parametrize("seed", range(5))
def test_a_way_through_a_crowd_is_free_and_no_longer_than_on_a_grid(seed: int, count: int, as_box: bool) -> None:
    bench = random_bench(np.random.default_rng(1000 * count + seed), count, SPAN)
    area = forbidden(bench)
    assert not area.intersects(shapely.MultiPoint([BACK, FRONT]))
    corners = way_round(bench.scene, TOOL, BACK, FRONT, Z, beside=BESIDE, above=ABOVE, corner=CORNER, bounds=BOUNDS,
                        as_box=as_box)
    assert corners is not None, "outside the crowd there is always a way"
    points = [BACK, *corners, FRONT]
    # GEOS draws its offsets a little inside the true arcs: 12 mm at 128 to the quarter is 0.0003 mm off.
    assert all(leg.intersection(area).length < 1e-9 and leg.intersection(area).area < 1e-9 for leg in
               legs_of(points, as_box))
    assert all(-60 <= x <= 360 and -60 <= y <= 360 for x, y in corners)
    assert all(round(value, 3) == value for corner in corners for value in corner)
    length = sum(math.dist(a, b) for a, b in zip(points, points[1:], strict=False))
    assert length <= on_a_grid(area, as_box) + STEP


def find(scene: Scene, as_box: bool = False, start: tuple[float, float] = (0.0, 50.0), end=(200.0, 50.0),  # type: ignore[no-untyped-def]
         bounds=((-10.0, 210.0), (-10.0, 110.0)), **extra):
    return way_round(scene, TOOL, start, end, Z, beside=BESIDE, above=ABOVE, corner=CORNER, bounds=bounds,
                     as_box=as_box, **extra)


def standing(hulls, top: float = 40.0) -> Scene:  # type: ignore[no-untyped-def]
    return Scene.build([SceneSolid(n, [hull], top, 0.5) for n, hull in enumerate(hulls)])


@pytest.mark.parametrize("as_box", [False, True])
def test_what_is_not_in_the_way_changes_nothing(as_box: bool) -> None:
    assert find(standing([cylinder((100, 90), 10)]), as_box) == []
    assert find(standing([box((100, 50), (20, 40))], top=-25.0), as_box) == [], "low enough to pass over, nut and all"
    alone = find(standing([box((100, 50), (20, 40))]), as_box)
    assert alone and find(standing([box((100, 50), (20, 40)), cylinder((20, 100), 8), cylinder((180, 100), 8)]), as_box)
    assert len(alone) <= 4, "few blocks"


@pytest.mark.parametrize("as_box", [False, True])
def test_the_nut_needs_the_wider_way(as_box: bool) -> None:
    """Between two posts 22 mm apart: the cutter would pass, the nut of 24 mm does not, unless the posts are low."""
    posts = [box((100, 20), (10, 78)), box((100, 95), (10, 28))]  # a gap from y = 59 to y = 81
    for top, through in ((15.0, True), (40.0, False)):
        corners = find(standing(posts, top), as_box, (0.0, 70.0), (200.0, 70.0), ((-10, 210), (-60, 160)))
        assert corners is not None
        assert (corners == []) == through


@pytest.mark.parametrize("as_box", [False, True])
def test_bounds_close_the_way(as_box: bool) -> None:
    wall = standing([bar((100, 20), (100, 80), 10.0)])
    assert find(wall, as_box, bounds=((-10, 210), (-10, 140)))
    assert find(wall, as_box, bounds=((-10, 210), (8, 92))) is None


@pytest.mark.parametrize("as_box", [False, True])
def test_out_of_a_pocket_of_a_fence_it_goes_back_first(as_box: bool) -> None:
    pocket = outline([(60, 10), (120, 10), (120, 90), (60, 90), (60, 80), (110, 80), (110, 20), (60, 20)])
    scene = Scene.build([SceneSolid(0, pocket, 40.0, 0.5)])
    corners = find(scene, as_box, (85.0, 50.0), (200.0, 50.0), ((-10, 210), (-60, 160)))
    assert corners and corners[0][0] < 60


@pytest.mark.parametrize("as_box", [False, True])
def test_from_within_a_clearance_there_is_no_way(as_box: bool) -> None:
    post = standing([cylinder((100, 50), 10)])
    assert find(post, as_box, start=(112.0, 50.0)) is None
    assert find(post, as_box, end=(112.0, 50.0)) is None


@pytest.mark.parametrize("as_box", [False, True])
def test_corners_may_be_rounded_without_coming_over_what_to_keep_out_of(as_box: bool) -> None:
    stock = KeepOut(box((100, 50), (60, 60)), 3.0)
    corners = find(standing([]), as_box, bounds=((-10, 210), (-60, 160)), keep_out=[stock])
    assert corners
    for leg in legs_of([(0.0, 50.0), *corners, (200.0, 50.0)], as_box):
        assert leg.distance(shapely.box(70, 20, 130, 80)) >= 3.0 + CORNER - 1e-6


@pytest.mark.parametrize("end", [(math.nan, 0.0), (math.inf, 0.0)])
def test_a_way_to_nowhere_is_refused(end: tuple[float, float]) -> None:
    with pytest.raises(ValueError):
        find(standing([]), end=end)
    with pytest.raises(ValueError):
        find(standing([]), bounds=((math.nan, 1.0), (0.0, 1.0)))
