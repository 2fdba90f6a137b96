"""Runs a command again and again, each time struck by a signal some lines later, until the delivery has ended.

    python -m tests.hostile.struck FOLDER SIGNAL,... STEP [WORD ...]

FOLDER holds p.nc, bench.toml and what else is to be there before each run. Without words the command is a filter in
place, with a diff and a log. The signals take turns. It runs in children of this process, since importing would take
most of the time, and waits for no disk. Prints one JSON line for each child: the signal, its status, and what lies in
the folder.
"""

from __future__ import annotations

import json
import os
import shutil
import sys
from pathlib import Path
from types import FrameType
from typing import Any

from gcode_guard.__main__ import start

FILTER = ["filter", "p.nc", "-o", "p.nc", "--diff", "d", "--log", "l", "--setup", "bench.toml"]
WATCHED = ("gcode_guard.deliver", "gcode_guard.signals", "gcode_guard.cli", "gcode_guard.demo",
           "gcode_guard.record.page", "gcode_guard.commands.bench", "gcode_guard.commands.programs",
           "gcode_guard.commands.calls", "gcode_guard.room.command")


def run(words: list[str]) -> None:
    sys.argv = ["gcode-guard", *words]
    with open(os.devnull, "w") as nowhere:
        os.dup2(nowhere.fileno(), 1)
        os.dup2(nowhere.fileno(), 2)
    start()


def strike(number: int, at: int) -> None:
    """Sends this process a signal before the line number `at` of the watched modules."""
    lines = 0

    def on_line(frame: FrameType, event: str, value: Any) -> Any:
        nonlocal lines
        if event == "line":
            lines += 1
            if lines == at:
                os.kill(os.getpid(), number)
        return on_line

    def on_call(frame: FrameType, event: str, value: Any) -> Any:
        return on_line if frame.f_globals.get("__name__") in WATCHED else None

    sys.settrace(on_call)


def child(words: list[str], number: int, at: int) -> int:
    """The status of the command in a child: what waitpid(2) says, negative for a signal."""
    process = os.fork()
    if process == 0:
        status = 99
        try:
            strike(number, at)
            run(words)
        except SystemExit as end:
            status = end.code if isinstance(end.code, int) else 0
        finally:
            os._exit(status)
    return os.waitstatus_to_exitcode(os.waitpid(process, 0)[1])


def warm_up(words: list[str]) -> None:
    """Runs it once whole in this process, so that its children need not import anything."""
    kept = os.dup(1), os.dup(2)
    try:
        run(words)
    except SystemExit:
        pass
    for number, descriptor in enumerate(kept, 1):
        os.dup2(descriptor, number)


def clear(folder: Path) -> None:
    for path in folder.iterdir():
        if path.is_dir():
            shutil.rmtree(path)
        else:
            path.unlink()


def main() -> None:
    folder, numbers, step = Path(sys.argv[1]), [int(number) for number in sys.argv[2].split(",")], int(sys.argv[3])
    words = sys.argv[4:] or FILTER
    os.fsync = lambda descriptor: None
    os.chdir(folder)
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    warm_up(words)
    at = 0
    while True:
        clear(folder)
        for name, data in before.items():
            (folder / name).write_bytes(data)
        at += step
        number = numbers[at // step % len(numbers)]
        status = child(words, number, at)
        found = {str(path.relative_to(folder)): path.read_bytes().decode() for path in sorted(folder.rglob("*"))
                 if path.is_file()}
        print(json.dumps({"at": at, "number": number, "status": status, "found": found}))
        if status >= 0:
            return


if __name__ == "__main__":
    main()
