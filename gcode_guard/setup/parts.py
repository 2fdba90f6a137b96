"""The parts libraries of a setup: compounds of solids, named, to be placed on the bench."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from gcode_guard.lengths import Units
from gcode_guard.setup.checks import check_shape
from gcode_guard.setup.errors import KeyPath, Problems, SetupError
from gcode_guard.setup.footprint import HERE, Footprint, Placement, footprint
from gcode_guard.setup.model import to_mm
from gcode_guard.setup.schema import PartsFile, PartTable
from gcode_guard.setup.toml_file import parse_toml, read_file
from gcode_guard.setup.validate import validated


@dataclass(frozen=True, slots=True)
class Part:
    """A part of a library, in the library's units; `origin` says where it is defined."""

    table: PartTable
    units: Units
    origin: str


@dataclass(frozen=True, slots=True)
class Library:
    """All parts that a setup may place, and the files they come from with their bytes, in the setup's order."""

    parts: dict[str, Part]
    files: tuple[Path, ...]
    contents: tuple[bytes, ...]


def read_library(names: Sequence[str], setup: Path, problems: Problems) -> Library:
    """Read the parts files `names`, relative to the folder of `setup`; what is wrong goes to `problems`."""
    parts: dict[str, Part] = {}
    files: list[Path] = []
    contents: list[bytes] = []
    for index, name in enumerate(names):
        place: KeyPath = ["parts", "files", index]
        file = setup.parent / name
        if file in files:
            problems.add(setup, place, name, "is listed twice")
            continue
        try:
            data = read_file(file)
        except SetupError as error:
            problems.add(setup, place, name, str(error))
            continue
        files.append(file)
        contents.append(data)
        _read_parts(data, file, parts, problems)
    return Library(parts, tuple(files), tuple(contents))


def placed(part: Part, placement: Placement) -> list[tuple[Footprint, float]]:
    """The part's solids on the bench: each footprint with its height above the table, mm."""
    units = part.units
    return [(footprint(solid, units, placement), to_mm(solid.height, units)) for solid in part.table.solids]


def _read_parts(data: bytes, file: Path, parts: dict[str, Part], problems: Problems) -> None:
    """Add the parts of one file to `parts`."""
    try:
        library = validated(PartsFile, parse_toml(data, file), file, problems)
    except SetupError as error:
        problems.lines.append(str(error))
        return
    if library is None:
        return
    for index, table in enumerate(library.parts):
        path: KeyPath = ["parts", index]
        if table.name in parts:
            problems.add(file, [*path, "name"], table.name, f"{parts[table.name].origin} has this name already")
            continue
        _check_solids(table, library.units, file, path, problems)
        parts[table.name] = Part(table, library.units, f"parts[{index}] of {file}")


def _check_solids(table: PartTable, units: Units, file: Path, path: KeyPath, problems: Problems) -> None:
    """Note shapes that cannot be built, whether the part is placed or not."""

    def note(path: KeyPath, value: object, text: str) -> None:
        problems.add(file, path, value, text)

    for index, solid in enumerate(table.solids):
        place = [*path, "solids", index]
        check_shape(solid, place, note)
        try:
            footprint(solid, units, HERE)
        except ValueError as error:
            note([*place, "points"], getattr(solid, "points", solid.shape), str(error))
