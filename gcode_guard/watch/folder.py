"""The drop folder on disk: what lies in it, how its outputs are called, and what must never be followed or opened."""

from __future__ import annotations

import hashlib
import os
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, NamedTuple

SUFFIXES = (".nc", ".ngc", ".tap", ".cnc", ".gcode")
OUTPUT_ENDINGS = (".diff", ".log.jsonl", ".review.html")  # beside a program in ready/
HELD_ENDINGS = (".txt", ".log.jsonl", ".review.html")  # in held/, where there is no program
LONGEST_NAME = 255  # bytes of a file name on every common file system (POSIX NAME_MAX)
STATE = ".gcode-guard"

Place = Literal["ready", "held"]
PLACES: tuple[Place, Place] = ("ready", "held")


def as_suffix(text: str) -> str:
    """An ending of programs as the user gave it, with or without its point, in lower case.

    Raises ValueError for one that our own outputs have: a program must not be taken for what stands beside another.
    """
    suffix = "." + text.lower().removeprefix(".")
    if len(suffix) == 1 or "/" in suffix or "\0" in suffix:
        raise ValueError(f"{text!r} is not an ending of a file name")
    taken = next((ending for ending in OUTPUT_ENDINGS if ending.endswith(suffix) or suffix.endswith(ending)), None)
    if taken:
        raise ValueError(f"{text!r} is the ending of files that stand beside the programs in ready/")
    return suffix


class FolderGone(Exception):
    """The watched folder itself is not there any more."""


class StateLost(Exception):
    """The watcher's own records were taken away while it ran."""


class Signature(NamedTuple):
    """What shows, without reading it, that a file is the one seen before: bytes, times in ns, and its inode."""

    size: int
    changed: int
    status: int
    inode: int

    @classmethod
    def of(cls, found: os.stat_result) -> Signature:
        return cls(found.st_size, found.st_mtime_ns, found.st_ctime_ns, found.st_ino)

    def same_file(self, other: Signature) -> bool:
        """Whether both are the same file with the same content; a rename alone may have come between."""
        return (self.size, self.changed, self.inode) == (other.size, other.changed, other.inode)


@dataclass(frozen=True, slots=True)
class Listing:
    """What lies in the folder: programs and links by name, and other things that are named like a program."""

    programs: dict[str, Signature]
    others: dict[str, str]


@dataclass(frozen=True, slots=True)
class Folder:
    """A drop folder. `suffixes`: endings of programs, lower case, with the point."""

    root: Path
    suffixes: tuple[str, ...] = SUFFIXES

    @property
    def state(self) -> Path:
        return self.root / STATE

    @property
    def work(self) -> Path:
        """Where outputs are written before they are put in their place; emptied at each start."""
        return self.state / "work"

    def place(self, place: Place) -> Path:
        return self.root / place

    def prepare(self) -> None:
        """Makes the folders that are missing.

        Raises FolderGone, and OSError where one cannot be made or is a link or a file: what is written must stay in
        the folder.
        """
        if not self.root.is_dir():
            raise FolderGone(f"{self.root}: the folder is not there")
        for path in (self.state, self.work, *map(self.place, PLACES)):
            try:
                path.mkdir()
            except FileExistsError:
                if not stat.S_ISDIR(path.lstat().st_mode):
                    raise NotADirectoryError(20, "must be a plain folder, not a link or a file", str(path)) from None

    def is_program_name(self, name: str) -> bool:
        """Hidden files are never programs: exporters and editors keep their half-done work in them."""
        return not name.startswith(".") and name.lower().endswith(self.suffixes)

    def programs(self) -> Listing:
        """What is in the folder now. Raises FolderGone, OSError."""
        listing = Listing({}, {})
        try:
            with os.scandir(self.root) as entries:
                for entry in entries:
                    if self.is_program_name(entry.name):
                        self._list(entry, listing)
        except (FileNotFoundError, NotADirectoryError) as error:
            raise FolderGone(f"{self.root}: the folder is gone") from error
        return listing

    @staticmethod
    def _list(entry: os.DirEntry[str], listing: Listing) -> None:
        try:
            found = entry.stat(follow_symlinks=False)
        except FileNotFoundError:
            return
        if stat.S_ISREG(found.st_mode) or stat.S_ISLNK(found.st_mode):
            listing.programs[entry.name] = Signature.of(found)
        else:
            listing.others[entry.name] = "a folder" if stat.S_ISDIR(found.st_mode) else "not a file"

    def outputs(self, place: Place) -> dict[str, Signature]:
        """Every file and link in `ready/` or `held/`; nothing where that is missing."""
        found = {}
        try:
            with os.scandir(self.place(place)) as entries:
                for entry in entries:
                    try:
                        status = entry.stat(follow_symlinks=False)
                    except FileNotFoundError:
                        continue
                    if not stat.S_ISDIR(status.st_mode):
                        found[entry.name] = Signature.of(status)
        except (FileNotFoundError, NotADirectoryError):
            return {}
        return found

    def is_output_name(self, place: Place, name: str) -> bool:
        """Whether a person who finds `name` in `ready/` or `held/` would take it for something that was guarded."""
        if name.startswith("."):
            return False
        if place == "ready" and self.is_program_name(name):
            return True
        endings = OUTPUT_ENDINGS if place == "ready" else HELD_ENDINGS
        return any(name.endswith(ending) and self.is_program_name(name[:-len(ending)]) for ending in endings)


def side_name(name: str, ending: str) -> str:
    """The name of a file beside the program `name`; one too long for a file system is cut, and marked by a digest."""
    longest = LONGEST_NAME - max(map(len, OUTPUT_ENDINGS))
    raw = os.fsencode(name)
    if len(raw) <= longest:
        return name + ending
    mark = hashlib.sha256(raw).hexdigest()[:12]
    stem, suffix = os.path.splitext(name)
    room = longest - len(mark) - 1 - len(os.fsencode(suffix))
    kept = os.fsencode(stem)[:room].decode("utf-8", "ignore")
    return f"{kept}~{mark}{suffix}{ending}"


def signature(path: Path) -> Signature | None:
    """The signature of a file or link, not followed; None where there is none."""
    try:
        return Signature.of(path.lstat())
    except (FileNotFoundError, NotADirectoryError):
        return None


def open_program(path: Path) -> int:
    """A descriptor to read a program by: never through a link, never waiting for a pipe. Raises OSError."""
    return os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)


def digest(path: Path) -> str:
    """SHA-256 (hex) of a program's bytes, or of what a link says. Raises OSError where it cannot be read."""
    if path.is_symlink():
        return link_digest(path)
    found = hashlib.sha256()
    with open(open_program(path), "rb") as file:
        while piece := file.read(1 << 20):
            found.update(piece)
    return found.hexdigest()


def link_digest(path: Path) -> str:
    return hashlib.sha256(b"link to " + os.fsencode(os.readlink(path))).hexdigest()


def sync_folder(path: Path) -> None:
    """Makes the names in a folder outlast a power cut (POSIX fsync on a directory). Raises OSError."""
    handle = os.open(path, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
