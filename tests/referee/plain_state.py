"""What the machine is in, and the record of what it did."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from .plain_options import HIGH, UNITS, Options
from .plain_words import NotUnderstood, Number, Words

Position = list[Number | None]
AXES = "XYZ"
PLANES = {17: (0, 1, 2), 18: (2, 0, 1), 19: (1, 2, 0)}
"""First axis, second axis and normal of each plane: seen from the end of the normal, the first turns
counter-clockwise to the second (section 3.5.3)."""

DOUBTFUL = -1.0
"""A feed that two controls would read in two units."""


@dataclass
class Move:
    """One motion. Lengths in mm in the bench frame, feed in mm a minute in G94; None where it is not known."""

    line: int
    kind: str
    start: tuple[Number | None, ...]
    end: tuple[Number | None, ...]
    tool: int | None
    centre: tuple[Number | None, ...] | None = None
    plane: int | None = None
    feed: float | None = None
    rounding: float | None = None
    compensated: bool = False
    doubtful: bool = False
    other_reading: bool = False


@dataclass
class Effect:
    """Anything but a motion that the machine does, and where the tool stands when it does it."""

    line: int
    name: str
    value: object
    position: tuple[Number | None, ...]


@dataclass
class State:
    options: Options
    uses_g43: bool = False
    uses_m6: bool = False
    units: str | None = None
    incremental: bool | None = None
    centres_absolute: bool = False
    plane: int | None = None
    motion: float | None = None
    motion_known: bool = False
    feed_mode: int = 94
    feed: float | None = None
    feed_here: bool = False
    spindle: int | None = None
    retract_to_r: bool = False
    rounding: float | None = None
    compensation: bool = False
    ending_compensation: bool = False
    tip_unknown: bool = False
    length_known_no_more: bool = False
    """G43 or M6 has been: from here on G49 leaves the height of the tip unknown."""
    selected: int | None = None
    tool: int | None = None
    offset: str = "G54"
    origins: dict[str, list[Number]] = field(default_factory=dict)
    shift: list[Number] = field(default_factory=lambda: [Fraction(0)] * 3)
    saved_shift: list[Number] = field(default_factory=lambda: [Fraction(0)] * 3)
    position: Position = field(default_factory=lambda: [None, None, None])
    homes: dict[int, tuple[Number | None, ...] | None] = field(default_factory=dict)
    stored_home: dict[int, int | None] = field(default_factory=dict)
    """The tool that stood there when G28.1 or G30.1 stored a place."""
    cycle: dict[str, Number] = field(default_factory=dict)
    cycle_axis: int | None = None
    initial_level: Number | None = None
    parameters: dict[object, Number] = field(default_factory=dict)
    sequence: list[Move | Effect] = field(default_factory=list)

    def fail(self, words: Words, why: str) -> NotUnderstood:
        return NotUnderstood(words.line, why)

    def scale(self, words: Words) -> Fraction:
        if self.units is None:
            raise self.fail(words, "units that are not known")
        return UNITS[self.units]

    def length(self, words: Words, letter: str) -> Number:
        """A length of the block, in mm."""
        return words.values[letter] * self.scale(words)

    def origin(self, axis: int) -> Number:
        """Where the program's zero lies in the bench frame."""
        bench = self.options.origins[self.options.bench]
        return self.origins[self.offset][axis] - bench[axis] + self.shift[axis]

    def target(self, words: Words) -> Position:
        """Where the axis words of the block lead (section 3.5.17: G90, G91)."""
        end = list(self.position)
        for axis in self.axes_in(words):
            if self.incremental is None:
                raise self.fail(words, "G90 or G91 is not known")
            value = self.length(words, AXES[axis])
            here = self.position[axis]
            if axis == 2 and self.tip_unknown and not (self.incremental and here is not None):
                end[2] = None
            elif not self.incremental:
                end[axis] = self.origin(axis) + value
            elif here is None or (here == HIGH and value < 0):
                end[axis] = None
            else:
                end[axis] = here + value
        return end

    def axes_in(self, words: Words) -> list[int]:
        return [axis for axis in range(3) if AXES[axis] in words.values]

    def effect(self, words: Words, name: str, value: object = None) -> None:
        self.sequence.append(Effect(words.line, name, value, tuple(self.position)))

    def go(self, words: Words, kind: str, end: Position, stay: bool = False, other: bool = False) -> None:
        """Record a straight motion and stand at its end."""
        if kind != "rapid":
            self.check_cut(words)
            if any(value is None or value == HIGH for value in end):
                raise self.fail(words, "a cut that ends where the tool is not known to be")
        self.sequence.append(
            Move(
                words.line,
                kind,
                tuple(self.position),
                tuple(end),
                self.tool,
                feed=None if kind == "rapid" else self.known_feed(),
                rounding=self.rounding,
                compensated=self.compensation or self.ending_compensation,
                other_reading=other,
            )
        )
        if not stay:
            self.position = list(end)

    def known_feed(self) -> float | None:
        return None if self.feed == DOUBTFUL else self.feed

    def check_cut(self, words: Words) -> None:
        if any(value is None or value == HIGH for value in self.position):
            raise self.fail(words, "a cut that starts where the tool is not known to be")
        if self.feed is None or self.feed == 0:
            raise self.fail(words, "a cut without a feed")
        if self.feed_mode == 93 and not self.feed_here:
            raise self.fail(words, "G93 needs F in every block that cuts")
