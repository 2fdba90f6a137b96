"""Keeps two watchers off one folder: a lock (flock) that ends with the process that holds it, however it ends."""

from __future__ import annotations

import fcntl
import os
import socket
from pathlib import Path

from gcode_guard.watch.folder import StateLost


class Locked(Exception):
    """Another watcher has the folder."""


class FolderLock:
    """Holds the folder until `release`. Raises Locked, and OSError where the drive gives no locks."""

    def __init__(self, state: Path) -> None:
        self._path = state / "lock"
        self._handle = os.open(self._path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC | os.O_NOFOLLOW, 0o666)
        try:
            fcntl.flock(self._handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            holder = os.read(self._handle, 200).decode("utf-8", "replace").strip()
            os.close(self._handle)
            raise Locked(f"another watcher has this folder ({holder or 'it does not say which'})") from None
        except OSError as error:
            os.close(self._handle)
            raise OSError(error.errno, f"this drive gives no locks ({error.strerror}), so two watchers could not be"
                          " kept apart", str(self._path)) from error
        os.ftruncate(self._handle, 0)
        os.pwrite(self._handle, f"process {os.getpid()} on {socket.gethostname()}\n".encode(), 0)

    def check(self) -> None:
        """Raises StateLost where the lock's file was taken away: another watcher could take the folder then."""
        try:
            there = os.stat(self._path, follow_symlinks=False)
        except OSError as error:
            raise StateLost(f"{self._path}: {error.strerror}") from error
        if there.st_ino != os.fstat(self._handle).st_ino:
            raise StateLost(f"{self._path}: was replaced")

    def release(self) -> None:
        os.close(self._handle)
