"""Says what a setup was understood as, row by row, in the units of its file: for a person to hold against the bench."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from gcode_guard.lengths import UNIT_WORD, Units
from gcode_guard.setup.errors import printable
from gcode_guard.setup.model import Machine, Obstacle, Section, Setup, Tool, stacked
from gcode_guard.setup.words import ABOVE_CUTTER, NEVER_CHECKED, in_units, length, point


class Row(NamedTuple):
    """One thing understood: where it belongs ("clearance", "tool 1", an obstacle's name), what it is, its value."""

    section: str
    key: str
    text: str


NOT_GIVEN = "not given"


def describe(setup: Setup) -> list[Row]:
    """Everything that the setup says or leaves to a default, in the order of the file.

    Names are made printable (marks that turn or control a terminal are escaped); they are no markup of any kind.
    """
    parts = (_file, _program, _bench, _clearance, _machine, _offsets, _spindle, _tools, _obstacles, _repair,
             _not_checked)
    return [row for part in parts for row in part(setup)]


def _file(setup: Setup) -> Iterator[Row]:
    yield Row("setup", "file", printable(str(setup.path)))
    for library in setup.files[1:]:
        yield Row("setup", "parts file", printable(str(library)))
    yield Row("setup", "units", setup.units)
    yield Row("setup", "sha256", setup.sha256)
    if setup.measured_on is not None:
        yield Row("setup", "measured on", setup.measured_on.isoformat())


def _program(setup: Setup) -> Iterator[Row]:
    rules = setup.program
    nothing = "nothing: each program must set its own state"
    yield Row("program", "starts in", " ".join(rules.starts_in) or nothing)
    yield Row("program", "block delete", rules.block_delete or NOT_GIVEN)
    yield Row("program", "numbers without a point", rules.integers)
    yield Row("program", "harmless codes", ", ".join(sorted(rules.harmless)) or "none")


def _bench(setup: Setup) -> Iterator[Row]:
    units, stock = setup.units, setup.stock
    yield Row("table", "surface", _z(setup.table_z, units))
    if stock is None:
        yield Row("stock", "stock", NOT_GIVEN)
        return
    yield Row("stock", "corner", point(stock.corner, units))
    yield Row("stock", "size", " x ".join(length(side, units) for side in stock.size))
    yield Row("stock", "top", _z(stock.top, units))
    if stock.thickness is not None:
        tolerance = f" +/- {length(stock.thickness_tolerance, units)}" if stock.thickness_tolerance else ""
        yield Row("stock", "thickness", length(stock.thickness, units) + tolerance)


def _clearance(setup: Setup) -> Iterator[Row]:
    clearance = setup.clearance
    yield Row("clearance", "above obstacles", length(clearance.above, setup.units))
    yield Row("clearance", "beside obstacles", length(clearance.beside, setup.units))
    yield Row("clearance", "tolerance of an obstacle", length(clearance.tolerance, setup.units))


def _machine(setup: Setup) -> Iterator[Row]:
    machine, units = setup.machine, setup.units
    for axis in "xyz":
        limits = (machine.reach or {}).get(axis)
        text = f"{in_units(limits[0], units)} to {length(limits[1], units)}" if limits else NOT_GIVEN
        yield Row("machine", f"reach {axis.upper()}", text)
    reference = machine.reference_tool
    yield Row("machine", "reference tool", NOT_GIVEN if reference is None else str(reference))
    start = "high, place unknown" if machine.start == "high" else _place(machine.start, units)
    yield Row("machine", "start", start)
    yield Row("machine", "home (G28)", _place(machine.home, units))
    yield Row("machine", "second home (G30)", _place(machine.home2, units))
    yield Row("machine", "own zero (G53)", _place(machine.zero, units))
    yield Row("machine", "axes sent home", machine.home_axes)
    yield Row("machine", "path of rapids", machine.rapid_path)
    yield from _motion(machine, units)


def _motion(machine: Machine, units: Units) -> Iterator[Row]:
    unit = UNIT_WORD[units]
    yield Row("machine", "rapid rates", _rates(machine.rapid_rate, units, f"{unit} a minute"))
    yield Row("machine", "accelerations", _rates(machine.acceleration, units, f"{unit} a second squared"))
    yield Row("machine", "corner rounding", length(machine.corner_rounding, units))
    yield Row("machine", "tool after a change", machine.after_tool_change)
    bottom = machine.gantry_bottom
    text = NOT_GIVEN if bottom is None else f"{length(bottom, units)} above the table"
    yield Row("machine", "lowest part of the gantry", text)
    for code, motion in machine.own_motion.items():
        yield Row("machine", f"own motion on {code}", motion)


def _offsets(setup: Setup) -> Iterator[Row]:
    yield Row("offsets", "bench frame", setup.offsets.bench)
    for name, origin in setup.offsets.origins.items():
        yield Row("offsets", f"origin of {name}", point(origin, setup.units))


def _spindle(setup: Setup) -> Iterator[Row]:
    if setup.spindle is None:
        yield Row("spindle", "spindle", "not given: only cutters are checked")
        return
    units, shoe = setup.units, setup.spindle.shoe
    yield Row("spindle", "above the collet face", _stack(setup.spindle.sections, units))
    if shoe is not None:
        kind = "soft" if shoe.soft else "hard"
        rides = f"at {_z(shoe.rides_at, units)}" if shoe.rides_at is not None else ""
        hangs = f"{length(shoe.bottom, units)} below the collet face" if shoe.bottom is not None else ""
        yield Row("spindle", "shoe", f"{length(shoe.diameter, units)} across, {kind}, {rides or hangs}")


def _tools(setup: Setup) -> Iterator[Row]:
    for tool in setup.tools.values():
        section = f"tool {tool.number}"
        if tool.name != section:
            yield Row(section, "name", printable(tool.name))
        yield Row(section, "cutter", _cutter(tool, setup.units))
        unknown = "not given: nothing above the cutter is checked"
        yield Row(section, "length to the collet face", _length(tool.length, setup.units, unknown))


def _obstacles(setup: Setup) -> Iterator[Row]:
    for obstacle in setup.obstacles:
        name = printable(obstacle.name)
        yield Row(name, "shape", obstacle.shape_text)
        yield Row(name, "top", _tops(obstacle, setup.units))
        tolerance = max(solid.tolerance for solid in obstacle.solids)
        yield Row(name, "tolerance", length(tolerance, setup.units))
        if obstacle.sacrificial:
            yield Row(name, "sacrificial", "cuts may run into it")
        if obstacle.measured_on is not None:
            yield Row(name, "measured on", obstacle.measured_on.isoformat())
    if not setup.obstacles:
        yield Row("obstacles", "obstacles", "none: there is nothing to keep clear of")


def _repair(setup: Setup) -> Iterator[Row]:
    yield Row("repair", "traverses at feed", "may be lifted" if setup.repair.air_feeds else "are cuts")
    yield Row("repair", "ways round", setup.repair.detour)


def _not_checked(setup: Setup) -> Iterator[Row]:
    bare = setup.bare_tools()
    if bare:
        which = "" if len(bare) == len(setup.tools) else f" (tool {' and '.join(map(str, bare))})"
        yield Row("not checked", f"cutter only{which}", ABOVE_CUTTER)
    yield Row("not checked", "never", NEVER_CHECKED)


def _cutter(tool: Tool, units: Units) -> str:
    if len(tool.sections) == 1:
        return f"{length(tool.diameter, units)} across"
    return _stack(tool.sections, units)


def _stack(sections: Sequence[Section], units: Units) -> str:
    """A stack from below: each cylinder with the height at which it begins; the last one goes on."""
    levels = stacked(tuple(sections))
    return ", ".join(f"{length(diameter, units)} across from {length(begin, units)} up" for begin, diameter in levels)


def _tops(obstacle: Obstacle, units: Units) -> str:
    return ", ".join(dict.fromkeys(_z(solid.top, units) for solid in obstacle.solids))


def _z(height: float | None, units: Units) -> str:
    return NOT_GIVEN if height is None else f"Z {length(height, units)}"


def _place(coordinates: Sequence[float] | None, units: Units) -> str:
    return NOT_GIVEN if coordinates is None else point(coordinates, units)


def _length(value: float | None, units: Units, otherwise: str) -> str:
    return otherwise if value is None or math.isinf(value) else length(value, units)


def _rates(values: Sequence[float] | None, units: Units, unit: str) -> str:
    return NOT_GIVEN if values is None else f"{', '.join(in_units(value, units) for value in values)} {unit}"
