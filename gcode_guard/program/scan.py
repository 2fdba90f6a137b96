"""A first look over the whole program for facts that must be known before its first block."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from .block import BLANK, COMMENT, split_ending, strip_comments
from .errors import NotUnderstood

# Lines that may hold one of the words below, in any spelling; most lines of a program hold none of them.
SUSPECT = re.compile(rb"[TtMmOo]|4[ \t]*3")
TOKEN = re.compile(r"([A-Z])([+-]?[\d.]*)")
# Names of parameters and of functions: their letters are no words.
NAMES = re.compile(r"<[A-Z0-9_]*>|(?:ABS|A?COS|A?SIN|A?TAN|EXP|FIX|FUP|LN|ROUND|SQRT)(?=\[)|MOD|AND|X?OR")


@dataclass(slots=True)
class Facts:
    """What a program has anywhere in it: tool length offsets, tool changes, T words (their numbers), calls."""

    uses_length: bool = False
    changes_tool: bool = False
    tools: set[int | None] = field(default_factory=set)
    calls: bool = False
    returns: bool = False
    ended: bool = False


def look(lines: Iterable[bytes], skip_deleted: bool) -> Facts:
    """Reads raw lines for `Facts`. Blocks with a slash count unless they are skipped; text after the end does not,
    but where subprograms are called, whose bodies may stand there."""
    facts = Facts()
    for raw in lines:
        if not SUSPECT.search(raw):
            continue
        if not facts.ended or facts.calls:
            _look_at(raw, facts, skip_deleted)
    return facts


def _look_at(raw: bytes, facts: Facts, skip_deleted: bool) -> None:
    for letter, number in _tokens(raw, skip_deleted):
        try:
            value = float(number)
        except ValueError:
            value = -1.0
        if letter == "G" and value in (43.0, 43.1):
            facts.uses_length = True
        elif letter == "T":
            facts.tools.add(int(value) if value >= 0 and value == int(value) else None)
        elif letter == "M" and value == 6:
            facts.changes_tool = True
        elif letter == "M" and value == 98:
            facts.calls = True
        elif letter == "M" and value == 99:
            facts.returns = True
        elif letter == "M" and value in (2, 30):
            facts.ended = True


def _tokens(raw: bytes, skip_deleted: bool) -> Iterator[tuple[str, str]]:
    text, _ = split_ending(raw)
    try:
        body = strip_comments(text)
    except NotUnderstood:
        body = text  # refused later anyway; what it may hold counts
    compact = "".join(c for c in body if c not in BLANK and c != COMMENT).upper()
    if compact.startswith("/") and skip_deleted:
        return
    for match in TOKEN.finditer(NAMES.sub("!", compact)):
        yield match.group(1), match.group(2)
