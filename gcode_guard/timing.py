"""The time that a mended program adds: both programs' rapids, line by line, from trapezoid profiles.

What a line adds that was not itself changed (a plunge that now starts higher) counts to the changed line before it, so
that the changes together add up to the whole.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from .program.lane import Stretch
from .program.moves import Floats, Integers, Kind, Move, Step
from .program.state import Span
from .setup.model import Setup
from .space.times import rapid_time


@dataclass(slots=True)
class Times:
    """Seconds of all rapids as programmed, and what each changed line adds, (k,) in their order."""

    rapids: float
    added: Floats

    @property
    def whole(self) -> float:
        return sum(self.added.tolist())


def times_of(before: Iterable[Step | Stretch], after: Iterable[Step | Stretch] | None, lines: Integers,
             became: Integers, setup: Setup) -> Times | None:
    """The times of a program and its mended form; None where the setup gives no rates and accelerations.

    `lines` (k,) are the changed lines in order, `became` (k,) how many lines each became. Ways of which an end is not
    known count for the axes that are known.
    """
    rates, accelerations = setup.machine.rapid_rate, setup.machine.acceleration
    if rates is None or accelerations is None:
        return None
    times = Times(0.0, np.zeros(len(lines)))
    for item in before:
        line, took = _took(item, rates, accelerations)
        times.rapids = float(np.cumsum(np.append(times.rapids, took))[-1])  # one after the other, as steps do
        _add(times.added, np.searchsorted(lines, line, side="right") - 1, -took)
    if after is None or not len(lines):
        return times
    starts = lines + np.cumsum(became - 1) - (became - 1)  # in the mended program
    for item in after:
        line, took = _took(item, rates, accelerations)
        # A line counts to the changed line that it comes from or, with what it adds, to the one before it.
        _add(times.added, np.searchsorted(starts, line, side="right") - 1, took)
    return times


def _took(item: Step | Stretch, rates: Sequence[float], accelerations: Sequence[float]) -> tuple[Integers, Floats]:
    """The lines (k,) that move rapidly, and the seconds (k,) that each takes."""
    if isinstance(item, Stretch):
        line, ways = item.rapid_ways()
        times = rapid_time(ways.reshape(-1, 3), rates, accelerations).reshape(ways.shape[:2])
        return line, times.sum(axis=1)
    own = [[_way(move, axis) for axis in range(3)] for move in item.moves if move.kind == Kind.RAPID and not move.shadow
           and move.part != "home-all"]
    took = [float(rapid_time(np.array(own), rates, accelerations).sum())] if own else []
    return np.full(len(took), item.block.line, dtype=np.int64), np.array(took)


def _way(move: Move, axis: int) -> float:
    start, end = move.start[axis], move.end[axis]
    return 0.0 if isinstance(start, Span) or isinstance(end, Span) else float(end - start)


def _add(added: Floats, places: Integers, seconds: Floats) -> None:
    """Counts seconds to changed lines by their places; before the first changed line (-1) nothing differs."""
    kept = places >= 0
    np.add.at(added, places[kept], seconds[kept])
