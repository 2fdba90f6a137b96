"""How the walk is written: numbers in the units of the setup, comments in letters that every control shows."""

from __future__ import annotations

from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal
from math import inf

from ..lengths import UNIT_WORD, Units
from ..setup.model import MM_PER_UNIT, exact

LONGEST_COMMENT = 200  # characters; a block may have 256 (NISTIR 6556, section 3.3)
LONGEST_NAME = 40


class Pen:
    """Writes lengths of the bench as the program says them."""

    def __init__(self, units: Units) -> None:
        self.units = units
        self.scale = MM_PER_UNIT[units]
        self.finest = Decimal("0.0001") if units == "inch" else Decimal("0.001")
        self.coarse = Decimal("0.005") if units == "inch" else Decimal("0.1")

    def up(self, millimetres: float) -> float:
        """The next length, mm, from this one upward, that is a round number in the units."""
        return float(self._rounded(millimetres, self.coarse, ROUND_CEILING))

    def nearest(self, millimetres: float, low: float = -inf, high: float = inf) -> float:
        """The nearest length, mm, that can be written and lies between two others."""
        value = self._rounded(millimetres, self.finest, ROUND_HALF_EVEN)
        if float(value) < low:
            value = self._rounded(low, self.finest, ROUND_CEILING)
        if float(value) > high:
            value = self._rounded(high, self.finest, ROUND_FLOOR)
        return float(value)

    def _rounded(self, millimetres: float, grain: Decimal, how: str) -> Decimal:
        return (exact(millimetres) / self.scale / grain).quantize(Decimal(1), rounding=how) * grain * self.scale

    def number(self, millimetres: float) -> str:
        """A length as it stands in the program, always with a point."""
        value = (exact(millimetres) / self.scale).quantize(self.finest)
        return f"{value if value else abs(value):f}"

    def feed(self, millimetres: float) -> str:
        """A feed a minute, as a round number of units."""
        return f"{(exact(millimetres) / self.scale).quantize(Decimal('0.1')):f}"

    def length(self, millimetres: float) -> str:
        """A length in a comment, to a tenth of a millimetre or a hundredth of an inch."""
        places = Decimal("0.01") if self.units == "inch" else Decimal("0.1")
        value = (exact(millimetres) / self.scale).quantize(places, rounding=ROUND_HALF_EVEN)
        return f"{value if value else abs(value):f} {UNIT_WORD[self.units]}"


def brief(name: str) -> str:
    """A name, not so long that it would push the figures out of a comment."""
    return name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 3] + "..."


def comment(text: str) -> str:
    """A comment: one pair of brackets, letters that a control of any age shows, nothing that a control acts on."""
    plain = text.translate(str.maketrans("()[]{};%", "//////,#")).encode("ascii", "replace").decode()
    return f"({''.join(c if ' ' <= c <= '~' else '?' for c in plain)[:LONGEST_COMMENT]})"
