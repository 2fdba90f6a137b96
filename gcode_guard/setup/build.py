"""From the checked tables of a setup file to the records of model.py: defaults filled in, lengths in mm."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import cast

from gcode_guard.lengths import Units
from gcode_guard.setup import model
from gcode_guard.setup.codes import normal_code
from gcode_guard.setup.errors import KeyPath, Problems, printable
from gcode_guard.setup.footprint import Footprint, Placement, footprint
from gcode_guard.setup.model import Point2, Point3, Section, to_mm, total
from gcode_guard.setup.parts import Library, placed
from gcode_guard.setup.schema import (
    MachineTable,
    ObstacleKeys,
    PartObstacle,
    SectionTable,
    SetupFile,
    ShapedObstacle,
    ToolTable,
)
from gcode_guard.setup.words import place_words


def program_rules(file: SetupFile) -> model.ProgramRules:
    """`[program]` as a record."""
    rules = file.program
    return model.ProgramRules(tuple(rules.starts_in), rules.block_delete, rules.integers, frozenset(rules.harmless))


def table_z(file: SetupFile) -> float | None:
    """Z of the table in mm: as given, else the stock's top less its thickness, else None."""
    if file.table is not None:
        return to_mm(file.table.z, file.units)
    if file.stock is not None and file.stock.thickness is not None:
        return to_mm(total(file.stock.top, -file.stock.thickness), file.units)
    return None


def stock(file: SetupFile) -> model.Stock | None:
    """`[stock]` as a record."""
    if file.stock is None:
        return None
    given, units = file.stock, file.units
    return model.Stock(
        corner=_pair(given.corner, units),
        size=_pair(given.size, units),
        top=to_mm(given.top, units),
        thickness=_optional(given.thickness, units),
        thickness_tolerance=to_mm(given.thickness_tolerance, units),
    )


def clearance(file: SetupFile) -> model.Clearance:
    """`[clearance]` as a record; the defaults are in mm whatever the file's units."""
    given = {key: to_mm(value, file.units) for key, value in file.clearance if value is not None}
    return model.Clearance(**given)


def machine(file: SetupFile) -> model.Machine:
    """`[machine]` as a record."""
    given, units = file.machine, file.units
    rounding = given.corner_rounding
    return model.Machine(
        reach=_reach(given, units),
        reference_tool=given.reference_tool,
        start="high" if given.start == "high" else _triple(given.start, units),
        home=_triple(given.home, units),
        home2=_triple(given.home2, units),
        zero=_triple(given.zero, units),
        home_axes=given.home_axes,
        rapid_path=given.rapid_path,
        rapid_rate=_triple(given.rapid_rate, units),
        acceleration=_triple(given.acceleration, units),
        corner_rounding=1.0 if rounding is None else to_mm(rounding, units),
        corner_rounding_given=rounding is not None,
        after_tool_change=given.after_tool_change,
        gantry_bottom=_optional(given.gantry_bottom, units),
        own_motion=_own_motion(given),
    )


def offsets(file: SetupFile) -> model.Offsets:
    """`[offsets]` as a record."""
    origins = {name: cast(Point3, _triple(origin, file.units)) for name, origin in file.offsets.origins().items()}
    return model.Offsets(file.offsets.bench, origins)


def spindle(file: SetupFile) -> model.Spindle | None:
    """`[spindle]` as a record."""
    given, units = file.spindle, file.units
    if given is None:
        return None
    shoe = None
    if given.shoe is not None:
        bottom, rides_at = _optional(given.shoe.bottom, units), _optional(given.shoe.rides_at, units)
        shoe = model.Shoe(to_mm(given.shoe.diameter, units), bottom, given.shoe.soft, rides_at)
    return model.Spindle(_sections(given.sections, units), shoe)


def tool(given: ToolTable, units: Units) -> model.Tool:
    """One of `[[tools]]` as a record."""
    length = _optional(given.length, units)
    if given.sections is not None:
        sections = _sections(given.sections, units)
    else:
        sections = ((to_mm(cast(float, given.diameter), units), math.inf if length is None else length),)
    name = given.name or f"tool {given.number}"
    return model.Tool(given.number, name, max(diameter for diameter, _ in sections), length, sections)


def obstacles(file: SetupFile, path: Path, library: Library, problems: Problems) -> tuple[model.Obstacle, ...]:
    """`[[obstacles]]` as records; those that cannot be built are noted in `problems` and left out."""
    builder = _ObstacleBuilder(file, path, library, problems)
    built = (builder.obstacle(index) for index in range(len(file.obstacles)))
    return tuple(obstacle for obstacle in built if obstacle is not None)


class _ObstacleBuilder:
    """What building one obstacle needs to know of the rest of the setup."""

    def __init__(self, file: SetupFile, path: Path, library: Library, problems: Problems) -> None:
        self.file, self.path, self.library, self.problems = file, path, library, problems
        self.table = table_z(file)
        self.default_tolerance = clearance(file).tolerance
        # The table hangs below the zero by the thickness of this very piece, which may not be what was measured.
        thickness_decides = file.stock is not None and file.table is None and file.stock.top == 0
        stock_tolerance = file.stock.thickness_tolerance if file.stock is not None and thickness_decides else 0.0
        self.height_tolerance = to_mm(stock_tolerance, file.units)

    def obstacle(self, index: int) -> model.Obstacle | None:
        """The obstacle at `index`, or None with a line in the problems."""
        keys = self.file.obstacles[index]
        key_path: list[str | int] = ["obstacles", index]
        solids = self._part(keys, key_path) if isinstance(keys, PartObstacle) else self._shape(keys, key_path)
        for solid, height_path, value in solids:
            self._check_height(solid, height_path, value)
        if not solids:
            return None
        return model.Obstacle(
            name=keys.name,
            solids=tuple(solid for solid, _, _ in solids),
            sacrificial=keys.sacrificial,
            shape_text=place_words(keys, self.file.units),
            measured_on=keys.measured_on,
        )

    def _shape(self, keys: ShapedObstacle, path: KeyPath) -> list[tuple[model.Solid, KeyPath, object]]:
        try:
            shape = footprint(keys, self.file.units)
        except ValueError as error:
            self.problems.add(self.path, [*path, "points"], getattr(keys, "points", keys.shape), str(error))
            return []
        if keys.height is not None:
            solid = self._standing(shape, to_mm(keys.height, self.file.units), keys)
            return [(solid, [*path, "height"], keys.height)]
        top = to_mm(cast(float, keys.top), self.file.units)
        return [(_solid(shape, top, self._tolerance(keys)), [*path, "top"], keys.top)]

    def _part(self, keys: PartObstacle, path: KeyPath) -> list[tuple[model.Solid, KeyPath, object]]:
        part = self.library.parts.get(keys.part)
        if part is None:
            known = ", ".join(printable(name) for name in self.library.parts) or "none, list a file in parts.files"
            self.problems.add(self.path, [*path, "part"], keys.part, f"no such part; known parts: {known}")
            return []
        placement = Placement(_pair(keys.at, self.file.units), keys.angle)
        solids = [self._standing(shape, height, keys) for shape, height in placed(part, placement)]
        return [(solid, [*path, "part"], keys.part) for solid in solids]

    def _standing(self, shape: Footprint, height: float, keys: ObstacleKeys) -> model.Solid:
        """A solid given by its height above the table."""
        top = total(cast(float, self.table), height)
        return _solid(shape, top, total(self._tolerance(keys), self.height_tolerance))

    def _tolerance(self, keys: ObstacleKeys) -> float:
        return self.default_tolerance if keys.tolerance is None else to_mm(keys.tolerance, self.file.units)

    def _check_height(self, solid: model.Solid, path: KeyPath, value: object) -> None:
        """Note a top that is not above the table, or that may touch the gantry."""
        if self.table is None:
            return
        scale = float(model.MM_PER_UNIT[self.file.units])
        if solid.top <= self.table:
            self.problems.add(self.path, path, value, f"is not above the table, which is at Z {self.table / scale:g}")
        gantry = self.file.machine.gantry_bottom
        highest = total(solid.top, solid.tolerance, -self.table)
        if gantry is not None and highest > to_mm(gantry, self.file.units):
            reaching = f"may reach {highest / scale:g} above the table with its tolerance"
            self.problems.add(self.path, path, value, f"{reaching}; machine.gantry_bottom is {gantry:g}")


def _solid(shape: Footprint, top: float, tolerance: float) -> model.Solid:
    return model.Solid(shape.shape, shape.pieces, top, tolerance, shape.outline, shape.radius)


def _own_motion(given: MachineTable) -> dict[str, model.OwnMotion]:
    motions: dict[str, model.OwnMotion] = {"M6": "z-first"}
    motions.update((normal_code(code), motion) for code, motion in given.own_motion.items())
    return motions


def _reach(given: MachineTable, units: Units) -> dict[str, tuple[float, float]] | None:
    if given.reach is None:
        return None
    return {axis: _pair(limits, units) for axis, limits in given.reach if limits is not None}


def _sections(sections: Sequence[SectionTable], units: Units) -> tuple[Section, ...]:
    return tuple((to_mm(section.diameter, units), to_mm(section.height, units)) for section in sections)


def _optional(value: float | None, units: Units) -> float | None:
    return None if value is None else to_mm(value, units)


def _pair(values: Sequence[float], units: Units) -> Point2:
    x, y = (to_mm(value, units) for value in values)
    return x, y


def _triple(values: Sequence[float] | str | None, units: Units) -> Point3 | None:
    if values is None or isinstance(values, str):
        return None
    x, y, z = (to_mm(value, units) for value in values)
    return x, y, z
