"""Holes of a canned cycle in columns: lines of X and Y alone, each drilled as the first of them is.

What a hole is made of is told by the exact reader, from the first line: everything behind the way across happens at one
place in XY and at the same heights in every hole. That holds for absolute distances, where a hole leaves the tool at
the height at which it found it, and for cycles that do nothing sideways.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import numpy as np

from .interpreter import Interpreter
from .lane import MOTIONS, Place, Stretch, fill, part, place_of, same_for, stretch_of
from .lane_words import Batch, Integers
from .moves import Floats, Kind, Move, Moves, Step
from .state import State

STRAIGHT = frozenset({"G73", "G81", "G82", "G83", "G85", "G89"})
MOST = 4096  # lines of a stretch: each of them is several moves
MOST_MOVES = 64  # of a hole


def may_be_holes(state: State) -> bool:
    """Whether the next lines may be holes of a cycle in force."""
    cycle = state.cycle
    return (cycle is not None and state.motion in STRAIGHT and cycle.code == state.motion and not state.stale
            and state.distance == "G90" and state.plane == "G17")


def next_stretch(batch: Batch, begin: int, end: int, first: int, interpreter: Interpreter) -> Stretch | None:
    """The stretch that begins at the line `begin` of a batch, before the line `end`; None without one.

    `first` is the number of the line `begin` in the program.
    """
    state = interpreter.state
    holes = state.motion not in MOTIONS
    if holes and not may_be_holes(state):
        return None
    place = place_of(state)
    if place is None:
        return None
    return (holes_of if holes else stretch_of)(batch, begin, end, first, interpreter, place)


class HoleStretch(Stretch):
    """A stretch of holes. `rows` (r,) int: the line of each move; those that are not the first of their line are made
    at the line's end. `pattern`: the moves of a hole behind the way across, as of the first line."""

    def __init__(self, batch: Batch, begin: int, first: int, interpreter: Interpreter, place: Place, places: Integers,
                 lines: Integers, pattern: list[Move]) -> None:
        motions = np.full(places.shape[1] - 1, Kind.RAPID, dtype=np.int64)
        super().__init__(batch, begin, first, interpreter, place, places, motions, lines, None)
        self.pattern = pattern
        self.holes = lines
        self.rows = np.repeat(lines, len(pattern) + 1)

    def state_before(self, number: int) -> State:
        """The state before a line, counted from 0."""
        state = super().state_before(number)
        state.motion, state.cycle = self.before.motion, self.before.cycle
        return state

    def low_at(self, number: int) -> Decimal:
        """How low it goes at each hole."""
        return min(height for move in self.pattern for height in (move.start[2], move.end[2])
                   if isinstance(height, Decimal))

    def rapid_ways(self) -> tuple[Integers, Floats]:
        """The lines (k,) of the program that move rapidly, and how far along each axis, (k, m, 3) mm."""
        places = self.places.take(self.holes + 1, axis=1) - self.places.take(self.holes, axis=1)
        rapids = [move for move in self.pattern if move.kind == Kind.RAPID]
        ways = np.zeros((len(self.holes), len(rapids) + 1, 3))
        ways[:, 0] = (places / float(self.place.scale.one)).T
        for number, move in enumerate(rapids, 1):
            ways[:, number, 2] = float(move.end[2] - move.start[2])  # type: ignore[operator]
        return self.holes + self.first, ways

    def made(self, number: int) -> None:
        """Holes may dwell: their lines are made by the exact reader."""
        return None

    @property
    def plain(self) -> Integers:
        """No line of it is a block of G0."""
        return self.holes[:0]

    def _columns(self, rows: Integers) -> Moves:
        across, each = super()._columns(self.holes), len(self.pattern) + 1
        kind = np.tile(np.array([Kind.RAPID] + [move.kind for move in self.pattern], dtype=np.int64), len(self.holes))
        starts, ends = (np.repeat(across.end.T, each, axis=1) for _ in range(2))
        starts[:, ::each] = across.start.T
        for number, move in enumerate(self.pattern, 1):
            starts[2, number::each], ends[2, number::each] = float(move.start[2]), float(move.end[2])  # type: ignore[arg-type]
        upright = np.ones(len(rows), dtype=np.bool_)
        upright[::each] = False
        return replace(
            across, line=rows + self.first, kind=kind, start=starts.T, end=ends.T, low=np.minimum(starts, ends).T,
            high=np.maximum(starts, ends).T, centre=np.broadcast_to(np.nan, (len(rows), 3)), upright=upright,
            **{name: same_for(getattr(across, name)[0], rows)
               for name in ("plane", "tool", "corner", "grow", "shadow", "exact", "full")})


def holes_of(batch: Batch, begin: int, end: int, first: int, interpreter: Interpreter, place: Place) -> Stretch | None:
    """The lines `begin` to `end` (not included) of a batch, as far as they are holes of the cycle in force and lead
    somewhere; None without any. `first` is the number of the line `begin` in the program."""
    end = min(end, begin + MOST)
    for letter in "GZIJ":
        if letter in batch.words.columns:
            lines = part(batch.words.columns[letter], begin, end).lines
            end = int(lines[0]) if len(lines) else end
    places = np.empty((3, end - begin + 1), dtype=np.int64)
    for axis, letter in enumerate("XYZ"):
        if not fill(places[axis], batch.words, letter, begin, end, place, axis):
            return None
    moved = (places[0, 1:] != places[0, :-1]) | (places[1, 1:] != places[1, :-1])
    lines = np.flatnonzero(moved)
    still = np.flatnonzero(_placed(batch, begin, end) & ~moved)
    if len(still):
        lines = lines[: np.searchsorted(lines, still[0])]
    if not len(lines):
        return None
    count = int(lines[-1]) + 1
    one = Stretch(batch, begin, first, interpreter, place, places[:, : count + 1],
                  np.zeros(count, dtype=np.int64), lines, None)
    pattern = _pattern(_first_hole(one, int(lines[0])))
    if pattern is None:
        return None
    return HoleStretch(batch, begin, first, interpreter, place, places[:, : count + 1], lines, pattern)


def _placed(batch: Batch, begin: int, end: int) -> np.ndarray:
    """(n,) bool: which lines name a place."""
    placed = np.zeros(end - begin, dtype=np.bool_)
    for letter in "XY":
        if letter in batch.words.columns:
            placed[part(batch.words.columns[letter], begin, end).lines - begin] = True
    return placed


def _first_hole(stretch: Stretch, number: int) -> Step:
    """The first line that moves, by the exact reader; before it no line does anything but set a feed."""
    kept, state = stretch.interpreter.state, stretch.state_before(number)
    state.motion, state.cycle = stretch.before.motion, stretch.before.cycle
    stretch.interpreter.state = state
    try:
        return stretch.interpreter.execute(stretch.first + number, stretch.raw(number))
    finally:
        stretch.interpreter.state = kept


def _pattern(step: Step) -> list[Move] | None:
    """What a hole does behind the way across; None where it is not the same for every hole."""
    if step.refusals or not 1 < len(step.moves) <= MOST_MOVES or step.frozen:
        return None
    across, rest = step.moves[0], step.moves[1:]
    if across.part != "traverse" or across.shadow or across.start[2] != across.end[2]:
        return None
    if rest[-1].end != across.end or any(move.shadow or not move.exact for move in step.moves):
        return None
    if any(move.start[:2] != across.end[:2] or move.end[:2] != across.end[:2] for move in rest):
        return None
    return rest if any(move.kind == Kind.CUT for move in rest) else None

