"""The setup file and the parts library as tables of keys with types and limits, in the file's own units.

Only what one key says by itself is judged here; what keys say together is in checks.py. Types are strict:
true is no number, "5" is no number, NaN and infinity are refused, and a key that is not listed is an error.
"""

from __future__ import annotations

from datetime import date
from typing import Any, Literal

from gcode_guard.setup.codes import harmless_code, starting_code
from gcode_guard.setup.table import (
    DATE,
    FLAG,
    TAG_MARK,
    TEXT,
    Table,
    by_word,
    checked,
    collected,
    either,
    exactly,
    listed,
    number,
    one_of,
    optional,
    required,
    whole,
)

LARGEST = 1_000_000.0
"""No bench is a kilometre long; beyond it the sums of the clearance lose their last digits."""
SMALLEST = 0.001
"""A footprint that is smaller, in either unit, is a slip of the pen and not a thing on a table."""

OwnMotion = Literal["none", "z-first", "any"]


def _named(text: str) -> str:
    if not text.strip():
        raise ValueError("must not be empty")
    if any(ord(character) < 32 or 127 <= ord(character) < 160 for character in text):
        raise ValueError("must be one line without control characters")
    return text


def _format_one(version: int) -> int:
    if version != 1:
        raise ValueError("must be 1: this version of gcode-guard reads no other format")
    return version


NUMBER = number(least=-LARGEST, most=LARGEST)
POSITIVE = number(above=0, most=LARGEST)
NOT_NEGATIVE = number(least=0, most=LARGEST)
EXTENT = number(least=SMALLEST, most=LARGEST)
POINT_2 = exactly(2, NUMBER)
POINT_3 = exactly(3, NUMBER)
EXTENT_2 = exactly(2, EXTENT)
POSITIVE_3 = exactly(3, POSITIVE)
NAME = checked(TEXT, _named)
FORMAT_ONE = checked(whole(), _format_one)
TOOL_NUMBER = whole(least=0, most=99_999)
UNITS = one_of("mm", "inch")


class ProgramTable(Table):
    starts_in: list[str] = collected(listed(checked(TEXT, starting_code)), list)
    block_delete: Literal["run", "skip"] | None = optional(one_of("run", "skip"))
    integers: Literal["units", "least-increment"] = optional(one_of("units", "least-increment"), "units")
    harmless: list[str] = collected(listed(checked(TEXT, harmless_code)), list)


class TableTable(Table):
    z: float = required(NUMBER)


class StockTable(Table):
    corner: list[float] = required(POINT_2)
    size: list[float] = required(EXTENT_2)
    top: float = required(NUMBER)
    thickness: float | None = optional(EXTENT)
    thickness_tolerance: float = optional(NOT_NEGATIVE, 0.0)


class ClearanceTable(Table):
    above: float | None = optional(NOT_NEGATIVE)
    beside: float | None = optional(NOT_NEGATIVE)
    tolerance: float | None = optional(NOT_NEGATIVE)


class ReachTable(Table):
    x: list[float] | None = optional(POINT_2)
    y: list[float] | None = optional(POINT_2)
    z: list[float] | None = optional(POINT_2)


def _word_or_point(value: Any) -> str:
    return TAG_MARK + ("word" if isinstance(value, str) else "point")


class MachineTable(Table):
    reach: ReachTable | None = optional(ReachTable.schema())
    reference_tool: int | None = optional(TOOL_NUMBER)
    start: Literal["high"] | list[float] | None = optional(
        either({"#word": one_of("high"), "#point": POINT_3}, _word_or_point))
    home: list[float] | None = optional(POINT_3)
    home2: list[float] | None = optional(POINT_3)
    zero: list[float] | None = optional(POINT_3)
    home_axes: Literal["named", "all", "unknown"] = optional(one_of("named", "all", "unknown"), "unknown")
    rapid_path: Literal["straight", "unknown"] = optional(one_of("straight", "unknown"), "unknown")
    rapid_rate: list[float] | None = optional(POSITIVE_3)
    acceleration: list[float] | None = optional(POSITIVE_3)
    corner_rounding: float | None = optional(NOT_NEGATIVE)
    after_tool_change: Literal["unknown", "high", "same"] = optional(one_of("unknown", "high", "same"), "unknown")
    gantry_bottom: float | None = optional(POSITIVE)
    own_motion: dict[str, OwnMotion] = collected(by_word(one_of("none", "z-first", "any")), dict)


class OffsetsTable(Table):
    bench: str = optional(one_of("G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3"), "G54")
    g54: list[float] | None = optional(POINT_3, alias="G54")
    g55: list[float] | None = optional(POINT_3, alias="G55")
    g56: list[float] | None = optional(POINT_3, alias="G56")
    g57: list[float] | None = optional(POINT_3, alias="G57")
    g58: list[float] | None = optional(POINT_3, alias="G58")
    g59: list[float] | None = optional(POINT_3, alias="G59")
    g59_1: list[float] | None = optional(POINT_3, alias="G59.1")
    g59_2: list[float] | None = optional(POINT_3, alias="G59.2")
    g59_3: list[float] | None = optional(POINT_3, alias="G59.3")

    def origins(self) -> dict[str, list[float]]:
        """The origins that are given, by the name of their offset, in the file's units."""
        origins = ((key.alias, getattr(self, name)) for name, key in self.keys.items())
        return {alias: origin for alias, origin in origins if alias is not None and origin is not None}


class SectionTable(Table):
    diameter: float = required(EXTENT)
    height: float = required(EXTENT)


SECTIONS = listed(SectionTable.schema(), least=1)


class ShoeTable(Table):
    diameter: float = required(EXTENT)
    bottom: float | None = optional(NOT_NEGATIVE)
    rides_at: float | None = optional(NUMBER)
    soft: bool = optional(FLAG, False)


class SpindleTable(Table):
    sections: list[SectionTable] = required(SECTIONS)
    shoe: ShoeTable | None = optional(ShoeTable.schema())


class ToolTable(Table):
    number: int = required(TOOL_NUMBER)
    name: str | None = optional(NAME)
    diameter: float | None = optional(EXTENT)
    length: float | None = optional(EXTENT)
    sections: list[SectionTable] | None = optional(SECTIONS)


class BoxKeys(Table):
    shape: Literal["box"] = required(one_of("box"))
    center: list[float] = required(POINT_2)
    size: list[float] = required(EXTENT_2)
    angle: float = optional(NUMBER, 0.0)


class CylinderKeys(Table):
    shape: Literal["cylinder"] = required(one_of("cylinder"))
    center: list[float] = required(POINT_2)
    diameter: float = required(EXTENT)


class BarKeys(Table):
    shape: Literal["bar"] = required(one_of("bar"))
    from_: list[float] = required(POINT_2, alias="from")
    to: list[float] = required(POINT_2)
    width: float = required(EXTENT)


class OutlineKeys(Table):
    shape: Literal["outline"] = required(one_of("outline"))
    points: list[list[float]] = required(listed(POINT_2, least=3))


ShapeKeys = BoxKeys | CylinderKeys | BarKeys | OutlineKeys


class ObstacleKeys(Table):
    name: str = required(NAME)
    tolerance: float | None = optional(NOT_NEGATIVE)
    sacrificial: bool = optional(FLAG, False)
    measured_on: date | None = optional(DATE)


class ShapedKeys(ObstacleKeys):
    top: float | None = optional(NUMBER)
    height: float | None = optional(POSITIVE)


class BoxObstacle(ShapedKeys, BoxKeys):
    pass


class CylinderObstacle(ShapedKeys, CylinderKeys):
    pass


class BarObstacle(ShapedKeys, BarKeys):
    pass


class OutlineObstacle(ShapedKeys, OutlineKeys):
    pass


class PartObstacle(ObstacleKeys):
    part: str = required(NAME)
    at: list[float] = required(POINT_2)
    angle: float = optional(NUMBER, 0.0)


ShapedObstacle = BoxObstacle | CylinderObstacle | BarObstacle | OutlineObstacle
SHAPES = ("box", "cylinder", "bar", "outline")


def _kind_of_obstacle(value: Any) -> str | None:
    if isinstance(value, dict) and "part" in value:
        return TAG_MARK + "part"
    return _kind_of_shape(value)


def _kind_of_shape(value: Any) -> str | None:
    shape = value.get("shape") if isinstance(value, dict) else None
    return TAG_MARK + shape if isinstance(shape, str) and shape in SHAPES else None


OBSTACLE = either({"#box": BoxObstacle.schema(), "#cylinder": CylinderObstacle.schema(), "#bar": BarObstacle.schema(),
                   "#outline": OutlineObstacle.schema(), "#part": PartObstacle.schema()}, _kind_of_obstacle)


class SolidKeys(Table):
    height: float = required(POSITIVE)


class BoxSolid(SolidKeys, BoxKeys):
    pass


class CylinderSolid(SolidKeys, CylinderKeys):
    pass


class BarSolid(SolidKeys, BarKeys):
    pass


class OutlineSolid(SolidKeys, OutlineKeys):
    pass


Solid = BoxSolid | CylinderSolid | BarSolid | OutlineSolid
SOLID = either({"#box": BoxSolid.schema(), "#cylinder": CylinderSolid.schema(), "#bar": BarSolid.schema(),
                "#outline": OutlineSolid.schema()}, _kind_of_shape)


class PartTable(Table):
    name: str = required(NAME)
    solids: list[Solid] = required(listed(SOLID, least=1))


class PartsFile(Table):
    """A parts library."""

    format: int = required(FORMAT_ONE)
    units: Literal["mm", "inch"] = required(UNITS)
    parts: list[PartTable] = required(listed(PartTable.schema()))


class PartsTable(Table):
    files: list[str] = collected(listed(NAME), list)


class RepairTable(Table):
    air_feeds: bool = optional(FLAG, False)
    detour: Literal["when-needed", "when-faster"] = optional(one_of("when-needed", "when-faster"), "when-needed")


class SetupFile(Table):
    """A setup file."""

    format: int = required(FORMAT_ONE)
    units: Literal["mm", "inch"] = required(UNITS)
    measured_on: date | None = optional(DATE)
    program: ProgramTable = collected(ProgramTable.schema(), ProgramTable.bare)
    table: TableTable | None = optional(TableTable.schema())
    stock: StockTable | None = optional(StockTable.schema())
    clearance: ClearanceTable = collected(ClearanceTable.schema(), ClearanceTable.bare)
    machine: MachineTable = collected(MachineTable.schema(), MachineTable.bare)
    offsets: OffsetsTable = collected(OffsetsTable.schema(), OffsetsTable.bare)
    spindle: SpindleTable | None = optional(SpindleTable.schema())
    tools: list[ToolTable] = collected(listed(ToolTable.schema()), list)
    obstacles: list[ShapedObstacle | PartObstacle] = collected(listed(OBSTACLE), list)
    parts: PartsTable = collected(PartsTable.schema(), PartsTable.bare)
    repair: RepairTable = collected(RepairTable.schema(), RepairTable.bare)
