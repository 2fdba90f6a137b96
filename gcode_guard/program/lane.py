"""The columnar reader: a stretch of ordinary blocks becomes columns of moves, without a step for each block.

A stretch begins after a cut, when no run of rapids is open, and ends with a cut. Within it stand only G0 to G3, X, Y,
Z, I, J, F, N, comments and blank lines; everything that changes what a block means lies outside. The columns are what
the exact reader makes of the same lines, bit for bit: positions are whole numbers of 10**-7 or 10**-8 mm, so that sums
are exact, and each is rounded once, on its way to a float. Whatever is not certain here is left to the exact reader.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from .interpreter import Interpreter
from .lane_arcs import centres_of
from .lane_words import DECIMALS, Batch, Column, Integers, Words
from .motion import CENTRES_ASSUMED
from .moves import Floats, Kind, Move, Moves, Step
from .state import Coordinate, Position, Span, State

MOTIONS = {"G0": 0, "G1": 1, "G2": 2, "G3": 3}
NAMES = ("G0", "G1", "G2", "G3")
KINDS = (Kind.RAPID, Kind.CUT, Kind.ARC_CW, Kind.ARC_CCW)
LARGEST = 2**49  # below it whole numbers are floats, and different ones stay so when divided


@dataclass(slots=True, frozen=True)
class Scale:
    """How lengths are counted: `decimals` of a millimetre, and how many of them 10**-DECIMALS of a unit are."""

    decimals: int
    factor: int

    @property
    def one(self) -> int:
        """How many make a millimetre."""
        return 10**self.decimals

    def count(self, value: Decimal) -> int | None:
        """A length as a whole number; None where it is none."""
        number = value.scaleb(self.decimals)
        whole = int(number)
        return whole if whole == number and abs(whole) < LARGEST else None

    def length(self, count: int) -> Decimal:
        """Back from a whole number, exactly."""
        return Decimal(count).scaleb(-self.decimals)


# An inch is 254 tenths of a millimetre.
SCALES = {"G21": Scale(DECIMALS, 1), "G20": Scale(DECIMALS + 1, 254)}


@dataclass(slots=True)
class Place:
    """Where a stretch begins: the position and the origin (3,) as whole numbers, and the motion in force."""

    scale: Scale
    position: tuple[int, int, int]
    origin: tuple[int, int, int]
    incremental: bool
    motion: int


def place_of(state: State) -> Place | None:
    """The place for a stretch in this state; None where the exact reader must go on. Of a cycle the motion is G0."""
    if (state.lost or state.ended or state.units is None or state.distance is None or not state.length_known
            or state.compensation != "G40" or state.closing or state.grow or state.feed_mode != "G94"
            or state.left is not None or not state.feed or state.motion is None or state.motion == "G80"):
        return None
    scale = SCALES[state.units]
    position = _counts(scale, state.position)
    origin = _counts(scale, tuple(state.shift[axis] + state.extra[axis] for axis in range(3)))  # type: ignore[arg-type]
    if position is None or origin is None:
        return None
    return Place(scale, position, origin, state.distance == "G91", MOTIONS.get(state.motion, 0))


def _counts(scale: Scale, position: tuple[Coordinate, Coordinate, Coordinate]) -> tuple[int, int, int] | None:
    counts = [None if isinstance(c, Span) else scale.count(c) for c in position]
    x, y, z = counts
    return None if x is None or y is None or z is None else (x, y, z)


class Stretch:
    """Lines `first` to `last` (of the program, from 1, both included) as columns.

    places (3, n + 1) int: where the tool stands before each line and at the end, in `place.scale`.
    motions (n,) int: 0 to 3, in force after each line.
    rows (r,) int: the line, from 0, of each move; `moves` are their columns. `before` and `after`: the states.
    centres (2, n) float, mm: those of the lines that are arcs; None where none is.
    """

    def __init__(self, batch: Batch, begin: int, first: int, interpreter: Interpreter, place: Place, places: Integers,
                 motions: Integers, rows: Integers, centres: Floats | None) -> None:
        self.batch = batch
        self.begin = begin
        self.first = first
        self.before = interpreter.state
        self.place = place
        self.places = places
        self.motions = motions
        self.rows = rows
        self.at = 0  # the byte of the program at which it begins
        self.used = len(motions)  # how many of its lines are taken from it; the reader goes on behind them
        self.examined: object = None  # what was found in it, for whoever comes later
        self.interpreter = interpreter
        self.centres = centres

    def __len__(self) -> int:
        return len(self.motions)

    @property
    def size(self) -> int:
        """How many bytes its lines are."""
        return self.batch.offset(self.begin + len(self)) - self.batch.offset(self.begin)

    def raw(self, number: int) -> bytes:
        """A line, counted from 0."""
        return self.batch.raw(self.begin + number)

    def raws(self, numbers: Integers) -> list[bytes]:
        """Some lines, counted from 0."""
        return self.batch.raws(numbers + self.begin)

    def step(self, number: int) -> Step:
        """A line, counted from 0, as the exact reader makes it."""
        kept, self.interpreter.state = self.interpreter.state, self.state_before(number)
        try:
            return self.interpreter.execute(self.first + number, self.raw(number))
        finally:
            self.interpreter.state = kept

    def rapid_ways(self) -> tuple[Integers, Floats]:
        """The lines (k,) of the program that move rapidly, and how far along each axis, (k, m, 3) mm, by each of their
        m rapids."""
        rows = self.rows[self.motions.take(self.rows) == Kind.RAPID]
        ways = (self.places.take(rows + 1, axis=1) - self.places.take(rows, axis=1)) / float(self.place.scale.one)
        return rows + self.first, ways.T[:, None, :]

    def made(self, number: int) -> tuple[list[Move], State] | None:
        """The moves of a line, as the columns have them, and the state after it; None where it may do more."""
        state = self.state_before(number + 1)
        before, after = self._position(number), state.position
        kind = KINDS[self.motions[number]]
        if kind < Kind.ARC_CW:
            return [Move(self.first + number, kind, before, after, state.tool, None if not kind else state.feed,
                         state.corner, grow=state.grow, upright=before[:2] == after[:2])], state
        row, columns = self.row(number), self.moves
        x, y, z = columns.centre[row].tolist()
        return [Move(self.first + number, kind, before, after, state.tool, state.feed, state.corner, (x, y, z),
                     int(columns.plane[row]), grow=state.grow, full_turn=bool(columns.full[row]),
                     upright=bool(columns.upright[row]))], state

    @cached_property
    def lines(self) -> list[int]:
        """The rows as a list: what is asked for one by one is found in it several times faster than in an array."""
        found: list[int] = self.rows.tolist()
        return found

    def row(self, number: int) -> int:
        """The first row of a line or behind it."""
        return bisect_left(self.lines, number)

    def _position(self, number: int) -> Position:
        if not number:
            return self.before.position
        x, y, z = self.places[:, number].tolist()
        length = self.place.scale.length
        return length(x), length(y), length(z)

    @property
    def last(self) -> int:
        return self.first + len(self) - 1

    @cached_property
    def after(self) -> State:
        """The state that the stretch leaves."""
        return self.state_before(len(self))

    def state_before(self, number: int) -> State:
        """The state before a line, counted from 0."""
        state = self.before.__copy__()
        if number:
            state.position = self._position(number)
            state.motion = NAMES[int(self.motions[number - 1])]
            state.cycle = None
            state.feed = self._feed_before(number) or state.feed
        return state

    def _feed_before(self, number: int) -> Decimal | None:
        lines, values = self._feeds
        place = bisect_left(lines, self.begin + number) - 1
        return None if place < 0 else Decimal(values[place]).scaleb(-DECIMALS) * self.before.scale()

    @cached_property
    def _feeds(self) -> tuple[list[int], list[int]]:
        """The lines within the batch that have a feed, and what it is."""
        if "F" not in self.batch.words.columns:
            return [], []
        column = part(self.batch.words.columns["F"], self.begin, self.begin + len(self))
        return column.lines.tolist(), column.values.tolist()

    @cached_property
    def plain(self) -> Integers:
        """The lines (k,), from 0, with axis words under G0, even such as lead nowhere."""
        return self._with_axes(np.flatnonzero(self.motions == 0))

    def _with_axes(self, lines: Integers) -> Integers:
        """Those of some lines (k,), from 0, that have axis words."""
        axes = np.zeros(len(lines), dtype=np.bool_)
        for letter in "XYZ":
            axes |= self.worded(letter, lines)
        return lines[axes]

    def worded(self, letter: str, lines: Integers) -> NDArray[np.bool_]:
        """(k,) bool: which of some lines (k,), from 0, have a word of this letter."""
        column = self.batch.words.columns.get(letter)
        if column is None or not len(lines):
            return np.zeros(len(lines), dtype=np.bool_)
        at = np.searchsorted(column.lines, lines + self.begin)
        return column.lines.take(at, mode="clip") == lines + self.begin

    @cached_property
    def fed(self) -> Integers:
        """The lines (k,), from 0, that cut, and those with axis words at feed that lead nowhere."""
        fed = self.motions != 0
        cuts = self.rows[fed.take(self.rows)]
        if len(cuts) == np.count_nonzero(fed):
            return cuts
        fed[cuts] = False
        nowhere = self._with_axes(np.flatnonzero(fed))
        return np.sort(np.concatenate((cuts, nowhere))) if len(nowhere) else cuts

    @property
    def low(self) -> Decimal:
        """How low it goes at the place where it ends."""
        return self.low_at(len(self))

    def low_at(self, number: int) -> Decimal:
        """How low it goes at the place where it stands before a line that stands behind a cut."""
        return self.place.scale.length(int(self.places[2, number]))

    @cached_property
    def moves(self) -> Moves:
        """The columns of the moves, as the exact reader makes them."""
        return self._columns(self.rows)

    def _columns(self, rows: Integers) -> Moves:
        places = self.places
        floats = places / float(self.place.scale.one)
        start, end = floats.take(rows, axis=1), floats.take(rows + 1, axis=1)
        kind = self.motions.take(rows)
        upright = ((places[0, 1:] == places[0, :-1]) & (places[1, 1:] == places[1, :-1])).take(rows)
        centre: Floats = np.broadcast_to(np.nan, (len(rows), 3))
        plane, full = same_for(0, rows), same_for(False, rows)
        if self.centres is not None:
            arcs = kind >= Kind.ARC_CW
            plane, full = np.where(arcs, 17, 0), arcs & upright
            upright &= ~arcs
            centre = np.full((len(rows), 3), np.nan)
            centre[arcs, :2] = self.centres[:, rows[arcs]].T
            centre[arcs, 2] = start[2, arcs]
        state = self.before
        return Moves(
            line=rows + self.first, kind=kind, start=start.T, end=end.T, low=np.minimum(start, end).T,
            high=np.maximum(start, end).T, centre=centre, plane=plane, tool=same_for(state.tool, rows),
            corner=same_for(state.corner, rows), grow=same_for(0.0, rows), shadow=same_for(False, rows),
            upright=upright, exact=same_for(True, rows), full=full)


def same_for(value: int | float | bool, rows: Integers) -> np.ndarray:
    """A column that is the same in every row."""
    return np.broadcast_to(value, rows.shape)


def stretch_of(batch: Batch, begin: int, end: int, first: int, interpreter: Interpreter,
               place: Place) -> Stretch | None:
    """The lines `begin` to `end` (not included) of a batch, up to the last cut that is certain; None without one.

    `first` is the number of the line `begin` in the program. Where arcs are taken to have incremental centres, the
    interpreter's assumptions say so.
    """
    words, state = batch.words, interpreter.state
    motions = _motions(words, begin, end, place.motion)
    arcs = motions >= 2 if place.motion >= 2 or int(motions.max(initial=0)) >= 2 else None
    places = np.empty((3, end - begin + 1), dtype=np.int64)
    for axis, letter in enumerate("XYZ"):
        if not fill(places[axis], words, letter, begin, end, place, axis):
            return None
    moved = places[0, 1:] != places[0, :-1]
    moved |= places[1, 1:] != places[1, :-1]
    moved |= places[2, 1:] != places[2, :-1]
    centres, certain = centres_of(words, begin, end, places, moved, arcs, state, place)
    rows = np.flatnonzero(moved)
    if certain < end - begin:
        rows = rows[: np.searchsorted(rows, certain)]
    cuts = np.flatnonzero(motions[rows])
    if not len(cuts):
        return None
    rows = rows[: cuts[-1] + 1]
    count = int(rows[-1]) + 1
    if centres is not None and not state.centres_said and (motions[rows] >= 2).any():
        interpreter.assumptions.setdefault(*CENTRES_ASSUMED)
    return Stretch(batch, begin, first, interpreter, place, places[:, : count + 1], motions[:count], rows, centres)


def part(column: Column, begin: int, end: int) -> Column:
    """The words that stand on some lines."""
    i, j = np.searchsorted(column.lines, (begin, end))
    return Column(column.lines[i:j], column.values[i:j])


def _motions(words: Words, begin: int, end: int, motion: int) -> Integers:
    """(n,) int: the motion in force after each line."""
    if "G" not in words.columns:
        return np.full(end - begin, motion, dtype=np.int64)
    said = part(words.columns["G"], begin, end)
    return _carried(motion, said.lines, said.values, begin, end)


def _carried(value: int, lines: Integers, values: Integers, begin: int, end: int) -> Integers:
    """Values that hold from their line on, `value` before the first."""
    if len(lines) == end - begin:
        return values
    borders = np.concatenate(((begin,), lines, (end,)))
    return np.repeat(np.concatenate(((value,), values)), np.diff(borders))


def fill(places: Integers, words: Words, letter: str, begin: int, end: int, place: Place, axis: int) -> bool:
    """Fills (n + 1,) with where an axis stands; False where that goes beyond what a float holds exactly."""
    start = places[0] = place.position[axis]
    if letter not in words.columns:
        places[1:] = start
        return True
    words_of = part(words.columns[letter], begin, end)
    values = words_of.values * place.scale.factor if place.scale.factor != 1 else words_of.values
    largest = int(np.abs(values).max(initial=0))
    if place.incremental:
        if largest * len(values) >= LARGEST:  # no sum on the way can overflow
            return False
        values = np.cumsum(values) + start
    elif place.origin[axis]:
        values = values + place.origin[axis]
    if values is not words_of.values:
        largest = max(largest, int(np.abs(values).max(initial=0)))
    places[1:] = _carried(start, words_of.lines, values, begin, end)
    return largest < LARGEST
