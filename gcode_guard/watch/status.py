"""What the watcher says: one line a program, and on a terminal a live line of how things stand."""

from __future__ import annotations

import contextlib
import io
import os
import sys
import time
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TextIO

from gcode_guard.record.findings import safe_text
from gcode_guard.record.summary import count, duration
from gcode_guard.watch.work import Result

if TYPE_CHECKING:
    from rich.live import Live

NAMED = 5  # orphans that are listed by name in one line


@dataclass(slots=True)
class Standing:
    """How things stand: how many outcomes, what waits, and originals that are gone while their outputs stay."""

    ready: int = 0
    held: int = 0
    waiting: int = 0
    working: int = 0
    orphans: list[str] = field(default_factory=list)
    trouble: str = ""

    @property
    def idle(self) -> bool:
        return not self.waiting and not self.working

    def __str__(self) -> str:
        parts = [f"{self.ready} ready", f"{self.held} held"]
        parts += [f"{self.waiting} waiting"] if self.waiting else []
        parts += [f"{self.working} in work"] if self.working else []
        text = ", ".join(parts)
        if self.orphans:
            text += f"; orphans (the original is gone): {names(self.orphans)}"
        return f"{text}; {self.trouble}" if self.trouble else text


def names(those: Iterable[str]) -> str:
    """Names as a person lists them, the first few."""
    ordered = [safe_text(name) for name in sorted(those)]
    more = len(ordered) - NAMED
    return ", ".join(ordered[:NAMED]) + (f" and {more} more" if more > 0 else "")


def outcome_line(result: Result, twin: str | None) -> str:
    """What became of a program, in one line. `twin`: a program whose name differs in case alone."""
    name, took = safe_text(result.task.name), duration(result.seconds)
    only = " (cutter only)" if result.cutter_only else ""
    if result.place == "held":
        text = f"{name}: held, exit {result.exit}{only}, {took}: {result.reason}"
    elif result.verdict == "safe":
        text = f"{name}: safe as it is{only}, {took}"
    else:
        text = f"{name}: repaired, {count(result.changes, 'block')} changed{only}, {took}"
    if twin is not None:
        text += f" (beware: {safe_text(twin)} differs in case alone; on many sticks one replaces the other)"
    return text


class Board:
    """Writes the lines. On a terminal the standing is redrawn in place; else it is a line when all is done."""

    def __init__(self, stream: TextIO | None = None) -> None:
        self._stream = stream or sys.stdout
        self._live: Live | None = None
        self._shown = ""
        if self._stream.isatty():
            from rich.console import Console
            from rich.live import Live

            self._console = Console(file=self._stream, markup=False, highlight=False, emoji=False)
            self._live = Live("", console=self._console, auto_refresh=False, transient=True)
            self._live.start()

    def say(self, text: str) -> None:
        self._line(text, "")

    def loud(self, text: str) -> None:
        """For what somebody has to do something about."""
        self._line(f"!! {text}", "bold red")

    def _line(self, text: str, style: str) -> None:
        with contextlib.suppress(OSError):  # a full disk under a log must not stop the watch
            if self._live is not None:
                self._console.print(text, style=style, soft_wrap=True)
            else:
                self._write(f"{time.strftime('%Y-%m-%d %H:%M:%S')} {text}\n")

    def _write(self, text: str) -> None:
        """Writes at once. What cannot be written is lost: in a buffer it would wait, and fail again with whoever
        empties it, such as the start of a worker."""
        try:
            descriptor = self._stream.fileno()
        except io.UnsupportedOperation:  # no file of the system's
            self._stream.write(text)
            return
        data = text.encode(self._stream.encoding or "utf-8", "backslashreplace")
        while data:
            data = data[os.write(descriptor, data):]

    def show(self, standing: Standing) -> None:
        """Shows how things stand, where that is news."""
        text = str(standing)
        if text == self._shown:
            return
        if self._live is not None:
            from rich.text import Text

            self._shown = text
            with contextlib.suppress(OSError):
                self._live.update(Text(f"watching: {text}", style="dim", no_wrap=True, overflow="ellipsis"),
                                  refresh=True)
        elif standing.idle:
            self._shown = text
            self.say(text)

    def close(self) -> None:
        if self._live is not None:
            with contextlib.suppress(OSError):
                self._live.stop()
