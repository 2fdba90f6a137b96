"""The rule that decides, by sampling: is there a contact, is there a clip, how high must a rapid be?

A sweep is a list of places: a geometry in XY that the tip may be over, and the lowest height that it may have there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely

from .plain_bench import Bench, Obstacle, Section
from .plain_state import PLANES, Move

STEP = 0.25
"""mm between two samples of a straight or round way."""
SURE = 1e-6
"""mm by which a sample must break the rule before it counts: below that it is the rounding of floats."""
EVERYWHERE = 1e6


@dataclass
class Sweep:
    """`places` (n,) geometries and `lowest` (n,) mm; `grow` mm is added to the reach sideways."""

    places: np.ndarray
    lowest: np.ndarray
    grow: float = 0.0

    def whole(self) -> shapely.Geometry:
        return shapely.GeometryCollection(list(self.places))


def straight(start: tuple[float, ...], end: tuple[float, ...]) -> Sweep:
    """All axes arrive together: points along the segment."""
    count = 1 + max(1, math.ceil(math.dist(start[:2], end[:2]) / STEP))
    if start[:2] == end[:2]:
        return Sweep(np.array([shapely.Point(start[:2])]), np.array([min(start[2], end[2])]))
    points = np.linspace(start, end, count)
    return Sweep(shapely.points(points[:, :2]), points[:, 2])


def anywhere_between(start: tuple[float, ...], end: tuple[float, ...]) -> Sweep:
    """The box that the two ends span; an unknown or unbounded side is infinite."""
    low = [min(a, b) for a, b in zip(start, end, strict=True)]
    high = [max(a, b) for a, b in zip(start, end, strict=True)]
    return Sweep(np.array([rectangle(low, high)]), np.array([low[2]]))


def rectangle(low: list[float], high: list[float]) -> shapely.Geometry:
    corners = [(low[0], low[1]), (high[0], low[1]), (high[0], high[1]), (low[0], high[1])]
    if low[:2] == high[:2]:
        return shapely.Point(corners[0])
    if low[0] == high[0] or low[1] == high[1]:
        return shapely.LineString([corners[0], corners[2]])
    return shapely.Polygon(corners)


def rapid_sweep(move: Move, straight_paths: bool) -> Sweep:
    """What a rapid may sweep; an XY that is not known is everywhere, a height that is not known may be anything."""
    start, end = numbers(move.start), numbers(move.end)
    known_xy = all(value is not None for value in (*start[:2], *end[:2]))
    heights = [-math.inf if value is None else value for value in (start[2], end[2])]
    if start[2] is None and upright(move):
        # Out of an unknown height an upright rapid is judged at its end: it may have come from below or from above.
        heights[0] = heights[1]
    if upright(move) and not known_xy:
        # Where it stands it stood before: a rise at an unknown place is judged at its end too.
        heights[0] = heights[1]
    if straight_paths and known_xy and all(math.isfinite(h) for h in heights):
        return straight((start[0], start[1], heights[0]), (end[0], end[1], heights[1]))  # type: ignore[arg-type]
    low, high = [], []
    for a, b in zip(start[:2], end[:2], strict=True):
        low.append(-EVERYWHERE if a is None or b is None else min(a, b))
        high.append(EVERYWHERE if a is None or b is None else max(a, b))
    return anywhere_between((*low, min(heights)), (*high, max(heights)))


def upright(move: Move) -> bool:
    return move.start[:2] == move.end[:2]


def numbers(point: tuple[object, ...]) -> list[float | None]:
    return [None if value is None else float(value) for value in point]  # type: ignore[arg-type]


def cut_sweep(move: Move) -> Sweep:
    """Points along a cut; where its end is not known there is nothing to judge."""
    start, end = np.array(move.start, float), np.array(move.end, float)
    points = arc_points(move) if move.centre is not None else None
    if points is None:
        count = 1 + max(1, math.ceil(float(np.linalg.norm(end - start)) / STEP))
        points = np.linspace(start, end, count)
    return Sweep(shapely.points(points[:, :2]), points[:, 2])


def arc_points(move: Move) -> np.ndarray:
    """(n, 3) points along a helix; an arc that ends where it starts is a full turn."""
    first, second, normal = PLANES[move.plane or 17]
    start, end = np.array(move.start, float), np.array(move.end, float)
    centre = np.array(move.centre, float)
    a, b = start - centre, end - centre
    angle_a, angle_b = math.atan2(a[second], a[first]), math.atan2(b[second], b[first])
    turn = (angle_b - angle_a) % (2 * math.pi)
    if math.hypot(end[first] - start[first], end[second] - start[second]) < 1e-7:
        turn = 2 * math.pi
    elif move.kind == "arc-cw":
        turn -= 2 * math.pi
    if move.kind == "arc-cw" and turn > 0:
        turn = -turn
    radii = math.hypot(a[first], a[second]), math.hypot(b[first], b[second])
    count = 2 + math.ceil(abs(turn) * max(radii) / STEP)
    share = np.linspace(0.0, 1.0, count)
    angles, radius = angle_a + share * turn, radii[0] + share * (radii[1] - radii[0])
    points = np.empty((count, 3))
    points[:, first] = centre[first] + radius * np.cos(angles)
    points[:, second] = centre[second] + radius * np.sin(angles)
    points[:, normal] = start[normal] + share * (end[normal] - start[normal])
    return points


def reaches(
    sweep: Sweep, sections: list[Section], obstacle: Obstacle, beside: float = 0.0, above: float = 0.0
) -> float:
    """How far (mm) the sweep comes below the height at which it would be free of the obstacle; 0 where it is free."""
    deepest = 0.0
    for section in sections:
        reach = section.radius + obstacle.tolerance + beside + sweep.grow
        near = shapely.distance(sweep.places, obstacle.core) - obstacle.radius < reach - SURE
        if not near.any():
            continue
        lowest = float(sweep.lowest[near].min())
        depth = obstacle.top + obstacle.tolerance + above - section.bottom(lowest)
        if depth > SURE:
            deepest = max(deepest, depth)
    return deepest


def contact(sweep: Sweep, sections: list[Section], obstacle: Obstacle) -> float:
    """mm of contact by the contract's rule, 0 for none."""
    return reaches(sweep, sections, obstacle)


def clip(sweep: Sweep, sections: list[Section], obstacle: Obstacle, bench: Bench, rounding: float) -> float:
    """mm by which a rapid comes inside the clearance, 0 for not at all."""
    return reaches(sweep, sections, obstacle, bench.beside + rounding, bench.above + rounding)


def needed_height(way: shapely.Geometry, sections: list[Section], bench: Bench, rounding: float) -> float:
    """The lowest tip height at which the whole XY way is free of clips; -inf where nothing is near."""
    highest = -math.inf
    for obstacle in bench.obstacles:
        for section in sections:
            reach = section.radius + obstacle.tolerance + bench.beside + rounding
            if shapely.distance(way, obstacle.core) - obstacle.radius < reach - SURE:
                if section.rides_at is None:
                    needed = obstacle.top + obstacle.tolerance + bench.above + rounding - section.above_tip
                    highest = max(highest, needed)
    return highest
