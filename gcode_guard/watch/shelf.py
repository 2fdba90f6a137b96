"""Puts outputs into `ready/` and `held/` and takes them away, so that neither ever shows half an outcome."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterable
from pathlib import Path

from gcode_guard.watch.folder import PLACES, Folder, Place, Signature, digest, signature, sync_folder
from gcode_guard.watch.ledger import Ledger, Row
from gcode_guard.watch.work import Result, staged


class Shelf:
    """The two places for outputs, and the ledger of what stands in them."""

    def __init__(self, folder: Folder, ledger: Ledger) -> None:
        self._folder, self._ledger = folder, ledger
        self.found: dict[Place, dict[str, Signature]] = {"ready": {}, "held": {}}

    def look(self) -> None:
        """Sees what is there now."""
        self.found = {place: self._folder.outputs(place) for place in PLACES}

    def stands(self, row: Row) -> bool:
        """Whether every file of an outcome is there as it was put. Raises OSError."""
        return all(self._is_ours(row.place, file.name, file.signature, file.sha256) for file in row.files)

    def changed_by_others(self, row: Row) -> list[str]:
        """Those files of an outcome that are there but not as they were put. Raises OSError."""
        return [file.name for file in row.files if file.name in self.found[row.place]
                and not self._is_ours(row.place, file.name, file.signature, file.sha256)]

    def anything_of(self, row: Row) -> bool:
        return any(file.name in self.found[row.place] for file in row.files)

    def _is_ours(self, place: Place, name: str, expected: Signature, sha256: str) -> bool:
        there = self.found[place].get(name)
        if there is None:
            return False
        if there.same_file(expected):
            return True
        # A copy put back from elsewhere counts, if it is the same to the byte.
        path = self._folder.place(place) / name
        return there.size == expected.size and not path.is_symlink() and digest(path) == sha256

    def strangers(self) -> list[tuple[Place, str]]:
        """Files that a person would take for outcomes, and of which the ledger knows nothing."""
        known = {(row.place, file.name) for row in self._ledger.rows.values() for file in row.files}
        return [(place, name) for place in PLACES for name in self.found[place]
                if (place, name) not in known and self._folder.is_output_name(place, name)]

    def set_aside(self, place: Place, name: str) -> Path:
        """Moves a file that is not ours where nobody takes it for guarded. Raises OSError."""
        target = self._folder.state / "set-aside"
        target.mkdir(exist_ok=True)
        number = 1
        while os.path.lexists(target / name):
            number += 1
            target = self._folder.state / "set-aside" / str(number)
            target.mkdir(exist_ok=True)
        os.rename(self._folder.place(place) / name, target / name)
        self.found[place].pop(name, None)
        return target / name

    def set_strangers_aside(self, stuck: dict[str, OSError]) -> list[Path]:
        """Moves them away; returns where they went. Those that cannot be moved are added to `stuck`."""
        aside = []
        for place, name in self.strangers():
            try:
                aside.append(self.set_aside(place, name))
            except OSError as error:
                stuck[name] = error
        return aside

    def withdraw(self, rows: Iterable[Row]) -> tuple[list[Path], dict[str, OSError]]:
        """Takes outcomes away, each program first.

        Returns where files went that somebody else had changed, and by name what could not be taken away. The rows go
        last: a kill in between leaves rows that do not stand, and they are withdrawn at the next look. Raises OSError.
        """
        aside: list[Path] = []
        stuck: dict[str, OSError] = {}
        gone = []
        for row in rows:
            try:
                self._take_away(row, aside)
                gone.append(row)
            except OSError as error:
                stuck[row.name] = error
        if gone:
            self._sync({row.place for row in gone})
            self._ledger.forget([row.name for row in gone])
        return aside, stuck

    def _take_away(self, row: Row, aside: list[Path]) -> None:
        for file in reversed(row.files):
            if file.name not in self.found[row.place]:
                continue
            if self._is_ours(row.place, file.name, file.signature, file.sha256):
                (self._folder.place(row.place) / file.name).unlink(missing_ok=True)
                self.found[row.place].pop(file.name, None)
            else:
                aside.append(self.set_aside(row.place, file.name))

    def put(self, results: list[Result], still: Callable[[Result], bool]) -> dict[str, OSError | None]:
        """Puts outcomes in their place: the rows, then all that goes beside, and last the programs.

        `still` says, just before it appears, whether an outcome is still that of the program. Returns those that could
        not be put, by name, with None where the program changed; nothing of them is left. Raises OSError where the
        ledger could not be written.
        """
        try:
            return self._put(results, still)
        finally:
            for result in results:
                discard(result)

    def _put(self, results: list[Result], still: Callable[[Result], bool]) -> dict[str, OSError | None]:
        self._folder.prepare()
        self._ledger.put(map(_row, results))
        failed: dict[str, OSError | None] = {}
        for result in results:
            self._move(result, slice(None, -1), failed)
        self._sync({result.place for result in results})
        for result in results:
            if result.task.name not in failed and not still(result):
                failed[result.task.name] = None
            if result.task.name not in failed:
                self._move(result, slice(-1, None), failed)
        self._sync({result.place for result in results})
        if failed:
            self._undo([self._ledger.rows[name] for name in failed])
        return failed

    def _move(self, result: Result, which: slice, failed: dict[str, OSError | None]) -> None:
        for file in result.files[which]:
            target = self._folder.place(result.place) / file.name
            try:
                os.replace(staged(result.task, file), target)
            except OSError as error:
                failed[result.task.name] = error
                return
            self.found[result.place][file.name] = file.signature

    def _undo(self, rows: list[Row]) -> None:
        """Takes away what was put of outcomes that could not be put whole."""
        for row in rows:
            for file in reversed(row.files):
                there = signature(self._folder.place(row.place) / file.name)
                if there is not None and there.same_file(file.signature):
                    (self._folder.place(row.place) / file.name).unlink(missing_ok=True)
                self.found[row.place].pop(file.name, None)
        self._ledger.forget([row.name for row in rows])

    def _sync(self, places: set[Place]) -> None:
        for place in places:
            try:
                sync_folder(self._folder.place(place))
            except FileNotFoundError:
                continue  # taken away under our feet: the next look sees it


def discard(result: Result) -> None:
    """Clears the work folder of a task."""
    shutil.rmtree(result.task.stage, ignore_errors=True)


def _row(result: Result) -> Row:
    task = result.task
    return Row(task.name, result.program_sha256, task.key, task.original, result.place, result.verdict, result.exit,
               result.changes, result.files)
