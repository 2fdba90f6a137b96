"""What the control has in force, and what is known of where the tool tip stands.

A coordinate is a `Decimal` (millimetres, bench frame) where it is known, else a `Span`: the interval in which it is
known to lie. "High" is the span from infinity on: above everything on the table.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields
from decimal import Decimal
from operator import attrgetter
from typing import NamedTuple

from ..lengths import Units
from .expression import Parameters

INCH = Decimal("25.4")  # exactly, by definition of the international inch (1959)


class Span(NamedTuple):
    """An interval of millimetres in which a coordinate lies that is not known."""

    low: float
    high: float


Coordinate = Decimal | Span
Position = tuple[Coordinate, Coordinate, Coordinate]

ANYWHERE = Span(-math.inf, math.inf)
HIGH = Span(math.inf, math.inf)
NOWHERE_KNOWN: Position = (ANYWHERE, ANYWHERE, ANYWHERE)


def known(coordinate: Coordinate) -> bool:
    return not isinstance(coordinate, Span)


def known_in_plan(position: Position) -> bool:
    """Whether X and Y are known."""
    return known(position[0]) and known(position[1])


def all_known(position: Position) -> bool:
    """Whether X, Y and Z are known."""
    return known_in_plan(position) and known(position[2])


def bounds(coordinate: Coordinate) -> tuple[float, float]:
    """The lowest and the highest value that a coordinate may have, in millimetres."""
    if isinstance(coordinate, Span):
        return coordinate
    value = float(coordinate)
    return value, value


def moved(coordinate: Coordinate, by: Decimal) -> Coordinate:
    """A coordinate after an increment. Down from "high" is an unknown height: how high it was is not known."""
    if not isinstance(coordinate, Span):
        return coordinate + by
    if coordinate.low == math.inf and by < 0:
        return ANYWHERE
    return Span(coordinate.low + float(by), coordinate.high + float(by))


def either(a: Coordinate, b: Coordinate) -> Coordinate:
    """A coordinate that is `a` or `b`: known where they are the same, else taken as not known at all."""
    return a if a == b else ANYWHERE


ANY_TOOL = -1  # the tool in the spindle is one of the setup's, and not known which
NO_TOOL = -2  # nothing is known: a move under it is refused


@dataclass(slots=True, frozen=True)
class ToolFacts:
    """What the interpreter needs of a tool: the radius of its widest cutting section, and how much lower its tip
    hangs than the reference tool's (None where the setup does not say)."""

    radius: Decimal
    drop: Decimal | None


@dataclass(slots=True, frozen=True)
class Rules:
    """What the reading of a program depends on besides the program: the facts of the setup, in millimetres.

    `shifts` gives for each work offset the position of its origin in the bench frame; `start`, `home`, `home2` and
    `zero` likewise. `uses_length` and `lone_tool` are facts about the whole program, found before the first block.
    """

    starts_in: tuple[str, ...] = ("G21", "G90", "G17", "G91.1", "G94")
    block_delete: str | None = None
    least_increment: bool = False
    harmless: frozenset[str] = frozenset()
    bench: str = "G54"
    shifts: dict[str, tuple[Decimal, Decimal, Decimal]] = field(default_factory=dict)
    start: Position = NOWHERE_KNOWN
    home: Position = (ANYWHERE, ANYWHERE, HIGH)
    home2: Position = (ANYWHERE, ANYWHERE, HIGH)
    home_axes: str = "unknown"
    zero: tuple[Decimal, Decimal, Decimal] | None = None
    after_tool_change: str = "unknown"
    corner_rounding: float = 1.0
    corner_rounding_given: bool = False
    tools: dict[int, ToolFacts] | None = None
    first_tool: int = ANY_TOOL
    uses_length: bool = False
    tool_words_change: bool = True
    units: Units = "mm"
    """In which lengths of the bench are told."""


@dataclass(slots=True, frozen=True)
class Cycle:
    """The sticky words of the canned cycle in force, as written (units and distance mode in force), and the
    initial level: where the depth axis stood before this series of cycles (NISTIR 6556, section 3.5.16)."""

    code: str
    depth: Decimal
    level: Decimal
    dwell: Decimal | None
    peck: Decimal | None
    initial: Coordinate


@dataclass(slots=True)
class State:
    """Everything in force between two blocks. Copied cheaply with `copy`.

    From G41 or G42 on the tool may stand up to `grow` beside the path; after G40 it still does so in the axes `beside`,
    until each is given absolutely. `closing` is True until the first move after G40.
    """

    position: Position
    units: str | None = None
    distance: str | None = None
    motion: str | None = None
    plane: str | None = None
    centres: str = "G91.1"
    centres_said: bool = False
    feed_mode: str = "G94"
    feed_mode_said: bool = False
    feed: Decimal | None = None
    offset: str = "G54"
    shift: tuple[Decimal, Decimal, Decimal] = (Decimal(0), Decimal(0), Decimal(0))
    shifts: dict[str, tuple[Decimal, Decimal, Decimal]] = field(default_factory=dict)
    extra: tuple[Decimal, Decimal, Decimal] = (Decimal(0), Decimal(0), Decimal(0))
    saved_extra: tuple[Decimal, Decimal, Decimal] | None = None
    tool: int = ANY_TOOL
    selected: int | None = None
    length_on: bool = False
    length_known: bool = True
    changed_tool: bool = False
    compensation: str = "G40"
    grow: float = 0.0
    closing: bool = False
    beside: frozenset[int] = frozenset()
    spindle: str | None = None
    path: str | None = None
    corner: float = 1.0
    retract: str = "G98"
    retract_said: bool = False
    cycle: Cycle | None = None
    stale: str = ""
    home: Position = NOWHERE_KNOWN
    home2: Position = NOWHERE_KNOWN
    home_made: int | None = None
    home2_made: int | None = None
    parameters: Parameters = field(default_factory=dict)
    lost: bool = False
    ended: bool = False
    left: tuple[Decimal, Decimal] | None = None

    def __copy__(self) -> State:
        return State(*_FIELDS(self))

    def scale(self) -> Decimal:
        """Millimetres in one unit of length."""
        return INCH if self.units == "G20" else Decimal(1)


_FIELDS = attrgetter(*(entry.name for entry in fields(State)))  # read all at once: a state is copied for every block
