"""Reads a program once more for its picture: every move for the backdrop, the moves of some lines to the letter."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

import numpy as np

from ..judge import Judge
from ..program.lane import Stretch
from ..program.lane_reader import LaneReader
from ..program.moves import Integers, Kind, Move, Moves, Step, table
from ..program.reader import Reader
from ..program.scan import look
from ..program.state import Position, known
from ..record.page_model import Place, Point, ToolChange
from ..rules import rules_of
from ..source import Source
from ..space.arcs import flatten
from .restart import RestartFinder
from .thin import LONGEST_CHAIN, Thinner

BATCH = 4000  # steps
CUT_PIECES, RAPID_PIECES = 25_000, 4_000  # straight pieces that the backdrop may have: less than 1 MB of page
MOST_MOVES = 40  # of one line, which subprograms and repeats may run many times
MOST_HITS = 2_000  # cuts that are marked as running into an obstacle
MOST_CHANGES = 200
SAGITTA = 0.02  # mm, of the chords that stand for an arc


@dataclass(slots=True)
class Reading:
    """What one reading of a program gave.

    `moves`: those of the lines that were asked for, in order, at most MOST_MOVES a line; `runs`: likewise the rapids
    from that line on until something else than a rapid happens; `texts`: the lines asked for and those round them;
    `hits`: the paths of cuts that run into an obstacle, by obstacle; `left`: how many moves are not drawn because it
    is not known where they run.
    """

    cuts: Thinner
    rapids: Thinner
    moves: dict[int, list[Move]] = field(default_factory=dict)
    runs: dict[int, list[Move]] = field(default_factory=dict)
    texts: dict[int, bytes] = field(default_factory=dict)
    tools: set[int] = field(default_factory=set)
    tool_changes: list[ToolChange] = field(default_factory=list)
    hits: dict[int, list[list[Point]]] = field(default_factory=dict)
    lines: int = 0
    left: int = 0
    _open: list[int] = field(default_factory=list)

    @property
    def keeps_on(self) -> bool:
        """Whether the rapids that come next are wanted too."""
        return bool(self._open)

    def keep(self, step: Step, wanted: bool) -> None:
        """Keeps what is asked for of a step."""
        if step.effects:
            self._open.clear()
        line = step.block.line
        if wanted:
            kept = self.moves.setdefault(line, [])
            kept += [move for move in step.moves if not move.shadow][: MOST_MOVES - len(kept)]
            self.runs.setdefault(line, [])
            if line not in self._open:
                self._open.append(line)
        if not self._open:
            return
        for move in step.moves:
            if move.kind != Kind.RAPID:
                self._open.clear()
                break
            for begun in self._open:
                if not move.shadow and len(self.runs[begun]) < MOST_MOVES:
                    self.runs[begun].append(move)


def read(source: Source, judge: Judge, tool: int | None, lines: set[int], *, coarsest: float,
         mark_hits: bool = False, restarts: RestartFinder | None = None) -> Reading:
    """Reads a program.

    `lines`: those whose moves are kept, and whose text is, with two lines round them. `coarsest`: mm, how far the
    backdrop may be off at most. `mark_hits`: look for the cuts that make contact. `restarts` is shown every step.
    """
    setup = judge.setup
    facts = look(source.lines(), setup.program.block_delete == "skip")
    rules = rules_of(setup, facts, tool)
    reader: Iterable[Step | Stretch] = Reader(source.lines(), rules, facts) if facts.calls else \
        LaneReader(source, rules, facts)
    reading = Reading(Thinner(CUT_PIECES, coarsest), Thinner(RAPID_PIECES, coarsest))
    wanted = sorted(lines)
    near = sorted({line + k for line in lines for k in (-2, -1, 0, 1, 2)})
    batch: list[Move] = []
    for item in reader:
        if isinstance(item, Stretch) or len(batch) >= BATCH:
            _draw(table(batch), reading, judge, mark_hits)
            batch = []
        if isinstance(item, Stretch):
            _keep_some(item, reading, wanted, near)
            _draw(item.moves, reading, judge, mark_hits)
            if restarts is not None:
                restarts.see_cuts()
            continue
        line = item.block.line
        reading.lines = max(reading.lines, line)
        if _within(near, line, line):
            reading.texts[line] = item.block.raw
        reading.keep(item, line in lines)
        if restarts is not None:
            restarts.see(item)
        _note_tools(item, reading)
        batch += (move for move in item.moves if not move.shadow)
    _draw(table(batch), reading, judge, mark_hits)
    return reading


def _within(ordered: list[int], first: int, last: int) -> list[int]:
    """The numbers from `first` to `last` among some that are in order."""
    return ordered[bisect_left(ordered, first) : bisect_right(ordered, last)]


def _keep_some(stretch: Stretch, reading: Reading, wanted: list[int], near: list[int]) -> None:
    """Keeps what is asked for of a stretch of lines that was read as columns."""
    first = stretch.first
    reading.lines = max(reading.lines, stretch.last)
    for line in _within(near, first, stretch.last):
        reading.texts[line] = stretch.raw(line - first)
    lines, behind = set(_within(wanted, first, stretch.last)), first
    for line in sorted(lines):
        for at in range(max(line, behind), stretch.last + 1):
            behind = at + 1
            reading.keep(stretch.step(at - first), at in lines)
            if not reading.keeps_on:
                break


def _note_tools(step: Step, reading: Reading) -> None:
    for effect in step.effects:
        if effect.what == "M6" and len(reading.tool_changes) < MOST_CHANGES:
            reading.tool_changes.append(ToolChange(effect.line, step.after.tool))


def _draw(moves: Moves, reading: Reading, judge: Judge, mark_hits: bool) -> None:
    """Adds moves to the backdrop."""
    if not len(moves):
        return
    reading.tools.update(np.unique(moves.tool).tolist())
    placed = np.isfinite(moves.start[:, :2]).all(axis=1) & np.isfinite(moves.end[:, :2]).all(axis=1)
    reading.left += int((~placed).sum())
    for thinner, kinds in ((reading.rapids, moves.kind == Kind.RAPID), (reading.cuts, moves.kind != Kind.RAPID)):
        for points, count in _chains(moves, np.flatnonzero(placed & kinds)):
            thinner.add(points, count)
    if mark_hits:
        _mark(moves, reading, judge)


def _mark(moves: Moves, reading: Reading, judge: Judge) -> None:
    """Keeps the paths of the cuts that run into an obstacle."""
    for hit in judge.examine(moves).touched:
        found = reading.hits.setdefault(hit.obstacle, [])
        if moves.kind[hit.move] != Kind.RAPID and len(found) < MOST_HITS:
            found += [points for points, _ in _chains(moves, np.array([hit.move]))]


def _chains(moves: Moves, rows: Integers) -> Iterator[tuple[list[Point], int]]:
    """Some moves seen from above, as polylines of those that hang together, and how many moves each is made of."""
    if not len(rows):
        return
    owner, start, end = rows, moves.start[rows, :2], moves.end[rows, :2]
    arcs = rows[((moves.kind[rows] == Kind.ARC_CW) | (moves.kind[rows] == Kind.ARC_CCW)) & moves.exact[rows]]
    if len(arcs):
        part, first, last = flatten(moves.start[arcs], moves.end[arcs], moves.centre[arcs], moves.plane[arcs],
                                    moves.kind[arcs] == Kind.ARC_CW, SAGITTA)
        lines = ~np.isin(rows, arcs)
        owner = np.concatenate([rows[lines], arcs[part]])
        order = np.argsort(owner, kind="stable")
        owner = owner[order]
        start = np.concatenate([start[lines], first[:, :2]])[order]
        end = np.concatenate([end[lines], last[:, :2]])[order]
    fresh = np.ones(len(owner), dtype=bool)
    fresh[1:] = owner[1:] != owner[:-1]
    breaks = np.flatnonzero((start[1:] != end[:-1]).any(axis=1)) + 1
    for begin, stop in zip([0, *breaks.tolist()], [*breaks.tolist(), len(owner)], strict=True):
        for at in range(begin, stop, LONGEST_CHAIN):
            to = min(stop, at + LONGEST_CHAIN)
            points = [(float(start[at, 0]), float(start[at, 1])), *map(tuple, end[at:to].tolist())]
            yield points, int(fresh[at:to].sum())


def straight(move: Move) -> list[Point] | None:
    """The two ends of a move seen from above; None where one is not known."""
    (x0, y0, _), (x1, y1, _) = place_of(move.start), place_of(move.end)
    if x0 is None or y0 is None or x1 is None or y1 is None:
        return None
    return [(x0, y0), (x1, y1)]


def path(move: Move) -> list[Point]:
    """A move seen from above, an arc in chords; empty where its place is not known."""
    if straight(move) is None:
        return []
    return [point for points, _ in _chains(table([move]), np.zeros(1, dtype=np.int64)) for point in points]


def place_of(position: Position) -> Place:
    """A position as numbers, None where a coordinate is not known."""
    x, y, z = (float(c) if known(c) else None for c in position)  # type: ignore[arg-type]
    return x, y, z
