"""What a setup file says, once it is understood: plain frozen records, every length in mm.

Coordinates are in the bench frame, heights are absolute Z unless a field says otherwise, angles are gone
(footprints are stored as turned outlines). Dictionaries are not to be changed by those who read them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Literal

from gcode_guard.lengths import Units

Point2 = tuple[float, float]
Point3 = tuple[float, float, float]
OwnMotion = Literal["none", "z-first", "any"]
Section = tuple[float, float]
"""A cylinder of a stack: (diameter, height), both mm; the height of the last one of a stack is not a limit."""

OFFSET_NAMES = ("G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3")

MM_PER_UNIT: dict[Units, Decimal] = {"mm": Decimal(1), "inch": Decimal("25.4")}
"""Exact: an inch is 25.4 mm by definition (NIST SP 811, appendix B)."""


@dataclass(frozen=True, slots=True)
class ProgramRules:
    """`[program]`: what the control does with a program."""

    starts_in: tuple[str, ...] = ()
    """Codes in force when a program starts, upper case without leading zeros: "G21", "F1200"."""
    block_delete: Literal["run", "skip"] | None = None
    integers: Literal["units", "least-increment"] = "units"
    harmless: frozenset[str] = frozenset()
    """Codes that move nothing, upper case without leading zeros: "M101"."""


@dataclass(frozen=True, slots=True)
class Stock:
    """`[stock]`: the material, an upright block whose lower left corner, seen from above, is `corner`."""

    corner: Point2
    size: Point2
    top: float
    thickness: float | None = None
    thickness_tolerance: float = 0.0


@dataclass(frozen=True, slots=True)
class Clearance:
    """`[clearance]`: how far rapids stay away from obstacles; `tolerance` is the default one of an obstacle."""

    above: float = 3.0
    beside: float = 3.0
    tolerance: float = 1.0


@dataclass(frozen=True, slots=True)
class Machine:
    """`[machine]`: how the machine moves. Rates in mm a minute, accelerations in mm a second squared."""

    reach: dict[str, tuple[float, float]] | None = None
    """Travel of the tip by axis, keys among "x", "y", "z": (lowest, highest). None: not given."""
    reference_tool: int | None = None
    start: Literal["high"] | Point3 | None = None
    home: Point3 | None = None
    home2: Point3 | None = None
    zero: Point3 | None = None
    home_axes: Literal["named", "all", "unknown"] = "unknown"
    rapid_path: Literal["straight", "unknown"] = "unknown"
    rapid_rate: Point3 | None = None
    acceleration: Point3 | None = None
    corner_rounding: float = 1.0
    corner_rounding_given: bool = False
    after_tool_change: Literal["unknown", "high", "same"] = "unknown"
    gantry_bottom: float | None = None
    """Lowest part of the gantry, measured up from the table."""
    own_motion: dict[str, OwnMotion] = field(default_factory=lambda: {"M6": "z-first"})
    """What the machine does by itself on a code ("M6", "M30"); M6 is always there, by default as "z-first"."""


@dataclass(frozen=True, slots=True)
class Offsets:
    """`[offsets]`: origins of the work offsets in one common frame. With any origin, that of `bench` is there."""

    bench: str = "G54"
    origins: dict[str, Point3] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Shoe:
    """A dust shoe. Exactly one of `bottom` (how far it hangs below the collet face) and `rides_at` (fixed Z)."""

    diameter: float
    bottom: float | None = None
    soft: bool = False
    rides_at: float | None = None


@dataclass(frozen=True, slots=True)
class Spindle:
    """`[spindle]`: the stack above every tool, from the collet face up; the last section goes on upward."""

    sections: tuple[Section, ...]
    shoe: Shoe | None = None


@dataclass(frozen=True, slots=True)
class Tool:
    """One of `[[tools]]`.

    `sections` is never empty: from the tip up, the last one goes on to the collet face (`length` above the
    tip), or upward without end where `length` is None. A tool given by `diameter` has one section.
    `diameter` is that of the widest section.
    """

    number: int
    name: str
    diameter: float
    length: float | None
    sections: tuple[Section, ...]


@dataclass(frozen=True, slots=True)
class Piece:
    """A convex polygon (counter-clockwise, one to many vertices) grown by a radius."""

    vertices: tuple[Point2, ...]
    radius: float


@dataclass(frozen=True, slots=True)
class Solid:
    """An upright solid: the union of its `pieces` seen from above, from below up to `top`.

    `outline` and `radius` are the exact footprint for drawing: the outline grown by the radius (one vertex for
    a cylinder, two for a bar). `tolerance` is how wrong footprint and top may be.
    """

    shape: Literal["box", "cylinder", "bar", "outline"]
    pieces: tuple[Piece, ...]
    top: float
    tolerance: float
    outline: tuple[Point2, ...]
    radius: float


@dataclass(frozen=True, slots=True)
class Obstacle:
    """One of `[[obstacles]]`; a placed part has as many solids as the part."""

    name: str
    solids: tuple[Solid, ...]
    sacrificial: bool = False
    shape_text: str = ""
    """Shape and place in words, in the units of the setup file."""
    measured_on: date | None = None

    @property
    def top(self) -> float:
        """Z of the highest solid, mm, without tolerance."""
        return max(solid.top for solid in self.solids)


@dataclass(frozen=True, slots=True)
class RepairRules:
    """`[repair]`: what a repair may do beyond lifting rapids."""

    air_feeds: bool = False
    detour: Literal["when-needed", "when-faster"] = "when-needed"


@dataclass(frozen=True, slots=True)
class Setup:
    """A whole setup file. `sha256` is over the bytes of `files`: the setup, then its parts libraries in order."""

    path: Path
    units: Units
    sha256: str
    files: tuple[Path, ...]
    program: ProgramRules
    table_z: float | None
    """The table's surface: as given, else the stock's top less its thickness, else None."""
    stock: Stock | None
    clearance: Clearance
    machine: Machine
    offsets: Offsets
    spindle: Spindle | None
    tools: dict[int, Tool]
    obstacles: tuple[Obstacle, ...]
    repair: RepairRules
    measured_on: date | None = None

    def cutter_only(self, number: int) -> bool:
        """Whether nothing above tool `number` is modelled: it has no length or the setup has no spindle."""
        return self.spindle is None or self.tools[number].length is None

    def bare_tools(self, used: Iterable[int] | None = None) -> list[int]:
        """The tools above which nothing is modelled, of those that are `used` or of all."""
        return [number for number in (self.tools if used is None else used)
                if number in self.tools and self.cutter_only(number)]


def exact(value: float) -> Decimal:
    """The shortest decimal that reads back as `value`: what a person wrote, not its binary neighbour."""
    return Decimal(repr(float(value)))


def to_mm(value: float, units: Units) -> float:
    """A length in `units` as mm, correctly rounded from the decimal that was written."""
    return float(exact(value) * MM_PER_UNIT[units])


def total(*values: float) -> float:
    """Sum of lengths without the noise of binary fractions, so that 0.1 + 0.2 is 0.3 and no lift is rounded up."""
    return float(sum(exact(value) for value in values))


def stacked(sections: tuple[Section, ...], base: float = 0.0) -> tuple[tuple[float, float], ...]:
    """(height at which each section begins, its diameter), mm, for a stack that begins at `base`."""
    levels = []
    height = base
    for diameter, thickness in sections:
        levels.append((height, diameter))
        height = total(height, thickness) if math.isfinite(thickness) else math.inf
    return tuple(levels)
