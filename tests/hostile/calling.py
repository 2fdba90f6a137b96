"""A bench, a program and the command as a shell would run it, in a folder of their own."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tests.guarding import write_bench
from tests.repair.test_tables import AWAY, BENCH, KNOWN

PROGRAM = (AWAY + "G0 Z5\nG0 X200\nG1 Z-1\nM30\n").encode()
MENDED = (AWAY + "G0 Z23.0\nG0 X200\nG0 Z5.0\nG1 Z-1\nM30\n").encode()
REFUSED = b"G777\n"
COMMAND = [sys.executable, "-m", "gcode_guard"]


@dataclass
class Place:
    """A folder with p.nc and bench.toml, and nothing else at first."""

    folder: Path

    def call(self, *arguments: object, **options: Any) -> subprocess.CompletedProcess[bytes]:
        return subprocess.run([*COMMAND, *self.words(arguments)], **self.options(options))

    def shell(self, script: str, **options: Any) -> subprocess.CompletedProcess[bytes]:
        """A line for the shell, in which $G is the command and $S gives it the setup."""
        words = {"G": " ".join(COMMAND), "S": "--setup bench.toml"}
        for name, text in words.items():
            script = script.replace(f"${name}", text)
        return subprocess.run(["bash", "-c", script], **self.options(options))

    def start(self, *arguments: object, **options: Any) -> subprocess.Popen[bytes]:
        return subprocess.Popen([*COMMAND, *self.words(arguments)], cwd=self.folder, env=environment(),
                                stdout=subprocess.PIPE, stderr=subprocess.PIPE, **options)

    def words(self, arguments: tuple[object, ...]) -> list[str | bytes]:
        return [word if isinstance(word, bytes) else str(word) for word in arguments]

    def options(self, options: dict[str, Any]) -> dict[str, Any]:
        given = options.pop("environment", {})
        return {"cwd": self.folder, "capture_output": True, "timeout": 120, "env": environment(**given), **options}

    def names(self) -> set[str]:
        """What lies in the folder beside the program and the setup."""
        return {path.name for path in self.folder.iterdir()} - {"p.nc", "bench.toml"}

    def is_untouched(self) -> bool:
        return (self.folder / "p.nc").read_bytes() == PROGRAM and (self.folder / "bench.toml").read_text() == SETUP

    def read(self, name: str) -> bytes:
        return (self.folder / name).read_bytes()


SETUP = BENCH.format(machine=KNOWN)


def environment(**given: str) -> dict[str, str]:
    return {key: value for key, value in os.environ.items() if key != "GCODE_GUARD_SETUP"} | given


@pytest.fixture
def place(tmp_path: Path) -> Iterator[Place]:
    folder = tmp_path / "shop"
    write_bench(folder, SETUP)
    (folder / "p.nc").write_bytes(PROGRAM)
    yield Place(folder)


def one_line(said: bytes) -> str:
    """What was said on standard error, which is one clear line of the command's own."""
    lines = said.decode().splitlines()
    assert len(lines) == 1, said
    assert lines[0].startswith("gcode-guard: ") and lines[0].isprintable()
    return lines[0]
