"""The setup file and the parts library as tables of keys with types and limits, in the file's own units.

Only what one key says by itself is judged here; what keys say together is in checks.py. Types are strict:
true is no number, "5" is no number, NaN and infinity are refused, and a key that is not listed is an error.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Discriminator, Field, Tag

from gcode_guard.setup.codes import harmless_code, starting_code

LARGEST = 1_000_000.0
"""No bench is a kilometre long; beyond it the sums of the clearance lose their last digits."""
SMALLEST = 0.001
"""A footprint that is smaller, in either unit, is a slip of the pen and not a thing on a table."""

TAG_MARK = "#"
"""Tags of alternatives begin with this, so that they can be told from keys in the place of an error."""


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


def _exactly(count: int) -> AfterValidator:
    def counted(values: list[float]) -> list[float]:
        if len(values) != count:
            raise ValueError(f"must have exactly {count} numbers, has {len(values)}")
        return values

    return AfterValidator(counted)


Number = Annotated[float, Field(ge=-LARGEST, le=LARGEST)]
Positive = Annotated[float, Field(gt=0, le=LARGEST)]
NotNegative = Annotated[float, Field(ge=0, le=LARGEST)]
Extent = Annotated[float, Field(ge=SMALLEST, le=LARGEST)]
Point2 = Annotated[list[Number], _exactly(2)]
Point3 = Annotated[list[Number], _exactly(3)]
Extent2 = Annotated[list[Extent], _exactly(2)]
Positive3 = Annotated[list[Positive], _exactly(3)]
Points = Annotated[list[Point2], Field(min_length=3)]
Name = Annotated[str, AfterValidator(_named)]
StartingCode = Annotated[str, AfterValidator(starting_code)]
HarmlessCode = Annotated[str, AfterValidator(harmless_code)]
FormatOne = Annotated[int, AfterValidator(_format_one)]
ToolNumber = Annotated[int, Field(ge=0, le=99_999)]
UnitsWord = Literal["mm", "inch"]
OwnMotion = Literal["none", "z-first", "any"]
OffsetWord = Literal["G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3"]


class Table(BaseModel):
    """A TOML table: nothing but its own keys, no value bent into a type."""

    # Built when it is first used, and what stands within another one only there: that takes half as long to start.
    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True, populate_by_name=False,
                              defer_build=True)


class ProgramTable(Table):
    starts_in: list[StartingCode] = []
    block_delete: Literal["run", "skip"] | None = None
    integers: Literal["units", "least-increment"] = "units"
    harmless: list[HarmlessCode] = []


class TableTable(Table):
    z: Number


class StockTable(Table):
    corner: Point2
    size: Extent2
    top: Number
    thickness: Extent | None = None
    thickness_tolerance: NotNegative = 0.0


class ClearanceTable(Table):
    above: NotNegative | None = None
    beside: NotNegative | None = None
    tolerance: NotNegative | None = None


class ReachTable(Table):
    x: Point2 | None = None
    y: Point2 | None = None
    z: Point2 | None = None


def _word_or_point(value: Any) -> str:
    return TAG_MARK + ("word" if isinstance(value, str) else "point")


class MachineTable(Table):
    reach: ReachTable | None = None
    reference_tool: ToolNumber | None = None
    start: (
        Annotated[
            Annotated[Literal["high"], Tag(TAG_MARK + "word")] | Annotated[Point3, Tag(TAG_MARK + "point")],
            Discriminator(_word_or_point),
        ]
        | None
    ) = None
    home: Point3 | None = None
    home2: Point3 | None = None
    zero: Point3 | None = None
    home_axes: Literal["named", "all", "unknown"] = "unknown"
    rapid_path: Literal["straight", "unknown"] = "unknown"
    rapid_rate: Positive3 | None = None
    acceleration: Positive3 | None = None
    corner_rounding: NotNegative | None = None
    after_tool_change: Literal["unknown", "high", "same"] = "unknown"
    gantry_bottom: Positive | None = None
    own_motion: dict[str, OwnMotion] = {}


class OffsetsTable(Table):
    bench: OffsetWord = "G54"
    g54: Point3 | None = Field(None, alias="G54")
    g55: Point3 | None = Field(None, alias="G55")
    g56: Point3 | None = Field(None, alias="G56")
    g57: Point3 | None = Field(None, alias="G57")
    g58: Point3 | None = Field(None, alias="G58")
    g59: Point3 | None = Field(None, alias="G59")
    g59_1: Point3 | None = Field(None, alias="G59.1")
    g59_2: Point3 | None = Field(None, alias="G59.2")
    g59_3: Point3 | None = Field(None, alias="G59.3")

    def origins(self) -> dict[str, list[float]]:
        """The origins that are given, by the name of their offset, in the file's units."""
        given = ((field.alias, getattr(self, name)) for name, field in type(self).model_fields.items())
        return {alias: origin for alias, origin in given if alias is not None and origin is not None}


class SectionTable(Table):
    diameter: Extent
    height: Extent


Sections = Annotated[list[SectionTable], Field(min_length=1)]


class ShoeTable(Table):
    diameter: Extent
    bottom: NotNegative | None = None
    rides_at: Number | None = None
    soft: bool = False


class SpindleTable(Table):
    sections: Sections
    shoe: ShoeTable | None = None


class ToolTable(Table):
    number: ToolNumber
    name: Name | None = None
    diameter: Extent | None = None
    length: Extent | None = None
    sections: Sections | None = None


class BoxKeys(Table):
    shape: Literal["box"]
    center: Point2
    size: Extent2
    angle: Number = 0.0


class CylinderKeys(Table):
    shape: Literal["cylinder"]
    center: Point2
    diameter: Extent


class BarKeys(Table):
    shape: Literal["bar"]
    from_: Point2 = Field(alias="from")
    to: Point2
    width: Extent


class OutlineKeys(Table):
    shape: Literal["outline"]
    points: Points


ShapeKeys = BoxKeys | CylinderKeys | BarKeys | OutlineKeys


class ObstacleKeys(Table):
    name: Name
    tolerance: NotNegative | None = None
    sacrificial: bool = False
    measured_on: date | None = None


class ShapedKeys(ObstacleKeys):
    top: Number | None = None
    height: Positive | None = None


class BoxObstacle(ShapedKeys, BoxKeys):
    pass


class CylinderObstacle(ShapedKeys, CylinderKeys):
    pass


class BarObstacle(ShapedKeys, BarKeys):
    pass


class OutlineObstacle(ShapedKeys, OutlineKeys):
    pass


class PartObstacle(ObstacleKeys):
    part: Name
    at: Point2
    angle: Number = 0.0


ShapedObstacle = BoxObstacle | CylinderObstacle | BarObstacle | OutlineObstacle
SHAPES = ("box", "cylinder", "bar", "outline")


def _kind_of_obstacle(value: Any) -> str | None:
    if isinstance(value, dict) and "part" in value:
        return TAG_MARK + "part"
    return _kind_of_shape(value)


def _kind_of_shape(value: Any) -> str | None:
    shape = value.get("shape") if isinstance(value, dict) else None
    return TAG_MARK + shape if isinstance(shape, str) and shape in SHAPES else None


ObstacleTable = Annotated[
    Annotated[BoxObstacle, Tag("#box")]
    | Annotated[CylinderObstacle, Tag("#cylinder")]
    | Annotated[BarObstacle, Tag("#bar")]
    | Annotated[OutlineObstacle, Tag("#outline")]
    | Annotated[PartObstacle, Tag("#part")],
    Discriminator(_kind_of_obstacle),
]


class SolidKeys(Table):
    height: Positive


class BoxSolid(SolidKeys, BoxKeys):
    pass


class CylinderSolid(SolidKeys, CylinderKeys):
    pass


class BarSolid(SolidKeys, BarKeys):
    pass


class OutlineSolid(SolidKeys, OutlineKeys):
    pass


SolidTable = Annotated[
    Annotated[BoxSolid, Tag("#box")]
    | Annotated[CylinderSolid, Tag("#cylinder")]
    | Annotated[BarSolid, Tag("#bar")]
    | Annotated[OutlineSolid, Tag("#outline")],
    Discriminator(_kind_of_shape),
]


class PartTable(Table):
    name: Name
    solids: Annotated[list[SolidTable], Field(min_length=1)]


class PartsFile(Table):
    """A parts library."""

    format: FormatOne
    units: UnitsWord
    parts: list[PartTable]


class PartsTable(Table):
    files: list[Name] = []


class RepairTable(Table):
    air_feeds: bool = False
    detour: Literal["when-needed", "when-faster"] = "when-needed"


class SetupFile(Table):
    """A setup file."""

    format: FormatOne
    units: UnitsWord
    measured_on: date | None = None
    program: ProgramTable = Field(default_factory=ProgramTable.model_construct)
    table: TableTable | None = None
    stock: StockTable | None = None
    clearance: ClearanceTable = Field(default_factory=ClearanceTable.model_construct)
    machine: MachineTable = Field(default_factory=MachineTable.model_construct)
    offsets: OffsetsTable = Field(default_factory=OffsetsTable.model_construct)
    spindle: SpindleTable | None = None
    tools: list[ToolTable] = []
    obstacles: list[ObstacleTable] = []
    parts: PartsTable = Field(default_factory=PartsTable.model_construct)
    repair: RepairTable = Field(default_factory=RepairTable.model_construct)
