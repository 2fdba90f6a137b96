"""Runs a watch again and again, each time struck by a signal some lines later, until one ends by itself.

    python -m tests.watch.struck FOLDER SETUP

With each try the outputs are taken away, so that there is work; the folder must be in order whenever the watch ended:
its work folder empty, and whatever stands in ready/ whole. Prints a line for each try: where it was struck, and how it
ended (negative: by that signal). The last one is not struck.
"""

from __future__ import annotations

import os
import shutil
import signal
import sys
from pathlib import Path
from types import FrameType
from typing import Any

import tests.watch.warm  # noqa: F401  imports all, so that the children need not
from gcode_guard.signals import Stopped, listen
from gcode_guard.watch import watch_folder
from tests.watch.shop import guarded

NUMBERS = (signal.SIGTERM, signal.SIGINT, signal.SIGHUP)
WATCHED = tuple(f"gcode_guard.watch.{name}" for name in ("watcher", "rounds", "shelf", "lock", "ledger", "crew"))
STEP = 61  # lines; no divisor of what a round takes, so that each try falls elsewhere


def strike(number: int, at: int) -> None:
    """Sends this process a signal before the line number `at` of the watch; its workers are left alone."""
    lines, owner = 0, os.getpid()

    def on_line(frame: FrameType, event: str, value: Any) -> Any:
        nonlocal lines
        if event == "line" and os.getpid() == owner:
            lines += 1
            if lines == at:
                os.kill(owner, number)
        return on_line

    sys.settrace(lambda frame, event, value: on_line if frame.f_globals.get("__name__") in WATCHED else None)


def child(folder: Path, setup: Path, number: int, at: int) -> int:
    """How a watch ended that was struck: what waitpid(2) says."""
    process = os.fork()
    if process == 0:
        status = 99
        try:
            os.fsync = lambda descriptor: None
            with open(os.devnull, "w") as nowhere:
                listen()
                strike(number, at)
                status = watch_folder(folder, setup, once=True, settle=0.01, method="fork", stream=nowhere)
                sys.settrace(None)
            status = status - 128 if status > 128 else status
            if status in NUMBERS:
                signal.signal(status, signal.SIG_DFL)
                os.kill(os.getpid(), status)
        except Stopped as stopped:  # before the watch listens, or after
            signal.signal(stopped.number, signal.SIG_DFL)
            os.kill(os.getpid(), stopped.number)
        finally:
            os._exit(status)
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1])


def check(folder: Path, outcomes: dict[str, bytes]) -> None:
    """Whatever is there is whole, with all that stands beside it."""
    work = folder / ".gcode-guard" / "work"
    assert not work.is_dir() or not list(work.iterdir()), "something is left in the work folder"
    ready = folder / "ready"
    for path in ready.glob("*.nc") if ready.is_dir() else ():
        assert path.read_bytes() == outcomes[path.name], f"{path.name} is half written"
        for ending in (".diff", ".log.jsonl", ".review.html"):
            assert (ready / f"{path.name}{ending}").exists(), f"{path.name} has no {ending}"


def main() -> None:
    folder, setup = Path(sys.argv[1]), Path(sys.argv[2])
    before = {path.name: path.read_bytes() for path in folder.glob("*.nc")}
    outcomes = {name: guarded(data, setup)[1] for name, data in before.items()}
    at = 1
    while True:
        for place in ("ready", "held"):
            shutil.rmtree(folder / place, ignore_errors=True)
        number = NUMBERS[at % len(NUMBERS)]
        status = child(folder, setup, number, at)
        check(folder, outcomes)
        assert {path.name: path.read_bytes() for path in folder.glob("*.nc")} == before
        print(at, status, flush=True)
        if status >= 0:
            return
        at += STEP


if __name__ == "__main__":
    main()
