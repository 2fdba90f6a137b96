"""The setup while it is watched: it and its parts files, taken up anew once they have changed and are quiet."""

from __future__ import annotations

import contextlib
import stat
from collections.abc import Iterable
from pathlib import Path

from gcode_guard import __version__
from gcode_guard.rules import check_start
from gcode_guard.setup import SetupError, load_setup
from gcode_guard.setup.errors import printable
from gcode_guard.setup.model import Setup
from gcode_guard.watch.folder import Signature
from gcode_guard.watch.settle import Quiet, writers

Looks = tuple[tuple[Path, Signature | None], ...]


class Bench:
    """The setup that is in force. `steady`: whether it is known to be the one on disk, so that work may go on.

    Raises SetupError where there is no valid setup to begin with.
    """

    def __init__(self, path: Path, quiet: float) -> None:
        self.path = path.absolute()
        self.trouble = ""
        self._quiet = Quiet(quiet)
        _refuse_pipes([self.path])
        self.setup, self._loaded = _load(self.path)
        self._watched = self.setup.files
        self.steady = True

    @property
    def key(self) -> str:
        """What an outcome depends on besides its program."""
        return f"{self.setup.sha256} {__version__}"

    @property
    def folders(self) -> set[Path]:
        """Where a change of the setup shows."""
        return {path.parent for path in self._watched}

    def look(self, now: float) -> bool:
        """Looks whether the setup changed; True where another one is in force from now on.

        A setup is taken up only once it is wholly written: half of one may well parse, with half of its clamps.
        """
        looks = _looks(self._watched)
        if looks == self._loaded and not self.trouble:
            self.steady = True
            self._quiet.forget("")
            return False
        self.steady = False
        if not self._quiet.see("", looks, now) or writers(self._watched):
            return False
        try:
            _refuse_pipes(self._watched)
            setup, loaded = _load(self.path)
        except SetupError as error:
            self.trouble = str(error)
            return False
        if setup.files != self._watched:  # a parts file that is new here must be quiet as well
            self._watched = setup.files
            return False
        before = self.setup.sha256
        self.setup, self._loaded, self.trouble, self.steady = setup, loaded, "", True
        self._quiet.forget("")
        return setup.sha256 != before


def _load(path: Path) -> tuple[Setup, Looks]:
    """The setup, with how its files looked while it was read. Raises SetupError, also where it changes all the time."""
    for _ in range(10):
        before = _looks(load_setup(path).files)  # read twice: which files there are is known only after the first
        setup = load_setup(path)
        check_start(setup)
        loaded = _looks(setup.files)
        if loaded == before:
            return setup, loaded
    raise SetupError(f"{path}: changes all the time")


def _refuse_pipes(paths: Iterable[Path]) -> None:
    """Raises SetupError for what cannot be read again and again: a pipe would hold up the watch till it is fed."""
    for path in paths:
        with contextlib.suppress(OSError):  # what cannot be looked at, loading tells
            mode = path.stat().st_mode
            if not stat.S_ISREG(mode) and not stat.S_ISDIR(mode):
                raise SetupError(f"{printable(str(path))}: is not a file; a setup that is watched must be one")


def _looks(paths: Iterable[Path]) -> Looks:
    looks: list[tuple[Path, Signature | None]] = []
    for path in paths:
        try:
            looks.append((path, Signature.of(path.stat())))
        except OSError:
            looks.append((path, None))
    return tuple(looks)
