"""Where moves come within the clearance of what stands on the table: exact, for whole batches of moves at once.

The rule: section k of the assembly, from `from_k` above the tip upward, radius r_k, and a footprint F with top h and
tolerance e meet where dist(tip's XY, F) < r_k + e + beside and the tip is lower than h + e + above - from_k. Strictly:
touching is allowed. The distance to a convex footprint is convex along a straight path, so the part of a path within
reach of it is one interval; with Z linear in the path, its lowest point is at one end of that interval. No sampling.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .assembly import Assembly
from .distance import box_distance, path_distance, path_frame, stretch_within
from .scene import Scene

# How far (mm) within a boundary still passes as touching it: above the rounding of sums of coordinates of some metres,
# far below anything that a machine can do.
EPS = 1e-7

# Moves that are first looked at together, through the box around all of them.
BLOCK = 64
# Numbers in one temporary array (1 MB): bounds the memory of a batch however many pairs it has.
NUMBERS_AT_ONCE = 1 << 17

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Booleans = NDArray[np.bool_]


class Sweeps:
    """What the tip covers in each of n moves.

    start, end: (n, 3) float, mm.
    box: (n,) bool. False: the straight segment between the ends. True: every point of the upright box that they span;
        X and Y may then be infinite, and Z too (-inf: anywhere down to the table, +inf at both ends: high above all).
    margin: (n,) float, mm, added to the reach sideways and to the height (rounding of corners).
    sink: (n,) float, mm, how much lower than the segment the tip may really run (chords of an arc).
    grow: (n,) float, mm, added to the reach sideways alone (chords of an arc, compensation).
    Each of the last four may be given as one value. Raises ValueError for NaN anywhere, for infinite coordinates of a
    segment, for a box that lies wholly at infinity in X or Y, and for negative or infinite margins.
    """

    def __init__(
        self,
        start: ArrayLike,
        end: ArrayLike,
        box: ArrayLike = False,
        margin: ArrayLike = 0.0,
        sink: ArrayLike = 0.0,
        grow: ArrayLike = 0.0,
    ) -> None:
        self.start: Floats = np.asarray(start, dtype=np.float64)
        self.end: Floats = np.asarray(end, dtype=np.float64)
        if self.start.ndim != 2 or self.start.shape[1] != 3 or self.start.shape != self.end.shape:
            raise ValueError("sweeps need starts and ends of shape (n, 3)")
        self.box: Booleans = np.asarray(box, dtype=np.bool_)
        if self.box.ndim == 0:
            self.box = np.full(len(self.start), self.box)
        if self.box.shape != (len(self.start),):
            raise ValueError("sweeps need one `box` for each move")
        if not (np.isfinite(self.start).all() and np.isfinite(self.end).all()):
            _refuse_what_is_nowhere(self.start, self.end, self.box)
        self.margin = _extra("margin", margin, len(self.start))
        self.sink = _extra("sink", sink, len(self.start))
        self.grow = _extra("grow", grow, len(self.start))

    def __len__(self) -> int:
        return len(self.start)

    def take(self, rows: Integers | Booleans | slice) -> Sweeps:
        """The sweeps of these rows, in their order."""
        columns = (self.start, self.end, self.box, self.margin, self.sink, self.grow)
        return Sweeps(*(column[rows] for column in columns))

    @cached_property
    def low(self) -> Floats:
        """(n, 3) float: the lowest corner of the box around each move, without margins."""
        return np.minimum(self.start, self.end)

    @cached_property
    def high(self) -> Floats:
        """(n, 3) float: the highest corner of the box around each move, without margins."""
        return np.maximum(self.start, self.end)


def _refuse_what_is_nowhere(start: Floats, end: Floats, box: Booleans) -> None:
    if np.isnan(start).any() or np.isnan(end).any():
        raise ValueError("a sweep with a coordinate that is not a number cannot be judged")
    low, high = np.minimum(start, end), np.maximum(start, end)
    if not (np.isfinite(low) & np.isfinite(high))[~box].all():
        raise ValueError("a straight sweep needs finite ends")
    if (low[:, :2] == np.inf).any() or (high[:, :2] == -np.inf).any():
        raise ValueError("a box that lies wholly at infinity is nowhere")


def _extra(name: str, value: ArrayLike, count: int) -> Floats:
    array = np.asarray(value, dtype=np.float64)
    array = np.full(count, array) if array.ndim == 0 else array
    if array.shape != (count,):
        raise ValueError(f"sweeps need one `{name}` for each move")
    if count and not (array.min() >= 0 and array.max() < np.inf):
        raise ValueError(f"`{name}` must be finite and not negative")
    return array


@dataclass(frozen=True, eq=False)
class Encounters:
    """Pairs of a move and a hull, by section of the assembly: p of them, sorted by move, hull, section.

    move, hull, obstacle, section: (p,) int.
    needed: (p,) float, mm: the lowest height of the tip that keeps this section clear of this hull.
    lowest: (p,) float, mm: the lowest the tip is while this section is within reach of this hull (-inf: any depth).
    at: (p, 2) float, mm: where that is; for a box, the point of it that is nearest to the middle of the hull.
    """

    move: Integers
    hull: Integers
    obstacle: Integers
    section: Integers
    needed: Floats
    lowest: Floats
    at: Floats

    def __len__(self) -> int:
        return len(self.move)

    @property
    def depth(self) -> Floats:
        """(p,) float, mm: how much too low the tip is."""
        return self.needed - self.lowest

    def take(self, rows: Integers | Booleans | slice) -> Encounters:
        """The pairs of these rows, in their order."""
        return Encounters(*(getattr(self, field.name)[rows] for field in fields(self)))


def encounters(
    scene: Scene, assembly: Assembly, sweeps: Sweeps, beside: float, above: float, *, clipping_only: bool = True
) -> Encounters:
    """Every pair of a move and a hull that come closer than `beside` sideways, by section of the assembly.

    `beside`, `above`: mm; both 0 asks for contact. With `clipping_only`, those alone that are also lower than needed.
    Raises ValueError for clearances that are negative or not finite.
    """
    parts = []
    for pairs in _near_pairs(scene, assembly, sweeps, beside, above, clipping_only):
        for piece in _pieces(pairs, scene.vertices.shape[1]):
            found = _exact(scene, assembly, sweeps, piece, beside, above)
            # Written so that a NaN, should an overflow ever make one, counts as clipping; so below with `within`.
            parts.append(found.take(~(found.lowest >= found.needed - EPS)) if clipping_only else found)
    if not parts:
        return NOTHING
    found = parts[0]
    if len(parts) > 1:
        found = Encounters(*(np.concatenate([getattr(part, f.name) for part in parts]) for f in fields(Encounters)))
    return found.take(np.lexsort((found.section, found.hull, found.move))) if len(found) > 1 else found


def needed_heights(scene: Scene, assembly: Assembly, sweeps: Sweeps, beside: float, above: float) -> Floats:
    """(n,) float, mm: the lowest height of the tip at which the whole XY path of each move is clear; -inf where nothing
    is near. The heights of the moves themselves do not count. Raises ValueError as encounters() does."""
    heights = np.full(len(sweeps), -np.inf)
    for pairs in _near_pairs(scene, assembly, sweeps, beside, above, clipping_only=False):
        for piece in _pieces(pairs, scene.vertices.shape[1]):
            within, _, _ = _within(scene, assembly, sweeps, piece, beside)
            kept = _Pairs(*(column[within] for column in piece))
            needed = _needed(scene, assembly, sweeps, kept, above) + sweeps.sink[kept.move]
            np.maximum.at(heights, kept.move, needed)
    return heights


def distances(scene: Scene, sweeps: Sweeps, move: Integers, hull: Integers) -> Floats:
    """(p,) float, mm: the distance in the plane between what each `move` covers and the footprint of each `hull`."""
    nearest = np.empty(len(move))
    is_box = sweeps.box[move]
    for some, box in ((~is_box, False), (is_box, True)):
        moves, vertices = move[some], scene.vertices[hull[some]]
        if box:
            nearest[some] = box_distance(sweeps.low[moves, :2], sweeps.high[moves, :2], vertices)
        else:
            unit, length = path_frame(sweeps.start[moves, :2], sweeps.end[moves, :2])
            start = sweeps.start[moves, :2]
            nearest[some] = path_distance(start, unit, length, vertices, scene.count[hull[some]])
    return np.maximum(nearest - scene.radius[hull], 0.0)


class _Pairs(NamedTuple):
    """Numbers of moves, hulls and sections, (p,) int each."""

    move: Integers
    hull: Integers
    section: Integers


NONE = np.empty(0, dtype=np.int64)
NOTHING = Encounters(NONE, NONE, NONE, NONE, np.empty(0), np.empty(0), np.empty((0, 2)))


def _pieces(pairs: _Pairs, widest: int) -> Iterator[_Pairs]:
    step = max(256, NUMBERS_AT_ONCE // max(1, widest))
    for i in range(0, len(pairs.move), step):
        yield _Pairs(*(column[i : i + step] for column in pairs))


def _reach(scene: Scene, assembly: Assembly, sweeps: Sweeps, pairs: _Pairs, beside: float) -> Floats:
    """(p,) float: how near to the polygon of the hull the axis must come, strictly, for the pair to meet."""
    reach = scene.radius[pairs.hull] + scene.tolerance[pairs.hull] + assembly.radius[pairs.section]
    return reach + sweeps.margin[pairs.move] + sweeps.grow[pairs.move] + beside


def _needed(scene: Scene, assembly: Assembly, sweeps: Sweeps, pairs: _Pairs, above: float) -> Floats:
    height = scene.top[pairs.hull] + scene.tolerance[pairs.hull] - assembly.from_[pairs.section]
    return height + sweeps.margin[pairs.move] + above


def _near_pairs(
    scene: Scene, assembly: Assembly, sweeps: Sweeps, beside: float, above: float, clipping_only: bool
) -> Iterator[_Pairs]:
    """Candidates, from coarse to fine: the batch as a whole, blocks of moves, single moves, each through its box."""
    if not (0 <= beside < math.inf and 0 <= above < math.inf):
        raise ValueError("clearances must be finite and not negative")
    if not len(scene) or not len(sweeps):
        return
    margin, grow, sink = float(sweeps.margin.max()), float(sweeps.grow.max()), float(sweeps.sink.max())
    floor = float(min(sweeps.start[:, 2].min(), sweeps.end[:, 2].min())) - sink if clipping_only else -math.inf
    if floor >= scene.highest + above + margin - float(assembly.from_[0]) - EPS:
        return
    wide = _Wide(scene, assembly, beside + margin + grow, above + margin - EPS)
    active = wide.active(floor, *_around(sweeps))
    if not active.any():
        return
    whole_blocks = len(sweeps) > 2 * BLOCK
    starts = np.arange(0, len(sweeps), BLOCK)
    low = np.minimum.reduceat(sweeps.low.T.copy(), starts, axis=1).T if whole_blocks else sweeps.low
    high = np.maximum.reduceat(sweeps.high.T.copy(), starts, axis=1).T if whole_blocks else sweeps.high
    pairs = wide.touching(active, low, high, sink if clipping_only else math.inf)
    if not whole_blocks:
        yield pairs
        return
    step = NUMBERS_AT_ONCE // BLOCK
    for i in range(0, len(pairs.move), step):
        block, hull, section = (column[i : i + step] for column in pairs)
        move = (block[:, None] * BLOCK + np.arange(BLOCK)).ravel()
        single = _Pairs(move, np.repeat(hull, BLOCK), np.repeat(section, BLOCK))
        single = _Pairs(*(column[move < len(sweeps)] for column in single))
        yield wide.kept(single, sweeps.low, sweeps.high, sink if clipping_only else math.inf)


def _around(sweeps: Sweeps) -> tuple[list[float], list[float]]:
    """Lowest and highest corner of the batch; column by column, which is ten times faster than min(axis=0) here."""
    both = (sweeps.start, sweeps.end)
    low = [float(min(ends[:, axis].min() for ends in both)) for axis in range(3)]
    return low, [float(max(ends[:, axis].max() for ends in both)) for axis in range(3)]


class _Wide:
    """Tests of boxes that may keep too much but drop nothing that meets: with the widest margins of the whole batch."""

    def __init__(self, scene: Scene, assembly: Assembly, sideways: float, upward: float) -> None:
        self.scene = scene
        # (s, m): how far beyond its bounds a hull reaches for a section, and how low the tip must be to meet it.
        self.reach = assembly.radius[:, None] + (scene.tolerance + sideways)
        self.needed = (scene.top + scene.tolerance + upward) - assembly.from_[:, None]

    def active(self, floor: float, low: Sequence[float], high: Sequence[float]) -> Booleans:
        """(s, m) bool: which sections and hulls a box with these corners, (3,), can meet at all."""
        bounds = self.scene.bounds
        active = self.needed > floor
        active &= (bounds[:, 0] - self.reach <= high[0]) & (bounds[:, 2] + self.reach >= low[0])
        active &= (bounds[:, 1] - self.reach <= high[1]) & (bounds[:, 3] + self.reach >= low[1])
        return active

    def touching(self, active: Booleans, low: Floats, high: Floats, sink: float) -> _Pairs:
        """Pairs of boxes, (n, 3) corners, and hulls that touch, for each active section."""
        widest = float(self.reach[active].max())
        box, hull = self.scene.near(low[:, :2] - widest, high[:, :2] + widest)
        section, pair = np.nonzero(active[:, hull])
        return self.kept(_Pairs(box[pair], hull[pair], section), low, high, sink)

    def kept(self, pairs: _Pairs, low: Floats, high: Floats, sink: float) -> _Pairs:
        """The pairs whose boxes, (n, 3) corners, still touch with the reach and height of their own section."""
        bounds, reach = self.scene.bounds[pairs.hull], self.reach[pairs.section, pairs.hull]
        lower, upper = low[pairs.move], high[pairs.move]
        keep = lower[:, 2] - sink < self.needed[pairs.section, pairs.hull] if sink < math.inf else reach >= 0
        keep &= (bounds[:, 0] - reach <= upper[:, 0]) & (bounds[:, 2] + reach >= lower[:, 0])
        keep &= (bounds[:, 1] - reach <= upper[:, 1]) & (bounds[:, 3] + reach >= lower[:, 1])
        return _Pairs(*(column[keep] for column in pairs))


def _within(
    scene: Scene, assembly: Assembly, sweeps: Sweeps, pairs: _Pairs, beside: float
) -> tuple[Booleans, Floats, Floats]:
    """Which pairs meet sideways, (p,) bool, and from where to where along the path, as parts of it (0 to 1) each."""
    limit = _reach(scene, assembly, sweeps, pairs, beside)
    within, first, last = np.zeros(len(limit), dtype=np.bool_), np.zeros(len(limit)), np.ones(len(limit))
    is_box = sweeps.box[pairs.move]
    if is_box.any():
        some = np.flatnonzero(is_box)
        move = pairs.move[some]
        apart = box_distance(sweeps.low[move, :2], sweeps.high[move, :2], scene.vertices[pairs.hull[some]])
        within[some] = ~(apart >= limit[some] - EPS)
    if not is_box.all():
        some = np.flatnonzero(~is_box)
        move, hull = pairs.move[some], pairs.hull[some]
        start, end = sweeps.start[move], sweeps.end[move]
        unit, length = path_frame(start[:, :2], end[:, :2])
        vertices, count = scene.vertices[hull], scene.count[hull]
        enter, leave = stretch_within(start[:, :2], unit, length, vertices, count, limit[some] - EPS)
        within[some] = meets = ~(enter > leave)
        divisor = np.where(meets & (length > 0), length, 1.0)
        first[some], last[some] = np.where(meets, enter / divisor, 0.0), np.where(leave >= length, 1.0, leave / divisor)
        sloped = np.flatnonzero(meets & (length > 0) & (start[:, 2] != end[:, 2]))
        if len(sloped):
            # Whether they meet allows for touching; how low they meet is measured to the boundary itself.
            on, way, length = start[sloped, :2], unit[sloped], length[sloped]
            enter, leave = stretch_within(on, way, length, vertices[sloped], count[sloped], limit[some[sloped]])
            first[some[sloped]] = enter / length
            last[some[sloped]] = np.where(leave >= length, 1.0, leave / length)
    return within, first, last


def _exact(
    scene: Scene, assembly: Assembly, sweeps: Sweeps, pairs: _Pairs, beside: float, above: float
) -> Encounters:
    within, first, last = _within(scene, assembly, sweeps, pairs, beside)
    pairs = _Pairs(*(column[within] for column in pairs))
    first, last = first[within], last[within]
    move, hull, section = pairs
    start, end = sweeps.start[move], sweeps.end[move]
    lowest, at = np.minimum(start[:, 2], end[:, 2]), np.empty((len(move), 2))
    is_box = sweeps.box[move]
    if is_box.any():
        middle = scene.vertices[hull[is_box]].mean(axis=1)
        at[is_box] = np.clip(middle, sweeps.low[move[is_box], :2], sweeps.high[move[is_box], :2])
    if not is_box.all():
        line = ~is_box
        start, end, first, last = start[line], end[line], first[line], last[line]
        z_first, z_last = (start[:, 2] + part * (end[:, 2] - start[:, 2]) for part in (first, last))
        z_first, z_last = np.where(first <= 0, start[:, 2], z_first), np.where(last >= 1, end[:, 2], z_last)
        part = np.where(z_first <= z_last, first, last)
        lowest[line] = np.minimum(z_first, z_last)
        at[line] = start[:, :2] + part[:, None] * (end[:, :2] - start[:, :2])
    needed = _needed(scene, assembly, sweeps, pairs, above)
    return Encounters(move, hull, scene.obstacle[hull], section, needed, lowest - sweeps.sink[move], at)
