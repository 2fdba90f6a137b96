"""Calls of the command within the process of the tests: a process of its own takes a second to start."""

from __future__ import annotations

import contextlib
import sys
from dataclasses import dataclass
from pathlib import Path

from typer.testing import CliRunner

from gcode_guard.cli import app


@dataclass
class Said:
    returncode: int
    stdout: str
    stderr: str


def call(folder: Path, *words: str) -> Said:
    """`gcode-guard WORDS` in a folder."""
    with contextlib.chdir(folder):
        made = CliRunner().invoke(app, list(words), catch_exceptions=False)
    sys.stdout.flush()
    return Said(made.exit_code, made.stdout, made.stderr)
