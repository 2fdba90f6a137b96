"""Reads a program once more for its picture: every move for the backdrop, the moves of some lines to the letter."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

import numpy as np

from ..judge import Judge
from ..program.moves import Kind, Move, Step, table
from ..program.reader import Reader
from ..program.scan import look
from ..program.state import Position, known
from ..record.page_model import Place, Point, ToolChange
from ..rules import rules_of
from ..space.arcs import flatten
from .restart import RestartFinder
from .thin import Thinner

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


def read(source: Callable[[], Iterable[bytes]], judge: Judge, tool: int | None, lines: set[int], *, coarsest: float,
         mark_hits: bool = False, restarts: RestartFinder | None = None) -> Reading:
    """Reads the program that `source` gives the lines of, as often as it is asked.

    `lines`: those whose moves are kept, and whose text is, with two lines round them. `coarsest`: mm, how far the
    backdrop may be off at most. `mark_hits`: look for the cuts that make contact. `restarts` is shown every step.
    """
    setup = judge.setup
    facts = look(source(), setup.program.block_delete == "skip")
    reading = Reading(Thinner(CUT_PIECES, coarsest), Thinner(RAPID_PIECES, coarsest))
    near = {line + k for line in lines for k in (-2, -1, 0, 1, 2)}
    batch: list[Move] = []
    for step in Reader(source(), rules_of(setup, facts, tool), facts):
        line = step.block.line
        reading.lines = max(reading.lines, line)
        if line in near:
            reading.texts[line] = step.block.raw
        reading.keep(step, line in lines)
        if restarts is not None:
            restarts.see(step)
        _note_tools(step, reading)
        batch += (move for move in step.moves if not move.shadow)
        if len(batch) >= BATCH:
            _draw(batch, reading, judge, mark_hits)
            batch = []
    _draw(batch, reading, judge, mark_hits)
    return reading


def _note_tools(step: Step, reading: Reading) -> None:
    for effect in step.effects:
        if effect.what == "M6" and len(reading.tool_changes) < MOST_CHANGES:
            reading.tool_changes.append(ToolChange(effect.line, step.after.tool))


def _draw(moves: list[Move], reading: Reading, judge: Judge, mark_hits: bool) -> None:
    """Adds a batch of moves to the backdrop."""
    reading.tools.update(move.tool for move in moves)
    curves = _curves(moves)
    for place, move in enumerate(moves):
        points = curves.get(place) or straight(move)
        if points is None:
            reading.left += 1
        elif move.kind == Kind.RAPID:
            reading.rapids.add(points)
        else:
            reading.cuts.add(points)
    if mark_hits:
        cuts = [move for move in moves if move.kind != Kind.RAPID]
        for hit in judge.examine(table(cuts)).touched:
            found = reading.hits.setdefault(hit.obstacle, [])
            if len(found) < MOST_HITS:
                found.append(path(cuts[hit.move]))


def straight(move: Move) -> list[Point] | None:
    """The two ends of a move seen from above; None where one is not known."""
    (x0, y0, _), (x1, y1, _) = place_of(move.start), place_of(move.end)
    if x0 is None or y0 is None or x1 is None or y1 is None:
        return None
    return [(x0, y0), (x1, y1)]


def path(move: Move) -> list[Point]:
    """A move seen from above, an arc in chords; empty where its place is not known."""
    return _curves([move]).get(0) or straight(move) or []


def _curves(moves: list[Move]) -> dict[int, list[Point]]:
    """The chords of the arcs among some moves, seen from above, by their place in the list."""
    arcs = [k for k, move in enumerate(moves)
            if move.kind in (Kind.ARC_CW, Kind.ARC_CCW) and move.exact and move.centre is not None]
    if not arcs:
        return {}
    columns = table([moves[k] for k in arcs])
    owner, start, end = flatten(columns.start, columns.end, columns.centre, columns.plane,
                                columns.kind == Kind.ARC_CW, SAGITTA)
    first = np.searchsorted(owner, np.arange(len(arcs) + 1))
    curves = {}
    for k, place in enumerate(arcs):
        part = slice(first[k], first[k + 1])
        points = [start[part][:1, :2], end[part][:, :2]]
        curves[place] = [(float(x), float(y)) for x, y in np.concatenate(points)]
    return curves


def place_of(position: Position) -> Place:
    """A position as numbers, None where a coordinate is not known."""
    x, y, z = (float(c) if known(c) else None for c in position)  # type: ignore[arg-type]
    return x, y, z
