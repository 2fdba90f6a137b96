"""Programs as ways: what limits an obstacle, by how it limits it, a batch at a time.

A cut must not touch an obstacle, nor may a run of rapids end in one: what they leave is the hard height. A rapid must
not even have to be lifted: what it leaves is the easy height. An upright rapid at a known place may come inside a
clearance, so that only its contact counts, as the guard decides.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, field, replace
from math import isfinite

import numpy as np

from ..judge import Judge
from ..mend import stand
from ..program.lane import Stretch
from ..program.lane_reader import LaneReader
from ..program.moves import Floats, Integers, Kind, Move, Moves, Step, table
from ..program.reader import Reader
from ..program.scan import look_through
from ..program.state import ANYWHERE, NO_TOOL, known
from ..record.findings import Finding
from ..repair.air import is_air_feed
from ..repair.run import Leg, Runs
from ..rules import ceiling, rules_of, trouble_with_tools
from ..source import Source
from ..space.assembly import Assembly
from ..space.clearance import Sweeps

BATCH = 4000  # moves
MOST_REASONS = 10_000

Progress = Callable[[int], None]
Watched = Callable[[Source], AbstractContextManager[Progress | None]]


@dataclass(slots=True)
class Ways:
    """Some moves of one program, and which of them count how: rows of `moves`, (k,) int each.

    touching: must not touch an obstacle (hard). clearing: must keep clear of it, or they are lifted (easy). passing:
    must not touch it, or they are lifted (easy). anywhere: must keep clear of it, and no lift helps (hard).
    """

    program: int
    moves: Moves
    touching: Integers
    clearing: Integers
    passing: Integers
    anywhere: Integers


@dataclass(slots=True)
class Question:
    """What one assembly sweeps in some ways, and how near an obstacle may come to it.

    hard: which of the two heights it limits. owner (n,) int: the row of the ways' moves of each sweep. `number`: the
    tool; None for a shoe that stays with the gantry. `beside` and `above`: mm, without margins.
    """

    hard: bool
    number: int | None
    assembly: Assembly
    owner: Integers
    sweeps: Sweeps
    beside: float
    above: float


@dataclass(slots=True)
class Programs:
    """The programs that are asked about, all under one judge. After `ways` is through, `reasons` says what in which
    program is not understood: (name, finding)."""

    judge: Judge
    sources: list[Source]
    tool: int | None = None
    reasons: list[tuple[str, Finding]] = field(default_factory=list)

    def ways(self, watched: Watched | None = None) -> Iterator[Ways]:
        """All ways of all programs. Raises OSError where one cannot be read, SourceChanged where one changes
        meanwhile."""
        self.reasons.clear()
        for number, source in enumerate(self.sources):
            with watched(source) if watched is not None else nullcontext() as progress:
                try:
                    yield from _Reading(self, number, source).ways(progress)
                except Exception:
                    source.check_unchanged()  # two halves of two programs may be anything
                    raise
                source.check_unchanged()

    def refuse(self, source: Source, line: int, what: str, advice: str) -> None:
        if len(self.reasons) < MOST_REASONS:
            self.reasons.append((source.name, Finding(line, "not-understood", what, advice=advice)))


class _Reading:
    """One program on its way through."""

    def __init__(self, programs: Programs, number: int, source: Source) -> None:
        self.programs, self.number, self.source = programs, number, source
        self.judge = programs.judge
        self.setup = programs.judge.setup
        self.runs = Runs()
        self.begun = False
        self.moves: list[Move] = []
        self.special: dict[str, list[int]] = {"anywhere": [], "air": []}

    def ways(self, progress: Progress | None) -> Iterator[Ways]:
        for step in self._steps():
            if isinstance(step, Stretch):
                yield from self._flush()
                yield self._sorted(step.moves, {})
                self.begun = True
            else:
                self._take(step)
                if len(self.moves) >= BATCH:
                    yield from self._flush()
            if progress is not None:
                progress(step.last if isinstance(step, Stretch) else step.block.line)
        self.runs.close()
        self._ends()
        yield from self._flush()

    def _steps(self) -> Iterator[Step | Stretch]:
        facts = look_through(self.source, self.setup.program.block_delete == "skip")
        problem = trouble_with_tools(self.setup, facts, self.programs.tool)
        if problem is not None:
            self.programs.refuse(self.source, *problem)
        rules = rules_of(self.setup, facts, self.programs.tool)
        if facts.calls or self.setup.repair.air_feeds:
            return iter(Reader(self.source.lines(), rules, facts))
        return iter(LaneReader(self.source, rules, facts))

    def _take(self, step: Step) -> None:
        stand(step)
        for refusal in step.refusals:
            self.programs.refuse(self.source, refusal.line, refusal.what, refusal.advice)
        if step.moves and self.setup.repair.air_feeds and self._is_air(step):
            move = step.moves[0]  # it may be lifted between its ends
            self.moves += [replace(move, start=place, end=place, upright=True) for place in (move.start, move.end)]
            self.special["air"].append(len(self.moves))
        self.moves += step.moves
        for effect in step.effects:
            if self.setup.machine.own_motion.get(effect.what) == "any":
                nowhere = (ANYWHERE, ANYWHERE, effect.position[2])
                self.special["anywhere"].append(len(self.moves))
                self.moves.append(Move(step.block.line, Kind.RAPID, nowhere, nowhere, effect.tool, None,
                                       step.before.corner))
        self.runs.add(step, [Leg(move) for move in step.moves])
        self._ends()

    def _is_air(self, step: Step) -> bool:
        stock = self.setup.stock
        return stock is not None and is_air_feed(step, stock.top + self.setup.clearance.above)

    def _ends(self) -> None:
        """The places at which runs end, and at which the program starts, as cuts of no length."""
        closed, self.runs.closed = self.runs.closed, []
        for run in closed:
            places = [(run.end, run.items[-1].legs[-1:])]
            if not self.begun:
                self.begun = True
                places.append((run.start or run.end, run.items[0].legs[:1]))
            for place, legs in places:
                if legs and all(known(c) for c in place):
                    self.moves.append(replace(legs[0].move, kind=Kind.CUT, start=place, end=place, upright=True))

    def _flush(self) -> Iterator[Ways]:
        if self.moves:
            moves, self.moves = self.moves, []
            special, self.special = self.special, {"anywhere": [], "air": []}
            yield self._sorted(table(moves), special)

    def _sorted(self, moves: Moves, special: dict[str, list[int]]) -> Ways:
        rapid = moves.kind == Kind.RAPID
        usable = moves.tool != NO_TOOL
        anywhere, air = np.zeros(len(moves), dtype=bool), np.zeros(len(moves), dtype=bool)
        anywhere[special.get("anywhere", [])] = True
        air[special.get("air", [])] = True
        placed = np.isfinite(moves.start[:, :2]).all(axis=1)
        upright = rapid & moves.upright & placed & ~anywhere
        cut = ~rapid & moves.exact
        return Ways(self.number, moves, np.flatnonzero(usable & cut & ~air),
                    np.flatnonzero(usable & rapid & ~upright & ~anywhere),
                    np.flatnonzero(usable & (upright | (cut & air))), np.flatnonzero(usable & anywhere))


def without_cuts(ways: Ways) -> Ways:
    """The ways as something sees them that cuts may run into: the ends of runs must not touch it, nor may an upright
    rapid, for no lift helps one that comes up out of it."""
    start, end = ways.moves.start[ways.touching], ways.moves.end[ways.touching]
    ends = ways.touching[(start == end).all(axis=1) & ways.moves.upright[ways.touching]]
    return replace(ways, touching=np.concatenate([ends, ways.passing]))


def questions(judge: Judge, ways: Ways) -> Iterator[Question]:
    """What the ways ask of an obstacle, by tool and by rule."""
    moves, beside, above = ways.moves, judge.beside, judge.above
    kinds = [(True, ways.touching, 0.0, 0.0, False), (False, ways.clearing, beside, above, True),
             (False, ways.passing, 0.0, 0.0, False), (True, ways.anywhere, beside, above, True)]
    for hard, rows, sideways, upward, corner in kinds:
        tools = moves.tool[rows]
        for tool in np.unique(tools).tolist():
            mine = rows[tools == tool]
            owner, sweeps = judge.sweeps(moves, mine, corner=corner)
            for number in judge.tools(tool):
                yield Question(hard, number, judge.assemblies[number], mine[owner], sweeps, sideways, upward)
    shoe = judge.gantry_shoe
    if shoe is None or shoe.soft:
        return
    alone = Assembly(np.zeros(1), np.array([shoe.diameter / 2]), ["shoe"])
    for _, rows, sideways, upward, corner in kinds:  # it stays at its height whatever a rapid does: no lift helps
        if len(rows):
            owner, sweeps = judge.sweeps(moves, rows, corner=corner, at=shoe.rides_at)
            yield Question(True, None, alone, rows[owner], sweeps, sideways, upward)


def lifted(judge: Judge, ways: Ways) -> Iterator[Question]:
    """What the rapids would ask if they were lifted as high as the machine goes; nothing where it has no ceiling."""
    tools = ways.moves.tool[ways.clearing]
    for tool in np.unique(tools).tolist():
        mine = ways.clearing[tools == tool]
        for number in judge.tools(tool):
            highest = ceiling(judge.setup, number)
            if isfinite(highest):
                owner, sweeps = judge.sweeps(ways.moves, mine, corner=True, at=highest)
                yield Question(True, number, judge.assemblies[number], mine[owner], sweeps, judge.beside, judge.above)


def xy_bounds(ways: Ways) -> Floats:
    """(2, 2) float, mm: lowest and highest known X and Y of some moves; inf and -inf where there is none."""
    low, high = np.full(2, np.inf), np.full(2, -np.inf)
    for ends in (ways.moves.start, ways.moves.end):
        for axis in range(2):
            column = ends[:, axis]
            column = column[np.isfinite(column)]
            if len(column):
                low[axis], high[axis] = min(low[axis], column.min()), max(high[axis], column.max())
    return np.array([low, high])
