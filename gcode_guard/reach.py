"""How far moves lead out of the reach of the machine: at their ends, and arcs on their way too."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from .judge import round_arcs, turned
from .program.moves import Kind, Moves
from .rules import Box
from .space.arcs import farthest

Floats = NDArray[np.float64]

OUTSIDE = 1e-6  # mm, by which a move may be outside the reach through rounding


class Beyond(NamedTuple):
    """A move that leaves the reach: its row, the axis, how far that goes, the limit, and how far it is past it, mm."""

    row: int
    axis: int
    number: float
    limit: float
    by: float


def beyond(moves: Moves, box: Box) -> list[Beyond]:
    """Each axis of each move of a table that goes out of a box, by rows; the place where it is farthest out.

    Coordinates that are not known count as inside, and so does an axis that stays where the tool already stands.
    """
    low, high = np.array(box)[:, 0], np.array(box)[:, 1]
    least, most = moves.end, moves.end
    bent = _wide_arcs(moves, low, high)
    if len(bent):
        least, most = least.copy(), most.copy()
        least[bent], most[bent] = farthest(moves.start[bent], turned(moves, bent), moves.centre[bent],
                                           moves.plane[bent], moves.kind[bent] == Kind.ARC_CW)
    elif len(moves) and (least.min(axis=0) >= low).all() and (most.max(axis=0) <= high).all():
        return []
    under, over = low - least, most - high
    by = np.maximum(under, over)
    with np.errstate(invalid="ignore"):
        by[(least == moves.start) & (most == moves.start)] = 0.0
        found = np.argwhere(by > OUTSIDE).tolist()
    return [Beyond(row, axis, float((least if under[row, axis] > over[row, axis] else most)[row, axis]),
                   float((low if under[row, axis] > over[row, axis] else high)[axis]), float(by[row, axis]))
            for row, axis in found]


def _wide_arcs(moves: Moves, low: Floats, high: Floats) -> NDArray[np.intp]:
    """The rows of arcs whose whole circle does not lie within a box; none whose place is not known."""
    arcs = np.flatnonzero((moves.kind == Kind.ARC_CW) | (moves.kind == Kind.ARC_CCW))
    if not len(arcs) or _all_within(moves, arcs, low, high):
        return arcs[:0]
    least, most = round_arcs(moves, arcs)
    ends = np.concatenate((moves.start[arcs], moves.end[arcs]), axis=1)
    return arcs[((least[arcs] < low) | (most[arcs] > high)).any(axis=1) & np.isfinite(ends).all(axis=1)]


def _all_within(moves: Moves, arcs: NDArray[np.intp], low: Floats, high: Floats) -> bool:
    """Whether circles as wide as the widest of some arcs, round all of their centres, lie within a box: a first look
    that costs little. The sum of the ways along the axes is no less than a radius."""
    middle = moves.centre[arcs]
    widest = max(float(np.abs(ends[arcs] - middle).sum(axis=1).max()) for ends in (moves.start, moves.end)) + OUTSIDE
    return bool((middle.min(axis=0) - widest >= low).all() and (middle.max(axis=0) + widest <= high).all())
