"""Places on generated benches: boxes, cylinders and parts, and what `room` says of them."""

from __future__ import annotations

import io
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import tomlkit

from gcode_guard.judge import Judge
from gcode_guard.room.asked import Heights, answer, ask_part, footprint_of
from gcode_guard.room.limits import Limits, Measure
from gcode_guard.room.reading import Programs
from gcode_guard.setup import load_setup
from gcode_guard.source import Source
from gcode_guard.whatif import with_obstacles
from tests.generate.benches import GeneratedBench
from tests.guarding import write_bench


def without_obstacles(bench: GeneratedBench) -> dict[str, Any]:
    """The table of the bench with nothing on it, and a library of parts."""
    setup = {key: value for key, value in tomllib.loads(bench.text).items() if key != "obstacles"}
    return setup | {"parts": {"files": ["clamps.toml"]}}


def write(folder: Path, setup: dict[str, Any], files: dict[str, str]) -> Path:
    return write_bench(folder, tomlkit.dumps(setup), files)


def random_entries(rng: np.random.Generator, setup: dict[str, Any], count: int,
                   places: list[tuple[float, float]]) -> list[dict[str, Any]]:
    """Boxes, cylinders, bars and outlines about the stock and near `places` (mm), where the programs cut; in the units
    of the setup, without a height."""
    scale = 25.4 if setup["units"] == "inch" else 1.0
    width, depth = (side * scale for side in setup["stock"]["size"])

    def rule(*values: float) -> list[float]:
        return [round(float(value) / scale, 4) for value in values]

    entries: list[dict[str, Any]] = []
    for number in range(count):
        x, y = rng.uniform(-60, width + 60), rng.uniform(-60, depth + 60)
        if rng.integers(3):
            x, y = np.array(places[rng.integers(len(places))]) + rng.normal(0, 15, 2)
        entry: dict[str, Any] = {"name": f"thing {number}"}
        kind = rng.choice(["box", "cylinder", "bar", "outline", "point"])
        if kind == "box":
            entry |= {"shape": "box", "center": rule(x, y), "size": rule(*rng.uniform(2, 60, 2)),
                      "angle": float(rng.choice([0.0, 90.0, round(rng.uniform(0, 180), 1)]))}
        elif kind in ("cylinder", "point"):
            across = 0.005 * scale if kind == "point" else rng.uniform(3, 40)
            entry |= {"shape": "cylinder", "center": rule(x, y), "diameter": rule(across)[0]}
        elif kind == "bar":
            entry |= {"shape": "bar", "from": rule(x, y), "to": rule(x + rng.uniform(-40, 40), y + 20),
                      "width": rule(rng.uniform(4, 20))[0]}
        else:
            corners = [(-20, -15), (25, -15), (25, 15), (4, -2), (-20, 12)]
            entry |= {"shape": "outline", "points": [rule(x + dx, y + dy) for dx, dy in corners]}
        if rng.integers(2):
            entry["tolerance"] = rule(rng.choice([0.0, 0.4, 1.7]))[0]
        entries.append(entry)
    return entries


def limits_of(bench: Path, program: bytes, tool: int | None, entries: list[dict[str, Any]]) -> list[Limits]:
    """What the program leaves of room at the place of each entry."""
    setup = load_setup(bench)
    standing = with_obstacles(setup, [entry | {"top": 500.0} for entry in entries]).obstacles[-len(entries):]
    return measured(bench, program, tool, [footprint_of(setup, obstacle.solids[0]) for obstacle in standing])


def measured(bench: Path, program: bytes, tool: int | None, footprints: list[Any]) -> list[Limits]:
    setup = load_setup(bench)
    with Source.from_stream(io.BytesIO(program), "program.nc") as source:
        programs = Programs(Judge(setup), [source], tool)
        limits = Measure(programs.judge, footprints).take_all(programs.ways()).limits
        assert not programs.reasons
    return limits


def part_heights(bench: Path, program: bytes, tool: int | None, part: str, at: tuple[float, float],
                 angle: float) -> tuple[Heights, Heights]:
    """What the program leaves of room for a part."""
    asked = ask_part(load_setup(bench), part, at, angle)
    said = answer(asked, measured(bench, program, tool, list(asked.footprints)))
    return said.hard, said.easy
