"""Files that appear whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import os
import re
import shutil
import stat
import sys
import tempfile
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import IO, BinaryIO

from .signals import broken_pipe_raised, undisturbed

Fill = Callable[[IO[bytes]], None]
STANDARD = {"/dev/stdin": 0, "/dev/stdout": 1, "/dev/stderr": 2}


class Delivery:
    """Several files that are first written beside their places and then put there one after the other.

    A device, a pipe or an open descriptor (/dev/stdout) is written directly at `release`. Raises OSError; nothing is
    left behind then.
    """

    def __init__(self) -> None:
        self._ready: list[tuple[Path, Path]] = []
        self._direct: list[tuple[Path, Fill]] = []

    def add(self, place: Path, fill: Fill) -> None:
        """Prepares one file: `fill` writes its bytes."""
        if descriptor_of(place) is not None or (place.exists() and not stat.S_ISREG(place.stat().st_mode)):
            if place.is_dir():
                raise IsADirectoryError(21, "is a directory", str(place))
            self._direct.append((place, fill))
            return
        place = Path(os.path.realpath(place))
        with named(place), self._new_file(place) as file:
            fill(file)
            file.flush()
            os.fsync(file.fileno())
            os.fchmod(file.fileno(), stat.S_IMODE(place.stat().st_mode) if place.exists() else 0o666 & ~_umask())

    def _new_file(self, place: Path) -> IO[bytes]:
        """A file beside a place, kept in mind before anything can come between."""
        with undisturbed():
            handle, name = tempfile.mkstemp(prefix=".gcode-guard-", suffix=".part", dir=place.parent)
            self._ready.append((Path(name), place))
            return os.fdopen(handle, "wb")

    def release(self) -> None:
        """Puts every file in its place, in the order in which they were added; what is written directly comes first."""
        for place, fill in self._direct:
            descriptor = descriptor_of(place)
            with named(place):
                with open(place if descriptor is None else os.dup(descriptor), "wb") as file:
                    fill(file)
        with undisturbed():
            while self._ready:
                part, place = self._ready[0]
                os.replace(part, place)
                self._ready.pop(0)

    def withdraw(self) -> None:
        """Takes away what was prepared and not released."""
        with undisturbed():
            for part, _ in self._ready:
                with contextlib.suppress(OSError):
                    part.unlink()
            self._ready.clear()


@contextlib.contextmanager
def named(place: Path) -> Iterator[None]:
    """Whatever goes wrong with a file is said of the place that it is for."""
    try:
        yield
    except OSError as error:
        error.filename = str(place)
        raise


@contextlib.contextmanager
def delivery() -> Iterator[Delivery]:
    """A Delivery that leaves nothing behind where it is not released, nor where a reader of what is said meanwhile goes
    away."""
    files = Delivery()
    with broken_pipe_raised():
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


def descriptor_of(place: Path) -> int | None:
    """The open descriptor that a path stands for (/dev/stdout, /dev/fd/3), None for any other path.

    Such a file is somebody else's, who goes on writing to it: it may not be put in the place of another.
    """
    path = os.path.abspath(place)
    match = re.fullmatch(rf"(?:/dev/fd|/proc/(?:self|thread-self|{os.getpid()})/fd)/(\d+)", path)
    return int(match[1]) if match else STANDARD.get(path)


def no_room(error: OSError) -> str | None:
    """Where there is no space to hold a program back on disk: which place is meant."""
    if error.filename is not None or error.errno not in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return None
    return f"cannot hold the program back in {tempfile.gettempdir()} (TMPDIR may name another place): {error.strerror}"


def clash(read: Iterable[tuple[str, Path | int]], written: Iterable[tuple[str, Path | int]]) -> str | None:
    """Why these files cannot be written: two of them are one file, or one is a file that is read. None where they can.

    Each comes with the words that name it; a number is an open descriptor. Devices and pipes are never one file.
    """
    known = [(name, _identity(file)) for name, file in read]
    for name, file in written:
        identity = _identity(file)
        for other, what in known:
            if what is not None and what == identity:
                return f"{name} and {other} are the same file"
        known.append((name, identity))
    return None


def _identity(file: Path | int) -> object:
    """What two names of one file have in common: the file itself, or its place where it is not there yet."""
    descriptor = descriptor_of(file) if isinstance(file, Path) else file
    try:
        found = os.stat(file if descriptor is None else descriptor)
    except OSError:
        return os.path.realpath(file) if isinstance(file, Path) else None
    if stat.S_ISREG(found.st_mode):
        return found.st_dev, found.st_ino
    return None if descriptor is None or os.path.samestat(found, os.stat(os.devnull)) else descriptor


def fill_standard_streams() -> None:
    """Puts something in the place of standard streams that were closed before the start.

    Else the next file that is opened would be taken for them, and what is said to one would go into another: a summary
    into the mended program. What stands in can be neither read nor written, save standard error, which says nothing.
    """
    for number, mode in ((0, os.O_WRONLY), (1, os.O_RDONLY), (2, os.O_WRONLY)):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, mode)  # the lowest number that is free is this one
    if sys.stdin is None:
        sys.stdin = open(0, closefd=False)  # noqa: SIM115
    if sys.stdout is None:
        sys.stdout = open(1, "w", closefd=False)  # noqa: SIM115
    if sys.stderr is None:
        sys.stderr = open(2, "w", closefd=False)  # noqa: SIM115


def _umask() -> int:
    mask = os.umask(0o077)
    os.umask(mask)
    return mask
