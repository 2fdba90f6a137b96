"""Programs as sources: read more than once, a line at a time, the same bytes each time."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import io
import os
import shutil
import stat
import tempfile
from collections.abc import Iterator
from functools import cached_property
from pathlib import Path
from types import TracebackType
from typing import IO, BinaryIO, Self

LONGEST_PIECE = 1 << 20  # bytes of a line that are held at once; a longer line is refused by the reader


class SourceChanged(Exception):
    """The program's file changed while it was read."""


class Source:
    """A program in a file. `lines` may be called again and again; `sha256` is that of the bytes first read.

    Raises OSError where the file cannot be read.
    """

    def __init__(self, file: BinaryIO | IO[bytes], name: str) -> None:
        self._file = file
        self._path: Path | None = None
        self.name = name

    @cached_property
    def sha256(self) -> str:
        """The digest of the bytes as they were when it was first asked for: at once for what was opened by a path."""
        return self._digest()

    @classmethod
    def from_path(cls, path: Path) -> Source:
        """Opens a file. A pipe or a terminal is first copied to disk; other devices are refused (OSError)."""
        file = open(path, "rb")
        if not file.seekable() or path.is_fifo() or path.is_char_device():
            with file:
                return cls.from_stream(file, str(path))
        try:
            _refuse_device(file, str(path))
        except BaseException:
            file.close()
            raise
        source = cls(file, str(path))
        source._path = path
        _ = source.sha256
        return source

    @classmethod
    def from_stream(cls, stream: BinaryIO | IO[bytes], name: str) -> Source:
        """Copies a stream to disk, since it can be read once only; devices but terminals are refused (OSError)."""
        _refuse_device(stream, name)
        spool = tempfile.TemporaryFile()
        try:
            shutil.copyfileobj(stream, spool, 1 << 20)
            spool.flush()
        except BaseException:
            spool.close()
            raise
        source = cls(spool, name)
        _ = source.sha256
        return source

    def _digest(self) -> str:
        self._file.seek(0)
        digest = hashlib.sha256()
        while piece := self._file.read(1 << 20):
            digest.update(piece)
        return digest.hexdigest()

    def check_unchanged(self) -> None:
        """Raises SourceChanged where the bytes are no longer those first read, or another file stands in its place: an
        export that came meanwhile must not be taken for what was read, nor be written over."""
        if ("sha256" in self.__dict__ and self._digest() != self.sha256) or self._replaced():
            raise SourceChanged("the program changed while it was read; start again")

    def _replaced(self) -> bool:
        """Whether its path is that of another file by now. One that is gone does no harm."""
        try:
            return self._path is not None and not os.path.samestat(os.stat(self._path), os.fstat(self._file.fileno()))
        except OSError:
            return False

    @contextlib.contextmanager
    def unchanged(self) -> Iterator[None]:
        """Raises SourceChanged where it changed by the end of what is inside, however that ends: two halves of two
        programs may be anything."""
        try:
            yield
        except (OSError, MemoryError):
            raise
        except Exception:
            self.check_unchanged()
            raise
        self.check_unchanged()

    def lines(self) -> Iterator[bytes]:
        """The raw lines with their line ends. Several iterations may go on at once."""
        place = 0
        while True:
            self._file.seek(place)
            batch = _some_lines(self._file)
            if not batch:
                return
            place = self._file.tell()
            yield from batch

    def batch(self, place: int, size: int = 1 << 18) -> tuple[bytes, int]:
        """About `size` bytes of whole lines from the byte `place` on, and the place behind them; nothing at the end.

        A line longer than LONGEST_PIECE comes alone, its beginning only, as from `lines`.
        """
        self._file.seek(place)
        data = self._file.read(size)
        if len(data) < size or data.endswith(b"\n"):
            return data, place + len(data)
        cut = data.rfind(b"\n") + 1
        if cut:
            return data[:cut], place + cut
        self._file.seek(place)
        line = _some_lines(self._file, 1)[0]
        return line, self._file.tell()

    def piece(self, place: int, size: int) -> bytes:
        """So many bytes from the byte `place` on, or what there is."""
        self._file.seek(place)
        return self._file.read(size)

    def copy_to(self, out: IO[bytes]) -> None:
        """Writes all of it to a file, byte for byte."""
        self._file.seek(0)
        shutil.copyfileobj(self._file, out, 1 << 20)

    def close(self) -> None:
        self._file.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:
        self.close()


def _refuse_device(file: BinaryIO | IO[bytes], name: str) -> None:
    """Raises OSError for a device that is no terminal (a serial line is one): a disk is no program, and what never ends
    would fill ours. The null device is an empty program."""
    try:
        handle = file.fileno()
    except io.UnsupportedOperation:  # no file of the system's
        return
    found = os.fstat(handle)
    strange = stat.S_ISBLK(found.st_mode) or (stat.S_ISCHR(found.st_mode) and not os.isatty(handle))
    if strange and found.st_rdev != os.stat(os.devnull).st_rdev:
        raise OSError(errno.EINVAL, "is a device, not a program", name)


def _some_lines(file: BinaryIO | IO[bytes], size: int = 1 << 18) -> list[bytes]:
    """Some whole lines from where the file stands; of a line longer than LONGEST_PIECE the beginning."""
    lines, total = [], 0
    while total < size:
        line = file.readline(LONGEST_PIECE)
        if not line:
            break
        lines.append(line)
        total += len(line)
        while len(line) == LONGEST_PIECE and not line.endswith(b"\n"):
            line = file.readline(LONGEST_PIECE)
    return lines
