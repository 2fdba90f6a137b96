"""How low the tip comes, cell by cell: the ways of a program stamped into a fine raster, and spread by a radius.

Everything errs to the low side: a cell takes the lowest height of every piece of a way that touches it, a piece is
never longer than a cell, and what is spread counts from the edges of cells that lie nearest to each other.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, sqrt

import numpy as np
from numpy.typing import NDArray

from ..space.clearance import Sweeps

PIECES = 200_000  # of segments that are stamped at once

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Layout:
    """A map of cells and the finer raster under it, all in mm.

    first: which multiples of the step the lowest corner of the map has. step: side of a cell; columns, rows: of cells.
    finer: raster cells along a cell. rim: raster cells round the map, a multiple of `finer`.
    """

    first: tuple[int, int]
    step: float
    columns: int
    rows: int
    finer: int
    rim: int

    @property
    def pitch(self) -> float:
        return self.step / self.finer

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the raster."""
        return self.rows * self.finer + 2 * self.rim, self.columns * self.finer + 2 * self.rim

    @property
    def corner(self) -> Floats:
        """(2,) float: the lowest corner of the raster."""
        return np.array(self.first) * self.step - self.rim * self.pitch

    @property
    def widest_spread(self) -> float:
        """The widest radius that the rim has room for."""
        return self.rim * self.pitch


def stamp(lows: Floats, layout: Layout, sweeps: Sweeps) -> None:
    """Lowers the raster `lows` to the tip's heights in some sweeps."""
    low, high = sweeps.low[:, :2], sweeps.high[:, :2]
    far = layout.corner + np.array(layout.shape[::-1]) * layout.pitch
    inside = ((low <= far) & (high >= layout.corner)).all(axis=1)
    inside &= sweeps.low[:, 2] < np.inf
    if not inside.any():
        return
    lines, boxes = np.flatnonzero(inside & ~sweeps.box), np.flatnonzero(inside & sweeps.box)
    if len(boxes):
        height = sweeps.low[boxes, 2] - sweeps.sink[boxes]
        small = (high[boxes] - low[boxes] < 0.99 * layout.pitch).all(axis=1)
        _small(lows, layout, low[boxes[small]], high[boxes[small]], height[small])
        _boxes(lows, layout, low[boxes[~small]], high[boxes[~small]], height[~small])
    if len(lines):
        _lines(lows, layout, sweeps, lines)


def _lines(lows: Floats, layout: Layout, sweeps: Sweeps, rows: NDArray[np.int64]) -> None:
    start, end = sweeps.start[rows], sweeps.end[rows]
    longest = np.abs(end - start)[:, :2].max(axis=1)
    pieces = np.maximum(1, np.ceil(longest / (0.99 * layout.pitch))).astype(np.int64)
    upto = np.cumsum(pieces)
    first = 0
    while first < len(rows):
        done = int(upto[first - 1]) if first else 0
        last = max(first + 1, int(np.searchsorted(upto, done + PIECES, side="right")))
        some = slice(first, last)
        _pieces(lows, layout, start[some], end[some], sweeps.sink[rows[some]], pieces[some])
        first = last


def _pieces(lows: Floats, layout: Layout, start: Floats, end: Floats, sink: Floats, pieces: NDArray[np.int64]) -> None:
    """Stamps segments in so many pieces each."""
    owner = np.repeat(np.arange(len(start)), pieces)
    number = np.arange(len(owner)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    way, share = (end - start)[owner], 1.0 / pieces[owner]
    begin = start[owner] + way * (number * share)[:, None]
    finish = start[owner] + way * ((number + 1) * share)[:, None]
    height = np.minimum(begin[:, 2], finish[:, 2]) - sink[owner] - 1e-10
    _small(lows, layout, np.minimum(begin, finish)[:, :2], np.maximum(begin, finish)[:, :2], height)


def _small(lows: Floats, layout: Layout, low: Floats, high: Floats, height: Floats) -> None:
    """Stamps boxes that are no larger than a cell: each touches at most two columns and two rows."""
    left, front = ((low - layout.corner - 1e-9) / layout.pitch).T
    right, back = ((high - layout.corner + 1e-9) / layout.pitch).T
    rows, columns = layout.shape
    for x in (np.floor(left), np.floor(right)):
        for y in (np.floor(front), np.floor(back)):
            inside = (x >= 0) & (x < columns) & (y >= 0) & (y < rows)
            cell = (y[inside] * columns + x[inside]).astype(np.int64)
            np.minimum.at(lows.reshape(-1), cell, height[inside])


def _boxes(lows: Floats, layout: Layout, low: Floats, high: Floats, height: Floats) -> None:
    if not len(low):
        return
    rows, columns = layout.shape
    far = np.array([columns, rows])
    first = np.clip(np.floor((low - layout.corner - 1e-9) / layout.pitch), 0, far - 1).astype(np.int64)
    last = np.clip(np.floor((high - layout.corner + 1e-9) / layout.pitch), 0, far - 1).astype(np.int64) + 1
    whole = np.unique(np.column_stack((first, last)), axis=0, return_inverse=True)
    lowest = np.full(len(whole[0]), np.inf)
    np.minimum.at(lowest, whole[1].reshape(-1), height)
    for (x0, y0, x1, y1), bottom in zip(whole[0].tolist(), lowest, strict=True):
        part = lows[y0:y1, x0:x1]
        np.minimum(part, bottom, out=part)


def spread(lows: Floats, layout: Layout, radius: float) -> Floats:
    """(rows, columns) of the map: the lowest height in every raster cell that is nearer to a cell than `radius`, mm.

    A window of any width is covered by two overlapping ones of a power of two, so that each row costs two looks.
    """
    result = np.full((layout.rows, layout.columns), np.inf)
    if radius <= 0:
        return result
    assert radius <= layout.widest_spread
    windows = sorted(_windows(layout, radius))
    table, level = lows, 0
    for width, offset in windows:
        while 2 ** (level + 1) <= width:
            reach = 2**level
            table = np.minimum(table[:, :-reach], table[:, reach:])
            level += 1
        left = layout.rim - (width - layout.finer) // 2
        lines = table[layout.rim + offset :: layout.finer][: layout.rows]
        for begin in {left, left + width - 2**level}:
            np.minimum(result, lines[:, begin :: layout.finer][:, : layout.columns], out=result)
    return result


def _windows(layout: Layout, radius: float) -> list[tuple[int, int]]:
    """(width, row) in raster cells of what is nearer to a cell of the map than `radius`; rows count from its lowest."""
    windows = []
    farthest = ceil(radius / layout.pitch)
    for offset in range(-farthest, farthest + layout.finer):
        gap = max(0, -offset - 1, offset - layout.finer) * layout.pitch
        if gap < radius:
            beside = ceil(sqrt(radius**2 - gap**2) / layout.pitch)
            windows.append((layout.finer + 2 * beside, offset))
    return windows
