"""The same rule a third time, with python-fcl: the assembly as cylinders against the obstacles as prisms."""

from __future__ import annotations

import math

import fcl
import numpy as np
import shapely

from .plain_bench import Bench, Obstacle, Section
from .plain_judge import growth, may_come_close
from .plain_reader import Move, Reading
from .plain_rule import numbers

TALL = 400.0
"""mm; every solid is cut off at this height, more than any bench of the tests needs."""

HAIR = 1e-3
"""mm by which a way must break the rule before FCL counts it."""


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


def swept(start: list[float], end: list[float], radius: float, above_tip: float) -> list[fcl.CollisionObject]:
    """What an upright cylinder over the tip covers on a level or an upright way: two cylinders and a box, exactly."""
    bottom = min(start[2], end[2]) + above_tip
    ends = {(start[0], start[1]), (end[0], end[1])}
    found = [upright(fcl.Cylinder(radius, TALL), x, y, bottom) for x, y in ends]
    if len(ends) == 2:
        length, angle = math.dist(start[:2], end[:2]), math.atan2(end[1] - start[1], end[0] - start[0])
        middle = (start[0] + end[0]) / 2, (start[1] + end[1]) / 2
        found.append(upright(fcl.Box(length, 2 * radius, TALL), *middle, bottom, angle))
    return found


def meets(start: list[float], end: list[float], sections: list[Section], obstacle: Obstacle, beside: float,
          above: float, grow: float = 0.0) -> bool:
    """Whether the grown assembly meets the obstacle on a straight way; a slanting one is looked at every 3 mm."""
    way = [(start, end)]
    if start[:2] != end[:2] and start[2] != end[2]:
        places = np.linspace(start, end, 2 + math.ceil(math.dist(start, end) / 3.0)).tolist()
        way = [(place, place) for place in places]
    solids = solids_of(obstacle)
    for section in sections:
        radius, lower = section.radius + obstacle.tolerance + beside + grow, obstacle.tolerance + above
        for first, second in way:
            if section.rides_at is not None:
                first, second = [*first[:2], section.rides_at], [*second[:2], section.rides_at]
            over = -lower + (0.0 if section.rides_at is not None else section.above_tip)
            for tool in swept(first, second, radius, over):
                if any(fcl.collide(tool, solid, fcl.CollisionRequest(), fcl.CollisionResult()) for solid in solids):
                    return True
    return False


def judge_by_solids(before: Reading, after: Reading, bench: Bench) -> list[str]:
    """Promise 1 by FCL, for the straight way between the known ends of each rapid: on a bench whose rapids may be bent
    it is one of the ways that they may take, and must be free too."""
    found = []
    for move in after.moves:
        start, end = numbers(move.start), numbers(move.end)
        if move.kind == "rapid" and all(value is not None and abs(value) < 1e6 for value in (*start, *end)):
            found += _judge_rapid(move, start, end, before, bench)  # type: ignore[arg-type]
    return found


def _judge_rapid(move: Move, start: list[float], end: list[float], before: Reading, bench: Bench) -> list[str]:
    rounding = bench.rounding if move.rounding is None else move.rounding
    # A hair less than the rule asks: touching is allowed, and FCL has its own rounding.
    kinds = [("meets", -HAIR, -HAIR)]
    if not may_come_close(move, before):
        kinds = [("clips", bench.beside + rounding - HAIR, bench.above + rounding - HAIR)]
    return [f"line {move.line}: by FCL a rapid {what} {obstacle.name}"
            for sections in bench.sections(move.tool) for obstacle in bench.obstacles for what, beside, above in kinds
            if meets(start, end, sections, obstacle, beside, above, growth(move, sections))]
