"""The bench of a setup file as shapely geometries, all in mm: obstacles, tool assemblies, clearances.

A footprint is a core (a point, a line or a polygon) and a radius: everything within that distance of the core. So
distances to round shapes are exact, and no circle is ever approximated by a polygon.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import shapely
from shapely import affinity

from .plain_options import UNITS

DEFAULT_CLEARANCE = 3.0
DEFAULT_TOLERANCE = 1.0
DEFAULT_ROUNDING = 1.0


@dataclass
class Obstacle:
    """One upright solid: everything within `radius` of `core`, up to `top`; measured to within `tolerance`."""

    name: str
    core: shapely.Geometry
    radius: float
    top: float
    tolerance: float
    sacrificial: bool = False


@dataclass
class Section:
    """A cylinder around the spindle axis, from `above_tip` over the tip upward, or from a fixed height upward."""

    radius: float
    above_tip: float
    rides_at: float | None = None

    def bottom(self, tip: float) -> float:
        return tip + self.above_tip if self.rides_at is None else self.rides_at


@dataclass
class Bench:
    obstacles: list[Obstacle]
    assemblies: dict[int, list[Section]]
    above: float
    beside: float
    rounding: float
    straight: bool

    def sections(self, tool: int | None) -> list[list[Section]]:
        """The assemblies that may hang on the spindle: the tool's own, or every one where it is not known."""
        return list(self.assemblies.values()) if tool is None else [self.assemblies[tool]]


def bench_of(setup: dict[str, Any], folder: Path | dict[str, str] | None = None) -> Bench:
    """Raises KeyError where the setup leaves out what the contract asks for.

    Parts files are read from `folder`, or are texts under their names.
    """
    scale = float(UNITS[setup["units"]])
    clearance = setup.get("clearance", {})
    machine = setup.get("machine", {})
    table, widening = table_height(setup, scale)
    tolerance = clearance["tolerance"] * scale if "tolerance" in clearance else DEFAULT_TOLERANCE
    parts = load_parts(setup, folder)
    obstacles = []
    for entry in setup.get("obstacles", []):
        own = entry["tolerance"] * scale if "tolerance" in entry else tolerance
        solids = placed_part(entry, parts, scale) if "part" in entry else [(*core_of(entry, scale), entry, scale)]
        for core, radius, solid, unit in solids:
            if "top" in solid:
                top, extra = solid["top"] * unit, 0.0
            else:
                top, extra = table + solid["height"] * unit, widening
            sacrificial = entry.get("sacrificial", False)
            obstacles.append(Obstacle(entry["name"], core, radius, top, own + extra, sacrificial))
    return Bench(
        obstacles,
        {tool["number"]: assembly_of(tool, setup.get("spindle"), scale) for tool in setup["tools"]},
        clearance["above"] * scale if "above" in clearance else DEFAULT_CLEARANCE,
        clearance["beside"] * scale if "beside" in clearance else DEFAULT_CLEARANCE,
        machine["corner_rounding"] * scale if "corner_rounding" in machine else DEFAULT_ROUNDING,
        machine.get("rapid_path", "unknown") == "straight",
    )


def table_height(setup: dict[str, Any], scale: float) -> tuple[float, float]:
    """The table's Z, and by how much the stock's thickness makes it uncertain."""
    stock = setup.get("stock", {})
    if "z" in setup.get("table", {}):
        return setup["table"]["z"] * scale, 0.0
    if "thickness" not in stock:
        return float("nan"), 0.0
    doubt = stock.get("thickness_tolerance", 0.0) * scale if stock["top"] == 0 else 0.0
    return (stock["top"] - stock["thickness"]) * scale, doubt


def core_of(shape: dict[str, Any], scale: float) -> tuple[shapely.Geometry, float]:
    """Core and radius of one shape of the setup file, in mm."""

    def at(point: list[float]) -> tuple[float, float]:
        return point[0] * scale, point[1] * scale

    kind = shape["shape"]
    if kind == "cylinder":
        return shapely.Point(at(shape["center"])), shape["diameter"] * scale / 2
    if kind == "bar":
        return shapely.LineString([at(shape["from"]), at(shape["to"])]), shape["width"] * scale / 2
    if kind == "outline":
        return shapely.Polygon([at(point) for point in shape["points"]]), 0.0
    (x, y), (width, depth) = at(shape["center"]), at(shape["size"])
    box = shapely.box(x - width / 2, y - depth / 2, x + width / 2, y + depth / 2)
    return affinity.rotate(box, shape.get("angle", 0.0), origin=(x, y)), 0.0


def load_parts(setup: dict[str, Any], folder: Path | dict[str, str] | None) -> dict[str, tuple[dict[str, Any], float]]:
    found = {}
    for name in setup.get("parts", {}).get("files", []):
        text = folder[name] if isinstance(folder, dict) else ((folder or Path()) / name).read_text()
        library = tomllib.loads(text)
        for part in library["parts"]:
            found[part["name"]] = (part, float(UNITS[library["units"]]))
    return found


def placed_part(entry: dict[str, Any], parts: dict[str, tuple[dict[str, Any], float]], scale: float) -> list[Any]:
    part, unit = parts[entry["part"]]
    solids = []
    for solid in part["solids"]:
        core, radius = core_of(solid, unit)
        core = affinity.rotate(core, entry.get("angle", 0.0), origin=(0, 0))
        core = affinity.translate(core, entry["at"][0] * scale, entry["at"][1] * scale)
        solids.append((core, radius, solid, unit))
    return solids


def assembly_of(tool: dict[str, Any], spindle: dict[str, Any] | None, scale: float) -> list[Section]:
    sections = []
    if "sections" in tool:
        height = 0.0
        for section in tool["sections"]:
            sections.append(Section(section["diameter"] * scale / 2, height))
            height += section["height"] * scale
    else:
        sections.append(Section(tool["diameter"] * scale / 2, 0.0))
    if spindle is None or "length" not in tool:
        return sections
    height = tool["length"] * scale
    for section in spindle.get("sections", []):
        sections.append(Section(section["diameter"] * scale / 2, height))
        height += section["height"] * scale
    shoe = spindle.get("shoe")
    if shoe is not None and not shoe.get("soft", False):
        radius = shoe["diameter"] * scale / 2
        if "rides_at" in shoe:
            sections.append(Section(radius, 0.0, shoe["rides_at"] * scale))
        else:
            sections.append(Section(radius, (tool["length"] - shoe["bottom"]) * scale))
    return sections
