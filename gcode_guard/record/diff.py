"""The unified diff between a program and what was made of it, written while both stream past.

The format is that of POSIX `diff -u` (IEEE Std 1003.1-2017, "Diff Unified Output Format"), with the GNU note for a
missing last newline. A line ends at a line feed and nowhere else; a carriage return before it belongs to the line.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO, BinaryIO

CONTEXT = 3
"""Lines of context round a change, as `diff -u` gives them."""

SPOOL_LIMIT = 1 << 20
"""Bytes of one hunk that are held in memory; a longer hunk waits on disk until its header is known."""

HEADER = b"--- before\n+++ after\n"
NO_NEWLINE = b"\\ No newline at end of file\n"


def split_lines(data: bytes) -> list[bytes]:
    """The lines of `data`, each with its line feed; only the last may lack one. Joined they are `data`."""
    lines = data.split(b"\n")
    last = lines.pop()
    return [line + b"\n" for line in lines] + ([last] if last else [])


@dataclass(slots=True)
class _Part:
    """Lines `place` to `behind` of the old text (not included), for which the new one has `new`."""

    place: int
    behind: int
    new: Sequence[bytes]


def _hunks(lines: Sequence[bytes], edits: Sequence[tuple[int, Sequence[bytes]]]) -> Iterator[list[_Part]]:
    """The parts that differ, those together that share a hunk."""
    hunk: list[_Part] = []
    for part in _parts_of(lines, edits):
        if hunk and part.place - hunk[-1].behind > 2 * CONTEXT:
            yield hunk
            hunk = []
        hunk.append(part)
    if hunk:
        yield hunk


def _parts_of(lines: Sequence[bytes], edits: Sequence[tuple[int, Sequence[bytes]]]) -> Iterator[_Part]:
    for place, new in edits:
        kept = _find(new, lines[place], 0)
        if kept is None:
            yield _Part(place, place + 1, new)
            continue
        for at, some in ((place, new[:kept]), (place + 1, new[kept + 1 :])):
            if some:
                yield _Part(at, at, some)


class DiffWriter:
    """Writes a unified diff to `out` from the lines of the old text, told in order as same or changed.

    Every line of the old text passes through exactly one of `same`, `same_bulk` and `change`; `finish` comes last.
    Lines are raw bytes and keep their line feed; only the last line of either text may lack it. Where nothing was
    changed, nothing is written. Memory: a few lines, and at most `SPOOL_LIMIT` bytes of the hunk at hand.

    The names in the header are fixed (`before`, `after`): `patch` is told which file to change, and no name of a
    program can lead it to another one.

    Raises OSError from writing, and ValueError where a line stands after one that lacks its line feed.
    """

    def __init__(self, out: BinaryIO, *, spool_directory: Path | None = None) -> None:
        self._out = out
        self._spool_directory = None if spool_directory is None else str(spool_directory)
        self._before: list[bytes] = []  # up to CONTEXT lines before the next hunk
        self._pending: list[bytes] = []  # same lines since the last change of the open hunk
        self._body: IO[bytes] | None = None  # the open hunk, or none
        self._old_start = self._new_start = 0
        self._old_count = self._new_count = 0
        self._old_line = self._new_line = 1  # the number of the next line of either text
        self._old_ended = self._new_ended = False
        self.hunks = 0

    def same(self, line: bytes) -> None:
        """Takes one line that stays as it is."""
        self._check_open(line)
        self._old_line += 1
        self._new_line += 1
        if self._body is None:
            self._before.append(line)
            del self._before[:-CONTEXT]
            return
        self._pending.append(line)
        if len(self._pending) > 2 * CONTEXT:
            self._close_hunk()

    def same_bulk(self, data: bytes, line_count: int | None = None) -> None:
        """Takes a stretch of whole lines that stay as they are; only the lines next to a change are looked at.

        `line_count` saves counting the line feeds where the caller knows how many lines `data` has.
        """
        if line_count is None:
            line_count = data.count(b"\n") + (not data.endswith(b"\n") and bool(data))
        position = 0
        while self._body is not None and position < len(data):
            end = data.find(b"\n", position) + 1 or len(data)
            self.same(data[position:end])
            position = end
            line_count -= 1
        if position == len(data):
            return
        start = _start_of_last_lines(data, position)
        last = split_lines(data[start:])
        self._old_line += line_count - len(last)
        self._new_line += line_count - len(last)
        for line in last:
            self.same(line)

    def change(self, old: Sequence[bytes], new: Sequence[bytes]) -> None:
        """Takes `old`, the next lines of the old text, for which the new text has `new`; either may be empty.

        A line that both have is shown as same.
        """
        removed: list[bytes] = []
        position = 0
        for line in old:
            found = _find(new, line, position)
            if found is None:
                removed.append(line)
                continue
            self._change(removed, new[position:found])
            self.same(line)
            removed, position = [], found + 1
        self._change(removed, new[position:])

    def edited(self, lines: Sequence[bytes], edits: Sequence[tuple[int, Sequence[bytes]]]) -> None:
        """Takes the next lines of the old text with the edits of some: their places in `lines`, ascending, and what
        stands there in the new text. Hunks that begin and end within `lines` are written at once."""
        position = 0
        for hunk in _hunks(lines, edits):
            first, last = hunk[0].place, hunk[-1].behind
            whole = first - position >= CONTEXT and last + 2 * CONTEXT < len(lines) and not self._new_ended
            if self._body is not None:
                self._pass(lines[position:first])
                position = first
            if whole and self._body is None:
                self._old_line += first - position
                self._new_line += first - position
                self._write_hunk(lines, hunk)
                position = last + CONTEXT
                continue
            for part in hunk:
                self._pass(lines[position : part.place])
                self._change(lines[part.place : part.behind], part.new)
                position = part.behind
        self._pass(lines[position:])

    def _pass(self, lines: Sequence[bytes]) -> None:
        """Takes lines that stay as they are, one by one only where they are context."""
        position = 0
        while self._body is not None and position < len(lines):
            self.same(lines[position])
            position += 1
        if position < len(lines):
            last = max(position, len(lines) - CONTEXT)
            self._old_line += last - position
            self._new_line += last - position
            for line in lines[last:]:
                self.same(line)

    def _write_hunk(self, lines: Sequence[bytes], hunk: Sequence[_Part]) -> None:
        """Writes a whole hunk, of which the lines before it were taken, through the context behind it."""
        position = begin = hunk[0].place - CONTEXT
        body: list[bytes] = []
        added = 0
        for part in hunk:
            body += [b" " + line for line in lines[position : part.place]]
            body += [b"-" + line for line in lines[part.place : part.behind]]
            body += [b"+" + line for line in part.new]
            added += len(part.new) - (part.behind - part.place)
            position = part.behind
        body += [b" " + line for line in lines[position : position + CONTEXT]]
        count = position + CONTEXT - begin
        if self.hunks == 0:
            self._out.write(HEADER)
        self._out.write(_hunk_header(self._old_line - CONTEXT, count, self._new_line - CONTEXT, count + added)
                        + b"".join(body))
        self.hunks += 1
        self._old_line += count - CONTEXT
        self._new_line += count - CONTEXT + added
        self._before = []

    def finish(self) -> None:
        """Writes the hunk that is still open, if any. Nothing may be told afterwards."""
        if self._body is not None:
            self._close_hunk()

    def _change(self, old: Sequence[bytes], new: Sequence[bytes]) -> None:
        if not old and not new:
            return
        body = self._body or self._open_hunk()
        for line in self._pending:
            self._write(body, b" ", line)
        self._pending.clear()
        for line in old:
            self._check_open_old(line)
            self._write(body, b"-", line)
        for line in new:
            self._check_open_new(line)
            self._write(body, b"+", line)
        self._old_line += len(old)
        self._new_line += len(new)

    def _open_hunk(self) -> IO[bytes]:
        body: IO[bytes] = tempfile.SpooledTemporaryFile(SPOOL_LIMIT, dir=self._spool_directory)
        self._body = body
        self._old_start = self._old_line - len(self._before)
        self._new_start = self._new_line - len(self._before)
        self._old_count = self._new_count = 0
        for line in self._before:
            self._write(body, b" ", line)
        self._before = []
        return body

    def _close_hunk(self) -> None:
        body = self._body
        assert body is not None
        for line in self._pending[:CONTEXT]:
            self._write(body, b" ", line)
        self._before = self._pending[CONTEXT:][-CONTEXT:]
        self._pending = []
        if self.hunks == 0:
            self._out.write(HEADER)
        self._out.write(_hunk_header(self._old_start, self._old_count, self._new_start, self._new_count))
        body.seek(0)
        for part in _parts(body):
            self._out.write(part)
        body.close()
        self._body = None
        self.hunks += 1

    def _write(self, body: IO[bytes], mark: bytes, line: bytes) -> None:
        body.write(mark + line if line.endswith(b"\n") else mark + line + b"\n" + NO_NEWLINE)
        self._old_count += mark != b"+"
        self._new_count += mark != b"-"

    def _check_open(self, line: bytes) -> None:
        self._check_open_old(line)
        self._check_open_new(line)

    def _check_open_old(self, line: bytes) -> None:
        if self._old_ended:
            raise ValueError("a line of the old text stands after one without a line feed")
        self._old_ended = not line.endswith(b"\n")

    def _check_open_new(self, line: bytes) -> None:
        if self._new_ended:
            raise ValueError("a line of the new text stands after one without a line feed")
        self._new_ended = not line.endswith(b"\n")


def _start_of_last_lines(data: bytes, position: int) -> int:
    """Where in `data`, from `position` on, its last CONTEXT lines begin."""
    start = len(data)
    for _ in range(CONTEXT):
        if start <= position:
            break
        start = data.rfind(b"\n", position, start - 1) + 1 or position
    return max(start, position)


def _find(lines: Sequence[bytes], wanted: bytes, position: int) -> int | None:
    """Where `wanted` first stands in `lines` from `position` on."""
    for number in range(position, len(lines)):
        if lines[number] == wanted:
            return number
    return None


def _hunk_header(old_start: int, old_count: int, new_start: int, new_count: int) -> bytes:
    # Where a side has no lines, POSIX wants the number of the line before.
    old_start -= old_count == 0
    new_start -= new_count == 0
    return b"@@ -%d,%d +%d,%d @@\n" % (old_start, old_count, new_start, new_count)


def _parts(body: IO[bytes]) -> Iterator[bytes]:
    while part := body.read(SPOOL_LIMIT):
        yield part
