"""Mending a stretch: what a whole stretch settles at once, and its bad runs, which alone are read block by block."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import cached_property
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from .headroom import Headroom
from .judge import Examined, Hit, Judge, in_the_way
from .program.block import split_ending
from .program.lane import Stretch
from .program.lane_holes import HoleStretch
from .program.moves import Integers, Kind, Move, Moves, Step, different, table
from .program.state import known
from .reach import beyond
from .repair.edits import Draft, Edit
from .repair.run import Leg, Run, Runs, is_plain
from .repair.surgery import STOPS
from .repair.write import STYLED_RUNS, Style
from .rules import reach_box
from .setup.model import Setup
from .totals import Totals

if TYPE_CHECKING:
    from .lift_lane import Lifts


class Mending(Protocol):
    """What a stretch needs of the mender."""

    judge: Judge
    setup: Setup
    totals: Totals
    headroom: Headroom
    style: Style
    styled: int
    first_run: bool
    carry: Any

    def cuts(self, columns: Moves, examined: Examined, drafts: dict[int, Draft],
             step_of: Callable[[int], Step]) -> None: ...
    def outside_reach(self, line: int, axis: str, number: float, beyond: float) -> None: ...
    def tell_beside(self, columns: Moves) -> None: ...
    def tell_close(self, line: int, obstacles: Iterable[int], depths: Iterable[float]) -> None: ...
    def run(self, run: Run, drafts: dict[int, Draft]) -> None: ...
    def note_style(self, texts: list[tuple[str, str]]) -> None: ...


class StretchMender:
    """Does to one stretch what the mender does to steps. `runs` holds what is open of a run before it; `drafts` takes
    the edits of what is planned block by block, `edits` the others."""

    def __init__(self, mender: Mending, stretch: Stretch, runs: Runs, drafts: dict[int, Draft]) -> None:
        self.mender = mender
        self.stretch = stretch
        self.runs = runs
        self.drafts = drafts
        self.columns = stretch.moves
        self.examined = stretch.examined = mender.judge.examine(self.columns)
        self.edits: dict[int, Edit] = {}
        self._steps: dict[int, Step] = {}

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
        """Tells which moves leave the reach."""
        mender = self.mender
        if mender.setup.machine.reach is None:
            return
        for row, axis, number, _, by in beyond(self.columns, reach_box(mender.setup, self.stretch.before.tool)):
            mender.outside_reach(int(self.columns.line[row]), "XYZ"[axis], number, by)

    # Runs -----------------------------------------------------------------------------------------------------

    def _runs(self) -> None:
        """Mends the bad runs, in order with the first ones, whose writing is looked at.

        A run is known by the number of cuts before it, blocks at feed that lead nowhere among them.
        """
        stretch, columns, examined = self.stretch, self.columns, self.examined
        lines = stretch.plain
        rapid = columns.kind == Kind.RAPID
        run_of = np.searchsorted(stretch.fed, lines)
        clips = stretch.rows[np.flatnonzero(examined.clips & rapid)]
        bad = different(run_of[np.searchsorted(lines, clips)])
        begins, ends = (np.searchsorted(run_of, bad, side=side) for side in ("left", "right"))
        lifts = self._lifts(lines, (begins, ends)) if bad else None
        looked_at = different(run_of)[: max(0, STYLED_RUNS - self.mender.styled)]
        places = {run: place for place, run in enumerate(bad)}
        for run in sorted({*bad, *looked_at}):
            place = places.get(run)
            if lifts is None or place is None:
                self._look_at(lines[np.searchsorted(run_of, run) : np.searchsorted(run_of, run, side="right")].tolist())
            elif lifts.fits[place]:
                lifts.take(place)
            else:
                self.mender.run(self._built(lines[begins[place] : ends[place]].tolist()), self.drafts)
        if lifts is not None:
            self.edits = lifts.edits()
        self.mender.carry = None

    def _lifts(self, lines: Integers, spans: tuple[Integers, Integers]) -> Lifts:
        from .lift_lane import Lifts  # most programs need none of it

        return Lifts(self.mender, self.stretch, self.examined, self._hits, lines, spans)

    def _look_at(self, lines: list[int]) -> None:
        """Looks at how a run is written, as far as that is wanted still."""
        if self.mender.styled < STYLED_RUNS:
            self.mender.note_style([split_ending(self.stretch.raw(number)) for number in lines])

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
        stand(step)
        if step.moves and step.moves[0].shadow:  # it leads nowhere, and has no row
            found = self.mender.judge.examine(table(step.moves))
            return [_leg(step.moves[0], found, 0, found.clipped)]
        row = self.stretch.row(number)
        return [_leg(move, self.examined, row + place, self._hits.get(row + place, ()))
                for place, move in enumerate(step.moves)]

    @cached_property
    def _hits(self) -> dict[int, list[Hit]]:
        """The encounters of each row."""
        hits: dict[int, list[Hit]] = {}
        for hit in self.examined.clipped:
            hits.setdefault(hit.move, []).append(hit)
        return hits

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


def _leg(move: Move, examined: Examined, row: int, hits: Iterable[Hit]) -> Leg:
    """A move with the verdict of its row."""
    return Leg(move, bool(examined.clips[row]), bool(examined.contact[row]), float(examined.needed[row]),
               *in_the_way(hits))


def stand(step: Step) -> None:
    """Gives a G0 that leads nowhere a way of no length, so that the place where it leaves the tool is judged too: a
    lift that passes over that place must not come down there."""
    if step.moves or not is_plain(step) or not all(known(c) for c in step.after.position):
        return
    here = step.after.position
    step.moves.append(Move(step.block.line, Kind.RAPID, here, here, step.after.tool, None, step.after.corner,
                           grow=step.after.grow, shadow=True, upright=True))
    for effect in step.effects:
        if effect.what in STOPS:
            effect.after_move = 1
