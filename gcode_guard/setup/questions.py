"""Asks a person the few things that a first setup file needs: units, stock, tool, obstacles."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Callable

from gcode_guard.lengths import Units
from gcode_guard.setup.errors import printable
from gcode_guard.setup.schema import LARGEST, SMALLEST
from gcode_guard.setup.starter import StarterObstacle, starter_text

Ask = Callable[[str, str], str]
"""Asks one question, with an answer that is taken where nothing is typed; returns what was typed, or that."""

MOST_OBSTACLES = 100
Say = Callable[[str], None]


def ask_for_setup(ask: Ask, say: Say) -> str:
    """The text of a setup file from a person's answers. An answer that makes no sense is asked for again."""
    units = _units(ask, say)
    unit = "mm" if units == "mm" else "in"
    stock = ("600", "400", "19") if units == "mm" else ("24", "16", "0.75")
    size = (_length(ask, say, f"Stock: its length in X, {unit}", stock[0]),
            _length(ask, say, f"Stock: its length in Y, {unit}", stock[1]))
    thickness = _length(ask, say, f"Stock: its thickness, {unit}", stock[2])
    diameter = _length(ask, say, f"Tool 1: its diameter, {unit}", "6" if units == "mm" else "0.25")
    length = _maybe_length(ask, say, f"Tool 1: from its tip to the collet face, {unit} (nothing: not measured)")
    say("Now what stands on the table, measured from the lower left corner of the stock; an empty name ends it.")
    obstacles: list[StarterObstacle] = []
    while len(obstacles) < MOST_OBSTACLES:
        obstacle = _obstacle(ask, say, unit, {o.name for o in obstacles})
        if obstacle is None:
            break
        obstacles.append(obstacle)
    return starter_text(units, stock_size=size, thickness=thickness, tool_diameter=diameter, tool_length=length,
                        obstacles=obstacles)


def _units(ask: Ask, say: Say) -> Units:
    while True:
        answer = ask("Units, mm or inch", "mm").strip().lower()
        if answer == "mm":
            return "mm"
        if answer in ("inch", "in"):
            return "inch"
        say("Please answer mm or inch.")


def _obstacle(ask: Ask, say: Say, unit: str, names: set[str]) -> StarterObstacle | None:
    given = _name(ask, say, names)
    if not given:
        return None
    name = printable(given)  # as it is shown
    while True:
        shape = ask(f"{name}: box or cylinder", "box").strip().lower()
        if shape in ("box", "cylinder"):
            break
        say("Please answer box or cylinder; other shapes can be written into the file later.")
    center = (_number(ask, say, f"{name}: X of its middle, {unit}"),
              _number(ask, say, f"{name}: Y of its middle, {unit}"))
    height = _length(ask, say, f"{name}: its height above the table, {unit}", "")
    if shape == "cylinder":
        return StarterObstacle(given, center, height, diameter=_length(ask, say, f"{name}: its diameter, {unit}", ""))
    size = (_length(ask, say, f"{name}: its length in X, {unit}", ""),
            _length(ask, say, f"{name}: its length in Y, {unit}", ""))
    return StarterObstacle(given, center, height, size=size)


def _name(ask: Ask, say: Say, names: set[str]) -> str:
    """A new name of one line; empty where there is nothing more."""
    while True:
        name = ask("Obstacle: its name", "").strip()
        if name in names:
            say("There is one of that name already.")
        elif any(unicodedata.category(character) in ("Cc", "Cs", "Zl", "Zp") for character in name):
            say("Please answer with plain text in one line.")
        else:
            return name


def _number(ask: Ask, say: Say, question: str, default: str = "") -> float:
    while True:
        value = _read(ask(question, default))
        if value is None:
            say("Please answer with a number; write 1200 or 1.2, not 1,200.")
        elif abs(value) > LARGEST:
            say(f"Please answer with a number within {LARGEST:,.0f}.")
        else:
            return value


def _read(answer: str) -> float | None:
    """An answer as a number, with a point or a comma before its decimals; None where it is not certainly one."""
    answer = answer.strip()
    if re.fullmatch(r"[+-]?[1-9]\d{0,2}(,\d{3})+(\.\d*)?", answer):  # 1,200: a comma for decimals, or for thousands?
        return None
    try:
        value = float(answer.replace(",", "."))
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _length(ask: Ask, say: Say, question: str, default: str) -> float:
    while True:
        value = _number(ask, say, question, default)
        if value >= SMALLEST:
            return value
        say(f"Please answer with a number of at least {SMALLEST}.")


def _maybe_length(ask: Ask, say: Say, question: str) -> float | None:
    while True:
        answer = ask(question, "")
        if not answer.strip():
            return None
        value = _read(answer)
        if value is not None and SMALLEST <= value <= LARGEST:
            return value
        say(f"Please answer with a number of at least {SMALLEST}, or with nothing.")
