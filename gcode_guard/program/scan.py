"""A first look over the whole program for facts that must be known before its first block."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from .block import BLANK, COMMENT, split_ending, strip_comments
from .errors import NotUnderstood

# Lines that may hold one of the words below, in any spelling; most lines of a program hold none of them.
SUSPECT = re.compile(rb"[TtMmOo]|4[ \t]*3")
TOKEN = re.compile(r"([A-Z])([+-]?[\d.]*)")
# Names of parameters and of functions: their letters are no words.
NAMES = re.compile(r"<[A-Z0-9_]*>|(?:ABS|A?COS|A?SIN|A?TAN|EXP|FIX|FUP|LN|ROUND|SQRT)(?=\[)|MOD|AND|X?OR")


@dataclass(slots=True)
class Facts:
    """What a program has anywhere in it: tool length offsets, tool changes, T words (their numbers), calls.

    `body`: an O word began what may be a subprogram, and no M99 has ended it yet.
    """

    uses_length: bool = False
    changes_tool: bool = False
    tools: set[int | None] = field(default_factory=set)
    calls: bool = False
    body: bool = False
    ended: bool = False
    percents: int = 0
    closed: bool = False


def look(lines: Iterable[bytes], skip_deleted: bool) -> Facts:
    """Reads raw lines for `Facts`. Blocks with a slash count unless they are skipped; text after the end does not,
    but where subprograms are called, whose bodies may stand there, or where the end itself stands in a body."""
    facts = Facts()
    for raw in lines:
        if facts.closed:
            break
        _see(raw, facts, skip_deleted)
    return facts


def _see(raw: bytes, facts: Facts, skip_deleted: bool) -> None:
    """Looks at one line; behind the second percent sign nothing counts."""
    if b"%" in raw and _compact(raw) == "%":
        facts.percents += 1
        facts.closed = facts.percents > 1
    elif not facts.closed and (not facts.ended or facts.calls or facts.body) and (SUSPECT.search(raw) or b"(" in raw):
        _look_at(raw, facts, skip_deleted)


class Source(Protocol):
    """Where the bytes come from."""

    def batch(self, place: int) -> tuple[bytes, int]:
        """Some whole lines from the byte `place` on, and the place behind them; nothing at the end."""


def look_through(source: Source, skip_deleted: bool) -> Facts:
    """The same `Facts` as `look` finds in the lines of a source, without a look at most of them."""
    facts = Facts()
    place = 0
    while not facts.closed:
        data, place = source.batch(place)
        if not data:
            break
        for raw in _suspects(data):
            _see(raw, facts, skip_deleted)
    return facts


# Comments as `strip_comments` sees them, but for those within comments.
BRACKETED = re.compile(rb"\([^()\n]*\)")
TO_THE_END = re.compile(rb";[^\n]*")
EITHER = re.compile(BRACKETED.pattern + rb"|" + TO_THE_END.pattern)
LETTERS = b"TtMmOo%"
# What does not stand behind G, zeros and blanks where they begin no G43: another digit or word, the end of the line.
MAYBE_LENGTH = np.ones(256, dtype=bool)
MAYBE_LENGTH[list(b"12356789XYZFIJKRSNGxyzfijkrsng\r\n")] = False
PASSED_OVER = np.zeros(256, dtype=bool)
PASSED_OVER[list(b"0 \t+")] = True


def _suspects(data: bytes) -> Iterator[bytes]:
    """The lines of `data` that may hold a word that counts, without their comments where those are plain."""
    if b"(" in data or b";" in data:
        comment = BRACKETED if b";" not in data else TO_THE_END if b"(" not in data else EITHER
        bare = comment.sub(b"", data)
        if b"(" in bare or b")" in bare:
            yield from data.split(b"\n")
            return
        data = bare
    code = np.frombuffer(data, dtype=np.uint8)
    found = [np.flatnonzero(code == letter) for letter in LETTERS if letter in data]
    found += [at for at in (_tool_lengths(code, letter) for letter in b"Gg" if letter in data) if len(at)]
    if not found:
        return
    ends = np.flatnonzero(code == 10)
    for line in sorted(set(np.searchsorted(ends, np.concatenate(found)).tolist())):
        begin = int(ends[line - 1]) + 1 if line else 0
        yield data[begin : int(ends[line]) + 1 if line < len(ends) else len(data)]


def _tool_lengths(code: NDArray[np.uint8], letter: int) -> NDArray[np.int64]:
    """The places of the letter G, in one case, that may begin a G43, however it is spelled."""
    at = np.flatnonzero(code == letter)
    if at[-1] == len(code) - 1:
        return at
    at = at[MAYBE_LENGTH.take(code.take(at + 1))]
    behind = at + 1
    for _ in range(4):
        behind = np.minimum(behind + PASSED_OVER.take(code.take(behind)), len(code) - 1)
    return at[MAYBE_LENGTH.take(code.take(behind))]


def _look_at(raw: bytes, facts: Facts, skip_deleted: bool) -> None:
    compact = _compact(raw)
    skipped = skip_deleted and compact.startswith("/")
    behind = facts.ended and not facts.calls
    for letter, value in _tokens(compact):
        if letter == "O":
            facts.body = not behind
        elif letter == "M" and value == 98 and not behind:
            facts.calls = True  # also where it is skipped: the file holds bodies
        elif letter == "M" and value == 99:
            facts.calls = facts.calls or (behind and facts.body)
            facts.body = False
        elif not (skipped or behind):
            _note(facts, letter, value)


def _note(facts: Facts, letter: str, value: float) -> None:
    if letter == "G" and value in (43.0, 43.1):
        facts.uses_length = True
    elif letter == "T":
        facts.tools.add(int(value) if value >= 0 and value == int(value) else None)
    elif letter == "M" and value == 6:
        facts.changes_tool = True
    elif letter == "M" and value in (2, 30):
        facts.ended = True


def _compact(raw: bytes) -> str:
    """A line without comments and blanks, in capitals."""
    text, _ = split_ending(raw)
    try:
        body = strip_comments(text)
    except NotUnderstood:
        body = re.split("[();]", text)[0]  # refused later anyway; what is not certain gives no further reasons
    return "".join(c for c in body if c not in BLANK and c != COMMENT).upper()


def _tokens(compact: str) -> Iterator[tuple[str, float]]:
    """The words of a line by letter and number; -1 for one that is no number."""
    for match in TOKEN.finditer(NAMES.sub("!", compact)):
        try:
            yield match.group(1), float(match.group(2))
        except ValueError:
            yield match.group(1), -1.0
