"""Loads a setup file: read, parse, hold against the schema, check, build."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

from gcode_guard.setup.errors import Problems
from gcode_guard.setup.model import RepairRules, Setup
from gcode_guard.setup.toml_file import parse_toml, read_file


def load_setup(path: str | Path) -> Setup:
    """The setup in the file `path`, with its parts libraries; every length in mm.

    Raises SetupError: for a file that cannot be read, a pipe, a device, what is no UTF-8 or no TOML, and for keys and
    values that are wrong or make no sense. The message names file, key and value, one problem a line.
    """
    path = Path(path)
    return load_setup_data(read_file(path, stream=True), path)


def load_setup_data(data: bytes, path: str | Path) -> Setup:
    """The setup in `data`, the bytes of the file `path`; parts files are read relative to it. Raises SetupError."""
    path = Path(path)
    raw = parse_toml(data, path)
    # Imported here because a call that fails sooner need not wait for it.
    from gcode_guard.setup import build
    from gcode_guard.setup.checks import check_setup
    from gcode_guard.setup.parts import read_library
    from gcode_guard.setup.schema import SetupFile
    from gcode_guard.setup.validate import validated

    problems = Problems()
    _join_offset_names(raw)
    file = validated(SetupFile, raw, path, problems)
    problems.raise_if_any()
    assert file is not None
    check_setup(file, path, problems)
    library = read_library(file.parts.files, path, problems)
    problems.raise_if_any()
    obstacles = build.obstacles(file, path, library, problems)
    problems.raise_if_any()
    return Setup(
        path=path,
        units=file.units,
        sha256=hashlib.sha256(b"".join((data, *library.contents))).hexdigest(),
        files=(path, *library.files),
        program=build.program_rules(file),
        table_z=build.table_z(file),
        stock=build.stock(file),
        clearance=build.clearance(file),
        machine=build.machine(file),
        offsets=build.offsets(file),
        spindle=build.spindle(file),
        tools={tool.number: build.tool(tool, file.units) for tool in file.tools},
        obstacles=obstacles,
        repair=RepairRules(file.repair.air_feeds, file.repair.detour),
        measured_on=file.measured_on,
    )


def _join_offset_names(raw: dict[str, Any]) -> None:
    """Read `G59.1 = [...]` as it is meant: TOML takes the unquoted name for a table G59 with a key 1."""
    offsets = raw.get("offsets")
    if not isinstance(offsets, dict) or not isinstance(offsets.get("G59"), dict):
        return
    inner = offsets["G59"]
    if inner.keys() <= {"1", "2", "3"}:
        del offsets["G59"]
        for key, origin in inner.items():
            offsets.setdefault(f"G59.{key}", origin)
