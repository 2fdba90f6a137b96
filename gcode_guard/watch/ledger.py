"""What was done: one row a program, in a small SQLite file, written before the outputs are put in their place.

A row says what should stand. Whether it stands is seen by looking at the files; so there is no moment at which a kill
leaves the ledger claiming what is not there.
"""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass
from errno import EIO
from pathlib import Path

from gcode_guard.watch.folder import Place, Signature

FORMAT = 1


class LedgerDamaged(Exception):
    """The ledger's file is not one that this version can read."""


@dataclass(frozen=True, slots=True)
class Written:
    """A file that was put out: its name in its place, SHA-256 of its bytes, and its signature."""

    name: str
    sha256: str
    signature: Signature


@dataclass(frozen=True, slots=True)
class Row:
    """The outcome of one program. `key`: digest of the setup and version of the guard; `files`: the last is the one
    that a person looks for, the program or the reasons."""

    name: str
    program_sha256: str
    key: str
    original: Signature
    place: Place
    verdict: str
    exit: int
    changes: int
    files: tuple[Written, ...]


class Ledger:
    """The rows by name, in memory and on disk. There is one writer, who holds the folder's lock.

    Raises LedgerDamaged from `__init__`, OSError where the disk does not take a change; the rows are as before then.
    """

    def __init__(self, path: Path) -> None:
        # The folder's own lock keeps others out, and SQLite's locks fail on many network drives.
        place = f"{path.absolute().as_uri()}?nolock=1"
        try:
            self._base = sqlite3.connect(place, uri=True, isolation_level=None)
            self._prepare()
            self.rows = {row.name: row for row in self._read()}
        except (sqlite3.DatabaseError, ValueError, TypeError, KeyError) as error:
            if isinstance(error, sqlite3.OperationalError):
                raise _trouble(error, path) from error
            raise LedgerDamaged(str(error)) from error
        self._path = path

    def _prepare(self) -> None:
        self._base.execute("PRAGMA synchronous = EXTRA")  # a commit outlasts a power cut (SQLite's documentation)
        version = self._base.execute("PRAGMA user_version").fetchone()[0]
        if version not in (0, FORMAT):
            raise LedgerDamaged(f"it has format {version}, this version writes {FORMAT}")
        with self._base:
            self._base.execute("BEGIN")
            self._base.execute("CREATE TABLE IF NOT EXISTS outcome (name BLOB PRIMARY KEY, program_sha256 TEXT,"
                               " key TEXT, original TEXT, place TEXT, verdict TEXT, exit INTEGER, changes INTEGER,"
                               " files TEXT)")
            self._base.execute(f"PRAGMA user_version = {FORMAT}")

    def _read(self) -> Iterable[Row]:
        for name, program, key, original, place, verdict, status, changes, files in self._base.execute(
                "SELECT name, program_sha256, key, original, place, verdict, exit, changes, files FROM outcome"):
            written = tuple(Written(os.fsdecode(bytes.fromhex(entry[0])), entry[1], Signature(*entry[2]))
                            for entry in json.loads(files))
            yield Row(os.fsdecode(name), program, key, Signature(*json.loads(original)), place, verdict, status,
                      changes, written)

    def put(self, rows: Iterable[Row]) -> None:
        """Writes rows, all or none. A row of the same name is replaced."""
        rows = list(rows)
        self._change("INSERT OR REPLACE INTO outcome VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)", map(_columns, rows))
        self.rows.update((row.name, row) for row in rows)

    def forget(self, names: Iterable[str]) -> None:
        """Takes rows away, all or none."""
        names = list(names)
        self._change("DELETE FROM outcome WHERE name = ?", [(os.fsencode(name),) for name in names])
        for name in names:
            self.rows.pop(name, None)

    def _change(self, statement: str, values: Iterable[tuple[object, ...]]) -> None:
        try:
            with self._base:
                self._base.execute("BEGIN")
                self._base.executemany(statement, values)
        except sqlite3.Error as error:
            raise _trouble(error, self._path) from error

    def close(self) -> None:
        self._base.close()


def _columns(row: Row) -> tuple[object, ...]:
    # Names are bytes to the system; in hex they pass through JSON whatever they are.
    files = [(os.fsencode(file.name).hex(), file.sha256, file.signature) for file in row.files]
    return (os.fsencode(row.name), row.program_sha256, row.key, json.dumps(row.original), row.place, row.verdict,
            row.exit, row.changes, json.dumps(files))


def _trouble(error: sqlite3.Error, path: Path) -> OSError:
    return OSError(EIO, str(error), str(path))
