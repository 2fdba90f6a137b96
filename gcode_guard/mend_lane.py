"""Mending a stretch: what a whole stretch settles at once, and its bad runs, which alone are read block by block."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Protocol

import numpy as np

from .judge import Examined, Hit, Judge, in_the_way
from .program.block import split_ending
from .program.lane import Stretch
from .program.lane_holes import HoleStretch
from .program.moves import Kind, Move, Moves, Step, different
from .repair.edits import Draft
from .repair.run import Leg, Run, Runs
from .rules import reach_box
from .setup.model import Setup
from .totals import Totals

OUTSIDE = 1e-6  # mm, by which a move may be outside the reach through rounding
STYLED_RUNS = 200  # so many runs are looked at for how the program writes, and every one that is mended


class Mending(Protocol):
    """What a stretch needs of the mender."""

    judge: Judge
    setup: Setup
    totals: Totals
    styled: int
    carry: Any

    def cuts(self, columns: Moves, examined: Examined, drafts: dict[int, Draft],
             step_of: Callable[[int], Step]) -> None: ...
    def outside_reach(self, line: int, axis: str, number: float, beyond: float) -> None: ...
    def tell_beside(self, columns: Moves) -> None: ...
    def run(self, run: Run, drafts: dict[int, Draft]) -> None: ...
    def note_style(self, texts: list[tuple[str, str]]) -> None: ...


class StretchMender:
    """Does to one stretch what the mender does to steps. `runs` holds what is open of a run before it, `drafts` takes
    the edits."""

    def __init__(self, mender: Mending, stretch: Stretch, runs: Runs, drafts: dict[int, Draft]) -> None:
        self.mender = mender
        self.stretch = stretch
        self.runs = runs
        self.drafts = drafts
        self.columns = stretch.moves
        self.examined = stretch.examined = mender.judge.examine(self.columns)
        self._steps: dict[int, Step] = {}
        self._hits: dict[int, list[Hit]] | None = None

    def mend(self) -> None:
        """Counts, tells and mends."""
        columns, mender = self.columns, self.mender
        cuts = int(np.count_nonzero(columns.kind))
        mender.totals.counts.blocks += len(self.stretch)
        mender.totals.counts.cuts += cuts
        mender.totals.counts.rapids += len(columns) - cuts
        mender.totals.tools_used.add(self.stretch.before.tool)
        mender.cuts(columns, self.examined, self.drafts, self._step_of)
        self._reach()
        mender.tell_beside(columns)
        if isinstance(self.stretch, HoleStretch):
            self._holes(self.stretch.holes)
        elif len(self.stretch.plain):
            self._runs()

    def _step_of(self, row: int) -> Step:
        return self._step(int(self.stretch.rows[row]))

    def _step(self, number: int) -> Step:
        """A line as a step, always the same one: drafts go by its identity."""
        if number not in self._steps:
            self._steps[number] = self.stretch.step(number)
        return self._steps[number]

    def _reach(self) -> None:
        """Tells which ends lie outside the reach."""
        mender = self.mender
        if mender.setup.machine.reach is None:
            return
        end, box = self.columns.end, np.array(reach_box(mender.setup, self.stretch.before.tool))
        if (end.min(axis=0) >= box[:, 0]).all() and (end.max(axis=0) <= box[:, 1]).all():
            return
        # An axis that stays where the tool already stands is not a move of the program's.
        beyond = np.where(end == self.columns.start, 0.0, np.maximum(box[:, 0] - end, end - box[:, 1]))
        for row, axis in np.argwhere(beyond > OUTSIDE).tolist():
            mender.outside_reach(int(self.columns.line[row]), "XYZ"[axis], float(self.columns.end[row, axis]),
                                 float(beyond[row, axis]))

    # Runs -----------------------------------------------------------------------------------------------------

    def _runs(self) -> None:
        """Mends the bad runs, in order with the first ones, whose writing is looked at.

        A run is known by the number of cuts before it.
        """
        stretch, columns, examined = self.stretch, self.columns, self.examined
        lines = stretch.plain
        run_of = np.searchsorted(stretch.rows[columns.kind != Kind.RAPID], lines)
        rapid = columns.kind == Kind.RAPID
        clips = stretch.rows[np.flatnonzero(examined.clips & rapid)]
        bad = set(run_of[np.searchsorted(lines, clips)].tolist())
        looked_at = different(run_of)[: max(0, STYLED_RUNS - self.mender.styled)]
        for run in sorted(bad.union(looked_at)):
            i, j = np.searchsorted(run_of, (run, run + 1))
            self._run(lines[i:j].tolist(), run in bad)
        self.mender.carry = None

    def _run(self, lines: list[int], bad: bool) -> None:
        mender = self.mender
        if bad:
            mender.run(self._built(lines), self.drafts)
        elif mender.styled < STYLED_RUNS:
            mender.note_style([split_ending(self.stretch.raw(number)) for number in lines])

    def _built(self, lines: list[int]) -> Run:
        """A run of these lines, as the mender plans it."""
        runs = Runs()
        for number in lines:
            step = self._step(number)
            runs.add(step, self._legs(step, number))
        runs.close()
        (run,) = runs.closed
        return run

    def _legs(self, step: Step, number: int) -> list[Leg]:
        """The moves of a line with their verdicts."""
        row = self.stretch.row(number)
        return [self._leg(move, row + place) for place, move in enumerate(step.moves)]

    def _leg(self, move: Move, row: int) -> Leg:
        if self._hits is None:
            self._hits = {}
            for hit in self.examined.clipped:
                self._hits.setdefault(hit.move, []).append(hit)
        return Leg(move, bool(self.examined.clips[row]), bool(self.examined.contact[row]),
                   float(self.examined.needed[row]), *in_the_way(self._hits.get(row, ())))

    # Holes ----------------------------------------------------------------------------------------------------

    def _holes(self, lines: np.ndarray) -> None:
        """Mends the bad runs of a stretch of holes. A run goes on from the way out of a hole to the next one, so that
        with a bad line those beside it are read, and in any case the first and the last."""
        examined, stretch = self.examined, self.stretch
        clips = stretch.rows[examined.clips & (self.columns.kind == Kind.RAPID)]
        bad = np.searchsorted(lines, different(clips))
        wanted = np.zeros(len(lines), dtype=np.bool_)
        wanted[[0, -1]] = True
        for beside in (-1, 0, 1):
            wanted[np.clip(bad + beside, 0, len(lines) - 1)] = True
        last = -1
        for place, number in enumerate(lines.tolist()):
            if not (wanted[place] or self.mender.styled < STYLED_RUNS):
                continue
            if last < place - 1:
                self._begin_behind(int(lines[place - 1]))
            step = self._step(number)
            self.runs.add(step, self._legs(step, number))
            closed, self.runs.closed = self.runs.closed, []
            for run in closed:
                self.mender.run(run, self.drafts)
            last = place

    def _begin_behind(self, number: int) -> None:
        """Opens the run that the way out of a hole begins."""
        runs, step = Runs(), self._step(number)
        runs.add(step, self._legs(step, number))
        self.runs.open = runs.open
