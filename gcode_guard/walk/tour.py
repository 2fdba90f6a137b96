"""The shortest round trip over some things with several places each: exactly for a few, by improvement for many."""

from __future__ import annotations

from collections.abc import Sequence
from math import hypot, inf

import numpy as np

EXACT = 11  # places; beyond it the table of the exact method grows too large
ROUNDS = 50

Place = tuple[float, float]


def best_order(start: Place | None, things: Sequence[Sequence[Place]]) -> list[int]:
    """The order of things (places in mm) in which the way from `start` over all places of each and back is shortest.

    A thing is entered at its first place and left, by the shortest way over its other places, for the first place of
    the next. Without a start, the shortest closed way. Exact up to EXACT things (M. Held, R. M. Karp, A dynamic
    programming approach to sequencing problems, 1962), as the ways within a thing are; beyond, a nearest-neighbour
    tour improved by turning stretches round (G. A. Croes, 1958) and by moving single things until neither helps.
    """
    if len(things) < 2:
        return list(range(len(things)))
    firsts = [thing[0] for thing in things]
    ways = [_leaving(thing, [*firsts, *([start] if start is not None else [])]) for thing in things]
    far = np.array(ways)
    if start is None:
        return [0, *_ordered(far)]
    leaving = [hypot(x - start[0], y - start[1]) for x, y in firsts]
    whole = np.zeros((len(things) + 1, len(things) + 1))
    whole[1:, 1:], whole[1:, 0], whole[0, 1:] = far[:, :-1], far[:, -1], leaving
    return [k - 1 for k in _ordered(whole)]


def round_trip(start: Place | None, places: Sequence[Place]) -> list[int]:
    """The same for single places."""
    return best_order(start, [[place] for place in places])


def within(places: Sequence[Place], following: Place) -> list[int]:
    """The order of the places of one thing, the first one first, in which the way over them and on is shortest."""
    if len(places) > EXACT:
        return _nearest_first(places)
    paths = _paths(places)
    last = min(paths, key=lambda k: paths[k][0] + _far(places[k], following))
    return paths[last][1]


def _leaving(places: Sequence[Place], followings: Sequence[Place]) -> list[float]:
    """How long the way over the places of one thing and on to each of some others is."""
    if len(places) > EXACT:
        order = _nearest_first(places)
        own = sum(_far(places[a], places[b]) for a, b in zip(order, order[1:], strict=False))
        return [own + _far(places[order[-1]], other) for other in followings]
    paths = _paths(places)
    return [min(length + _far(places[k], other) for k, (length, _) in paths.items()) for other in followings]


def _paths(places: Sequence[Place]) -> dict[int, tuple[float, list[int]]]:
    """The shortest ways over all places from the first one, by the place at which they end."""
    if len(places) == 1:
        return {0: (0.0, [0])}
    far = np.hypot(*(np.array(places)[:, None] - np.array(places)[None]).transpose(2, 0, 1))
    best = _table(far)
    everything = (1 << len(places)) - 2
    return {k: (best[everything, k][0], [0, *_back(best, everything, k)]) for k in range(1, len(places))}


def _nearest_first(places: Sequence[Place]) -> list[int]:
    order, left = [0], set(range(1, len(places)))
    while left:
        order.append(min(left, key=lambda k: (_far(places[order[-1]], places[k]), k)))
        left.remove(order[-1])
    return order


def _far(one: Place, other: Place) -> float:
    return hypot(one[0] - other[0], one[1] - other[1])


def _ordered(far: np.ndarray) -> list[int]:
    """The best order of all but 0, from 0 and back; far[i, j] is the way from i to j."""
    return _exact(far) if len(far) <= EXACT + 1 else _improved(far)


Best = dict[tuple[int, int], tuple[float, int]]


def _table(far: np.ndarray) -> Best:
    """The shortest way from 0 over each subset to each of its ends, and the place before it."""
    count = len(far)
    ways = far.tolist()
    best: Best = {(1 << k, k): (ways[0][k], 0) for k in range(1, count)}
    for subset in range(2, 1 << count, 2):
        members = [k for k in range(1, count) if subset & 1 << k]
        for last in members if len(members) > 1 else ():
            rest = subset ^ 1 << last
            best[subset, last] = min((best[rest, k][0] + ways[k][last], k) for k in members if k != last)
    return best


def _back(best: Best, subset: int, last: int) -> list[int]:
    order = []
    while subset:
        order.append(last)
        subset, last = subset ^ 1 << last, best[subset, last][1]
    return order[::-1]


def _exact(far: np.ndarray) -> list[int]:
    best, everything = _table(far), (1 << len(far)) - 2
    last = min(range(1, len(far)), key=lambda k: best[everything, k][0] + float(far[k, 0]))
    return _back(best, everything, last)


def _improved(far: np.ndarray) -> list[int]:
    """Turning a stretch round is judged by the mean of both directions; what is kept is the best that was met."""
    tour, left = [0], set(range(1, len(far)))
    while left:
        tour.append(min(left, key=lambda k: (far[tour[-1], k], k)))
        left.remove(tour[-1])
    mean = (far + far.T) / 2
    for _ in range(ROUNDS):
        if not (_turn(tour, mean) or _move(tour, mean)):
            break
    kept, length = list(tour), inf
    while _around(tour, far) < length - 1e-9:
        kept, length = list(tour), _around(tour, far)
        _move(tour, far)
    at = kept.index(0)
    return [*kept[at + 1 :], *kept[:at]]


def _around(tour: Sequence[int], far: np.ndarray) -> float:
    return float(sum(far[a, b] for a, b in zip(tour, [*tour[1:], tour[0]], strict=True)))


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
