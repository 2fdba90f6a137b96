"""Exact distances in the plane between convex polygons and what a move covers, for many pairs at once.

Everything happens in the frame of the path: `along` is the way along it from its start, `off` the signed offset to its
left. There a path is the stretch from 0 to its length on the axis `off` = 0, and all bounds on it are linear or
quadratic in one number. Polygons are (p, K, 2) float, counter-clockwise, with rows padded by repeating the last vertex;
a polygon of one vertex is a point, of two a segment. Lengths in mm.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Booleans = NDArray[np.bool_]

# Paths shorter than this (mm) are taken as points: their direction would be made of rounding errors.
POINT = 1e-12
# Stands for a slope of exactly nothing, so that a bound that does not change along the path falls far outside it.
LEVEL = 1e-280


def path_frame(start: Floats, end: Floats) -> tuple[Floats, Floats]:
    """Unit direction (p, 2) and length (p,) of the paths from `start` to `end`, (p, 2); a point gets (1, 0) and 0."""
    way = end - start
    length = np.hypot(way[:, 0], way[:, 1])
    point = length < POINT
    length[point] = 0.0
    way[point] = (1.0, 0.0)
    return way / np.where(point, 1.0, length)[:, None], length


def stretch_within(
    start: Floats, unit: Floats, length: Floats, vertices: Floats, count: Integers, limit: Floats
) -> tuple[Floats, Floats]:
    """First and last place (p,) along each path that lies within `limit` of its polygon; first > last where none does.

    start, unit: (p, 2); length, limit: (p,); vertices: (p, K, 2); count: (p,) true numbers of vertices.
    The polygon grown by `limit` is the union of itself, a disc at each vertex and a strip along each edge. The union is
    convex, so the path is inside it over one interval, from the first of its parts to the last.
    """
    along, off = _in_path_frame(start, unit, vertices)
    edge_along, edge_off, edge_length = _edges(along, off)
    bound = limit[:, None]

    half = np.sqrt(np.maximum(bound * bound - off * off, 0.0))
    first = np.where(half > 0, along - half, np.inf)
    last = np.where(half > 0, along + half, -np.inf)
    first, last = _clipped(first, last, length)

    # `across` is the offset to the left of each edge of the place s on the path: across_0 + slope * s.
    across_0 = edge_off * along - edge_along * off
    slope = np.where(edge_off == 0.0, LEVEL, -edge_off)
    on_0 = -edge_along * along - edge_off * off - edge_length / 2
    on_slope = np.where(edge_along == 0.0, LEVEL, edge_along)
    half_edge = np.where(edge_length > 0.0, edge_length / 2, -1.0)
    strip_first, strip_last = _band(across_0, slope, np.broadcast_to(bound, slope.shape))
    end_first, end_last = _band(on_0, on_slope, half_edge)
    strip = _clipped(np.maximum(strip_first, end_first), np.minimum(strip_last, end_last), length)

    crossing = -across_0 / slope
    inside_first = np.where(slope > 0, crossing, -np.inf).max(axis=1)
    inside_last = np.where(slope < 0, crossing, np.inf).min(axis=1)
    inside_first[count < 3] = np.inf
    inside = _clipped(inside_first[:, None], inside_last[:, None], length)

    first = np.minimum(np.minimum(first, strip[0]).min(axis=1), inside[0][:, 0])
    last = np.maximum(np.maximum(last, strip[1]).max(axis=1), inside[1][:, 0])
    none = limit <= 0
    return np.where(none, np.inf, first), np.where(none, -np.inf, last)


def path_distance(start: Floats, unit: Floats, length: Floats, vertices: Floats, count: Integers) -> Floats:
    """Distance (p,) between each path and its polygon, 0 where they meet. Arguments as for stretch_within."""
    along, off = _in_path_frame(start, unit, vertices)
    edge_along, edge_off, edge_length = _edges(along, off)
    reach = length[:, None]
    to_path = np.hypot(along - np.clip(along, 0.0, reach), off)
    nearest = to_path.min(axis=1)
    for place in (np.zeros_like(reach), reach):
        on = np.clip((place - along) * edge_along - off * edge_off, 0.0, edge_length)
        to_edge = np.hypot(along + on * edge_along - place, off + on * edge_off)
        nearest = np.minimum(nearest, to_edge.min(axis=1))
    next_off = _following(off)
    crossed = (off < 0) != (next_off < 0)
    part = np.where(crossed, off / np.where(crossed, off - next_off, 1.0), 0.0)
    place = along + part * (_following(along) - along)
    crossed &= (place >= 0) & (place <= reach)
    surrounded = (edge_off * along - edge_along * off >= 0).all(axis=1) & (count >= 3)
    return np.where(crossed.any(axis=1) | surrounded, 0.0, nearest)


def box_distance(low: Floats, high: Floats, vertices: Floats) -> Floats:
    """Distance (p,) between upright boxes with corners `low`, `high`, (p, 2), and polygons (p, K, 2); 0 if they meet.

    Sides may be infinite. Two convex figures are apart exactly where a side of one of them has the other beyond it
    (separating axis theorem); else the nearest pair holds a corner of one of them.
    """
    least, most = vertices.min(axis=1), vertices.max(axis=1)
    low = np.where(low == -np.inf, np.minimum(least, high), low)
    high = np.where(high == np.inf, np.maximum(most, low), high)
    outside = np.maximum(np.maximum(low[:, None] - vertices, vertices - high[:, None]), 0.0)
    nearest = np.hypot(outside[..., 0], outside[..., 1]).min(axis=1)
    apart = (low > most).any(axis=1) | (high < least).any(axis=1)

    edge_x, edge_y, edge_length = _edges(vertices[..., 0], vertices[..., 1])
    beyond = np.full(edge_x.shape, -np.inf)
    for corner in (low, np.stack((high[:, 0], low[:, 1]), axis=1), high, np.stack((low[:, 0], high[:, 1]), axis=1)):
        x, y = corner[:, None, 0] - vertices[..., 0], corner[:, None, 1] - vertices[..., 1]
        beyond = np.maximum(beyond, edge_x * y - edge_y * x)
        on = np.clip(edge_x * x + edge_y * y, 0.0, edge_length)
        nearest = np.minimum(nearest, np.hypot(x - on * edge_x, y - on * edge_y).min(axis=1))
    apart |= (beyond < 0).any(axis=1)
    return np.where(apart, nearest, 0.0)


def _in_path_frame(start: Floats, unit: Floats, vertices: Floats) -> tuple[Floats, Floats]:
    x, y = vertices[..., 0] - start[:, None, 0], vertices[..., 1] - start[:, None, 1]
    along_x, along_y = unit[:, None, 0], unit[:, None, 1]
    return x * along_x + y * along_y, along_x * y - along_y * x


def _edges(x: Floats, y: Floats) -> tuple[Floats, Floats, Floats]:
    """Unit direction and length, (p, K) each, of the edge after each vertex; no direction where the length is 0."""
    edge_x, edge_y = _following(x) - x, _following(y) - y
    length = np.hypot(edge_x, edge_y)
    divisor = np.where(length > 0.0, length, 1.0)
    return edge_x / divisor, edge_y / divisor, length


def _following(values: Floats) -> Floats:
    """Of each vertex the value of the next one round: numpy.roll(values, -1, axis=1), but fast on small arrays."""
    return np.concatenate((values[:, 1:], values[:, :1]), axis=1)


def _band(value: Floats, slope: Floats, half: Floats) -> tuple[Floats, Floats]:
    """Where |value + slope * s| <= half: from, to; from > to where half is negative. `slope` is never 0."""
    middle, reach = -value / slope, half / np.abs(slope)
    return middle - reach, middle + reach


def _clipped(first: Floats, last: Floats, length: Floats) -> tuple[Floats, Floats]:
    """The part of the intervals, (p, K), on paths of these lengths; (inf, -inf) where there is none."""
    first, last = np.maximum(first, 0.0), np.minimum(last, length[:, None])
    empty = first > last
    first[empty], last[empty] = np.inf, -np.inf
    return first, last
