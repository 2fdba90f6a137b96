"""Turns the keys of a shape into a footprint on the bench: convex pieces and the exact outline, in mm."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from gcode_guard.lengths import Units
from gcode_guard.setup.model import Piece, Point2, to_mm, total
from gcode_guard.setup.schema import BarKeys, BoxKeys, CylinderKeys, OutlineKeys, ShapeKeys
from gcode_guard.space import hulls


@dataclass(frozen=True, slots=True)
class Placement:
    """Where a part stands: its own origin comes to `at` (mm), turned counter-clockwise by `angle` degrees."""

    at: Point2 = (0.0, 0.0)
    angle: float = 0.0

    def point(self, point: Sequence[float]) -> Point2:
        """A point of the part's own frame (mm) in the bench frame (mm)."""
        cos, sin = _cos_sin(self.angle)
        x, y = point
        return total(x * cos, -y * sin, self.at[0]), total(x * sin, y * cos, self.at[1])


HERE = Placement()


@dataclass(frozen=True, slots=True)
class Footprint:
    """A shape seen from above, in mm, bench frame; `outline` grown by `radius` is its exact edge."""

    shape: Literal["box", "cylinder", "bar", "outline"]
    pieces: tuple[Piece, ...]
    outline: tuple[Point2, ...]
    radius: float


def footprint(keys: ShapeKeys, units: Units, placement: Placement = HERE) -> Footprint:
    """The footprint of a shape given in `units`, placed. Raises ValueError where an outline is not a simple polygon."""

    def on_bench(point: Sequence[float]) -> Point2:
        return placement.point([to_mm(coordinate, units) for coordinate in point])

    if isinstance(keys, BoxKeys):
        size = [to_mm(side, units) for side in keys.size]
        return _whole("box", hulls.box(on_bench(keys.center), size, total(keys.angle, placement.angle)))
    if isinstance(keys, CylinderKeys):
        return _whole("cylinder", hulls.cylinder(on_bench(keys.center), to_mm(keys.diameter, units)))
    if isinstance(keys, BarKeys):
        return _whole("bar", hulls.bar(on_bench(keys.from_), on_bench(keys.to), to_mm(keys.width, units)))
    return _outline(keys, units, [on_bench(point) for point in keys.points])


def _outline(keys: OutlineKeys, units: Units, points: list[Point2]) -> Footprint:
    if units != "mm":
        hulls.outline(keys.points)  # so that a complaint names the place in the file's own units
    pieces = tuple(_piece(hull) for hull in hulls.outline(points))
    ring = points[:-1] if points[-1] == points[0] else points
    return Footprint("outline", pieces, tuple(ring), 0.0)


def _whole(shape: Literal["box", "cylinder", "bar"], hull: hulls.Hull) -> Footprint:
    piece = _piece(hull)
    return Footprint(shape, (piece,), piece.vertices, piece.radius)


def _piece(hull: hulls.Hull) -> Piece:
    return Piece(tuple((float(x), float(y)) for x, y in hull.vertices), hull.radius)


def _cos_sin(angle: float) -> tuple[float, float]:
    """Cosine and sine of degrees, exact at quarter turns, so that a part turned by 90 stands square."""
    quarter, rest = divmod(angle, 90.0)
    if rest == 0.0:
        return ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[int(quarter) % 4]
    return math.cos(math.radians(angle)), math.sin(math.radians(angle))
