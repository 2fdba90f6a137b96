"""Where two programs stand between two cuts, and how low each goes there: places, and ways that part and meet."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, inf, isfinite

from .events import Event
from .program.state import Coordinate, Position, Span, bounds, known
from .sameness import EQUAL, Place, same, same_place


@dataclass(slots=True)
class Vertex:
    """A place in XY at which both programs stand, and how low each has been there, mm.

    `known_low` is the lowest height known of BEFORE: the exemption of promise 1 counts from it. `clip` is AFTER's
    lowest rapid here that comes too near: (how high, line, what).
    """

    place: Place
    before_low: float = inf
    known_low: float = inf
    after_low: float = inf
    after_line: int = 0
    clip: tuple[float, int, str] | None = None

    def was(self, height: Coordinate) -> None:
        low, high = bounds(height)
        self.before_low = min(self.before_low, low)
        if isfinite(high):
            self.known_low = min(self.known_low, high)

    def now(self, height: Coordinate, line: int) -> None:
        low = bounds(height)[0]
        if low < self.after_low or not self.after_line:
            self.after_low, self.after_line = low, line

    def comes_close(self, event: Event) -> None:
        low = judged_low(event)
        if event.clip and (self.clip is None or low < self.clip[0]):
            self.clip = low, event.line, event.clip


def judged_low(event: Event) -> float:
    """How low an upright rapid goes, judged at its end where it starts at a height that is not known."""
    assert event.move is not None
    end = bounds(event.end[2])[0]
    return min(end, bounds(event.start[2])[0]) if event.move.exact else end


def meeting(place: Place, before: list[Event], after: list[Event]) -> tuple[int, int] | None:
    """How many rapids of each lead to the first place where both stand; None where they do not meet.

    Where both go on, a way out and back again of one of them alone is none: the other may take it by another way.
    """
    ours = [place, *(event.leads_to for event in before)]
    theirs = [place, *(event.leads_to for event in after)]
    for least in (1, 0):
        for total in range(1, len(before) + len(after) + 1):
            for i in range(max(least, total - len(after)), min(total - least, len(before)) + 1):
                if same_place(ours[i], theirs[total - i]):
                    return i, total - i
    return None


def last_position(vertex: Vertex, events: list[Event]) -> Position:
    return events[-1].end if events else _at(vertex)


def _at(vertex: Vertex) -> Position:
    return vertex.place[0], vertex.place[1], Span(vertex.before_low, vertex.before_low)


class Floors:
    """How low BEFORE goes along some rapids, for a way of AFTER that differs from them."""

    def __init__(self, vertex: Vertex, rapids: list[Event]) -> None:
        self._vertex = vertex
        self._rapids = rapids
        heights = [bounds(p[2])[0] for event in rapids for p in (event.start, event.end)]
        self._lowest = min(heights, default=vertex.before_low)
        self.last = last_position(vertex, rapids)

    def at(self, position: Position) -> float:
        """The lowest that AFTER may be at a position: BEFORE's lowest there, or on the whole where it never is."""
        lows = [low for event in self._rapids for low in _heights_at(event, position)]
        if same_place((position[0], position[1]), self._vertex.place):
            lows.append(self._vertex.before_low)
        return min(lows, default=self._lowest)

    def known_at(self, place: Place) -> float:
        """The lowest height that is known of BEFORE at a place; inf where it never is."""
        highs = [bounds(p[2])[1] for event in self._rapids for p in (event.start, event.end)
                 if same_place((p[0], p[1]), place)]
        if same_place(place, self._vertex.place):
            highs.append(self._vertex.known_low)
        return min((high for high in highs if isfinite(high)), default=inf)


def _heights_at(event: Event, position: Position) -> list[float]:
    """How low a rapid of BEFORE is at a place: at its ends, or along its straight way across."""
    lows = [bounds(p[2])[0] for p in (event.start, event.end) if same(p[0], position[0]) and same(p[1], position[1])]
    numbers = [*event.start, *event.end, position[0], position[1]]
    if lows or not all(known(c) for c in numbers):
        return lows
    x0, y0, z0, x1, y1, z1, x, y = (float(c) for c in numbers)  # type: ignore[arg-type]
    way = hypot(x1 - x0, y1 - y0)
    if way <= EQUAL:
        return lows
    share = ((x - x0) * (x1 - x0) + (y - y0) * (y1 - y0)) / way**2
    beside = hypot(x0 + share * (x1 - x0) - x, y0 + share * (y1 - y0) - y)
    return [z0 + share * (z1 - z0)] if 0 <= share <= 1 and beside <= EQUAL else lows
