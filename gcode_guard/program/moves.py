"""Moves: what the tool tip does, as rows of the exact reader and as a table of columns.

A `Move` is one row with exact coordinates; `Moves` is the table of a whole stretch, on which everything downstream
works at once.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from decimal import Decimal
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from .block import Block
from .errors import Refusal
from .state import Position, Span, State, bounds, known

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


class Kind(IntEnum):
    """What a move is; the names that `trace` prints are in NAMES."""

    RAPID = 0
    CUT = 1
    ARC_CW = 2
    ARC_CCW = 3
    PROBE = 4


NAMES = {Kind.RAPID: "rapid", Kind.CUT: "cut", Kind.ARC_CW: "arc-cw", Kind.ARC_CCW: "arc-ccw", Kind.PROBE: "probe"}


@dataclass(slots=True)
class Move:
    """One move. `start`, `end` are exact where known. `part` says what a rapid is: "plain", or "traverse", "down",
    "retract", "side" within a cycle, "home", "home-all" or "by-way" of G28/G30, "machine" for G53.

    `grow` widens the path sideways (cutter compensation, arcs whose reading is doubtful). `shadow` marks a second
    plausible reading: checked like any move, but not listed, counted or timed. `upright` is True where XY does not
    change, known or not. `hole` counts the holes of a cycle's block from 0.
    """

    line: int
    kind: Kind
    start: Position
    end: Position
    tool: int
    feed: Decimal | None
    corner: float
    centre: tuple[float, float, float] | None = None
    plane: int = 0
    part: str = "plain"
    grow: float = 0.0
    shadow: bool = False
    full_turn: bool = False
    upright: bool = False
    hole: int = 0

    @property
    def exact(self) -> bool:
        return not any(isinstance(c, Span) for c in self.start + self.end)


@dataclass(slots=True)
class Effect:
    """Something other than a move that happens at a place: spindle, coolant, tool change, dwell, stop, offset.

    `after_move` is how many moves of its block come before it.
    """

    line: int
    what: str
    position: Position
    tool: int = 0
    after_move: int = 0


@dataclass(slots=True)
class Step:
    """One block as the interpreter made it: what was in force before it, its moves and effects in order.

    `call` is the subprogram that it calls and how often, `returns` that it ends one. `places` are the XY of the
    holes that a cycle's block drills. `frozen` blocks stand between
    G41 or G42 and the first move after G40: nothing may be put in there.
    """

    block: Block
    before: State
    after: State
    moves: list[Move] = field(default_factory=list)
    effects: list[Effect] = field(default_factory=list)
    refusals: list[Refusal] = field(default_factory=list)
    codes: tuple[str, ...] = ()
    skipped: bool = False
    call: tuple[int, int] | None = None
    returns: bool = False
    places: list[tuple[Decimal, Decimal]] = field(default_factory=list)
    frozen: bool = False

    @property
    def ends_run(self) -> bool:
        """True where the block has an effect or cuts: the run that it may stand in ends (contract, "run")."""
        return bool(self.effects) or any(m.kind != Kind.RAPID for m in self.moves)


@dataclass(slots=True)
class Moves:
    """A table of n moves, millimetres, bench frame; NaN where a coordinate is not known.

    line (n,) int, kind (n,) int, start (n, 3), end (n, 3), low (n, 3) and high (n, 3): the box that start and end
    span where they are not known (infinite where nothing is known, z infinite where the tool is high),
    centre (n, 3) NaN but for arcs, plane (n,) 17, 18, 19 or 0, tool (n,), corner (n,), grow (n,), shadow (n,) bool,
    upright (n,) bool, exact (n,) bool, full (n,) bool.
    """

    line: Integers
    kind: Integers
    start: Floats
    end: Floats
    low: Floats
    high: Floats
    centre: Floats
    plane: Integers
    tool: Integers
    corner: Floats
    grow: Floats
    shadow: NDArray[np.bool_]
    upright: NDArray[np.bool_]
    exact: NDArray[np.bool_]
    full: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.line)

    def take(self, rows: Integers) -> Moves:
        """The moves of these rows, in their order."""
        return Moves(*(getattr(self, column.name)[rows] for column in fields(self)))

    def followed_by(self, other: Moves) -> Moves:
        """These moves and then the other ones."""
        return Moves(*(np.concatenate((getattr(self, column.name), getattr(other, column.name)))
                       for column in fields(self)))


def different(values: Integers) -> list[int]:
    """The different ones of some numbers (n,), which are mostly all the same, ascending. What np.unique does takes the
    whole of numpy.ma to start with."""
    if not len(values):
        return []
    if (values == values[0]).all():
        return [int(values[0])]
    ordered = np.sort(values)
    first = np.concatenate(((True,), ordered[1:] != ordered[:-1]))
    found: list[int] = ordered[first].tolist()
    return found


def _numbers(position: Position) -> tuple[float, float, float]:
    x, y, z = (float(c) if known(c) else np.nan for c in position)  # type: ignore[arg-type]
    return x, y, z


def _box(move: Move) -> tuple[list[float], list[float]]:
    """The corners of the box that a move spans. Out of an unknown height an upright move is judged at its end."""
    low, high = [], []
    for axis in range(3):
        a0, a1 = bounds(move.start[axis])
        b0, b1 = bounds(move.end[axis])
        low.append(min(a0, b0))
        high.append(max(a1, b1))
    if move.upright and not move.exact:
        low[2] = bounds(move.end[2])[0]
        high[2] = max(low[2], high[2])
    return low, high


def table(moves: list[Move]) -> Moves:
    """The columns of a list of moves."""
    n = len(moves)
    boxes = [_box(m) for m in moves]

    def floats(rows: list[tuple[float, float, float]] | list[list[float]]) -> Floats:
        return np.array(rows, dtype=float).reshape(n, 3)

    nowhere = (np.nan, np.nan, np.nan)
    return Moves(
        line=np.array([m.line for m in moves], dtype=np.int64),
        kind=np.array([m.kind for m in moves], dtype=np.int64),
        start=floats([_numbers(m.start) for m in moves]),
        end=floats([_numbers(m.end) for m in moves]),
        low=floats([b[0] for b in boxes]),
        high=floats([b[1] for b in boxes]),
        centre=floats([m.centre or nowhere for m in moves]),
        plane=np.array([m.plane for m in moves], dtype=np.int64),
        tool=np.array([m.tool for m in moves], dtype=np.int64),
        corner=np.array([m.corner for m in moves], dtype=float),
        grow=np.array([m.grow for m in moves], dtype=float),
        shadow=np.array([m.shadow for m in moves], dtype=bool),
        upright=np.array([m.upright for m in moves], dtype=bool),
        exact=np.array([m.exact for m in moves], dtype=bool),
        full=np.array([m.full_turn for m in moves], dtype=bool),
    )
