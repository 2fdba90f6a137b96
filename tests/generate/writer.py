"""Writes blocks in one hand: spacing, case, numbers, line ends, modal habits, absolute or incremental.

The writer keeps the true position, in bench mm and exactly, so that every number it writes is consistent with the
ones before: coordinates are first rounded to the hand's decimals, then written.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any

INCH = Decimal("25.4")
Coordinate = float | Decimal | None


@dataclass(frozen=True)
class Style:
    """A hand: how one post or one person writes programs."""

    name: str
    inch: bool = False
    incremental: bool = False
    tight: bool = False
    lower: bool = False
    line_end: str = "\n"
    last_line_end: bool = True
    line_numbers: int = 0
    two_digits: bool = False
    bare: bool = True
    numbers: str = "fixed"
    approach: str = "own"
    retract: str = "own"
    cycles: str | None = None
    arcs: str = "ij"
    tool_change: bool = False
    tool_length: bool = False
    percent: bool = False
    comments: str | None = "paren"
    first_block_full: bool = False
    expressions: bool = False
    ending: str = "M30"
    traverse: str = "rapid"

    def but(self, **changes: Any) -> Style:
        return replace(self, **changes)


class Writer:
    """`body` receives the blocks; the position is that of the tip in bench mm, None where it is not known."""

    def __init__(self, style: Style, start: tuple[Coordinate, Coordinate, Coordinate]) -> None:
        self.style = style
        self.lines: list[str] = []
        self.position: list[Decimal | None] = [None if v is None else Decimal(str(v)) for v in start]
        self.origin = [Decimal(0), Decimal(0), Decimal(0)]
        self.incremental = False
        self.motion: str | None = None
        self.feed: str | None = None
        self.parameter = 0

    @property
    def scale(self) -> Decimal:
        return INCH if self.style.inch else Decimal(1)

    @property
    def grid(self) -> Decimal:
        return Decimal("0.0001") if self.style.inch else Decimal("0.001")

    def block(self, *words: str, comment: str | None = None) -> None:
        """Write one block of words that need no more thought; `comment` goes behind it."""
        style = self.style
        text = ("" if style.tight else " ").join(word for word in words if word)
        if style.lower:
            text = text.lower()
        if style.line_numbers and text:
            number = (len(self.lines) + 1) * style.line_numbers
            text = f"N{number}" + ("" if style.tight else " ") + text
        if comment and style.comments == "paren":
            text = f"{text} ({comment})" if text else f"({comment})"
        elif comment and style.comments == "semicolon":
            text = f"{text} ; {comment}" if text else f"; {comment}"
        if text:
            self.lines.append(text)

    def rounded(self, millimetres: Coordinate, axis: int | None = None) -> Decimal:
        """A length, or a coordinate of an axis, in the program's units and decimals."""
        value = Decimal(str(millimetres))
        if axis is not None:
            value -= self.origin[axis]
        return (value / self.scale).quantize(self.grid, ROUND_HALF_EVEN)

    def number(self, value: Decimal) -> str:
        if value == 0:
            value = abs(value)
        text = f"{value:.4f}" if self.style.inch else f"{value:.3f}"
        if self.style.numbers == "fixed":
            return text
        text = text.rstrip("0")
        if self.style.numbers == "point":
            return text
        if self.style.numbers == "digit":
            return text + "0" if text.endswith(".") else text
        text = text.rstrip(".")
        if text.startswith("0."):
            return text[1:]
        return "-" + text[2:] if text.startswith("-0.") else text

    def word(self, letter: str, value: Decimal) -> str:
        """A word; a hand that uses expressions writes every third of them as one."""
        self.parameter += 1
        if self.style.expressions and letter in "XYZ" and self.parameter % 3 == 0:
            half = (value / 3).quantize(self.grid, ROUND_HALF_EVEN)
            name = f"#{100 + self.parameter % 40}"
            self.block(f"{name}={self.number(half)}")
            return f"{letter}[{name} + {self.number(value - half)}]".replace("+ -", "- ")
        return letter + self.number(value)

    def axis_words(self, x: Coordinate = None, y: Coordinate = None, z: Coordinate = None) -> list[str]:
        """The words of a move to a place in bench mm, and the move itself."""
        words = []
        for axis, place in enumerate((x, y, z)):
            if place is None:
                continue
            here = self.position[axis]
            value = self.rounded(place, axis)
            end = value * self.scale + self.origin[axis]
            if self.incremental:
                if here is None:
                    raise ValueError("an increment from nowhere")
                value = ((end - here) / self.scale).quantize(self.grid, ROUND_HALF_EVEN)
                end = here + value * self.scale
            if here == end and (self.incremental or self.style.bare):
                continue
            words.append(self.word("XYZ"[axis], value))
            self.position[axis] = end
        return words

    def code(self, number: int) -> str:
        return f"G{number:02d}" if self.style.two_digits else f"G{number}"

    def motion_word(self, number: int) -> str:
        code = self.code(number)
        if self.style.bare and self.motion == code:
            return ""
        self.motion = code
        return code

    def rapid(self, x: Coordinate = None, y: Coordinate = None, z: Coordinate = None, *more: str) -> None:
        words = self.axis_words(x, y, z)
        if words or more:
            self.block(self.motion_word(0), *words, *more)

    def cut(self, x: Coordinate = None, y: Coordinate = None, z: Coordinate = None, feed: float | None = None) -> None:
        words = self.axis_words(x, y, z)
        if words:
            self.block(self.motion_word(1), *words, self.feed_word(feed))

    def feed_word(self, feed: float | None) -> str:
        """F in the program's units a minute, only where it changes."""
        if feed is None:
            return ""
        text = f"F{feed / 25.4:.1f}" if self.style.inch else f"F{feed:g}"
        if text == self.feed:
            return ""
        self.feed = text
        return text

    def arc(self, clockwise: bool, centre: tuple[Decimal, Decimal], end: list[Coordinate], plane: int = 17) -> None:
        """To `end` about a centre in the plane's two axes (bench mm, both on the grid of the hand)."""
        axes = {17: (0, 1), 18: (0, 2), 19: (1, 2)}[plane]
        start = list(self.position)
        # An end so near that the increments to it are written as zeros is a full turn.
        nearest = self.grid * self.scale / 2 if self.incremental else Decimal(0)
        full = all(abs(Decimal(str(end[axis])) - (start[axis] or 0)) <= nearest for axis in axes)
        words = self.axis_words(*end)
        radius_form = self.style.arcs == "r" and not full
        if radius_form:
            first, second = (Decimal(str(centre[i])) - (start[axis] or 0) for i, axis in enumerate(axes))
            radius = (first * first + second * second).sqrt() / self.scale
            words.append("R" + self.number(radius.quantize(self.grid)))
        else:
            for letter, axis, place in zip(("IJK"[axes[0]], "IJK"[axes[1]]), axes, centre, strict=True):
                if self.style.arcs == "absolute":
                    words.append(letter + self.number(self.rounded(place, axis)))
                else:
                    words.append(letter + self.number(((place - (start[axis] or 0)) / self.scale).quantize(self.grid)))
        self.block(self.motion_word(2 if clockwise else 3), *words)

    def distance(self, incremental: bool) -> None:
        if incremental != self.incremental:
            self.incremental = incremental
            self.block("G91" if incremental else "G90")

    def forget(self, height: Coordinate = None, keep_xy: bool = False) -> None:
        """The position is lost (tool change, homing)."""
        if not keep_xy:
            self.position[:2] = [None, None]
        self.position[2] = None if height is None else Decimal(str(height))

    def data(self) -> bytes:
        end = self.style.line_end
        lines = ["%", *self.lines, "%"] if self.style.percent else self.lines
        return (end.join(lines) + (end if self.style.last_line_end else "")).encode("ascii")
