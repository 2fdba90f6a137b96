"""How long rapids take: trapezoid profiles of speed, each axis on its own, the slowest axis counting."""

from __future__ import annotations

from math import sqrt

import numpy as np
from numpy.typing import ArrayLike, NDArray


def rapid_time(ways: ArrayLike, rates: ArrayLike, accelerations: ArrayLike) -> NDArray[np.float64]:
    """(n,) seconds that n rapids take from rest to rest.

    ways: (n, 3) float, mm along each axis. rates: (3,) float, mm a minute. accelerations: (3,) float, mm a second
    squared. An axis speeds up, runs at its rate if it gets there, and slows down: over a way d at rate v and
    acceleration a that takes d/v + v/a where d >= v*v/a, else 2*sqrt(d/a) (uniformly accelerated motion).
    Raises ValueError for rates and accelerations that are not positive.
    """
    way = np.abs(np.asarray(ways)).reshape(-1, 3)
    speed = np.asarray(rates) / 60.0
    acceleration = np.asarray(accelerations)
    if not ((speed > 0).all() and (acceleration > 0).all()):
        raise ValueError("rates and accelerations must be above zero")
    ramp = speed**2 / acceleration
    long = way / speed + speed / acceleration
    short = 2.0 * np.sqrt(way / acceleration)
    times: NDArray[np.float64] = np.where(way >= ramp, long, short).max(axis=1)
    return times


class Profile:
    """The rates (3,), mm a minute, and accelerations (3,), mm a second squared, of a machine's axes, for rapids one by
    one. Raises ValueError for such as are not positive."""

    def __init__(self, rates: ArrayLike, accelerations: ArrayLike) -> None:
        self._axes = np.stack([np.asarray(rates) / 60.0, np.asarray(accelerations)], axis=1).tolist()
        if not all(speed > 0 and acceleration > 0 for speed, acceleration in self._axes):
            raise ValueError("rates and accelerations must be above zero")

    def seconds(self, x: float, y: float, z: float) -> float:
        """What `rapid_time` gives for one rapid by its way along each axis, mm."""
        slowest = 0.0
        for way, (speed, acceleration) in zip((abs(x), abs(y), abs(z)), self._axes, strict=True):
            if way >= speed * speed / acceleration:
                slowest = max(slowest, way / speed + speed / acceleration)
            else:
                slowest = max(slowest, 2.0 * sqrt(way / acceleration))
        return slowest
