"""What the reader must know of the bench and the machine, taken from a setup file's table (lengths to mm)."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from .plain_words import Number

HIGH = math.inf
"""A height that is known only to be above everything."""

Point = tuple[Number | None, Number | None, Number | None]
UNITS = {"mm": Fraction(1), "inch": Fraction(254, 10)}
ORIGIN = (Fraction(0), Fraction(0), Fraction(0))


@dataclass
class Options:
    """All lengths in mm; points in the bench frame, origins in the common frame of the setup's [offsets]."""

    starts_in: tuple[str, ...] = ("G21", "G90", "G17", "G91.1", "G94")
    block_delete: str | None = None
    integers: str = "units"
    harmless: frozenset[str] = frozenset()
    start: Point = (None, None, None)
    bench: str = "G54"
    origins: dict[str, tuple[Number, Number, Number]] = field(default_factory=lambda: {"G54": ORIGIN})
    home: Point | None = None
    home2: Point | None = None
    home_axes: str = "unknown"
    zero: Point | None = None
    tools: dict[int, Number | None] | None = None
    reference_tool: int | None = None
    after_tool_change: str = "unknown"
    tool: int | None = None


def millimetres(value: float, units: str) -> Fraction:
    """A number of a setup file as it was written, in mm."""
    return Fraction(repr(value)) * UNITS[units]


def options_of(setup: dict[str, Any], tool: int | None = None) -> Options:
    """The options that a setup file (as tomllib gives it) means."""
    units = setup["units"]
    program = setup.get("program", {})
    machine = setup.get("machine", {})
    offsets = setup.get("offsets", {})

    def point(value: Any) -> Any:
        return None if value is None else tuple(millimetres(v, units) for v in value)

    bench = offsets.get("bench", "G54")
    origins = {name: point(value) for name, value in offsets.items() if name != "bench"}
    origins.setdefault(bench, ORIGIN)
    start = machine.get("start")
    tools = {t["number"]: None if "length" not in t else millimetres(t["length"], units) for t in setup["tools"]}
    return Options(
        starts_in=tuple(program.get("starts_in", ())),
        block_delete=program.get("block_delete"),
        integers=program.get("integers", "units"),
        harmless=frozenset(name.upper() for name in program.get("harmless", ())),
        start=(None, None, HIGH) if start == "high" else (point(start) or (None, None, None)),
        bench=bench,
        origins=origins,
        home=point(machine.get("home")),
        home2=point(machine.get("home2")),
        home_axes=machine.get("home_axes", "unknown"),
        zero=point(machine.get("zero")),
        tools=tools,
        reference_tool=machine.get("reference_tool"),
        after_tool_change=machine.get("after_tool_change", "unknown"),
        tool=tool,
    )
