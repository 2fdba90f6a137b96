"""Ways round in whole programs, on generated benches: valid always, and no longer than on a grid by more than its step.

Posts that no lift takes the tool over, in mm and inch, G90 and G91, on straight and unknown paths, under shoes that
hang and that ride with the gantry, at the ceiling and, below the stock's clearance, round the stock. What an output
does is told by the plain reader of tests/referee, what is free by GEOS (shapely), what is short by Dijkstra on a grid.
"""

from __future__ import annotations

import math
import random
import tomllib
from itertools import pairwise
from pathlib import Path

import networkx
import numpy as np
import pytest
import shapely

from tests.guarding import run, write_bench
from tests.referee.plain_options import options_of
from tests.referee.plain_reader import read

BENCH = """
format = 1
units = "mm"
[program]
starts_in = ["G21", "G90", "G17"]
[stock]
corner = [60.0, 30.0]
size = [80.0, 60.0]
top = 0.0
[machine]
start = [5.0, {y}, {z}]
reach = {{ x = [0.0, 200.0], y = [0.0, 120.0], z = [-20.0, {ceiling}] }}
rapid_path = "{path}"
[[tools]]
number = 1
diameter = 6.0
length = 40.0
"""
SHOES = {  # what hangs above the tool, and how far from its axis what is taller keeps away, clearances apart
    "none": ("", 3.0),
    "hanging": ('[spindle]\nsections = [{ diameter = 8.0, height = 90.0 }]\n'
                'shoe = { diameter = 24.0, bottom = 30.0 }\n', 12.0),  # 10 mm above the tip, so at 30 of the posts' 40
    "riding": ('[spindle]\nsections = [{ diameter = 8.0, height = 90.0 }]\n'
               'shoe = { diameter = 24.0, rides_at = 15.0 }\n', 12.0),
}
CLEAR = 3.0 + 1.0 + 1.0  # beside, the tolerance of what was measured, and the rounding of corners
STEP = 2.5
STOCK = shapely.box(60, 30, 140, 90)


def draw_posts(dice: random.Random) -> tuple[str, list[shapely.Geometry]]:
    text, shapes = "", []
    for number in range(dice.randint(1, 3)):
        x, y = round(dice.uniform(45, 155), 1), round(dice.uniform(20, 100), 1)
        text += f'[[obstacles]]\nname = "post {number}"\ntop = 40.0\n'
        if dice.random() < 0.5:
            size = round(dice.uniform(6, 25), 1)
            text += f'shape = "cylinder"\ncenter = [{x}, {y}]\ndiameter = {size}\n'
            shapes.append(shapely.Point(x, y).buffer(size / 2, quad_segs=256))
        else:
            a, b, angle = round(dice.uniform(6, 40), 1), round(dice.uniform(6, 40), 1), dice.choice([0.0, 30.0, 75.0])
            text += f'shape = "box"\ncenter = [{x}, {y}]\nsize = [{a}, {b}]\nangle = {angle}\n'
            core = shapely.box(x - a / 2, y - b / 2, x + a / 2, y + b / 2)
            shapes.append(shapely.affinity.rotate(core, angle, origin=(x, y)))
    return text, shapes


def swept(a: tuple[float, float], b: tuple[float, float], path: str) -> shapely.Geometry:
    return shapely.LineString([a, b]) if path == "straight" else shapely.MultiPoint([a, b]).envelope


def on_a_grid(area: shapely.Geometry, start: tuple[float, float], end: tuple[float, float], path: str) -> float:
    """The length of the shortest chain of steps between neighbours, each free of the area."""
    x, y = np.arange(0, 200 + STEP, STEP), np.arange(0, 120 + STEP, STEP)
    shapely.prepare(area)
    graph = networkx.Graph()
    for di, dj in [(1, 0), (0, 1)] + ([(1, 1), (1, -1)] if path == "straight" else []):
        i, j = np.meshgrid(np.arange(len(x) - di), np.arange(max(0, -dj), len(y) - max(0, dj)), indexing="ij")
        a, b = (np.stack((x[p], y[q]), axis=-1).reshape(-1, 2) for p, q in ((i, j), (i + di, j + dj)))
        free = ~shapely.intersects(area, shapely.linestrings(np.stack((a, b), axis=1)))
        graph.add_weighted_edges_from((tuple(p), tuple(q), STEP * math.hypot(di, dj))
                                      for p, q in zip(a[free].tolist(), b[free].tolist(), strict=True))
    try:
        return float(networkx.dijkstra_path_length(graph, start, end))
    except (networkx.NetworkXNoPath, networkx.NodeNotFound):
        return math.inf


def program_to(end: tuple[float, float], start: tuple[float, float], inch: bool, incremental: bool) -> str:
    scale = 25.4 if inch else 1.0
    x, y = ((end[k] - start[k] if incremental else end[k]) / scale for k in range(2))
    return f"{'G20' if inch else 'G21'} {'G91' if incremental else 'G90'}\nG0 X{x:.4f} Y{y:.4f}\nM5\nM30\n"


@pytest.mark.parametrize("low", [False, True], ids=["over the stock", "beside the stock"])
@pytest.mark.parametrize("path", ["straight", "unknown"])
@pytest.mark.parametrize("shoe", SHOES)
def test_valid_and_no_longer_than_on_a_grid(tmp_path: Path, shoe: str, path: str, low: bool) -> None:
    came_round = 0
    for seed in range(6):
        dice = random.Random(f"{shoe} {path} {low} {seed}")
        posts, shapes = draw_posts(dice)
        start, end = ((x, dice.randint(4, 44) * STEP) for x in (5.0, 195.0))
        spindle, radius = SHOES[shoe]
        # At 2 mm, which is also the ceiling, no way leads over the stock; at 20 the tool is clear of it.
        height, ceiling = (2.0, 2.0) if low else (12.0, 20.0)
        text = BENCH.format(y=start[1], z=height, path=path, ceiling=ceiling) + spindle + posts
        keep = radius + CLEAR
        area = shapely.union_all([shape.buffer(keep, quad_segs=256) for shape in shapes])
        if not area.intersects(swept(start, end, path)) or area.intersects(shapely.MultiPoint([start, end])):
            continue
        if low:
            area = area.union(STOCK.buffer(3.0, quad_segs=256))
        inch, incremental = dice.random() < 0.5, dice.random() < 0.5
        came = run(program_to(end, start, inch, incremental), write_bench(tmp_path, text))
        shortest = on_a_grid(area, start, end, path)
        if came.exit:
            # A gap that the grid finds may be too narrow by what corners keep away.
            assert on_a_grid(area.buffer(0.1 + (1.0 if low else 0.0)), start, end, path) == math.inf, came.log
            continue
        came_round += 1
        reading = read(came.output, options_of(tomllib.loads(text), None))
        moves = [move for move in reading.moves if move.kind == "rapid"]
        places = [moves[0].start, *(move.end for move in moves)]
        corners = [(float(x), float(y)) for x, y, _ in places]
        for a, b in pairwise(corners):
            assert swept(a, b, path).intersection(area.buffer(-2e-3)).is_empty, came.output
        assert all(-1e-6 <= x <= 200 and -1e-6 <= y <= 120 for x, y in corners)
        assert all(height - 1e-4 <= float(z) <= ceiling + 1e-4 for _, _, z in places)
        assert math.dist(corners[-1], end) < 2e-3 and abs(float(places[-1][2]) - height) < 1e-4
        # The corner keeps 1 mm more from the stock, for the rounding of corners: a little more way at each of its four.
        length = sum(math.dist(a, b) for a, b in pairwise(corners))
        assert length <= shortest + STEP + (4 * 2.0 if low else 0.0), (length, shortest, came.output)
        again = run(came.output, write_bench(tmp_path, text))
        assert again.exit == 0 and again.output == came.output
    assert came_round, "none of these benches let the tool round"


@pytest.mark.parametrize("missing", ["[stock]\ncorner = [60.0, 30.0]\nsize = [80.0, 60.0]\ntop = 0.0\n",
                                     "x = [0.0, 200.0], y = [0.0, 120.0], "], ids=["stock", "reach"])
def test_without_stock_or_reach_there_is_no_way_round(tmp_path: Path, missing: str) -> None:
    post = '[[obstacles]]\nname = "post"\nshape = "cylinder"\ncenter = [100.0, 60.0]\ndiameter = 10.0\ntop = 40.0\n'
    text = BENCH.format(y=60.0, z=12.0, path="straight", ceiling=20.0) + post
    program = program_to((195.0, 60.0), (5.0, 60.0), False, False)
    assert run(program, write_bench(tmp_path, text)).exit == 0
    assert missing in text
    came = run(program, write_bench(tmp_path, text.replace(missing, "")))
    assert came.exit == 3
    assert "with [stock] and machine.reach given" in came.records("finding")[0]["text"]
