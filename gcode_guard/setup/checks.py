"""What the keys of a setup say together: contradictions and gaps that no single key shows.

Works on the file's own units and keys, so that every message can name what the user wrote.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from gcode_guard.setup.codes import own_motion_code
from gcode_guard.setup.errors import ABSENT, KeyPath, Problems
from gcode_guard.setup.model import total
from gcode_guard.setup.schema import (
    SMALLEST,
    BarKeys,
    OutlineKeys,
    PartObstacle,
    SectionTable,
    SetupFile,
    ShapedKeys,
)

Note = Callable[[KeyPath, object, str], None]
"""Notes a problem: the key's path, its value, what is wrong."""


def check_setup(setup: SetupFile, file: Path, problems: Problems) -> None:
    """Note in `problems` everything in `setup` that makes no sense; `file` is named in the messages."""

    def note(path: KeyPath, value: object, text: str) -> None:
        problems.add(file, path, value, text)

    for check in (_starts_in, _table, _reach, _machine, _own_motion, _offsets, _shoe, _tools, _obstacles):
        check(setup, note)
    for index, obstacle in enumerate(setup.obstacles):
        check_shape(obstacle, ["obstacles", index], note)


def table_is_known(setup: SetupFile) -> bool:
    """Whether the table's height follows from the setup."""
    return setup.table is not None or (setup.stock is not None and setup.stock.thickness is not None)


def check_shape(shape: Any, path: KeyPath, note: Note) -> None:
    """Note a bar without length and points of an outline that nearly coincide, for an obstacle or a part's solid."""
    if isinstance(shape, BarKeys) and math.dist(shape.from_, shape.to) < SMALLEST:
        note([*path, "to"], shape.to, 'is the same point as `from`: a round obstacle has the shape "cylinder"')
    if isinstance(shape, OutlineKeys):
        for index, point in enumerate(shape.points):
            if 0 < math.dist(point, shape.points[index - 1]) < SMALLEST:
                note([*path, "points", index], point, "nearly coincides with the point before it: leave one out")


def _starts_in(setup: SetupFile, note: Note) -> None:
    for index, code in enumerate(setup.program.starts_in):
        if code in setup.program.starts_in[:index]:
            note(["program", "starts_in", index], code, "stands there twice")


def _table(setup: SetupFile, note: Note) -> None:
    if setup.table is not None and setup.stock is not None and setup.table.z > setup.stock.top:
        note(["table", "z"], setup.table.z, f"the table cannot be higher than stock.top = {setup.stock.top:g}")


def _reach(setup: SetupFile, note: Note) -> None:
    reach = setup.machine.reach
    if reach is None:
        return
    for axis, limits in (("x", reach.x), ("y", reach.y), ("z", reach.z)):
        if limits is not None and limits[0] >= limits[1]:
            note(["machine", "reach", axis], limits, "the first limit must be lower than the second")


def _machine(setup: SetupFile, note: Note) -> None:
    machine = setup.machine
    if machine.reference_tool is not None and machine.reference_tool not in {tool.number for tool in setup.tools}:
        note(["machine", "reference_tool"], machine.reference_tool, "no tool has this number")
    if machine.gantry_bottom is not None and not table_is_known(setup):
        text = "is measured from the table, whose height is not known: give table.z or stock.thickness"
        note(["machine", "gantry_bottom"], machine.gantry_bottom, text)


def _own_motion(setup: SetupFile, note: Note) -> None:
    seen: dict[str, str] = {}
    for key, value in setup.machine.own_motion.items():
        path = ["machine", "own_motion", key]
        try:
            code = own_motion_code(key)
        except ValueError as error:
            note(path, value, f"{key!r} {error}")
            continue
        if code in seen:
            note(path, value, f"is the same code as {seen[code]}")
        seen[code] = key


def _offsets(setup: SetupFile, note: Note) -> None:
    origins = setup.offsets.origins()
    if origins and setup.offsets.bench not in origins:
        text = f"missing: the origins of {', '.join(origins)} are measured in one frame with that of the bench"
        note(["offsets", setup.offsets.bench], ABSENT, text)


def _shoe(setup: SetupFile, note: Note) -> None:
    shoe = setup.spindle.shoe if setup.spindle is not None else None
    if shoe is None:
        return
    if shoe.bottom is None and shoe.rides_at is None:
        text = "missing: give bottom (below the collet face) or rides_at (a fixed Z)"
        note(["spindle", "shoe", "bottom"], ABSENT, text)
    if shoe.bottom is not None and shoe.rides_at is not None:
        note(["spindle", "shoe", "rides_at"], shoe.rides_at, "give either bottom or rides_at, not both")


def _tools(setup: SetupFile, note: Note) -> None:
    if not setup.tools:
        note(["tools"], [] if "tools" in setup.given else ABSENT, "at least one tool is needed")
    first: dict[int, int] = {}
    for index, tool in enumerate(setup.tools):
        path: KeyPath = ["tools", index]
        if tool.number in first:
            note([*path, "number"], tool.number, f"tools[{first[tool.number]}] has this number already")
        first.setdefault(tool.number, index)
        if tool.diameter is None and tool.sections is None:
            note([*path, "diameter"], ABSENT, f"missing: give tool {tool.number} a diameter, or sections")
        if tool.diameter is not None and tool.sections is not None:
            note([*path, "diameter"], tool.diameter, "give either diameter or sections, not both")
        if tool.sections is not None and tool.length is not None:
            _sections_fit(tool.sections, tool.length, [*path, "length"], note)


def _sections_fit(sections: Sequence[SectionTable], length: float, path: KeyPath, note: Note) -> None:
    height = total(*(section.height for section in sections))
    if height > length:
        note(path, length, f"is less than the heights of the tool's sections together, {height:g}")


def _obstacles(setup: SetupFile, note: Note) -> None:
    first: dict[str, int] = {}
    for index, obstacle in enumerate(setup.obstacles):
        path: KeyPath = ["obstacles", index]
        if obstacle.name in first:
            note([*path, "name"], obstacle.name, f"obstacles[{first[obstacle.name]}] has this name already")
        first.setdefault(obstacle.name, index)
        if isinstance(obstacle, PartObstacle):
            if not table_is_known(setup):
                note([*path, "part"], obstacle.part, _NO_TABLE)
        elif isinstance(obstacle, ShapedKeys):
            _top_or_height(setup, obstacle, path, note)


_NO_TABLE = "has heights above the table, whose own height is not known: give table.z or stock.thickness"


def _top_or_height(setup: SetupFile, obstacle: ShapedKeys, path: KeyPath, note: Note) -> None:
    if obstacle.top is None and obstacle.height is None:
        note([*path, "top"], ABSENT, "missing: give a top (Z) or a height (above the table)")
    if obstacle.top is not None and obstacle.height is not None:
        note([*path, "height"], obstacle.height, f"give either top or height, not both; top is {obstacle.top:g}")
    elif obstacle.height is not None and not table_is_known(setup):
        note([*path, "height"], obstacle.height, _NO_TABLE)
