"""The shortest way round in XY at a height that the machine has.

Obstacles that reach above the height are grown by the assembly at that height. Round their corners stand places to
turn at; two places are joined where the way between them is free, each way checked like any rapid; the shortest chain
of ways is Dijkstra's (networkx). Where paths are unknown, a way covers the whole box of its ends: then the places
stand on the lines along X and Y through the corners of everything, and ways run along these lines.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .assembly import Assembly
from .clearance import EPS, Sweeps, encounters
from .hulls import Hull
from .scene import Scene

Floats = NDArray[np.float64]
Point = tuple[float, float]

APART = 0.01  # mm, how far places to turn at keep from where a way would touch: more than writing them rounds
TURN = math.radians(15.0)  # the greatest angle that one place round a rounded corner stands for
MOST_PLACES = 600  # with more there is no way round that is worth its blocks
DIGITS = 3


@dataclass(frozen=True, slots=True)
class KeepOut:
    """A footprint that a way may not come over, whatever its height: a hull and how far the axis stays from it, mm."""

    hull: Hull
    reach: float


def way_round(scene: Scene, assembly: Assembly, start: Point, end: Point, z: float, *, beside: float, above: float,
              corner: float, bounds: tuple[Point, Point], keep_out: Sequence[KeepOut] = (), as_box: bool = False,
              ) -> list[Point] | None:
    """The corners of the shortest way from `start` to `end` with the tip at `z`; None where there is none.

    beside, above, corner: mm, as in the deciding rule. bounds: ((lowest x, highest x), (lowest y, highest y)) of the
    tip, mm. as_box: a way covers the box of its ends. Corners are rounded to 0.001 mm. An empty list: straight on.
    """
    space = _Space(scene, assembly, z, beside, above, corner, bounds, keep_out, as_box)
    ends = np.array([start, end], dtype=float)
    grown = space.grown()
    places = _on_lines(grown, ends) if as_box else _round_corners(grown)
    places = np.round(places, DIGITS)
    places = places[space.inside(places)]
    places = np.concatenate([ends, np.unique(places, axis=0)]) if len(places) else ends
    if len(places) > MOST_PLACES:
        return None
    if as_box:
        places = np.concatenate([ends, places[2:][space.free(places[2:], places[2:])]])
    pairs = _neighbours(places) if as_box else _all_pairs(len(places))
    pairs = pairs[space.free(places[pairs[:, 0]], places[pairs[:, 1]])]
    return _shortest(places, pairs)


class _Space:
    """What a way at one height must keep clear of."""

    def __init__(self, scene: Scene, assembly: Assembly, z: float, beside: float, above: float, corner: float,
                 bounds: tuple[Point, Point], keep_out: Sequence[KeepOut], as_box: bool) -> None:
        self.scene, self.assembly, self.z = scene, assembly, z
        self.beside, self.above, self.corner = beside, above, corner
        self.bounds, self.keep_out, self.as_box = bounds, keep_out, as_box
        self.keep_scene = Scene.build([_solid(k) for k in keep_out]) if keep_out else None

    def grown(self) -> list[tuple[Floats, float]]:
        """(vertices (k, 2), radius) of every footprint that reaches above the height, grown."""
        grown = [(k.hull.vertices, k.hull.radius + k.reach) for k in self.keep_out]
        for row in range(len(self.scene)):
            tolerance = float(self.scene.tolerance[row])
            top = float(self.scene.top[row]) + tolerance + self.above + self.corner
            meets = self.z + self.assembly.from_ < top - EPS
            if meets.any():
                reach = float(self.assembly.radius[meets].max()) + tolerance + self.beside + self.corner
                vertices = self.scene.vertices[row, : int(self.scene.count[row])]
                grown.append((vertices, float(self.scene.radius[row]) + reach))
        return grown

    def inside(self, places: Floats) -> NDArray[np.bool_]:
        (x0, x1), (y0, y1) = self.bounds
        x, y = places[:, 0], places[:, 1]
        result: NDArray[np.bool_] = (x >= x0) & (x <= x1) & (y >= y0) & (y <= y1)
        return result

    def free(self, start: Floats, end: Floats) -> NDArray[np.bool_]:
        """(n,) bool: which ways from start (n, 2) to end (n, 2) are free, judged like rapids."""
        free = np.ones(len(start), dtype=bool)
        if not len(start):
            return free
        level = np.full((len(start), 1), self.z)
        first, last = np.hstack([start, level]), np.hstack([end, level])
        if self.as_box:
            first, last = np.minimum(first, last), np.maximum(first, last)
        sweeps = Sweeps(first, last, self.as_box, self.corner)
        free[encounters(self.scene, self.assembly, sweeps, self.beside, self.above).move] = False
        if self.keep_scene is not None:
            axis = Assembly(np.zeros(1), np.zeros(1), ["cutter"])
            free[encounters(self.keep_scene, axis, Sweeps(first, last, self.as_box), 0.0, 0.0).move] = False
        return free


def _solid(keep: KeepOut):  # type: ignore[no-untyped-def]
    from .scene import SceneSolid

    return SceneSolid(0, [Hull(keep.hull.vertices, keep.hull.radius + keep.reach)], 1e9, 0.0)


def _round_corners(grown: Sequence[tuple[Floats, float]]) -> Floats:
    """Places just outside the rounded corners: the corners of polygons that enclose the grown footprints."""
    places: list[Point] = []
    for vertices, radius in grown:
        for vertex, begin, turn in _corners(vertices):
            steps = max(1, math.ceil(turn / TURN))
            half = turn / steps / 2
            far = (radius + APART) / math.cos(half)
            for k in range(steps):
                angle = begin + (2 * k + 1) * half
                places.append((vertex[0] + far * math.cos(angle), vertex[1] + far * math.sin(angle)))
    return np.array(places, dtype=float).reshape(-1, 2)


def _corners(vertices: Floats) -> list[tuple[Floats, float, float]]:
    """For each vertex of a counter-clockwise hull: it, the direction of the normal before it, and the turn there."""
    if len(vertices) == 1:
        return [(vertices[0], 0.0, 2 * math.pi)]
    corners = []
    for k, vertex in enumerate(vertices):
        came, goes = vertex - vertices[k - 1], vertices[(k + 1) % len(vertices)] - vertex
        before = math.atan2(came[1], came[0]) - math.pi / 2
        turn = (math.atan2(goes[1], goes[0]) - math.pi / 2 - before) % (2 * math.pi)
        corners.append((vertex, before, math.pi if len(vertices) == 2 else turn))
    return corners


def _on_lines(grown: Sequence[tuple[Floats, float]], ends: Floats) -> Floats:
    """The crossings of the lines along X and Y that just pass every grown footprint, and those through the ends."""
    lines: list[list[float]] = [list(ends[:, 0]), list(ends[:, 1])]
    for vertices, radius in grown:
        for axis in range(2):
            lines[axis] += [float(vertices[:, axis].min()) - radius - APART,
                            float(vertices[:, axis].max()) + radius + APART]
    x, y = (np.unique(np.round(line, DIGITS)) for line in lines)
    if len(x) * len(y) > MOST_PLACES * 4:
        return np.zeros((MOST_PLACES * 4, 2))
    return np.array([(a, b) for a in x for b in y], dtype=float)


def _all_pairs(count: int) -> NDArray[np.int64]:
    first, second = np.triu_indices(count, 1)
    return np.stack([first, second], axis=1).astype(np.int64)


def _neighbours(places: Floats) -> NDArray[np.int64]:
    """Pairs that stand next to each other on a line along X or Y, and every pair with one of the ends."""
    pairs = [(k, j) for k in (0, 1) for j in range(k + 1, len(places))]
    rounded = np.round(places, DIGITS)
    for axis in (0, 1):
        order = np.lexsort((rounded[:, 1 - axis], rounded[:, axis]))
        same = rounded[order[1:], axis] == rounded[order[:-1], axis]
        pairs += [(int(a), int(b)) for a, b in zip(order[:-1][same], order[1:][same], strict=True)]
    return np.array(pairs, dtype=np.int64).reshape(-1, 2)


def _shortest(places: Floats, pairs: NDArray[np.int64]) -> list[Point] | None:
    import networkx

    graph = networkx.Graph()
    graph.add_nodes_from((0, 1))
    lengths = np.linalg.norm(places[pairs[:, 0]] - places[pairs[:, 1]], axis=1)
    graph.add_weighted_edges_from((int(a), int(b), float(way)) for (a, b), way in zip(pairs, lengths, strict=True))
    try:
        chain = networkx.dijkstra_path(graph, 0, 1)
    except networkx.NetworkXNoPath:
        return None
    return _without_straight_on([(float(places[k, 0]), float(places[k, 1])) for k in chain])[1:-1]


def _without_straight_on(points: list[Point]) -> list[Point]:
    """Leaves out places at which a way along X or Y does not turn."""
    kept = points[:1]
    for place, after in zip(points[1:], points[2:], strict=False):
        before = kept[-1]
        if not ((before[0] == place[0] == after[0]) or (before[1] == place[1] == after[1])):
            kept.append(place)
    return [*kept, points[-1]]
