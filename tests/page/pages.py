"""Pages made of programs and benches held in memory, with the log of the same run."""

from __future__ import annotations

import io
import json
import random
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gcode_guard.guard import guard
from gcode_guard.picture import collect, write_page
from gcode_guard.picture.reading import CUT_PIECES, RAPID_PIECES
from gcode_guard.record.page import write_bench
from gcode_guard.record.page_model import Backdrop, ReviewPage
from gcode_guard.setup import load_setup
from gcode_guard.source import Source

HEAD = """
format = 1
units = "mm"
[program]
starts_in = ["G21", "G90", "G17"]
[stock]
corner = [0.0, 0.0]
size = [400.0, 300.0]
top = 0.0
thickness = 20.0
[machine]
reach = { x = [-100.0, 500.0], y = [-100.0, 400.0], z = [-40.0, 120.0] }
start = [0.0, 0.0, 100.0]
rapid_path = "straight"
rapid_rate = [5000.0, 5000.0, 2000.0]
acceleration = [400.0, 400.0, 200.0]
[spindle]
sections = [{ diameter = 40.0, height = 30.0 }, { diameter = 70.0, height = 150.0 }]
[[tools]]
number = 1
name = "6 mm end mill"
diameter = 6.0
length = 40.0
"""

CLAMP = """
[[obstacles]]
name = "left clamp"
shape = "box"
center = [100.0, 150.0]
size = [60.0, 30.0]
top = 25.0
"""

# The rapid of line 4 crosses the clamp 20 mm under its top.
CROSSING = "G0 X20 Y150\nG0 Z5\nG1 Z-2 F1200\nG0 Z5 (over)\nG0 X200 Y150\nG1 Z-2\nG0 Z60\n"
CUTTING = "G0 X20 Y150\nG0 Z5\nG1 Z-2 F1200\nG1 X200 Y150\nG0 Z60\n"


@dataclass
class Made:
    """A page, the log of the run that it is about, and where both lie."""

    html: str
    log: list[dict[str, Any]]
    path: Path
    exit: int

    def records(self, kind: str) -> list[dict[str, Any]]:
        return [record for record in self.log if record["record"] == kind]


def bench(folder: Path, text: str) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "bench.toml"
    path.write_text(text, encoding="utf-8")
    return path


def review(folder: Path, program: str, setup_text: str = HEAD + CLAMP, name: str = "part.nc") -> Made:
    """The review page of a program on a bench, as `review --page` writes it."""
    setup = load_setup(bench(folder, setup_text))
    with Source.from_stream(io.BytesIO(program.encode("utf-8", "surrogateescape")), name) as source:
        outcome = guard(source, setup)
        try:
            log = io.BytesIO()
            outcome.log.write_to(log, outcome.run, outcome.summary)
            path = folder / "page.html"
            with open(path, "wb") as out:
                write_page(out, source, setup, outcome, None)
            records = [json.loads(line) for line in log.getvalue().splitlines()]
            return Made(path.read_text(encoding="utf-8"), records, path, outcome.exit)
        finally:
            outcome.close()


def drawing(folder: Path, setup_text: str) -> Path:
    """The drawing of a bench, as `setup draw` writes it."""
    path = folder / "bench.html"
    setup = load_setup(bench(folder, setup_text))
    with open(path, "wb") as out:
        write_bench(out, setup)
    return path


def model(folder: Path, program: str, setup_text: str = HEAD + CLAMP) -> ReviewPage:
    """What the page of a program is drawn from."""
    setup = load_setup(bench(folder, setup_text))
    with Source.from_stream(io.BytesIO(program.encode()), "part.nc") as source:
        outcome = guard(source, setup)
        try:
            return collect(source, setup, outcome, None)
        finally:
            outcome.close()


def full_backdrop() -> Backdrop:
    """A backdrop that has used up its whole budget, of short lines that do not hang together."""
    draw = random.Random(11)
    count = CUT_PIECES + RAPID_PIECES
    starts = [(draw.uniform(5, 390), draw.uniform(5, 290)) for _ in range(count)]
    lines = [[(x, y), (x + draw.uniform(-8, 8), y + draw.uniform(-8, 8))] for x, y in starts]
    return Backdrop(lines[:CUT_PIECES], lines[CUT_PIECES:], 1_000_000, 100_000, count, 3.0, 900_000)


def slowness() -> float:
    """How much slower this machine is now than one of 2 GHz that has nothing else to do; at least 1."""
    started = time.perf_counter()
    sum(k * k for k in range(2_000_000))
    return max(1.0, (time.perf_counter() - started) / 0.2)
