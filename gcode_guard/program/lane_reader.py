"""A program as steps and stretches: the columnar reader where it is certain, the exact reader everywhere else."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Protocol

from .interpreter import Interpreter
from .lane import Stretch, place_of, stretch_of
from .lane_words import Batch
from .moves import Kind, Step
from .reader import alone
from .scan import Facts
from .state import Rules

SHORTEST = 24  # lines: shorter stretches are read as fast one by one


class Source(Protocol):
    """Where the bytes come from."""

    def batch(self, place: int) -> tuple[bytes, int]:
        """Some whole lines from the byte `place` on, and the place behind them; nothing at the end."""


class LaneReader:
    """Iterates over a program without calls of subprograms as steps and stretches, in order.

    After the iteration `interpreter` holds the state that the program leaves and what was assumed.
    """

    def __init__(self, source: Source, rules: Rules, facts: Facts) -> None:
        assert not facts.calls
        self.interpreter = Interpreter(rules)
        self._source = source
        self._line = 0  # lines read so far
        self._closed = False  # whether no run of rapids is open
        self._uncertain = 0  # the line up to which no stretch is tried

    def __iter__(self) -> Iterator[Step | Stretch]:
        place = 0
        while True:
            data, behind = self._source.batch(place)
            if not data:
                return
            batch = Batch(data, not self.interpreter.rules.least_increment)
            number = 0
            while number < len(batch):
                stretch = self._stretch(batch, number)
                if stretch is None:
                    number += 1
                    yield self.execute(batch.raw(number - 1))
                    continue
                yield stretch
                number += len(stretch)
                if number < len(batch) == batch.ordinary_to(number):
                    behind = place + batch.offset(number)  # what is left may go on as a stretch in the next batch
                    break
            place = behind

    def execute(self, raw: bytes) -> Step:
        """The next line, by the exact reader."""
        self._line += 1
        step = alone(self.interpreter.execute(self._line, raw), self.interpreter)
        if step.moves:
            self._closed = step.moves[-1].kind != Kind.RAPID
        elif step.after.motion == "G0":
            self._closed = False  # it may lead nowhere, and begin a run all the same
        return step

    def _stretch(self, batch: Batch, number: int) -> Stretch | None:
        """The stretch that begins at a line of a batch, and the state moved behind it; None where there is none."""
        if not self._closed or self._line < self._uncertain or self.interpreter.closed_at is not None:
            return None
        place = place_of(self.interpreter.state)
        if place is None:
            return None
        end = batch.ordinary_to(number)
        if end - number < SHORTEST:
            self._uncertain = self._line + end - number
            return None
        stretch = stretch_of(batch, number, end, self._line + 1, self.interpreter, place)
        if stretch is None or len(stretch) < SHORTEST:
            self._uncertain = self._line + SHORTEST
            return None
        self._line += len(stretch)
        self.interpreter.state = stretch.after
        self.interpreter.begun = True
        return stretch
