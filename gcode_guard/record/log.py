"""The log: JSON Lines (RFC 8259 texts, one a line, ASCII alone), a `run` record first and a `summary` record last.

How numbers are rounded: lengths to 6 decimals of a millimetre, times to 3 decimals of a second, both to the nearest,
save `needed_z_mm`, which is rounded up, so that no height stands in the log that would not do. (What is less than
1e-7 mm over a 6-decimal figure is the noise of the arithmetic, and counts as that figure.) A number that is not known,
or not finite, is null. Blocks stand without their line end; bytes of theirs that are not UTF-8 stand as `\\xNN`.
"""

import json
import math
import shutil
import tempfile
from collections.abc import Iterable
from functools import lru_cache
from json.encoder import encode_basestring_ascii as _quoted
from pathlib import Path
from types import TracebackType
from typing import IO, Any, BinaryIO, Self

from gcode_guard.record.findings import Assumption, Change, Finding, Run
from gcode_guard.record.summary import Summary

Record = Run | Assumption | Change | Finding | Summary

KEPT = 2048
"""Texts of changes that are kept, since they come again."""

NOISE = 1e-7
"""mm; by how much a needed height may be over a rounded figure and still count as it."""


def log_line(record: Record) -> bytes:
    """`record` as one line of the log, with its line feed."""
    if isinstance(record, Change):
        return _change_line(record)
    return json.dumps(_fields(record), ensure_ascii=True, allow_nan=False).encode("ascii") + b"\n"


def _change_line(change: Change) -> bytes:
    """A change as one line: what `json.dumps` makes of its fields. There may be very many, and most are like others."""
    return (f'{{"record": "change", "line": {int(change.line)}, "kind": {_quoted(change.kind)},'
            f' "obstacles": {_listed(change.obstacles)}, "programmed_z_mm": {_length(change.programmed_z)},'
            f' "needed_z_mm": {_needed(change.needed_z)}, "written_z_mm": {_length(change.written_z)},'
            f' "before": [{", ".join(map(_block, change.before))}],'
            f' "after": [{", ".join(map(_block, change.after))}],'
            f' "added_s": {_number(seconds(change.added_s))}}}\n').encode("ascii")


@lru_cache(KEPT)
def _listed(texts: tuple[str, ...]) -> str:
    return f"[{', '.join(map(_quoted, texts))}]"


@lru_cache(KEPT)
def _length(length: float | None) -> str:
    return _number(millimetres(length))


@lru_cache(KEPT)
def _needed(length: float | None) -> str:
    return _number(millimetres_rounded_up(length))


@lru_cache(KEPT)
def _block(block: bytes) -> str:
    """A block without its line end; bytes of it that are not UTF-8 as `\\xNN`."""
    return _quoted(block.rstrip(b"\r\n").decode("utf-8", "backslashreplace"))


def _number(value: float | None) -> str:
    return "null" if value is None else float.__repr__(value)


class LogSpool:
    """Holds the records of a run on disk until its digest is known, since the `run` record comes first.

    `directory`: where the temporary file goes; None is the system's place for such files. Raises OSError from writing.
    """

    def __init__(self, directory: Path | None = None) -> None:
        self._spool: IO[bytes] = tempfile.TemporaryFile(dir=directory)

    def add(self, record: Assumption | Change | Finding) -> None:
        """Takes the next record."""
        self._spool.write(log_line(record))

    def add_all(self, records: Iterable[Assumption | Change | Finding]) -> None:
        """Takes the next records."""
        self._spool.write(b"".join(map(log_line, records)))

    def write_to(self, out: BinaryIO, run: Run, summary: Summary) -> None:
        """Writes the whole log to `out`: `run`, what was added, in its order, and `summary`."""
        out.write(log_line(run))
        self._spool.seek(0)
        shutil.copyfileobj(self._spool, out)
        out.write(log_line(summary))

    def close(self) -> None:
        """Gives the temporary file back."""
        self._spool.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def _fields(record: Run | Assumption | Finding | Summary) -> dict[str, Any]:
    match record:
        case Run():
            return {
                "record": "run",
                "tool": "gcode-guard",
                "version": record.version,
                "program": _text(record.program),
                "program_sha256": record.program_sha256,
                "setup_sha256": record.setup_sha256,
            }
        case Assumption():
            return {"record": "assumption", "about": record.about, "text": record.text}
        case Finding():
            return {
                "record": "finding",
                "line": int(record.line),
                "kind": record.kind,
                "obstacle": record.obstacle,
                "by_mm": millimetres(record.by),
                "text": record.sentence,
            }
        case Summary():
            return {
                "record": "summary",
                "verdict": record.verdict,
                "exit": int(record.exit),
                "blocks": int(record.blocks),
                "rapids": int(record.rapids),
                "cuts": int(record.cuts),
                "changes": int(record.changes),
                "findings": int(record.findings),
                "rapid_s": seconds(record.rapid_s),
                "added_s": seconds(record.added_s),
            }


def _text(name: str) -> str:
    """A file's name; bytes of it that are not UTF-8, which Python keeps as lone surrogates, as `\\xNN`."""
    return name.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")


def millimetres(length: float | None) -> float | None:
    """`length` as the log and the page show it: 6 decimals, the nearest; None where it is not known or not finite."""
    return _rounded(length, 6)


def millimetres_rounded_up(length: float | None) -> float | None:
    """A needed height as the log and the page show it: 6 decimals, never lower than it is but for `NOISE`."""
    if length is None or not math.isfinite(length):
        return None
    nearest = round(length, 6)
    return _rounded(nearest if nearest >= length - NOISE else nearest + 1e-6, 6)


def seconds(time: float | None) -> float | None:
    """`time` as the log shows it: 3 decimals, to the nearest; None where it is not known or not finite."""
    return _rounded(time, 3)


def _rounded(number: float | None, decimals: int) -> float | None:
    if number is None or not math.isfinite(number):
        return None
    return round(float(number), decimals) + 0.0  # + 0.0: no minus before a zero
