"""A small shop for tests of the watch: a bench with one clamp, programs of every kind, what must become of them."""

from __future__ import annotations

import io
import json
import multiprocessing
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from gcode_guard.guard import guard
from gcode_guard.setup import load_setup
from gcode_guard.source import Source
from gcode_guard.watch import watch_folder

ROOT = Path(__file__).parents[2]
BENCH = """\
format = 1
units = "mm"
[program]
starts_in = ["G21", "G90", "G17"]
[table]
z = -19.0
[machine]
start = [0.0, 0.0, 60.0]
rapid_path = "straight"
[[tools]]
number = 1
diameter = 6.0
[[obstacles]]
name = "clamp"
shape = "box"
center = [50.0, 50.0]
size = [20.0, 20.0]
top = {top}
"""
PATIENCE = 20.0  # seconds after which a test gives up waiting


def repaired(number: int = 0, cuts: int = 1) -> bytes:
    """A program whose rapid runs through the clamp. With a top of 18 it must be lifted to 23: 18, and by default 1
    tolerance, 3 above, 1 corner rounding."""
    lines = [f"( chair leg {number} )", "G0 Z30", f"G0 X0 Y50.{number:04d}", "G0 Z5", "G0 X100", "G1 Z-1 F300"]
    lines += [f"G1 X{101 + k % 9}" for k in range(cuts)] + ["G0 Z30", "M30"]
    return ("\r\n".join(lines) + "\r\n").encode()


def safe(number: int = 0) -> bytes:
    """A program that keeps away from the clamp."""
    return f"( rail {number} )\nG0 Z30\nG0 X0 Y200.{number:04d}\nG0 Z5\nG1 X90 F900\nG0 Z30\nM30\n".encode()


def into_clamp(number: int = 0) -> bytes:
    """A program that cuts into the clamp: status 3."""
    return f"( stile {number} )\nG0 Z30\nG0 X0 Y50.{number:04d}\nG0 Z5\nG1 X90 F900\nG0 Z30\nM30\n".encode()


def unknown_code(number: int = 0) -> bytes:
    """A program with a code that nobody knows: status 4."""
    return f"( panel {number} )\nG0 Z30\nG0 X0 Y200.{number:04d}\nM977\nM30\n".encode()


KINDS: tuple[Callable[[int], bytes], ...] = (repaired, safe, into_clamp, unknown_code)
STATUS = {repaired: 0, safe: 0, into_clamp: 3, unknown_code: 4}


def mixed(count: int) -> dict[str, tuple[bytes, int]]:
    """Programs of every kind by name, with the exit status that each must have."""
    return {f"part {k}.nc": (KINDS[k % 4](k), STATUS[KINDS[k % 4]]) for k in range(count)}


@dataclass
class Shop:
    """A drop folder and a bench."""

    root: Path
    folder: Path = field(init=False)
    setup: Path = field(init=False)

    def __post_init__(self) -> None:
        self.folder = self.root / "drop"
        self.setup = self.root / "bench" / "bench.toml"
        self.folder.mkdir(exist_ok=True)
        self.setup.parent.mkdir(exist_ok=True)
        self.set_clamp(18.0)

    @property
    def ready(self) -> Path:
        return self.folder / "ready"

    @property
    def held(self) -> Path:
        return self.folder / "held"

    def set_clamp(self, top: float) -> None:
        self.setup.write_text(BENCH.format(top=top))

    def drop(self, name: str | bytes, data: bytes) -> Path:
        path = Path(os.fsdecode(os.fsencode(self.folder) + b"/" + os.fsencode(name)))
        path.write_bytes(data)
        return path

    def once(self, **options: Any) -> tuple[int, str]:
        """Does what is there, in this process with workers of its own; status and what was said."""
        said = io.StringIO()
        status = watch_folder(self.folder, self.setup, **{"once": True, "settle": 0.05, "method": "forkserver",
                                                          "stream": said, **options})
        return status, said.getvalue()

    def names(self, place: Path) -> set[str]:
        return {path.name for path in place.iterdir()} if place.is_dir() else set()

    def check(self, name: str, data: bytes, status: int | None = None) -> None:
        """The outcome of a program is the right one, whole, and the only one."""
        check_outcome(self, name, data, guarded(data, self.setup), status)

    def check_nothing_else(self, expected: set[str]) -> None:
        """Nothing lies in ready/ and held/ but outcomes of these programs, and nothing is left in the work folder."""
        for place, endings in ((self.ready, ("", ".diff", ".log.jsonl", ".review.html")),
                               (self.held, (".txt", ".log.jsonl", ".review.html"))):
            assert self.names(place) <= {name + ending for name in expected for ending in endings}
        assert self.names(self.folder / ".gcode-guard" / "work") == set()


def guarded(data: bytes, setup: Path) -> tuple[int, bytes]:
    """What the guard itself makes of a program: exit status and output (empty where it is refused)."""
    with Source.from_stream(io.BytesIO(data), "program") as source:
        outcome = guard(source, load_setup(setup))
        outcome.output.seek(0)
        output = outcome.output.read() if outcome.exit == 0 else b""
        outcome.close()
        return outcome.exit, output


def check_outcome(shop: Shop, name: str, data: bytes, expected: tuple[int, bytes], status: int | None = None) -> None:
    exit_status, output = expected
    if status is not None:
        assert exit_status == status, f"{name}: the guard itself says {exit_status}"
    place = shop.held if exit_status else shop.ready
    log = [json.loads(line) for line in (place / f"{name}.log.jsonl").read_bytes().splitlines()]
    assert log[0]["record"] == "run" and log[-1]["record"] == "summary"
    assert log[-1]["exit"] == exit_status
    assert (place / f"{name}.review.html").read_bytes().rstrip().endswith(b"</html>")
    if exit_status:
        assert "line " in (shop.held / f"{name}.txt").read_text()
        assert not {name, f"{name}.diff", f"{name}.log.jsonl", f"{name}.review.html"} & shop.names(shop.ready)
        assert name not in shop.names(shop.held)
    else:
        assert (shop.ready / name).read_bytes() == output
        assert patched(data, (shop.ready / f"{name}.diff").read_bytes(), shop.root) == output
        assert not {f"{name}.txt", f"{name}.log.jsonl", f"{name}.review.html"} & shop.names(shop.held)


def patched(data: bytes, diff: bytes, folder: Path) -> bytes:
    """A program with a diff applied by `patch` (POSIX)."""
    if not diff:
        return data
    before, after = folder / "before", folder / "after"
    before.write_bytes(data)
    subprocess.run(["patch", "--binary", "--quiet", "--output", str(after), str(before)], input=diff, check=True)
    return after.read_bytes()


class Running:
    """A watch as a process of its own: the command itself, or, quicker to start, the same from a loaded server."""

    def __init__(self, shop: Shop, *options: str, settle: float, command: bool) -> None:
        self.log = shop.root / f"said-{time.monotonic_ns()}"
        if command:
            with open(self.log, "wb") as log:
                self._command = subprocess.Popen(
                    [sys.executable, "-m", "gcode_guard", "watch", str(shop.folder), "--setup", str(shop.setup),
                     "--settle", str(settle), *options], stdout=log, stderr=log, start_new_session=True,
                    env={**os.environ, "PYTHONPATH": str(ROOT)})
            self.pid = self._command.pid
        else:
            self._command = None
            self._process = LOADED.Process(target=watch_in_group, args=(shop, settle, self.log))
            self._process.start()
            self.pid = self._process.pid

    @property
    def said(self) -> str:
        return self.log.read_text() if self.log.exists() else ""

    def status(self, patience: float = 0.0) -> int | None:
        """The exit status, None while it runs."""
        if self._command is None:
            self._process.join(patience)
            return self._process.exitcode
        try:
            return self._command.wait(patience)
        except subprocess.TimeoutExpired:
            return None

    def until(self, met: Callable[[], object]) -> None:
        """Waits until something is so."""
        wait_until(met, lambda: f"the watch has status {self.status()} and said:\n{self.said}")

    def until_said(self, text: str) -> None:
        self.until(lambda: text in self.said)

    def stop(self, number: int = signal.SIGTERM) -> int | None:
        """Ends it; its status, negative for a signal. None of its processes is left."""
        os.kill(self.pid, number)
        status = self.status(PATIENCE)
        wait_until(lambda: not group_lives(self.pid), lambda: "workers outlive the watch")
        return status


LOADED = multiprocessing.get_context("forkserver")


def watch_in_group(shop: Shop, settle: float, log: Path, once: bool = False) -> None:
    """Watches, as the leader of a process group, with workers that are forked."""
    os.setsid()
    with open(log, "a") as stream:
        status = watch_folder(shop.folder, shop.setup, settle=settle, once=once, method="fork", stream=stream)
    sys.exit(status)


@contextmanager
def running(shop: Shop, *options: str, settle: float = 0.2, command: bool = False) -> Iterator[Running]:
    watch = Running(shop, *options, settle=settle, command=command or bool(options))
    try:
        watch.until_said("watching")
        yield watch
    finally:
        if watch.status() is None:
            watch.stop()


def wait_until(met: Callable[[], object], why: Callable[[], str]) -> None:
    end = time.monotonic() + PATIENCE
    while not met():
        if time.monotonic() > end:
            raise AssertionError(why())
        time.sleep(0.01)


def group_lives(group: int) -> bool:
    """Whether a process of a group still runs (proc(5): state and group are the fields after the name)."""
    for process in filter(str.isdigit, os.listdir("/proc")):
        try:
            state, _, its_group, *_ = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(its_group) == group and state not in "ZX":
            return True
    return False
