"""Texts as templates and numbers, so that many of one shape take little room.

In a template a number is one character, U+0001 to U+0007, which says how many decimals it has (none to six). A number
is told in thousandths, or in millionths where it has more than three decimals; only what reads back to the letter is
split off, all else stays in the template.
"""

from __future__ import annotations

import re
from typing import Any

NUMBER = re.compile(r"(?<![0-9.])-?[0-9]+(?:\.[0-9]+)?")
LONGEST = 12  # digits of a number that is split off: with six zeros behind them a script still has it exactly
COARSE, FINE = 3, 6  # decimals in which numbers are told


class Texts:
    """A column of texts. Numbers after a letter share a column with others after it, whatever the template."""

    def __init__(self) -> None:
        self._templates: dict[str, int] = {}
        self._rows: list[int] = []
        self._numbers: dict[str, list[int]] = {}
        self._last: dict[str, int] = {}

    def add(self, text: str) -> None:
        """Takes the next text; it must not have characters U+0001 to U+0007 in it."""
        pieces, slots, place = [], [], 0
        for found in NUMBER.finditer(text):
            number = _split(found[0])
            if number is None:
                continue
            value, decimals = number
            pieces += [text[place : found.start()], chr(1 + decimals)]
            before = text[max(0, found.start() - 1) : found.start()]
            letter = before if before.isascii() and before.isalpha() else ""
            scale = COARSE if decimals <= COARSE else FINE
            slots.append((letter, scale, value * 10 ** (scale - decimals)))
            place = found.end()
        template = "".join([*pieces, text[place:]])
        row = self._templates.setdefault(template, len(self._templates))
        self._rows.append(row)
        for slot, (letter, scale, value) in enumerate(slots):
            key = f"{letter or f'{row}:{slot}:'}{scale}"
            self._numbers.setdefault(key, []).append(value - self._last.get(key, 0))
            self._last[key] = value

    @property
    def told(self) -> list[Any]:
        """The templates, the template of each text, and the columns of numbers by letter (or template and place) and
        decimals, as differences."""
        return [list(self._templates), self._rows, self._numbers]


def _split(text: str) -> tuple[int, int] | None:
    """A number without its point, and how many decimals it has; None where it would not read back to the letter."""
    whole, _, fraction = text.partition(".")
    digits = whole.removeprefix("-")
    if len(fraction) > FINE or len(digits) + len(fraction) > LONGEST or (digits[0] == "0" and len(digits) > 1):
        return None
    value = int(whole + fraction)
    return None if value == 0 and text.startswith("-") else (value, len(fraction))
