"""Arcs and helices as chords that stay within a sagitta of the true curve."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

# First and second axis of each plane, seen from the positive side of the third, and the third: RS274/NGC, NISTIR 6556,
# section 3.5.3 (G17 is XY; G18 is XZ seen from +Y, where Z turns towards X; G19 is YZ).
AXES = {17: (0, 1, 2), 18: (2, 0, 1), 19: (1, 2, 0)}

# An arc whose ends are nearer to each other than this (mm) is a full turn: a tenth of the finest digit in use.
FULL_TURN = 1e-6


def flatten(
    start: ArrayLike, end: ArrayLike, centre: ArrayLike, plane: ArrayLike, clockwise: ArrayLike, sagitta: float = 0.01
) -> tuple[Integers, Floats, Floats]:
    """Chords of n arcs: owner (m,) int, ascending; start, end (m, 3) float, mm.

    start, end, centre: (n, 3) float, mm; the centre's coordinate across the plane does not count.
    plane: (n,) 17, 18, 19. clockwise: (n,) bool, seen from the positive side of the third axis.
    An arc that ends where it starts, in its plane, is a full turn; along the third axis it climbs evenly (a helix).
    Where the radii at its two ends differ, the radius changes evenly.

    At the same part of its way, each point of the curve is within `sagitta` of its chord, and off it only in the arc's
    plane: the error of linear interpolation over a step h is at most h*h/8 times the greatest second derivative.
    Raises ValueError for NaN, infinity, a centre at an end of its arc, or another plane.
    """
    if not 0 < sagitta < np.inf:
        raise ValueError("the sagitta must be positive")
    order, begin, finish, hub = _in_their_planes(start, end, centre, plane)
    radius, last_radius, angle, sweep = _turns(begin, finish, hub, clockwise)
    turning = np.abs(sweep)
    # Second derivative by angle of a spiral: the radius, and twice the change of radius.
    bend = np.maximum(radius, last_radius) + 2 * np.abs(last_radius - radius) / turning
    chords = np.maximum(1, np.ceil(turning * np.sqrt(bend / (8 * sagitta)) * (1 + 1e-9))).astype(np.int64)

    owner = np.repeat(np.arange(len(begin)), chords)
    number = np.arange(len(owner)) - np.repeat(np.cumsum(chords) - chords, chords)
    part = (number + 1) / chords[owner]
    direction = angle[owner] + part * sweep[owner]
    away = radius[owner] + part * (last_radius - radius)[owner]
    ends = np.empty((len(owner), 3))
    ends[:, 0] = hub[owner, 0] + away * np.cos(direction)
    ends[:, 1] = hub[owner, 1] + away * np.sin(direction)
    ends[:, 2] = begin[owner, 2] + part * (finish - begin)[owner, 2]
    closing = number + 1 == chords[owner]
    ends[closing] = finish
    starts = np.empty_like(ends)
    starts[1:] = ends[:-1]
    starts[number == 0] = begin
    back = np.argsort(order, axis=1)[owner]
    return owner, np.take_along_axis(starts, back, axis=1), np.take_along_axis(ends, back, axis=1)


def farthest(
    start: ArrayLike, end: ArrayLike, centre: ArrayLike, plane: ArrayLike, clockwise: ArrayLike
) -> tuple[Floats, Floats]:
    """The lowest and the highest coordinate (n, 3) float, mm, that n arcs come to behind their start.

    Arguments and errors as for `flatten`. Beside at its end, an arc is farthest where it crosses a line through its
    centre along an axis of its plane.
    """
    order, begin, finish, hub = _in_their_planes(start, end, centre, plane)
    radius, last_radius, angle, sweep = _turns(begin, finish, hub, clockwise)
    low, high = finish.copy(), finish.copy()
    for quarter in range(-6, 7):  # an angle of half a turn at most, and a turn of one more at most
        direction = quarter * np.pi / 2
        part = (direction - angle) / sweep
        crossed = (part > 0) & (part < 1)
        away = radius + part * (last_radius - radius)
        for axis, turned in ((0, np.cos(direction)), (1, np.sin(direction))):
            place = np.where(crossed, hub[:, axis] + away * turned, finish[:, axis])
            low[:, axis], high[:, axis] = np.minimum(low[:, axis], place), np.maximum(high[:, axis], place)
    back = np.argsort(order, axis=1)
    return np.take_along_axis(low, back, axis=1), np.take_along_axis(high, back, axis=1)


def _in_their_planes(
    start: ArrayLike, end: ArrayLike, centre: ArrayLike, plane: ArrayLike
) -> tuple[Integers, Floats, Floats, Floats]:
    """The order of the axes (n, 3) by the planes of arcs, and start, end and centre in it."""
    start, end, centre = (np.asarray(a, dtype=np.float64) for a in (start, end, centre))
    plane = np.asarray(plane)
    if not np.isin(plane, list(AXES)).all():
        raise ValueError("an arc lies in plane 17, 18 or 19")
    order = np.array([AXES[int(p)] for p in plane], dtype=np.int64).reshape(-1, 3)
    begin, finish, hub = (np.take_along_axis(a, order, axis=1) for a in (start, end, centre))
    if not (np.isfinite(begin).all() and np.isfinite(finish).all() and np.isfinite(hub[:, :2]).all()):
        raise ValueError("an arc needs finite ends and a finite centre")
    return order, begin, finish, hub


def _turns(
    begin: Floats, finish: Floats, hub: Floats, clockwise: ArrayLike
) -> tuple[Floats, Floats, Floats, Floats]:
    """The radii (n,) at the start and at the end, the angle at the start, and by how much each arc turns."""
    spoke, final = begin[:, :2] - hub[:, :2], finish[:, :2] - hub[:, :2]
    radius, last_radius = np.hypot(*spoke.T), np.hypot(*final.T)
    if not (radius.min(initial=1.0) > 0 and last_radius.min(initial=1.0) > 0):
        raise ValueError("the centre of an arc cannot be at one of its ends")
    angle = np.arctan2(spoke[:, 1], spoke[:, 0])
    sweep = _sweep(angle, np.arctan2(final[:, 1], final[:, 0]), begin, finish,
                   np.asarray(clockwise, dtype=np.bool_))
    return radius, last_radius, angle, sweep


def _sweep(angle: Floats, last_angle: Floats, begin: Floats, finish: Floats, clockwise: NDArray[np.bool_]) -> Floats:
    """Signed angle (n,) from start to end: negative clockwise, never 0, never beyond a full turn."""
    sign = np.where(clockwise, -1.0, 1.0)
    turning = np.mod(sign * (last_angle - angle), 2 * np.pi)
    gap = np.hypot(finish[:, 0] - begin[:, 0], finish[:, 1] - begin[:, 1])
    return sign * np.where((gap < FULL_TURN) | (turning == 0.0), 2 * np.pi, turning)
