"""Shapes of a bench seen from above, in world units with Y upward: footprints, and what a tool sweeps."""

from __future__ import annotations

from markupsafe import Markup

from gcode_guard.record.page_model import Corridor
from gcode_guard.record.page_svg import Box, Point, number, points_text, tag
from gcode_guard.setup.model import Solid


def solid_shape(solid: Solid) -> Markup:
    """The exact footprint of a solid as an SVG shape in world units, Y upward."""
    outline, radius = solid.outline, solid.radius
    if len(outline) == 1:
        return tag("circle", cx=outline[0][0], cy=outline[0][1], r=radius)
    if len(outline) == 2:
        return tag("path", d=capsule(outline[0], outline[1], radius))
    return tag("polygon", points=points_text(outline))


def capsule(start: Point, end: Point, radius: float) -> str:
    """Path data of everything within `radius` of a segment; Y upward."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    long = (dx * dx + dy * dy) ** 0.5
    ux, uy = (dx / long, dy / long) if long > 0 else (1.0, 0.0)
    nx, ny = -uy * radius, ux * radius
    r = number(radius)

    def at(x: float, y: float) -> str:
        return f"{number(x)} {number(y)}"

    return (f"M{at(start[0] + nx, start[1] + ny)}A{r} {r} 0 0 1 {at(start[0] - nx, start[1] - ny)}"
            f"L{at(end[0] - nx, end[1] - ny)}A{r} {r} 0 0 1 {at(end[0] + nx, end[1] + ny)}Z")


def corridor_shape(corridor: Corridor) -> Markup:
    (x0, y0), (x1, y1), r = corridor.start, corridor.end, corridor.radius
    kind = "corridor anywhere" if corridor.box else "corridor"
    facts = {"class_": kind, "data_part": corridor.part, "data_radius_mm": r}
    if corridor.box:
        return tag("rect", x=min(x0, x1) - r, y=min(y0, y1) - r, width=abs(x1 - x0) + 2 * r,
                   height=abs(y1 - y0) + 2 * r, rx=r, **facts)
    return tag("path", d=capsule((x0, y0), (x1, y1), r), **facts)


def bounds(solid: Solid) -> Box:
    """The box round a footprint."""
    xs, ys, r = [p[0] for p in solid.outline], [p[1] for p in solid.outline], solid.radius
    return min(xs) - r, min(ys) - r, max(xs) + r, max(ys) + r
