"""The time that a mended program adds: both programs' rapids, line by line, from trapezoid profiles.

What a line adds that was not itself changed (a plunge that now starts higher) counts to the changed line before it, so
that the changes together add up to the whole.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from .program.moves import Kind, Move, Step
from .program.state import Span
from .setup.model import Setup
from .space.times import rapid_time


@dataclass(slots=True)
class Times:
    """Seconds of all rapids as programmed, and what each changed line adds (by its line number)."""

    rapids: float = 0.0
    added: dict[int, float] = field(default_factory=dict)

    @property
    def whole(self) -> float:
        return sum(self.added.values())


def times_of(before: Iterable[Step], after: Iterable[Step] | None, changed: Sequence[tuple[int, int]],
             setup: Setup) -> Times | None:
    """The times of a program and its mended form; None where the setup gives no rates and accelerations.

    `changed` are the changed lines in order, each with how many lines it became. Ways of which an end is not known
    count for the axes that are known.
    """
    rates, accelerations = setup.machine.rapid_rate, setup.machine.acceleration
    if rates is None or accelerations is None:
        return None
    times = Times()
    lines = [line for line, _ in changed]
    for step in before:
        took = _time(step.moves, rates, accelerations)
        times.rapids += took
        _add(times, lines, step.block.line, -took)
    if after is None or not changed:
        times.added.clear()
        return times
    starts = _first_lines(changed)
    for step in after:
        _add(times, lines, _line_before(step.block.line, changed, starts),
             _time(step.moves, rates, accelerations))
    return times


def _time(moves: list[Move], rates: Sequence[float], accelerations: Sequence[float]) -> float:
    ways = [[_way(move, axis) for axis in range(3)] for move in moves if move.kind == Kind.RAPID and not move.shadow
            and move.part != "home-all"]
    return float(rapid_time(np.array(ways), rates, accelerations).sum()) if ways else 0.0


def _way(move: Move, axis: int) -> float:
    start, end = move.start[axis], move.end[axis]
    return 0.0 if isinstance(start, Span) or isinstance(end, Span) else float(end - start)


def _add(times: Times, lines: list[int], line: int, seconds: float) -> None:
    """Counts seconds to the changed line at or before `line`; before the first changed line nothing differs."""
    place = bisect_right(lines, line) - 1
    if place >= 0:
        times.added[lines[place]] = times.added.get(lines[place], 0.0) + seconds


def _first_lines(changed: Sequence[tuple[int, int]]) -> list[int]:
    """For each changed line the number of its first line in the mended program."""
    starts, more = [], 0
    for line, became in changed:
        starts.append(line + more)
        more += became - 1
    return starts


def _line_before(line: int, changed: Sequence[tuple[int, int]], starts: list[int]) -> int:
    """The line of the program that a line of the mended one comes from."""
    place = bisect_right(starts, line) - 1
    if place < 0:
        return line
    first, (old, became) = starts[place], changed[place]
    return old if line < first + became else old + (line - first - became) + 1
