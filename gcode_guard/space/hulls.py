"""Footprints as rounded hulls: a convex polygon of k vertices, grown by a radius.

A cylinder is one vertex with a radius, a round-ended bar two, a box four without one; an outline that is not convex is
cut into convex pieces. Growing a footprint by a tool radius and a clearance is then an addition.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

# How far a corner may bend inward (mm) and still pass as straight: far below anything measured in a shop, far above the
# rounding of coordinates of some metres.
STRAIGHT = 1e-9

Points = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Hull:
    """A convex polygon grown by a radius.

    vertices: (k, 2) float, mm; k = 1 is a point, 2 a segment, 3 and more a convex polygon (kept counter-clockwise).
    radius: mm, not negative.
    Raises ValueError for numbers that are not finite, a negative radius, or a polygon that is not convex.
    """

    vertices: Points
    radius: float = 0.0

    def __post_init__(self) -> None:
        vertices = np.array(self.vertices, dtype=np.float64)
        if vertices.ndim != 2 or vertices.shape[1] != 2 or not len(vertices):
            raise ValueError("a hull needs vertices of shape (k, 2)")
        if not np.isfinite(vertices).all() or not math.isfinite(self.radius) or self.radius < 0:
            raise ValueError("a hull needs finite vertices and a radius that is not negative")
        if len(vertices) > 2:
            if _area(vertices) < 0:
                vertices = vertices[::-1].copy()
            if not _is_convex(vertices):
                raise ValueError("a hull of three or more vertices must be a convex polygon")
            vertices = _corners(vertices)
        vertices.flags.writeable = False
        object.__setattr__(self, "vertices", vertices)
        object.__setattr__(self, "radius", float(self.radius))

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Lowest x, lowest y, highest x, highest y of the rounded hull, mm."""
        low, high = self.vertices.min(axis=0) - self.radius, self.vertices.max(axis=0) + self.radius
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def box(center: Sequence[float], size: Sequence[float], angle_deg: float = 0.0) -> Hull:
    """A rectangle of `size` (x, y), turned counter-clockwise about `center`. ValueError unless `size` is positive."""
    _positive("size", *size)
    half_x, half_y = size[0] / 2, size[1] / 2
    cos, sin = _cos_sin(angle_deg)
    corners = ((-half_x, -half_y), (half_x, -half_y), (half_x, half_y), (-half_x, half_y))
    return Hull(np.array([(center[0] + x * cos - y * sin, center[1] + x * sin + y * cos) for x, y in corners]))


def cylinder(center: Sequence[float], diameter: float) -> Hull:
    """A disc. ValueError for a diameter that is not positive."""
    _positive("diameter", diameter)
    return Hull(np.array([tuple(center)], dtype=np.float64), diameter / 2)


def bar(start: Sequence[float], end: Sequence[float], width: float) -> Hull:
    """A strip with round ends about the segment from `start` to `end`. ValueError for a width that is not positive."""
    _positive("width", width)
    ends = [tuple(start)] if tuple(start) == tuple(end) else [tuple(start), tuple(end)]
    return Hull(np.array(ends, dtype=np.float64), width / 2)


def outline(points: Sequence[Sequence[float]]) -> list[Hull]:
    """A simple polygon, (k, 2), as convex pieces that together cover it exactly; one piece where it is convex.

    The last point may repeat the first. Raises ValueError where the polygon crosses or touches itself or has no area.
    """
    vertices = np.array(points, dtype=np.float64)
    if vertices.ndim != 2 or vertices.shape[1] != 2 or not np.isfinite(vertices).all():
        raise ValueError("an outline needs points of two finite numbers each")
    vertices = vertices[(vertices != np.roll(vertices, 1, axis=0)).any(axis=1)]
    if len(vertices) < 3 or abs(_area(vertices)) <= STRAIGHT**2:
        raise ValueError("an outline needs an area: its points are in one line, or its sides cross")
    if _area(vertices) < 0:
        vertices = vertices[::-1]
    if _is_convex(vertices):
        return [Hull(vertices)]
    return _convex_pieces(vertices)


def _convex_pieces(vertices: Points) -> list[Hull]:
    """Cuts a polygon that is not convex; shapely is imported here because few setups have such an outline."""
    import shapely

    polygon: Any = shapely.Polygon(vertices)
    if not polygon.is_valid:
        raise ValueError(f"an outline must not cross or touch itself ({shapely.is_valid_reason(polygon)})")
    triangles = [np.asarray(t.exterior.coords)[:3] for t in shapely.constrained_delaunay_triangles(polygon).geoms]
    triangles = [t if _area(t) > 0 else t[::-1] for t in triangles if abs(_area(t)) > 0]
    merged = _merged([[(float(x), float(y)) for x, y in t] for t in triangles])
    for pieces in (merged, [[(float(x), float(y)) for x, y in t] for t in triangles]):
        covered = shapely.union_all([shapely.Polygon(p) for p in pieces])
        # What is left over may only be slivers of rounding; anything else would be a hole in an obstacle.
        if shapely.area(shapely.difference(polygon, covered)) <= STRAIGHT * polygon.length:
            return [Hull(np.array(p)) for p in pieces]
    raise ValueError("an outline could not be cut into convex pieces")


Vertex = tuple[float, float]


def _merged(pieces: list[list[Vertex]]) -> list[list[Vertex]]:
    """Joins neighbours across a common edge for as long as the joined polygon stays convex (greedy)."""
    pieces = list(pieces)
    index = 0
    while index < len(pieces):
        for other in range(len(pieces)):
            joined = _joined(pieces[index], pieces[other]) if other != index else None
            if joined is not None and _is_convex(np.array(joined)):
                pieces[index] = joined
                del pieces[other]
                index = 0
                break
        else:
            index += 1
    return pieces


def _joined(one: list[Vertex], two: list[Vertex]) -> list[Vertex] | None:
    """The polygon of two counter-clockwise ones that share an edge, or None."""
    places = {(two[i], two[(i + 1) % len(two)]): i for i in range(len(two))}
    for i, vertex in enumerate(one):
        following = one[(i + 1) % len(one)]
        j = places.get((following, vertex))
        if j is not None:
            # From the end of the common edge all round `one`, then round `two`, leaving its common edge out.
            way_one = [one[(i + 1 + n) % len(one)] for n in range(len(one))]
            way_two = [two[(j + 2 + n) % len(two)] for n in range(len(two) - 2)]
            return way_one + way_two
    return None


def _area(vertices: Points) -> float:
    """Signed area (shoelace formula), taken about the first vertex so that far-away polygons keep their digits."""
    x, y = (vertices - vertices[0]).T
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def _is_convex(vertices: Points) -> bool:
    """Whether a polygon with positive area turns left (or runs straight on) everywhere, and round just once."""
    edges = np.roll(vertices, -1, axis=0) - vertices
    edges = edges[(edges != 0).any(axis=1)]
    following = np.roll(edges, -1, axis=0)
    cross = edges[:, 0] * following[:, 1] - edges[:, 1] * following[:, 0]
    dot = (edges * following).sum(axis=1)
    reach = np.maximum(np.hypot(*edges.T), np.hypot(*following.T))
    if (cross < -STRAIGHT * reach).any() or ((cross <= STRAIGHT * reach) & (dot < 0)).any():
        return False
    return bool(abs(np.arctan2(cross, dot).sum() - 2 * math.pi) < 1e-6)


def _corners(vertices: Points) -> Points:
    """The true corners of a nearly convex polygon, counter-clockwise: Andrew's monotone chain, A. M. Andrew,
    Information Processing Letters 9 (1979). What it adds to the polygon is at most STRAIGHT deep."""

    def chain(points: list[Vertex]) -> list[Vertex]:
        kept: list[Vertex] = []
        for x, y in points:
            while len(kept) > 1:
                (ax, ay), (bx, by) = kept[-2], kept[-1]
                if (bx - ax) * (y - ay) - (by - ay) * (x - ax) > 0:
                    break
                kept.pop()
            kept.append((x, y))
        return kept[:-1]

    points = sorted({(float(x), float(y)) for x, y in vertices})
    return np.array(chain(points) + chain(points[::-1]))


def _cos_sin(angle_deg: float) -> tuple[float, float]:
    """Cosine and sine of degrees, exact at quarter turns, so that a box turned by 90 has upright sides."""
    quarter, rest = divmod(angle_deg, 90.0)
    if rest == 0.0:
        return ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[int(quarter) % 4]
    return math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))


def _positive(what: str, *values: float) -> None:
    if not all(math.isfinite(value) and value > 0 for value in values):
        raise ValueError(f"{what} must be positive")
