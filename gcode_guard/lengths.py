"""How a length becomes text for a person: in the units of the setup, or of the program where only that is known.

Inside, every length is in millimetres; nothing but this module and the words of the setup file and the page turns one
into a sentence.
"""

from __future__ import annotations

from math import ceil, isfinite
from typing import Literal

Units = Literal["mm", "inch"]

MM_PER_INCH = 25.4  # exactly, by definition
UNIT_WORD: dict[Units, str] = {"mm": "mm", "inch": "in"}
DECIMALS: dict[Units, int] = {"mm": 3, "inch": 4}  # of a height that is written, and of what is said about it
EXACT: dict[Units, int] = {"mm": 4, "inch": 6}  # decimals that tell apart what counts as different (0.0001 mm)
NOISE = 1e-7  # mm, that the arithmetic may add to a length: no reason to say one digit more


def in_units(millimetres: float, units: Units) -> float:
    """A length in mm as a number of `units`."""
    return millimetres / MM_PER_INCH if units == "inch" else millimetres


def length(millimetres: float, units: Units) -> str:
    """A length to the nearest 0.001 mm or 0.0001 in: `22.5 mm`, `0.8125 in`."""
    return _said(in_units(millimetres, units), units)


def length_up(millimetres: float, units: Units) -> str:
    """A length that must not be said too small, rounded up to 0.001 mm or 0.0001 in."""
    grain = 10 ** DECIMALS[units]
    value = in_units(millimetres - NOISE, units)
    return _said(ceil(value * grain) / grain if isfinite(value) else value, units)


def _said(value: float, units: Units) -> str:
    text = f"{value:.{DECIMALS[units]}f}".rstrip("0").rstrip(".") if isfinite(value) else str(value)
    return f"{'0' if text == '-0' else text} {UNIT_WORD[units]}"


def exactly(millimetres: float, units: Units) -> str:
    """A coordinate without its unit, with as many decimals as make a difference: `12.7000`, `0.500000`."""
    return f"{in_units(millimetres, units) + 0.0:.{EXACT[units]}f}"
