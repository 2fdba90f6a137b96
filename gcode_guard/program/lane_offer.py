"""What comes in a program, offered to whoever knows it already: the same bytes in the same state do the same."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from decimal import Decimal
from math import inf
from typing import Protocol

import numpy as np

from .interpreter import Interpreter
from .lane import Stretch
from .lane_holes import next_stretch
from .lane_words import Batch
from .scan import Facts
from .state import State

SMALLEST = 1 << 16  # bytes: smaller stretches are not remembered, so that memory does not grow with what lies between
NEAR = 4096  # bytes that are compared first, since a difference is mostly near


class Source(Protocol):
    """Where the bytes come from."""

    def piece(self, place: int, size: int) -> bytes:
        """So many bytes from the byte `place` on, or what there is."""


class Offer:
    """What comes in a program, from the byte `place` and the line `first` (from 1) on, in the state `state`.

    Who knows what some of its lines do takes them: they are then not read at all. `taken` are their number.
    """

    def __init__(self, source: Source, place: int, batch: Batch, number: int, first: int,
                 interpreter: Interpreter) -> None:
        self.place = place
        self.first = first
        self.state = interpreter.state
        self.taken = 0
        self.after = self.state
        self.behind = place
        self._source = source
        self._batch = batch
        self._number = number
        self._interpreter = interpreter

    def piece(self, size: int) -> bytes:
        """So many of its bytes, or what there is."""
        begin = self._batch.offset(self._number)
        if begin + size <= len(self._batch.data):
            return self._batch.data[begin : begin + size]
        return self._source.piece(self.place, size)

    def same(self, data: bytes, begin: int, end: int) -> int:
        """Up to which place the bytes `begin` to `end` of `data` are those that come here, as far as is at hand."""
        ours, at = self._batch.data, self._batch.offset(self._number) - begin
        end = min(end, len(ours) - at)
        size = NEAR
        while begin < end:
            stop = min(end, begin + size)
            if ours[begin + at : stop + at] != data[begin:stop]:
                a, b = (np.frombuffer(x, dtype=np.uint8) for x in (ours[begin + at : stop + at], data[begin:stop]))
                return begin + int(np.argmax(a != b))
            begin, size = stop, size * 4
        return end

    def take(self, lines: int, size: int, after: State) -> None:
        """Passes over some lines of so many bytes, which leave the state `after`."""
        self.taken, self.behind, self.after = lines, self.place + size, after

    def stretch(self) -> Stretch | None:
        """The stretch that begins here; None where there is none."""
        batch, number = self._batch, self._number
        return next_stretch(batch, number, batch.ordinary_to(number), self.first, self._interpreter)

    def has(self, stretch: Stretch) -> bool:
        """Whether a stretch is of the lines that are at hand."""
        return stretch.batch is self._batch

    def line_at(self, place: float) -> float:
        """The line of the program that begins at the byte `place`, as far as is at hand."""
        at = place - self.place + self._batch.offset(self._number)
        if at > len(self._batch.data):
            return inf
        return self.first + int(self._batch.ends.searchsorted(at, side="right")) - self._number

    def take_lines(self, lines: int, after: State) -> None:
        """Passes over some lines of what is at hand, which leave the state `after`."""
        batch, number = self._batch, self._number
        self.take(lines, batch.offset(number + lines) - batch.offset(number), after)

    def take_stretch(self) -> None:
        """Passes over what is certain, whatever it does."""
        stretch = self.stretch()
        if stretch is not None:
            self.take_lines(len(stretch), stretch.after)


@dataclass(slots=True, frozen=True)
class _Passage:
    """What is known of a stretch: its bytes and lines, the states before and after it, how low it is where it ends."""

    size: int
    lines: int
    before: State
    after: State
    low: Decimal


class Known:
    """The stretches of a program that were read and judged, and nothing wrong found in them; its `facts`."""

    def __init__(self, facts: Facts | None = None) -> None:
        self.facts = facts
        self._places: list[int] = []
        self._passages: list[_Passage | None] = []

    def add(self, stretch: Stretch, wrong: bool) -> None:
        """Takes the next stretch. One that is wrong somewhere is remembered as a place, a small one not at all."""
        if stretch.size < SMALLEST:
            return
        self._places.append(stretch.at)
        passage = None if wrong else _Passage(stretch.size, len(stretch), stretch.before, stretch.after,
                                                   stretch.low)
        self._passages.append(passage)

    def next_place(self, place: int) -> float:
        """Where the next stretch begins behind a place."""
        after = bisect_right(self._places, place)
        return self._places[after] if after < len(self._places) else float("inf")

    def begins(self, place: int) -> bool:
        """Whether a stretch is known that begins at a place."""
        return self._at(place) is not None

    def _at(self, place: int) -> _Passage | None:
        at = bisect_right(self._places, place) - 1
        return self._passages[at] if at >= 0 and self._places[at] == place else None

    def pass_over(self, was: Offer, now: Offer) -> tuple[State, Decimal] | None:
        """Passes over a stretch that the known program offers (`was`) where the other has the same bytes in the same
        state; gives the state after it and how low it is at its last place, None where the other has not."""
        found = self._at(was.place)
        if found is None or was.state != found.before or now.state != found.before:
            return None
        if was.piece(found.size) != now.piece(found.size):
            return None
        for offer in (was, now):
            offer.take(found.lines, found.size, found.after)
        return found.after, found.low
