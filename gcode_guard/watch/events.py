"""What wakes the watcher: changes in folders, through watchfiles, and a bell that other threads and signals ring."""

from __future__ import annotations

import contextlib
import os
import threading
from collections.abc import Iterable
from pathlib import Path


class Bell:
    """A pipe to wait on together with others; ringing it never waits, whoever does it."""

    def __init__(self) -> None:
        self._read, self._write = os.pipe()
        os.set_blocking(self._read, False)
        os.set_blocking(self._write, False)

    def fileno(self) -> int:
        return self._read

    def ring(self) -> None:
        with contextlib.suppress(OSError):  # full: it rings already
            os.write(self._write, b".")

    def heard(self) -> bool:
        """Whether it rang since it was last asked."""
        heard = False
        with contextlib.suppress(BlockingIOError):
            while os.read(self._read, 4096):
                heard = True
        return heard

    def close(self) -> None:
        os.close(self._read)
        os.close(self._write)


class Events:
    """Rings `bell` when something changes in one of `folders`. Where the system gives no events, `trouble` says why."""

    def __init__(self, folders: Iterable[Path], bell: Bell) -> None:
        self.folders = sorted(set(folders))
        self.trouble = ""
        self._bell = bell
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._listen, daemon=True)
        self._thread.start()

    def _listen(self) -> None:
        from watchfiles import watch

        try:
            listening = False
            for changes in watch(*self.folders, watch_filter=None, recursive=False, debounce=100, step=25,
                                 rust_timeout=200, yield_on_timeout=True, stop_event=self._stop, raise_interrupt=False):
                if changes or not listening:  # once it listens, one look for what came before
                    self._bell.ring()
                listening = True
        except Exception as error:  # whatever it is, looking now and then goes on without it
            self.trouble = str(error) or type(error).__name__
            self._bell.ring()

    def end(self) -> None:
        self._stop.set()
        self._thread.join()
