"""How long rapids take: trapezoid profiles of speed, each axis on its own, the slowest axis counting."""

from __future__ import annotations

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
