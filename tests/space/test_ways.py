"""Ways round, against GEOS (shapely) for being free and a brute-force grid search for being short."""

from __future__ import annotations

import math

import networkx
import numpy as np
import pytest
import shapely

from gcode_guard.space.assembly import Assembly
from gcode_guard.space.hulls import Hull, box, cylinder
from gcode_guard.space.scene import Scene, SceneSolid
from gcode_guard.space.ways import KeepOut, way_round

BOUNDS = ((0.0, 200.0), (0.0, 120.0))
BESIDE, ABOVE, CORNER, TOLERANCE, RADIUS = 2.0, 2.0, 0.5, 0.5, 4.0
REACH = BESIDE + CORNER + TOLERANCE + RADIUS
STEP = 2.5


def draw_bench(random: np.random.Generator) -> tuple[Scene, list[shapely.Geometry]]:
    solids, shapes = [], []
    for number in range(int(random.integers(1, 5))):
        middle = (float(random.uniform(45, 155)), float(random.uniform(20, 100)))
        if random.random() < 0.5:
            hull = cylinder(middle, float(random.uniform(5, 30)))
        else:
            hull = box(middle, (float(random.uniform(8, 60)), float(random.uniform(8, 60))),
                       float(random.uniform(0, 90)))
        solids.append(SceneSolid(number, [hull], 50.0, TOLERANCE))
        shapes.append(footprint(hull))
    return Scene.build(solids), shapes


def footprint(hull: Hull) -> shapely.Geometry:
    kinds = {1: shapely.Point, 2: shapely.LineString}
    core = kinds.get(len(hull.vertices), shapely.Polygon)(hull.vertices if len(hull.vertices) > 1 else hull.vertices[0])
    return core if not hull.radius else core.buffer(hull.radius, quad_segs=256)


def find(scene: Scene, as_box: bool, start: tuple[float, float], end: tuple[float, float],
         keep_out: tuple[KeepOut, ...] = ()) -> list[tuple[float, float]] | None:
    cutter = Assembly(np.zeros(1), np.array([RADIUS]), ["cutter"])
    return way_round(scene, cutter, start, end, 20.0, beside=BESIDE, above=ABOVE, corner=CORNER, bounds=BOUNDS,
                     keep_out=keep_out, as_box=as_box)


def swept(a: tuple[float, float], b: tuple[float, float], as_box: bool) -> shapely.Geometry:
    return shapely.MultiPoint([a, b]).envelope if as_box else shapely.LineString([a, b])


def grid_length(shapes: list[shapely.Geometry], start: tuple[float, float], end: tuple[float, float],
                as_box: bool) -> float:
    """The shortest way on a grid: along the axes where boxes are swept, else to the eight neighbours as well."""
    area = shapely.union_all([shape.buffer(REACH) for shape in shapes])
    x, y = np.meshgrid(np.arange(0, 200 + STEP, STEP), np.arange(0, 120 + STEP, STEP), indexing="ij")
    free = ~shapely.contains_xy(area, x, y)
    graph = networkx.Graph()
    steps = [(1, 0), (0, 1)] if as_box else [(1, 0), (0, 1), (1, 1), (1, -1)]
    for i in range(x.shape[0]):
        for j in range(x.shape[1]):
            for di, dj in steps:
                a, b = i + di, j + dj
                if a < x.shape[0] and 0 <= b < x.shape[1] and free[i, j] and free[a, b]:
                    graph.add_edge((i, j), (a, b), weight=STEP * math.hypot(di, dj))
    ends = [(round(p[0] / STEP), round(p[1] / STEP)) for p in (start, end)]
    try:
        return float(networkx.dijkstra_path_length(graph, *ends))
    except (networkx.NetworkXNoPath, networkx.NodeNotFound):
        return math.inf


@pytest.mark.parametrize("as_box", [False, True])
@pytest.mark.parametrize("seed", range(25))
def test_valid_and_no_longer_than_on_a_grid(seed: int, as_box: bool) -> None:
    random = np.random.default_rng(seed)
    scene, shapes = draw_bench(random)
    start, end = (5.0, float(random.integers(4, 44)) * STEP), (195.0, float(random.integers(4, 44)) * STEP)
    corners = find(scene, as_box, start, end)
    shortest = grid_length(shapes, start, end, as_box)
    if corners is None:
        # A gap that the grid finds may be too narrow by the distance that corners keep.
        assert shortest == math.inf or shortest > 0 and any(shape.buffer(REACH + 0.05).intersects(
            shapely.union_all([s.buffer(REACH + 0.05) for s in shapes if s is not shape])) for shape in shapes)
        return
    points = [start, *corners, end]
    for a, b in zip(points, points[1:], strict=False):
        way = swept(a, b, as_box)
        assert all(shapely.distance(way, shape) >= REACH - 1e-3 for shape in shapes)
    assert all(0 <= px <= 200 and 0 <= py <= 120 for px, py in points)
    length = sum(math.dist(a, b) for a, b in zip(points, points[1:], strict=False))
    assert length <= shortest + STEP


def test_walled_in_there_is_none() -> None:
    wall = Scene.build([SceneSolid(0, [box((100.0, 60.0), (10.0, 140.0), 0.0)], 50.0, TOLERANCE)])
    assert find(wall, False, (5.0, 60.0), (195.0, 60.0)) is None
    assert find(wall, True, (5.0, 60.0), (195.0, 60.0)) is None


def test_keeps_out_of_the_stock_where_it_must() -> None:
    pin = Scene.build([SceneSolid(0, [cylinder((100.0, 100.0), 20.0)], 50.0, TOLERANCE)])
    stock = KeepOut(box((100.0, 40.0), (60.0, 70.0), 0.0), 3.0)
    corners = find(pin, False, (5.0, 60.0), (195.0, 60.0), (stock,))
    ways = [(5.0, 60.0), *(corners or []), (195.0, 60.0)]
    area = shapely.box(70, 5, 130, 75)
    assert corners
    assert all(shapely.LineString([a, b]).distance(area) >= 3.0 - 1e-3 for a, b in zip(ways, ways[1:], strict=False))
