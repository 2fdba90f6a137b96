"""Reads programs by the interpreter alone, for tests of the language. Lengths in mm, bench frame.

Section numbers are those of the RS274/NGC report (NISTIR 6556). Its examples and error cases were written down from
memory, without the text at hand.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from gcode_guard.program.interpreter import left_behind
from gcode_guard.program.moves import NAMES, Move, Step
from gcode_guard.program.reader import Reader
from gcode_guard.program.scan import look
from gcode_guard.program.state import Coordinate, Position, Rules, Span, State

Place = tuple[float | str | None, ...]
STARTS_IN = ("G21", "G90", "G17", "F100")


@dataclass
class Read:
    """What became of a program."""

    steps: list[Step]
    state: State
    assumptions: dict[str, str]
    left: list[str]

    @property
    def moves(self) -> list[Move]:
        return [move for step in self.steps for move in step.moves if not move.shadow]

    @property
    def path(self) -> list[tuple[str, Place]]:
        """Each move as its kind and its end."""
        return [(NAMES[move.kind], place(move.end)) for move in self.moves]

    @property
    def effects(self) -> list[str]:
        return [effect.what for step in self.steps for effect in step.effects]

    @property
    def reasons(self) -> list[tuple[int, str]]:
        return [(refusal.line, f"{refusal.what}: {refusal.advice}") for step in self.steps for refusal in step.refusals]

    @property
    def end(self) -> Place:
        return place(self.state.position)


def point(x: float, y: float, z: float) -> tuple[Decimal, Decimal, Decimal]:
    return Decimal(str(x)), Decimal(str(y)), Decimal(str(z))


def place(position: Position) -> Place:
    """A position as numbers; None where a coordinate is not known, "high" where it is high."""
    return tuple(map(_shown, position))


def _shown(value: Coordinate) -> float | str | None:
    if isinstance(value, Span):
        return "high" if value.low == math.inf else None
    return round(float(value), 9)


def read_any(program: str, start: tuple[float, float, float] | None = (0, 0, 50), **rules: Any) -> Read:
    """Reads a program; `rules` are fields of `Rules`."""
    lines = [line.encode("latin-1") for line in re.findall(r"[^\n]*\n|[^\n]+", program)]
    facts = look(lines, rules.get("block_delete") == "skip")
    if start is not None:
        rules["start"] = point(*start)
    rules = {"starts_in": STARTS_IN, "uses_length": facts.uses_length} | rules
    reader = Reader(iter(lines), Rules(**rules), facts)
    steps = list(reader)
    interpreter = reader.interpreter
    return Read(steps, interpreter.state, interpreter.assumptions, left_behind(interpreter.state, interpreter.rules))


def read(program: str, start: tuple[float, float, float] | None = (0, 0, 50), **rules: Any) -> Read:
    """Like `read_any`, for a program that must be understood."""
    found = read_any(program, start, **rules)
    assert found.reasons == [], program
    return found


def refused(program: str, *said: str, start: tuple[float, float, float] | None = (0, 0, 50), **rules: Any) -> None:
    """Asserts that a program is refused, and that one reason says all of `said`."""
    reasons = read_any(program, start, **rules).reasons
    assert reasons, f"accepted:\n{program}"
    for text in said:
        assert any(text in reason for _, reason in reasons), (text, reasons)
