"""A program as steps and stretches: the columnar reader where it is certain, the exact reader everywhere else."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Protocol

import numpy as np

from .interpreter import Interpreter
from .lane import MOTIONS, Stretch
from .lane_holes import may_be_holes, next_stretch
from .lane_offer import Offer
from .lane_words import Batch
from .moves import Kind, Step
from .reader import alone
from .scan import Facts
from .state import Rules, State

FREED = 4 << 20  # bytes
SHORTEST = 6  # lines: shorter stretches are read as fast one by one


class Source(Protocol):
    """Where the bytes come from."""

    def batch(self, place: int) -> tuple[bytes, int]:
        """Some whole lines from the byte `place` on, and the place behind them; nothing at the end."""

    def piece(self, place: int, size: int) -> bytes:
        """So many bytes from the byte `place` on, or what there is."""


class Tape:
    """The lines of a source, one after the other: `number` is the next one in `batch`."""

    def __init__(self, source: Source, pointless: bool) -> None:
        self.source = source
        self._pointless = pointless
        # Once a block of this size was given back, the allocator keeps smaller ones instead of asking the system for
        # fresh pages each time: measured to be a fifth of the whole (docs/speed.md).
        np.empty(FREED, dtype=np.uint8)
        self._load(0)

    def _load(self, place: int) -> None:
        self._begin = place
        data, self._behind = self.source.batch(place)
        self.batch = Batch(data, self._pointless)
        self.number = 0

    @property
    def place(self) -> int:
        """The byte at which the next line begins."""
        return self._begin + self.batch.offset(self.number)

    @property
    def ended(self) -> bool:
        if self.number and self.number == len(self.batch):
            self._load(self._behind)
        return not self.batch.data

    def line(self) -> bytes:
        """The next line."""
        self.number += 1
        return self.batch.raw(self.number - 1)

    def skip(self, lines: int) -> None:
        """Goes on behind some lines of this batch."""
        self.number += lines

    def seek(self, place: int) -> None:
        """Goes on at the line that begins at a byte."""
        at = place - self._begin
        if 0 <= at < len(self.batch.data):
            self.number = int(np.searchsorted(self.batch.ends, at, side="right"))
        else:
            self._load(place)

    def begin_here(self) -> None:
        """Makes the next line the first of its batch, to have as much as possible of what comes in one."""
        if self.number:
            self._load(self.place)


class LaneReader:
    """Iterates over a program without calls of subprograms as steps and stretches, in order.

    Without `stretches` every line comes as a step, but what somebody takes that `with_offers` offers. After the
    iteration `interpreter` holds the state that the program leaves and what was assumed.
    """

    def __init__(self, source: Source, rules: Rules, facts: Facts, *, stretches: bool = True) -> None:
        assert not facts.calls  # those are read as a whole, by Reader
        self.interpreter = Interpreter(rules)
        self._source = source
        self._stretches = stretches
        self._line = 0  # lines read so far
        self._closed = False  # whether no run of rapids is open
        self._drilling = False  # whether the last block that moved drilled holes
        self._uncertain = 0  # the line up to which no stretch is tried

    def __iter__(self) -> Iterator[Step | Stretch]:
        for item in self.with_offers():
            if not isinstance(item, Offer):
                yield item

    def with_offers(self) -> Iterator[Step | Stretch | Offer]:
        """The same, and wherever a stretch could begin first an offer of what comes, to whoever may know it."""
        tape = Tape(self._source, not self.interpreter.rules.least_increment)
        while not tape.ended:
            if self._at_rest:
                if tape.number and tape.number > len(tape.batch) * 3 // 4:
                    tape.begin_here()
                offer = Offer(tape.source, tape.place, tape.batch, tape.number, self._line + 1, self.interpreter)
                yield offer
                if offer.taken:
                    self._pass(offer.taken, offer.after)
                    tape.seek(offer.behind)
                    continue
            stretch = self._stretch(tape) if self._stretches else None
            if stretch is None:
                yield self._execute(tape.line())
                continue
            yield stretch
            self._pass(stretch.used, stretch.state_before(stretch.used))
            tape.skip(stretch.used)
            if tape.number < len(tape.batch) == tape.batch.ordinary_to(tape.number):
                tape.begin_here()  # what is left may go on as a stretch with what comes

    def _execute(self, raw: bytes) -> Step:
        """The next line, by the exact reader."""
        self._line += 1
        step = alone(self.interpreter.execute(self._line, raw), self.interpreter)
        if step.moves:
            self._closed = step.moves[-1].kind != Kind.RAPID
            self._drilling = bool(step.places)
        elif step.after.motion == "G0":
            self._closed = False  # it may lead nowhere, and begin a run all the same
        return step

    @property
    def _at_rest(self) -> bool:
        """Whether a stretch may begin: no run is open, or only the way out of a hole, and blocks may follow."""
        state = self.interpreter.state
        begins = self._closed if state.motion in MOTIONS else self._drilling and may_be_holes(state)
        return begins and self.interpreter.closed_at is None

    def _pass(self, lines: int, after: State) -> None:
        """Goes on behind some lines that leave this state."""
        self._line += lines
        self.interpreter.state = after
        self.interpreter.begun = True

    def _stretch(self, tape: Tape) -> Stretch | None:
        """The stretch that begins at the next line; None where there is none."""
        if not self._at_rest or self._line < self._uncertain:
            return None
        end = tape.batch.ordinary_to(tape.number)
        if end - tape.number < SHORTEST:
            self._uncertain = self._line + end - tape.number
            return None
        stretch = next_stretch(tape.batch, tape.number, end, self._line + 1, self.interpreter)
        if stretch is None or len(stretch) < SHORTEST:
            self._uncertain = self._line + SHORTEST
            return None
        stretch.at = tape.place
        return stretch
