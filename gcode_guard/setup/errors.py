"""What is wrong with a setup: collected as problems, raised together, one a line."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from pathlib import Path
from typing import Any, Final

LONGEST_VALUE: Final = 60
"""Longer values are cut in messages: the key's path already says where to look."""
MOST_PROBLEMS: Final = 40
"""More are counted, not listed: nobody mends more in one go."""

MOST_ENTRIES: Final = 20
"""So many entries of a list or table are looked at to show it, and so many levels deep:"""
DEEPEST: Final = 3
_NAMED: Final[dict[str | int, str]] = {"obstacles": "obstacle", "tools": "tool", "parts": "part"}

Key = str | int
KeyPath = Sequence[Key]


class _Absent:
    """Stands for the value of a key that is not there."""

    def __repr__(self) -> str:
        return "ABSENT"


ABSENT: Final = _Absent()


class SetupError(Exception):
    """A setup file, or one of its parts files, that cannot be used. The message may hold several lines."""


@dataclass(slots=True)
class Problems:
    """Collects what is wrong, so that a user mends it all at once."""

    lines: list[str] = field(default_factory=list)
    tables: dict[Path, dict[str, Any]] = field(default_factory=dict)
    """The parsed tables of each file, for the names that go with `obstacles[7]` and the like."""

    def add(self, file: Path, path: KeyPath, value: object, text: str) -> None:
        """Note that `value` at the key `path` of `file` is wrong, and why; ABSENT where there is none."""
        place = f"{printable(str(file))}: {key_path(path)}" if path else printable(str(file))
        given = "" if value is ABSENT else f" = {shown(value)}"
        line = f"{place}{given}: {text}{self._owner(file, path)}"
        if line not in self.lines:
            self.lines.append(line)

    def _owner(self, file: Path, path: KeyPath) -> str:
        """The name of the obstacle, tool or part that a path leads into: a person does not count tables from 0."""
        if len(path) < 3 or path[0] not in _NAMED or not isinstance(path[1], int) or path[2] == "name":
            return ""
        entry = self.tables.get(file, {}).get(str(path[0]), [])[path[1]]
        name = entry.get("name") if isinstance(entry, dict) else None
        return f" ({_NAMED[path[0]]} {shown(name)})" if isinstance(name, str) else ""

    def raise_if_any(self) -> None:
        """Raise SetupError with every line noted so far, if there is one."""
        if not self.lines:
            return
        listed = self.lines[:MOST_PROBLEMS]
        if len(self.lines) > len(listed):
            listed.append(f"... and {len(self.lines) - len(listed)} more")
        raise SetupError("\n".join(listed))


def key_path(path: KeyPath) -> str:
    """A path as `obstacles[2].size[0]` or `machine.reach.z`; keys that are not bare are quoted as TOML does."""
    text = ""
    for key in path:
        if isinstance(key, int):
            text += f"[{key}]"
        else:
            text += ("." if text else "") + (key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else quoted(key))
    return text


def shown(value: object) -> str:
    """A value as it stands in the file, on one line, cut where it is long."""
    text = _toml(value)
    return text if len(text) <= LONGEST_VALUE else text[: LONGEST_VALUE - 4] + " ..."


def _toml(value: object, level: int = 0) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return quoted(value[: LONGEST_VALUE + 1])
    if isinstance(value, (date, datetime, time)):
        return value.isoformat()
    if isinstance(value, int) and abs(value) >= 10**LONGEST_VALUE:
        return "a whole number of more than " + str(LONGEST_VALUE) + " digits"
    if isinstance(value, (list, dict)) and level >= DEEPEST:
        return "..."
    if isinstance(value, list):
        return "[" + ", ".join(_toml(item, level + 1) for item in value[:MOST_ENTRIES]) + "]"
    if isinstance(value, dict):
        some = list(value.items())[:MOST_ENTRIES]
        inner = ", ".join(f"{key_path([str(key)])} = {_toml(item, level + 1)}" for key, item in some)
        return "{ " + inner + " }" if inner else "{ }"
    return str(value)


def quoted(text: str) -> str:
    """A TOML basic string; whatever a terminal might obey or turn round is escaped."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + printable(escaped) + '"'


def printable(text: str) -> str:
    """The text with characters that do not print replaced by their TOML escape."""
    return "".join(character if character.isprintable() else _escape(character) for character in text)


def _escape(character: str) -> str:
    code = ord(character)
    return f"\\u{code:04X}" if code <= 0xFFFF else f"\\U{code:08X}"
