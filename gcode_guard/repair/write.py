"""Writing blocks in the program's own style: how it spells G0, spaces, decimals, case and line ends.

Every coordinate that is put in carries a point with a digit on both sides and no exponent: a control may read `Z22`
in its least increment.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

from ..program.state import Coordinate, State

G0_SPELLED = re.compile(r"(?<![A-Za-z])[Gg]0{1,3}(?![\d.])")
COORDINATE = re.compile(r"[XYZIJKRxyzijkr][ \t]*[+-]?\d*(?:\.(\d*))?")
LOWER = re.compile(r"^[^A-Z(;]*[xyzgf][ \t]*[+-]?[\d.][^A-Z(;]*(?:[(;]|$)")
SPACED = re.compile(r"[\d.][ \t]+[A-Za-z]")
TIGHT = re.compile(r"[A-Za-z][+-]?[\d.]+[A-Za-z][+-]?[\d.]")

STEP = {"G20": Decimal("0.0001"), "G21": Decimal("0.001")}  # the last digit written, by units
DECIMALS = {"G20": 4, "G21": 3}
# What the arithmetic of needed heights may be off by, in mm: not a reason to go up one more digit.
NOISE = Decimal("1e-8")
FINEST = 7  # digits behind the point
STYLED_RUNS = 200  # so many runs are looked at for how the program writes, and every one that is mended


@dataclass(slots=True, frozen=True)
class Style:
    """How the program writes: its G0, the gap between words, decimals, line end."""

    rapid: str = "G0"
    gap: str = " "
    decimals: int = 1
    ending: str = "\n"

    def seen(self, texts: Iterable[tuple[str, str]]) -> Style:
        """The style after some (text, line end) of blocks: what they show, the rest as it was."""
        style, decimals = self, 0
        for text, ending in texts:
            found = G0_SPELLED.search(text)
            if not found and LOWER.search(text):
                style = replace(style, rapid=style.rapid.lower())
            style = replace(style, rapid=found.group() if found else style.rapid, ending=ending or style.ending,
                            gap=" " if SPACED.search(text) else "" if TIGHT.search(text) else style.gap)
            for match in COORDINATE.finditer(text):
                decimals = max(decimals, len(match.group(1) or ""))
        return replace(style, decimals=min(max(decimals, 1), 4)) if decimals else style

    def letter(self, letter: str) -> str:
        return letter.lower() if self.rapid[0] == "g" else letter

    def block(self, *words: str, deleted: bool = False) -> str:
        """A block of G0 with these words, without its line end."""
        return ("/" if deleted else "") + self.gap.join((self.rapid, *words))


def spell_number(value: Decimal, decimals: int) -> str:
    """A number in plain digits, with at least `decimals` (and at least one) behind the point, exact."""
    value = value.normalize() if value else Decimal(0)
    places = max(decimals, 1, -int(value.as_tuple().exponent))
    return f"{value:.{places}f}"


@dataclass(slots=True, frozen=True)
class Pen:
    """Writes words in a style under the units, distance mode and offsets of a state."""

    style: Style
    state: State

    @property
    def incremental(self) -> bool:
        return self.state.distance == "G91"

    def _origin(self, axis: int) -> Decimal:
        return self.state.shift[axis] + self.state.extra[axis]

    def _decimals(self) -> int:
        return min(self.style.decimals, DECIMALS[self.state.units or "G21"])

    def word(self, letter: str, number: Decimal) -> str:
        return self.style.letter(letter) + spell_number(number, self._decimals())

    def _base(self, axis: int, start: Coordinate | None) -> Decimal:
        """From where (mm, bench frame) a word of this axis counts."""
        base = start if self.incremental else self._origin(axis)
        assert isinstance(base, Decimal)
        return base

    def rise(self, to: float, start: Coordinate | None) -> tuple[str, Decimal]:
        """The Z word that goes up to at least `to` (mm, bench frame), and the height that it reaches.

        Rounded up to the last digit written, never down. `start` is where the tool stands, which must be known under
        G91.
        """
        scale, step = self.state.scale(), STEP[self.state.units or "G21"]
        base = self._base(2, start)
        number = (Decimal(repr(float(to))) - base - NOISE) / scale
        number = number.quantize(step, rounding=ROUND_CEILING)
        return self.word("Z", number), base + number * scale

    def highest(self, ceiling: float, start: Coordinate | None) -> tuple[str, Decimal]:
        """The Z word that goes as high as the machine can, rounded down, and the height that it reaches (mm)."""
        scale, step = self.state.scale(), STEP[self.state.units or "G21"]
        base = self._base(2, start)
        number = ((Decimal(repr(float(ceiling))) - base + NOISE) / scale).quantize(step, rounding=ROUND_FLOOR)
        return self.word("Z", number), base + number * scale

    def exactly(self, axis: int, to: Decimal, start: Coordinate | None) -> str:
        """The word that leads an axis exactly to `to` (mm, bench frame) from `start`, which must be known under G91."""
        number = (to - self._base(axis, start)) / self.state.scale()
        return self.word("XYZ"[axis], round(number, FINEST))

    def rapid(self, *words: str, deleted: bool = False) -> str:
        """A block of G0 with these words, without its line end."""
        return self.style.block(*words, deleted=deleted)
