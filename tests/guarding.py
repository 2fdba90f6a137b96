"""Runs the guard on programs and benches held in memory, for tests."""

from __future__ import annotations

import io
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gcode_guard.guard import guard
from gcode_guard.setup import load_setup
from gcode_guard.source import Source


@dataclass
class Guarded:
    """What came of a program: exit status, output and diff (empty where refused), the log's records."""

    exit: int
    output: bytes
    diff: bytes
    log: list[dict[str, Any]]

    def records(self, kind: str) -> list[dict[str, Any]]:
        return [record for record in self.log if record["record"] == kind]

    @property
    def findings(self) -> list[tuple[int, str]]:
        return [(record["line"], record["kind"]) for record in self.records("finding")]


def write_bench(folder: Path, text: str, files: dict[str, str] | None = None) -> Path:
    """Puts a setup file and its parts files into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in (files or {}).items():
        place = folder / name
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(content)
    path = folder / "bench.toml"
    path.write_text(text)
    return path


def run(program: bytes | str, setup: Path, tool: int | None = None, prove: bool = True) -> Guarded:
    """Guards a program given as text."""
    data = program.encode("latin-1") if isinstance(program, str) else program
    with Source.from_stream(io.BytesIO(data), "program") as source:
        outcome = guard(source, load_setup(setup), tool=tool, prove=prove)
        try:
            log = io.BytesIO()
            outcome.log.write_to(log, outcome.run, outcome.summary)
            outcome.output.seek(0)
            outcome.diff.seek(0)
            passed = outcome.exit == 0
            return Guarded(outcome.exit, outcome.output.read() if passed else b"",
                           outcome.diff.read() if passed else b"",
                           [json.loads(line) for line in log.getvalue().splitlines()])
        finally:
            outcome.close()
