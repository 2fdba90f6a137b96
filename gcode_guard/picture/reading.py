"""Reads a program once more for its picture: every move for the backdrop, the moves of some lines to the letter."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
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
CONTEXT = 2  # lines round one that is asked for, whose text is kept
CUT_PIECES, RAPID_PIECES = 25_000, 4_000  # straight pieces that the backdrop may have: less than 1 MB of page
MOST_MOVES = 40  # of one line, which subprograms and repeats may run many times
MOST_HITS = 2_000  # cuts that are marked as running into an obstacle
MOST_CHANGES = 200
SAGITTA = 0.02  # mm, of the chords that stand for an arc


@dataclass(slots=True)
class Seen:
    """What a reading saw of one line.

    `moves`: those that it makes, in order, at most MOST_MOVES; `runs_on`: likewise the rapids from it on until
    something else than a rapid happens; `texts`: the line and those round it, by their numbers.
    """

    line: int
    moves: list[Move] = field(default_factory=list)
    runs_on: list[Move] = field(default_factory=list)
    texts: dict[int, bytes] = field(default_factory=dict)
    open: bool = True


@dataclass(slots=True)
class Reading:
    """What one reading of a program gave.

    `hits`: the paths of cuts that run into an obstacle, by obstacle; `left`: how many moves are not drawn because it
    is not known where they run.
    """

    cuts: Thinner
    rapids: Thinner
    tools: set[int] = field(default_factory=set)
    tool_changes: list[ToolChange] = field(default_factory=list)
    hits: dict[int, list[list[Point]]] = field(default_factory=dict)
    lines: int = 0
    left: int = 0


class _Keeper:
    """Keeps what is asked for of some lines, in order, until nothing can be added to it.

    Where `calls`, a line may run again at any time: then everything is kept until the end.
    """

    def __init__(self, lines: Sequence[int], calls: bool) -> None:
        self._lines = lines
        self._calls = calls
        self._texts: dict[int, bytes] = {}
        self._open: list[Seen] = []
        self._waiting: deque[Seen] = deque()
        self._again: dict[int, Seen] = {}
        self._forgotten = 0

    @property
    def goes_on(self) -> bool:
        """Whether the rapids that come next are wanted too."""
        return bool(self._open)

    def wanted(self, first: int, last: int) -> Sequence[int]:
        """The lines from `first` to `last` that are asked for."""
        return self._lines[bisect_left(self._lines, first) : bisect_right(self._lines, last)]

    def text(self, line: int, raw: bytes) -> None:
        """Takes the text of a line that may be near one that is asked for."""
        at = bisect_left(self._lines, line - CONTEXT)
        if at < len(self._lines) and self._lines[at] <= line + CONTEXT:
            self._texts[line] = raw

    def keep(self, line: int, moves: list[Move], effects: bool, wanted: bool) -> None:
        """Takes what a line does."""
        if effects:
            self._close()
        if wanted:
            seen = self._seen(line)
            seen.moves += moves[: MOST_MOVES - len(seen.moves)]
            if not any(other is seen for other in self._open):
                self._open.append(seen)
        for move in moves if self._open else ():
            if move.kind != Kind.RAPID:
                self._close()
                break
            for seen in self._open:
                seen.runs_on.append(move)
            full = [seen for seen in self._open if len(seen.runs_on) >= MOST_MOVES]
            if full:
                self._close(full)

    def _seen(self, line: int) -> Seen:
        seen = self._again.get(line)
        if seen is None:
            seen = Seen(line)
            self._waiting.append(seen)
            if self._calls:
                self._again[line] = seen
        return seen

    def _close(self, some: list[Seen] | None = None) -> None:
        for seen in some if some is not None else self._open:
            seen.open = False
        self._open = [seen for seen in self._open if seen.open]

    def done(self, line: float) -> Iterator[Seen]:
        """What nothing can be added to, once everything up to `line` was read."""
        if self._calls and line < math.inf:
            return
        if self._calls:
            self._waiting = deque(sorted(self._waiting, key=lambda seen: seen.line))
        while self._waiting and (line == math.inf or not self._waiting[0].open) \
                and self._waiting[0].line + CONTEXT <= line:
            seen = self._waiting.popleft()
            near = range(seen.line - CONTEXT, seen.line + CONTEXT + 1)
            seen.texts = {number: self._texts[number] for number in near if number in self._texts}
            yield seen
            if not self._calls:
                self._forget((self._waiting[0].line if self._waiting else seen.line + 1) - CONTEXT)

    def _forget(self, line: int) -> None:
        """Gives up the texts before a line."""
        for number in range(self._forgotten, line):
            self._texts.pop(number, None)
        self._forgotten = max(line, self._forgotten)


def follow(source: Source, judge: Judge, tool: int | None, lines: Sequence[int], reading: Reading, *,
           mark_hits: bool = False, restarts: RestartFinder | None = None) -> Iterator[Seen]:
    """Reads a program and gives what it saw of `lines` (in order), one after the other; the rest is in `reading`.

    `mark_hits`: look for the cuts that make contact. `restarts` is shown every step. Memory: what is near the line at
    hand, and all of `lines` where the program calls subprograms, since their lines run more than once.
    """
    setup = judge.setup
    facts = look(source.lines(), setup.program.block_delete == "skip")
    rules = rules_of(setup, facts, tool)
    reader: Iterable[Step | Stretch] = Reader(source.lines(), rules, facts) if facts.calls else \
        LaneReader(source, rules, facts)
    keeper = _Keeper(lines, bool(facts.calls))
    batch: list[Move] = []
    for item in reader:
        if isinstance(item, Stretch) or len(batch) >= BATCH:
            _draw(table(batch), reading, judge, mark_hits)
            batch = []
        if isinstance(item, Stretch):
            _keep_some(item, keeper)
            _draw(item.moves, reading, judge, mark_hits)
            reading.lines = max(reading.lines, item.last)
            if restarts is not None:
                restarts.see_cuts()
            yield from keeper.done(item.last)
            continue
        line = item.block.line
        reading.lines = max(reading.lines, line)
        keeper.text(line, item.block.raw)
        moves = [move for move in item.moves if not move.shadow]
        keeper.keep(line, moves, bool(item.effects), bool(keeper.wanted(line, line)))
        if restarts is not None:
            restarts.see(item)
        _note_tools(item, reading)
        batch += moves
        yield from keeper.done(line)
    _draw(table(batch), reading, judge, mark_hits)
    yield from keeper.done(math.inf)


def new_reading(coarsest: float) -> Reading:
    """A reading to be filled. `coarsest`: mm, how far its backdrop may be off at most."""
    return Reading(Thinner(CUT_PIECES, coarsest), Thinner(RAPID_PIECES, coarsest))


def _keep_some(stretch: Stretch, keeper: _Keeper) -> None:
    """Keeps what is asked for of a stretch of lines that was read as columns: no line of it has an effect."""
    first, behind = stretch.first, 0
    for line in keeper.wanted(first - CONTEXT, stretch.last + CONTEXT):
        for number in range(max(behind, line - CONTEXT, first), min(line + CONTEXT, stretch.last) + 1):
            keeper.text(number, stretch.raw(number - first))
            behind = number + 1
    wanted, behind = keeper.wanted(first, stretch.last), first
    asked = set(wanted)
    for line in wanted:
        for number in range(max(line, behind), stretch.last + 1):
            behind = number + 1
            keeper.keep(number, _moves_of(stretch, number - first), False, number in asked)
            if not keeper.goes_on:
                break


def _moves_of(stretch: Stretch, number: int) -> list[Move]:
    row = stretch.row(number)
    if row >= len(stretch.lines) or stretch.lines[row] != number:
        return []
    made = stretch.made(number)
    return made[0] if made is not None else [move for move in stretch.step(number).moves if not move.shadow]


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
