"""The shortest way round in XY at a height that the machine has.

Obstacles that reach above the height are grown by the assembly at that height, and by what rides at a height of its
own. Round their corners stand places to turn at; two places are joined where the way between them is free, each way
checked like any rapid; the shortest chain of ways is Dijkstra's (networkx). Where paths are unknown, a way covers the
whole box of its ends: then the places stand on the lines along X and Y through the corners of everything, and ways run
along these lines.

Most obstacles are in nobody's way. The search begins with those alone that the straight way meets, and takes in what
blocks the way found, until nothing does: a way that is shortest among some obstacles and free of all is shortest.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .assembly import Assembly
from .clearance import EPS, Encounters, Sweeps, encounters
from .hulls import Hull
from .scene import Scene, SceneSolid

Floats = NDArray[np.float64]
Pairs = NDArray[np.int64]
Point = tuple[float, float]

APART = 0.01  # mm, how far places to turn at keep from where a way would touch: more than writing them rounds
TURN = math.radians(30.0)  # the greatest angle that one place round a rounded corner stands for
LEG = 0.1  # mm, what a further corner must save: every one is a block, and a stop
MOST_PLACES = 1_000  # that may all see each other, and on lines ten times as many: a search of some seconds
DIGITS = 3


@dataclass(frozen=True, slots=True)
class KeepOut:
    """A footprint that a way may not come over, whatever its height: a hull and how far the axis stays from it, mm.
    The rounding of corners comes on top."""

    hull: Hull
    reach: float


@dataclass(frozen=True, slots=True)
class Level:
    """What is carried along a way at one height: an assembly and the height z of its foot, mm."""

    assembly: Assembly
    z: float


def way_round(scene: Scene, assembly: Assembly, start: Point, end: Point, z: float, *, beside: float, above: float,
              corner: float, bounds: tuple[Point, Point], keep_out: Sequence[KeepOut] = (), as_box: bool = False,
              riding: Sequence[Level] = ()) -> list[Point] | None:
    """The corners of the shortest way from `start` to `end` with the tip at `z`; None where there is none.

    beside, above, corner: mm, as in the deciding rule. bounds: ((lowest x, highest x), (lowest y, highest y)) of the
    tip, mm. as_box: a way covers the box of its ends. riding: what stays at its own height wherever the tip is.
    Corners are rounded to 0.001 mm. An empty list: straight on. Raises ValueError for numbers that are not finite.
    """
    space = _Space(scene, (Level(assembly, z), *riding), beside, above, corner, keep_out, as_box)
    ends = np.array([start, end], dtype=float)
    if not (np.isfinite(ends).all() and space.at_known_heights and not np.isnan(bounds).any()):
        raise ValueError("a way round needs ends, a height and bounds that are known")
    if not space.free(ends, ends).all():
        return None
    met: list[int] = []
    while True:
        way = _among(space.only(met), ends, bounds)
        if way is None:
            return None
        blocking = [row for row in space.meeting(way[:-1], way[1:]) if row not in met]
        if not blocking:
            break
        met += blocking
    if not space.free(way[:-1], way[1:]).all():
        return None
    return [(float(x), float(y)) for x, y in way[1:-1]]


class _Space:
    """What a way at one height must keep clear of: the hulls that reach above it, and what to keep out of."""

    def __init__(self, scene: Scene, levels: Sequence[Level], beside: float, above: float, corner: float,
                 keep_out: Sequence[KeepOut], as_box: bool) -> None:
        self.levels, self.beside, self.above, self.corner = levels, beside, above, corner
        self.keep_out, self.as_box = keep_out, as_box
        tops = scene.top + scene.tolerance + above + corner
        low = np.ones(len(scene), dtype=bool)
        for level in levels:
            low &= tops - float(level.assembly.from_[0]) <= level.z + EPS
        self.scene = scene.take(np.flatnonzero(~low))
        kept = [Hull(k.hull.vertices, self._kept(k)) for k in keep_out]
        self.keep_scene = Scene.build([SceneSolid(0, [hull], 1e9, 0.0) for hull in kept])

    @property
    def at_known_heights(self) -> bool:
        return all(math.isfinite(level.z) for level in self.levels)

    def only(self, rows: Sequence[int]) -> _Space:
        """The same with these hulls alone, and all that is to be kept out of."""
        return _Space(self.scene.take(rows), self.levels, self.beside, self.above, self.corner, self.keep_out,
                      self.as_box)

    def _kept(self, keep: KeepOut) -> float:
        return keep.hull.radius + keep.reach + self.corner

    def grown(self) -> list[tuple[Floats, float]]:
        """(vertices (k, 2), radius) of every footprint that reaches above the height, grown."""
        grown = [(k.hull.vertices, self._kept(k)) for k in self.keep_out]
        for row in range(len(self.scene)):
            tolerance = float(self.scene.tolerance[row])
            top = float(self.scene.top[row]) + tolerance + self.above + self.corner
            widest = max(float(level.assembly.radius[level.z + level.assembly.from_ < top].max(initial=0.0))
                         for level in self.levels)
            vertices = self.scene.vertices[row, : int(self.scene.count[row])]
            reach = widest + tolerance + self.beside + self.corner
            grown.append((vertices, float(self.scene.radius[row]) + reach))
        return grown

    def _sweeps(self, start: Floats, end: Floats, z: float, margin: float) -> Sweeps:
        level = np.full((len(start), 1), z)
        return Sweeps(np.hstack([start, level]), np.hstack([end, level]), self.as_box, margin)

    def _met(self, start: Floats, end: Floats) -> Iterator[Encounters]:
        """What ways from start (n, 2) to end (n, 2) meet, judged like rapids, one level after the other."""
        for level in self.levels:
            sweeps = self._sweeps(start, end, level.z, self.corner)
            yield encounters(self.scene, level.assembly, sweeps, self.beside, self.above)

    def meeting(self, start: Floats, end: Floats) -> list[int]:
        """The hulls that ways from start (n, 2) to end (n, 2) meet, judged like rapids."""
        return sorted({row for met in self._met(start, end) for row in met.hull.tolist()})

    def free(self, start: Floats, end: Floats) -> NDArray[np.bool_]:
        """(n,) bool: which ways from start (n, 2) to end (n, 2) are free, judged like rapids."""
        free = np.ones(len(start), dtype=bool)
        for met in self._met(start, end):
            free[met.move] = False
        axis = Assembly(np.zeros(1), np.zeros(1), ["cutter"])
        kept = encounters(self.keep_scene, axis, self._sweeps(start, end, self.levels[0].z, 0.0), 0.0, 0.0)
        free[kept.move] = False
        return free


def _among(space: _Space, ends: Floats, bounds: tuple[Point, Point]) -> Floats | None:
    """The places (k, 2) of the shortest way, ends and all, among the hulls of this space; None where there is none."""
    grown = space.grown()
    turns = np.round(_upright_corners(grown) if space.as_box else _round_corners(grown), DIGITS)
    crossings = _crossings(turns, ends) if space.as_box else ends[:0]
    if len(turns) > MOST_PLACES or len(crossings) > 10 * MOST_PLACES:
        return None
    turns, crossings = _useful(space, bounds, turns), _useful(space, bounds, crossings)
    places = np.concatenate([ends, turns, crossings])
    pairs = _all_pairs(2 + len(turns))
    if space.as_box:
        pairs = np.concatenate([pairs, _neighbours(places)])
    chain = _shortest(places, pairs[space.free(places[pairs[:, 0]], places[pairs[:, 1]])])
    if chain is None or not space.as_box:
        return chain
    # A way along lines has a place at every line that it crosses: some of them may be cut short.
    pairs = _all_pairs(len(chain))
    order = np.concatenate([[0, len(chain) - 1], np.arange(1, len(chain) - 1)])  # the ends come first
    return _shortest(chain[order], pairs[space.free(chain[order][pairs[:, 0]], chain[order][pairs[:, 1]])])


def _useful(space: _Space, bounds: tuple[Point, Point], places: Floats) -> Floats:
    """Those of the places (n, 2), each once, that are within bounds and free themselves."""
    (x0, x1), (y0, y1) = bounds
    places = np.unique(places, axis=0)
    places = places[(places >= (x0, y0)).all(axis=1) & (places <= (x1, y1)).all(axis=1)]
    return places[space.free(places, places)]


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


def _upright_corners(grown: Sequence[tuple[Floats, float]]) -> Floats:
    """The corners of boxes along X and Y that enclose the grown footprints."""
    corners: list[Point] = []
    for vertices, radius in grown:
        low, high = vertices.min(axis=0) - radius - APART, vertices.max(axis=0) + radius + APART
        corners += [(float(x), float(y)) for x in (low[0], high[0]) for y in (low[1], high[1])]
    return np.array(corners, dtype=float).reshape(-1, 2)


def _crossings(turns: Floats, ends: Floats) -> Floats:
    """The crossings of the lines along X and Y through all these places."""
    x, y = np.meshgrid(*(np.unique(np.concatenate([turns[:, axis], ends[:, axis]])) for axis in range(2)))
    return np.column_stack([x.ravel(), y.ravel()])


def _all_pairs(count: int) -> Pairs:
    return np.stack(np.triu_indices(count, 1), axis=1).astype(np.int64)


def _neighbours(places: Floats) -> Pairs:
    """Pairs that stand next to each other on a line along X or Y, and every pair with one of the ends."""
    pairs = [(k, j) for k in (0, 1) for j in range(k + 1, len(places))]
    rounded = np.round(places, DIGITS)
    for axis in (0, 1):
        order = np.lexsort((rounded[:, 1 - axis], rounded[:, axis]))
        same = rounded[order[1:], axis] == rounded[order[:-1], axis]
        pairs += [(int(a), int(b)) for a, b in zip(order[:-1][same], order[1:][same], strict=True)]
    return np.array(pairs, dtype=np.int64).reshape(-1, 2)


def _shortest(places: Floats, pairs: Pairs) -> Floats | None:
    """The places (k, 2) of the shortest chain of these pairs from the first place to the second."""
    import networkx

    graph = networkx.Graph()
    graph.add_nodes_from((0, 1))
    lengths = LEG + np.linalg.norm(places[pairs[:, 0]] - places[pairs[:, 1]], axis=1)
    graph.add_weighted_edges_from((int(a), int(b), float(way)) for (a, b), way in zip(pairs, lengths, strict=True))
    try:
        return places[networkx.dijkstra_path(graph, 0, 1)]
    except networkx.NetworkXNoPath:
        return None
