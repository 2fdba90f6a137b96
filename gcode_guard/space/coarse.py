"""Which moves may come near an obstacle at all: told of whole batches through the boxes around them, before anything
is computed for a single move. What is dropped here meets nothing; what is kept may still miss everything."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from .assembly import Assembly
from .clearance import BLOCK, NUMBERS_AT_ONCE
from .scene import Scene

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Booleans = NDArray[np.bool_]


def may_meet(scene: Scene, assembly: Assembly, low: Floats, high: Floats, sideways: float, upward: float) -> Booleans:
    """(n,) bool: False for boxes, (n, 3) corners in mm, infinite where not known, within which the tip meets nothing.

    sideways, upward: mm, clearance and margins, the widest of the batch. Fastest with columns that lie together.
    """
    near = np.zeros(len(low), dtype=np.bool_)
    if not len(scene) or not len(low):
        return near
    least, most = ([float(corner[:, axis].min()) for axis in range(3)] for corner in (low, -high))
    far = [-value for value in most]
    # (s, m): how far beyond its bounds a hull reaches for a section, and how low the tip must be to meet it.
    reach = assembly.radius[:, None] + (scene.tolerance + sideways)
    needed = (scene.top + scene.tolerance + upward) - assembly.from_[:, None]
    x0, y0, x1, y1 = scene.bounds.T
    left, right, front, back = x0 - reach, x1 + reach, y0 - reach, y1 + reach
    active = (needed > least[2]) & (left <= far[0]) & (right >= least[0]) & (front <= far[1]) & (back >= least[1])
    if not active.any():
        return near
    starts = np.arange(0, len(low), BLOCK)
    lows = [np.minimum.reduceat(np.ascontiguousarray(low[:, axis]), starts) for axis in range(3)]
    highs = [np.maximum.reduceat(np.ascontiguousarray(high[:, axis]), starts) for axis in range(2)]
    for section in np.flatnonzero(active.any(axis=1)).tolist():
        hulls = np.flatnonzero(active[section])
        limits = [limit[section, hulls] for limit in (needed, left, right, front, back)]
        for begin in range(0, len(starts), max(1, NUMBERS_AT_ONCE // len(hulls))):
            part = slice(begin, begin + max(1, NUMBERS_AT_ONCE // len(hulls)))
            corners = [column[part, None] for column in (lows[2], highs[0], lows[0], highs[1], lows[1])]
            block, hull = np.nonzero(_touching(corners, limits))
            _mark(near, low, high, block + begin, [limit[hull, None] for limit in limits])
    return near


class Surroundings(NamedTuple):
    """Within which box, mm, each section and hull, (s, m), may meet the tip, and how low it must be; `clear`: from
    where on it meets none."""

    clear: float
    needed: Floats
    left: Floats
    right: Floats
    front: Floats
    back: Floats


def surroundings(scene: Scene, assembly: Assembly, sideways: float, upward: float) -> Surroundings:
    """The boxes for one assembly, with clearance and margins as in `may_meet`."""
    clear = scene.highest + upward - float(assembly.from_[0]) if len(scene) else -math.inf
    reach = assembly.radius[:, None] + (scene.tolerance + sideways)
    needed = (scene.top + scene.tolerance + upward) - assembly.from_[:, None]
    x0, y0, x1, y1 = scene.bounds.T
    return Surroundings(clear, needed, x0 - reach, x1 + reach, y0 - reach, y1 + reach)


def point_may_meet(
    scene: Scene, assembly: Assembly, x: float, y: float, z: float, sideways: float, upward: float
) -> bool:
    """The same of one place of the tip, mm."""
    return place_may_meet(surroundings(scene, assembly, sideways, upward), x, y, z)


def place_may_meet(about: Surroundings, x: float, y: float, z: float) -> bool:
    """The same again, for who asks often."""
    if z >= about.clear:
        return False
    near = (about.left <= x) & (about.right >= x) & (about.front <= y) & (about.back >= y) & (about.needed > z)
    return bool(near.any())


def _touching(corners: list[Floats], limits: list[Floats]) -> Booleans:
    """Whether boxes touch what hulls reach: lowest Z below what is needed, and so on round the four sides."""
    z, x_high, x_low, y_high, y_low = corners
    needed, left, right, front, back = limits
    return (z < needed) & (left <= x_high) & (right >= x_low) & (front <= y_high) & (back >= y_low)


def _mark(near: Booleans, low: Floats, high: Floats, block: Integers, limits: list[Floats]) -> None:
    """Marks the single moves of some blocks that touch, each block held against its own hull."""
    step = max(1, NUMBERS_AT_ONCE // BLOCK)
    for begin in range(0, len(block), step):
        part = slice(begin, begin + step)
        move = np.minimum(block[part, None] * BLOCK + np.arange(BLOCK), len(near) - 1)
        corners = [low[move, 2], high[move, 0], low[move, 0], high[move, 1], low[move, 1]]
        near[move[_touching(corners, [limit[part] for limit in limits])]] = True
