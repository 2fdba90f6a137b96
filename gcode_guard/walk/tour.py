"""The shortest round trip over some places: exactly for a few, by improvement for many."""

from __future__ import annotations

from collections.abc import Sequence
from math import hypot

import numpy as np

EXACT = 11  # places; beyond it the table of the exact method grows too large
ROUNDS = 50

Place = tuple[float, float]


def round_trip(start: Place | None, places: Sequence[Place]) -> list[int]:
    """The order of `places` (mm) in which the way from `start` over all of them and back is shortest.

    Without a start, the shortest closed way over the places alone. Exact up to EXACT places (M. Held, R. M. Karp,
    A dynamic programming approach to sequencing problems, 1962); beyond, a nearest-neighbour tour improved by turning
    stretches round (G. A. Croes, 1958) and by moving single places until neither helps.
    """
    if len(places) < 2:
        return list(range(len(places)))
    points = np.array([start if start is not None else places[0], *places[0 if start is not None else 1 :]])
    far = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1))
    order = _exact(far) if len(points) <= EXACT + 1 else _improved(far)
    return [k - 1 for k in order if k] if start is not None else [0, *(k for k in order if k)]


def _exact(far: np.ndarray) -> list[int]:
    """The best order of all places but 0, from 0 and back."""
    count = len(far)
    best: dict[tuple[int, int], tuple[float, int]] = {(1 << k, k): (float(far[0, k]), 0) for k in range(1, count)}
    everything = (1 << count) - 2
    for subset in range(2, everything + 1, 2):
        for last in range(1, count):
            if not subset & 1 << last or subset == 1 << last:
                continue
            rest = subset ^ 1 << last
            best[subset, last] = min((best[rest, k][0] + float(far[k, last]), k)
                                     for k in range(1, count) if rest & 1 << k)
    last = min(range(1, count), key=lambda k: best[everything, k][0] + float(far[k, 0]))
    order, subset = [], everything
    while subset:
        order.append(last)
        subset, last = subset ^ 1 << last, best[subset, last][1]
    return order[::-1]


def _improved(far: np.ndarray) -> list[int]:
    tour, left = [0], set(range(1, len(far)))
    while left:
        tour.append(min(left, key=lambda k: (far[tour[-1], k], k)))
        left.remove(tour[-1])
    for _ in range(ROUNDS):
        if not (_turn(tour, far) or _move(tour, far)):
            break
    return tour[1:]


def _turn(tour: list[int], far: np.ndarray) -> bool:
    """Turns a stretch of the tour round wherever that makes it shorter."""
    better = False
    count = len(tour)
    for i in range(count - 1):
        ahead = np.array([*tour[i + 1 :], tour[0]])
        here, first, lasts, nexts = tour[i], tour[i + 1], ahead[:-1], ahead[1:]
        gain = far[here, first] + far[lasts, nexts] - far[here, lasts] - far[first, nexts]
        k = int(gain.argmax())
        if gain[k] > 1e-9:
            tour[i + 1 : i + 2 + k] = tour[i + 1 : i + 2 + k][::-1]
            better = True
    return better


def _move(tour: list[int], far: np.ndarray) -> bool:
    """Moves single places to where they cost least."""
    better = False
    for place in tour[1:]:
        at = tour.index(place)
        before, after = tour[at - 1], tour[(at + 1) % len(tour)]
        saved = far[before, place] + far[place, after] - far[before, after]
        rest = tour[:at] + tour[at + 1 :]
        ends = np.array([*rest, rest[0]])
        cost = far[ends[:-1], place] + far[place, ends[1:]] - far[ends[:-1], ends[1:]]
        k = int(cost.argmin())
        if saved - cost[k] > 1e-9:
            tour[:] = rest[: k + 1] + [place] + rest[k + 1 :]
            better = True
    return better


def trip_length(start: Place | None, places: Sequence[Place]) -> float:
    """How long the way over the places, in this order, and back is, mm."""
    points = [*([start] if start is not None else []), *places]
    return sum(hypot(b[0] - a[0], b[1] - a[1]) for a, b in zip(points, [*points[1:], *points[:1]], strict=True))
