"""Numbers, lengths and places in words, in the units of the setup file."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from gcode_guard.lengths import UNIT_WORD, Units
from gcode_guard.setup.errors import printable
from gcode_guard.setup.model import MM_PER_UNIT, exact

if TYPE_CHECKING:
    from gcode_guard.setup.schema import ObstacleKeys

ABOVE_CUTTER = "the collet nut, the spindle and the dust shoe"
NEVER_CHECKED = "the gantry's beam, the Z plate, hoses and cables"

_DECIMALS: dict[Units, Decimal] = {"mm": Decimal("0.0001"), "inch": Decimal("0.00001")}


def number(value: float) -> str:
    """A number as a person writes it: no exponent, no trailing zeros, no negative zero."""
    text = f"{exact(value):f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def in_units(length_mm: float, units: Units) -> str:
    """A length in mm as a number in `units`: to 0.0001 mm or 0.00001 in."""
    return number(float((exact(length_mm) / MM_PER_UNIT[units]).quantize(_DECIMALS[units])))


def length(length_mm: float, units: Units) -> str:
    """A length in mm with its unit, in `units`: "9.525 mm" is "0.375 in"."""
    return f"{in_units(length_mm, units)} {UNIT_WORD[units]}"


def point(coordinates_mm: Sequence[float], units: Units) -> str:
    """A point in mm as "(10, 20.5) mm", in `units`."""
    return f"({', '.join(in_units(coordinate, units) for coordinate in coordinates_mm)}) {UNIT_WORD[units]}"


def place_words(keys: ObstacleKeys, units: Units) -> str:
    """Shape and place of an obstacle as it stands in a setup file in `units`."""
    given: Any = keys
    unit = UNIT_WORD[units]

    def at(coordinates: Sequence[float]) -> str:
        return f"({', '.join(number(coordinate) for coordinate in coordinates)})"

    shape = getattr(keys, "shape", None)
    if shape == "box":
        length_and_width = " x ".join(number(side) for side in given.size)
        return f"box {length_and_width} {unit}, centre {at(given.center)}{_turned(given.angle)}"
    if shape == "cylinder":
        return f"cylinder {number(given.diameter)} {unit} across, centre {at(given.center)}"
    if shape == "bar":
        return f"bar {number(given.width)} {unit} wide, from {at(given.from_)} to {at(given.to)}"
    if shape == "outline":
        return f"outline of {len(given.points)} points from {at(given.points[0])}"
    return f'part "{printable(given.part)}" at {at(given.at)}{_turned(given.angle)}'


def _turned(angle: float) -> str:
    return f", turned {number(angle)} degrees" if angle else ""
