"""The watch: looks at the folder, hands programs out to workers, and puts what comes back in its place."""

from __future__ import annotations

import contextlib
import shutil
import signal
import threading
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TextIO

from gcode_guard.record.findings import safe_text
from gcode_guard.record.summary import not_checked_with
from gcode_guard.watch.bench import Bench
from gcode_guard.watch.crew import Crew
from gcode_guard.watch.events import Bell, Events
from gcode_guard.watch.folder import SUFFIXES, Folder, StateLost
from gcode_guard.watch.ledger import Ledger, LedgerDamaged
from gcode_guard.watch.lock import FolderLock
from gcode_guard.watch.rounds import Rounds, Ways
from gcode_guard.watch.shelf import Shelf
from gcode_guard.watch.status import Board

SETTLE = 2.0  # seconds for which a program must be quiet; also more than the coarsest file times, those of FAT


class Stop:
    """A wish to end: a signal sets it, and the bell wakes the watcher."""

    def __init__(self, bell: Bell) -> None:
        self.signal = 0
        self._bell = bell

    def _ask(self, number: int, frame: object) -> None:
        self.signal = number
        self._bell.ring()

    @contextlib.contextmanager
    def on_signals(self) -> Iterator[None]:
        """Takes Ctrl-C, SIGTERM and SIGHUP for a wish to end; outside the main thread they are left to it."""
        if threading.current_thread() is not threading.main_thread():
            yield
            return
        before = {number: signal.signal(number, self._ask) for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
                  if number != signal.SIGHUP or signal.getsignal(number) != signal.SIG_IGN}  # nohup(1)
        try:
            yield
        finally:
            for number, handler in before.items():
                signal.signal(number, handler)


def watch_folder(folder: str | Path, setup: str | Path, *, suffixes: Iterable[str] = (), poll: bool = False,
                 once: bool = False, settle: float = SETTLE, workers: int = 2, method: str = "spawn",
                 stream: TextIO | None = None) -> int:
    """Guards what lies and lands in `folder`, until a signal ends it or, with `once`, until what is there is done.

    suffixes: more endings of programs, besides `SUFFIXES`. poll: look every second, for drives that send no events.
    settle: seconds for which a program must be quiet before it counts as written. workers: how many processes;
    method: how `multiprocessing` starts them. stream: where the lines go; None is standard output.

    Returns the highest exit status of the programs with `once`, else 128 and the number of the signal. Raises
    SetupError where the setup is not valid at the start, Locked where another watcher has the folder, FolderGone where
    the folder is not there or goes, OSError where it cannot be written to at the start.
    """
    place = Folder(Path(folder).resolve(), tuple(dict.fromkeys((*SUFFIXES, *suffixes))))
    bench = Bench(Path(setup), settle)
    ways = Ways(poll, once, settle)
    bell = Bell()
    stop = Stop(bell)
    board = Board(stream)
    try:
        with stop.on_signals():
            while True:
                try:
                    return _session(place, bench, ways, Crew(workers, method), bell, stop, board)
                except StateLost as error:
                    board.loud(f"the watcher's own records are gone ({error}); everything is done again")
    finally:
        board.close()
        bell.close()


def _session(folder: Folder, bench: Bench, ways: Ways, crew: Crew, bell: Bell, stop: Stop, board: Board) -> int:
    """From taking the folder's lock to giving it back. Raises StateLost where it must be done again."""
    folder.prepare()
    lock = FolderLock(folder.state)
    with contextlib.ExitStack() as last:
        last.callback(lock.release)
        _clear(folder.work)
        ledger = _open_ledger(folder, board)
        last.callback(ledger.close)
        last.callback(_clear, folder.work)
        last.callback(crew.end)
        rounds = Rounds(folder, bench, Shelf(folder, ledger), ledger, crew, board, ways, lock)
        events = None if ways.poll or ways.once else Events({folder.root, *bench.folders}, bell)
        if not ways.once:
            board.say(f"watching {safe_text(str(folder.root))} with {safe_text(str(bench.path))}")
        board.say(not_checked_with(bench.setup))
        try:
            while not stop.signal:
                events = _listen_anew(events, rounds, folder, bench, bell, board)
                if rounds.go(bell.heard()):
                    return rounds.worst()
                rounds.rest([bell, *crew.bells])
        finally:
            if events is not None:
                events.end()
    return 128 + stop.signal


def _listen_anew(events: Events | None, rounds: Rounds, folder: Folder, bench: Bench, bell: Bell,
                 board: Board) -> Events | None:
    """Follows the setup's files where they are elsewhere now; without events, falls back to looking every second."""
    if events is None:
        return None
    if events.trouble:
        board.say(f"no events from the system ({safe_text(events.trouble)}): looking every second instead")
        events.end()
        rounds.poll()
        return None
    wanted = {folder.root, *bench.folders}
    if set(events.folders) != wanted:
        events.end()
        return Events(wanted, bell)
    return events


def _clear(work: Path) -> None:
    """Empties the work folder: what lies there was never put anywhere."""
    if work.is_dir():
        for path in work.iterdir():
            shutil.rmtree(path, ignore_errors=True)


def _open_ledger(folder: Folder, board: Board) -> Ledger:
    path = folder.state / "ledger.sqlite"
    try:
        return Ledger(path)
    except LedgerDamaged as error:
        board.loud(f"the ledger cannot be read ({error}); it is kept as {path.name}.damaged, everything is done again")
        for ending in ("", "-journal"):
            with contextlib.suppress(FileNotFoundError):
                path.with_name(path.name + ending).replace(path.with_name(f"{path.name}{ending}.damaged"))
        return Ledger(path)
