"""Files that appear whole or not at all."""

from __future__ import annotations

import contextlib
import os
import shutil
import stat
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO, BinaryIO

Fill = Callable[[IO[bytes]], None]


class Delivery:
    """Several files that are first written beside their places and then put there one after the other.

    A device or a pipe is written directly at `release`. Raises OSError; nothing is left behind then.
    """

    def __init__(self) -> None:
        self._ready: list[tuple[Path, Path]] = []
        self._direct: list[tuple[Path, Fill]] = []

    def add(self, place: Path, fill: Fill) -> None:
        """Prepares one file: `fill` writes its bytes."""
        place = Path(os.path.realpath(place))
        if place.exists() and not stat.S_ISREG(place.stat().st_mode):
            if place.is_dir():
                raise IsADirectoryError(21, "is a directory", str(place))
            self._direct.append((place, fill))
            return
        try:
            handle, name = tempfile.mkstemp(prefix=f".{place.name[:100]}.", suffix=".part", dir=place.parent)
        except OSError as error:
            raise type(error)(error.errno, error.strerror, str(place)) from error
        self._ready.append((Path(name), place))
        with os.fdopen(handle, "wb") as file:
            fill(file)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(name, stat.S_IMODE(place.stat().st_mode) if place.exists() else 0o666 & ~_umask())

    def release(self) -> None:
        """Puts every file in its place, in the order in which they were added."""
        for place, fill in self._direct:
            with open(place, "wb") as file:
                fill(file)
        while self._ready:
            part, place = self._ready[0]
            os.replace(part, place)
            self._ready.pop(0)

    def withdraw(self) -> None:
        """Takes away what was prepared and not released."""
        for part, _ in self._ready:
            with contextlib.suppress(OSError):
                part.unlink()
        self._ready.clear()


@contextlib.contextmanager
def delivery() -> Iterator[Delivery]:
    """A Delivery that leaves nothing behind where it is not released."""
    files = Delivery()
    try:
        yield files
    finally:
        files.withdraw()


def copy_of(file: IO[bytes]) -> Fill:
    """Fills a file with the bytes of another, from its beginning."""
    def fill(out: IO[bytes] | BinaryIO) -> None:
        file.seek(0)
        shutil.copyfileobj(file, out, 1 << 20)
    return fill


def _umask() -> int:
    mask = os.umask(0o077)
    os.umask(mask)
    return mask
