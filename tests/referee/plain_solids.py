"""The same rule a third time, with python-fcl: the assembly as cylinders against the obstacles as prisms."""

from __future__ import annotations

import math

import fcl
import numpy as np
import shapely

from .plain_bench import Obstacle, Section

TALL = 400.0
"""mm; every solid is cut off at this height, more than any bench of the tests needs."""


def upright(shape: object, x: float, y: float, bottom: float, angle: float = 0.0) -> fcl.CollisionObject:
    """Stand a shape of height TALL, centred on its own origin, on `bottom`."""
    turn = np.array([[math.cos(angle), -math.sin(angle), 0], [math.sin(angle), math.cos(angle), 0], [0, 0, 1]])
    return fcl.CollisionObject(shape, fcl.Transform(turn, np.array([x, y, bottom + TALL / 2])))


def prism(triangle: np.ndarray, top: float) -> fcl.CollisionObject:
    corners = [(x, y, z) for z in (-TALL / 2, TALL / 2) for x, y in triangle]
    faces = np.array(
        [3, 0, 2, 1, 3, 3, 4, 5, 4, 0, 1, 4, 3, 4, 1, 2, 5, 4, 4, 2, 0, 3, 5],
    )
    return upright(fcl.Convex(np.array(corners), 5, faces), 0, 0, top - TALL)


def solids_of(obstacle: Obstacle) -> list[fcl.CollisionObject]:
    """Prisms and cylinders that together are the obstacle."""
    core, top = obstacle.core, obstacle.top
    found = []
    if obstacle.radius > 0:
        for x, y in shapely.get_coordinates(core):
            found.append(upright(fcl.Cylinder(obstacle.radius, TALL), x, y, top - TALL))
    if core.geom_type == "LineString":
        (x0, y0), (x1, y1) = core.coords[0], core.coords[-1]
        box = fcl.Box(math.hypot(x1 - x0, y1 - y0), 2 * obstacle.radius, TALL)
        found.append(upright(box, (x0 + x1) / 2, (y0 + y1) / 2, top - TALL, math.atan2(y1 - y0, x1 - x0)))
    if core.geom_type == "Polygon":
        for part in shapely.constrained_delaunay_triangles(core).geoms:
            corners = shapely.get_coordinates(shapely.orient_polygons(part))[:3]
            found.append(prism(corners, top))
    return found


def collides(
    start: tuple[float, ...],
    end: tuple[float, ...],
    sections: list[Section],
    obstacle: Obstacle,
    beside: float = 0.0,
    above: float = 0.0,
    step: float = 0.5,
) -> bool:
    """Whether any sampled tip position on the segment makes the grown assembly meet the obstacle."""
    solids = solids_of(obstacle)
    for tip in np.linspace(start, end, 2 + math.ceil(math.dist(start, end) / step)):
        for section in sections:
            shape = fcl.Cylinder(section.radius + obstacle.tolerance + beside, TALL)
            bottom = section.bottom(float(tip[2])) - obstacle.tolerance - above
            tool = upright(shape, float(tip[0]), float(tip[1]), bottom)
            for solid in solids:
                if fcl.collide(tool, solid, fcl.CollisionRequest(), fcl.CollisionResult()):
                    return True
    return False
