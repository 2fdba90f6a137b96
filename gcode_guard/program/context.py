"""One block being executed: its words, which of them have been used, and what it has done so far."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

from ..lengths import Units
from .block import Block, Word
from .doubt import other_reading
from .errors import NotUnderstood
from .moves import Effect, Kind, Move, Step
from .state import ANYWHERE, Coordinate, Position, Rules, Span, State, moved

LENGTHS = frozenset("XYZIJKRQ")
ADVICE_START = "give machine.start in the setup, or put a G0 Z and a G0 X Y before it"
ADVICE_LENGTH = "put G43 and the tool's number as H before it, with a G0 Z behind that"
LONGEST_WAY = Decimal(10) ** 8


class Context:
    """The block `block` on its way through the order of execution; changes `state` and fills `step`."""

    def __init__(self, block: Block, state: State, rules: Rules, step: Step,
                 assume: Callable[[str, str], None], complain: Callable[[int, str, str, str], None]) -> None:
        self.block = block
        self.state = state
        self.rules = rules
        self.step = step
        self.assume = assume
        self._complain = complain
        self.codes: list[str] = []
        self.words: dict[str, Word] = {}
        self.used: set[str] = set()
        self.axes_used_by: str | None = None
        self.hole = 0

    def has(self, letter: str) -> bool:
        return letter in self.words

    def axes(self) -> list[int]:
        """The axes that the block has words for."""
        return [axis for axis, letter in enumerate("XYZ") if letter in self.words]

    def number(self, letter: str) -> Decimal | None:
        """A word's number as written, marked as used; None where the block has no such word."""
        word = self.words.get(letter)
        if word is None:
            return None
        self.used.add(letter)
        if letter in LENGTHS and self.rules.least_increment and word.pointless and word.value:
            raise NotUnderstood(f"{letter}{word.value} has no decimal point, and program.integers says that the control"
                                " reads such a number in its least increment", "export with decimal points")
        if abs(word.value) > LONGEST_WAY:
            raise NotUnderstood(f"{letter}{word.value} is no number for a machine", "check the export")
        return word.value

    def whole(self, letter: str) -> int | None:
        """A word that must be a whole number, not negative. Raises NotUnderstood otherwise."""
        value = self.number(letter)
        if value is None:
            return None
        if value < 0 or value != int(value):
            raise NotUnderstood(f"{letter}{value} is not a whole number from 0", "check the export")
        return int(value)

    def length(self, letter: str) -> Decimal | None:
        """A word's length in millimetres. Raises NotUnderstood where no units are in force."""
        value = self.number(letter)
        if value is None:
            return None
        self.need_units()
        return value * self.state.scale()

    def complain(self, about: str, what: str, advice: str) -> None:
        """Refuses the program for something that leaves the rest of it certain; once for each `about`."""
        self._complain(self.block.line, about, what, advice)

    @property
    def told_in(self) -> Units:
        """The units of the program, in which it is told of its lengths."""
        return "inch" if self.state.units == "G20" else "mm"

    def need_units(self) -> None:
        if self.state.units is None:
            self.complain("units", "nothing says whether lengths are inches or millimetres",
                          'put G20 or G21 into the program, or add "G21" (or "G20") to program.starts_in')
            self.state.units = "G21"
            self.state.lost = True

    def need_distance(self) -> None:
        if self.state.distance is None:
            self.complain("distance", "nothing says whether distances are absolute or incremental",
                          'put G90 or G91 into the program, or add "G90" (or "G91") to program.starts_in')
            self.state.distance = "G90"
            self.state.lost = True

    def need_plane(self) -> str:
        if self.state.plane is None:
            self.complain("plane", "nothing says in which plane arcs and cycles lie",
                          'put G17 into the program, or add "G17" to program.starts_in')
            self.state.plane = "G17"
            self.state.lost = True
        return self.state.plane

    def origin(self, axis: int) -> Decimal:
        """The program's zero on an axis, in the bench frame."""
        return self.state.shift[axis] + self.state.extra[axis]

    def target(self, axis: int, position: Position) -> Coordinate:
        """Where an axis word sends its axis. The tip's Z is unknown where the tool length offset is."""
        value = self.length("XYZ"[axis])
        if value is None:
            return position[axis]
        self.need_distance()
        if self.state.distance == "G91":
            if value and axis in self.state.beside:
                raise NotUnderstood("an increment right after cutter compensation counts from the path on one control,"
                                    " from beside it on another", "go to an absolute X and Y (G90) before")
            return moved(position[axis], value)
        if axis == 2 and not self.state.length_known:
            return ANYWHERE
        return self.origin(axis) + value

    def targets(self, position: Position) -> Position:
        x, y, z = (self.target(axis, position) for axis in range(3))
        return x, y, z

    def stays(self, axis: int, start: Position, end: Position) -> bool:
        """True where the axis does not move, its place known or not. A Z word without a tool length offset moves the
        tip to a height that is not known, wherever it was."""
        letter = "XYZ"[axis]
        if start[axis] != end[axis]:
            return False
        if not isinstance(start[axis], Span) or letter not in self.words:
            return True
        return self.state.distance == "G91" and self.words[letter].value == 0

    def rapid(self, start: Position, end: Position, part: str = "plain", shadow: bool = False,
              still: tuple[bool, bool, bool] | None = None) -> None:
        """Adds a rapid, unless it is one of no length."""
        stays = still or (start[0] == end[0], start[1] == end[1], start[2] == end[2])
        if all(stays):
            return
        state = self.state
        other = None if shadow else other_reading(self, start, end, part)
        if other is not None:
            self.step.moves.append(
                Move(self.block.line, Kind.RAPID, *other, state.tool, None, state.corner, part=part, grow=state.grow,
                     shadow=True, hole=self.hole))
        self.step.moves.append(
            Move(self.block.line, Kind.RAPID, start, end, state.tool, None, state.corner, part=part,
                 grow=state.grow, shadow=shadow, upright=stays[0] and stays[1], hole=self.hole))

    def cut(self, start: Position, end: Position, kind: Kind = Kind.CUT) -> None:
        """Adds a straight cut. One from where the tool is not known to be is refused."""
        if any(isinstance(c, Span) for c in start + end):
            self.unknown_start()
            return
        if start == end:
            self.feed()
            return
        state = self.state
        other = other_reading(self, start, end)
        if other is not None:
            self.step.moves.append(Move(self.block.line, kind, *other, state.tool, self.feed(), state.corner,
                                        grow=state.grow, shadow=True, hole=self.hole))
        self.step.moves.append(
            Move(self.block.line, kind, start, end, state.tool, self.feed(), state.corner, grow=state.grow,
                 upright=start[:2] == end[:2], hole=self.hole))

    def unknown_start(self) -> None:
        if self.state.length_known:
            self.complain("start", "a cut starts where the tool is not known to be", ADVICE_START)
        else:
            self.complain("length", "a cut stands where no tool length offset is in force, so that the height of the"
                          " tip is not known", ADVICE_LENGTH)

    def feed(self) -> Decimal | None:
        state = self.state
        if state.feed_mode == "G93" and not self.has("F"):
            self.complain("feed", "under G93 every cut needs its own F", "export with feeds a minute (G94)")
        elif not state.feed:
            self.complain("feed", "a cut has no feed", "put an F word into the program, or into program.starts_in")
        return state.feed

    def effect(self, what: str, position: Position | None = None) -> None:
        self.step.effects.append(
            Effect(self.block.line, what, position or self.state.position, self.state.tool, len(self.step.moves)))
