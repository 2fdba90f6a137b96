"""Where a part could stand: along the edges of the stock, or anywhere on the table, reachable by hand.

The frame of a part: its `at` is where its bolt goes into the table, and its +X points at the work.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from ..setup import Setup, Solid
from ..setup.model import MM_PER_UNIT, Point2, exact
from ..space.hulls import Hull
from ..whatif import with_obstacles
from .asked import highest_top, part_entry
from .limits import Footprint

if TYPE_CHECKING:
    import shapely

SPACING = {"mm": 10.0, "inch": 0.5}  # between places that are tried, in these units
HAND = (100.0, 60.0)  # mm: how far behind the part, and how wide, a hand and a spanner need; common practice, no source
ROUGH = 0.05  # mm, by which shapes are rougher than what they stand for
TURNS = (0.0, 90.0, 180.0, -90.0)
TOWARDS = 0.69  # cosine of the angle within which +X must point at the middle of the stock: a little over 45 degrees
MOST = 20_000  # places that are tried

Along = Literal["edge", "anywhere"]


@dataclass(frozen=True, slots=True)
class Candidate:
    """A part at a place: `at` (in the units of the setup) and `angle` (degrees), and its footprints, in mm."""

    at: Point2
    angle: float
    place: Point2
    footprints: tuple[Footprint, ...]
    shape: shapely.Geometry
    hand: shapely.Geometry


class Parted:
    """A part of the setup's libraries, ready to be put anywhere. Raises ValueError where there is none."""

    def __init__(self, setup: Setup, part: str) -> None:
        self.setup, self.name = setup, part
        self.solids: tuple[Solid, ...] = with_obstacles(setup, [part_entry(setup, part, (0.0, 0.0), 0.0)]
                                                        ).obstacles[-1].solids
        self.tops = tuple(solid.top for solid in self.solids)
        bounds = np.array([hull.bounds for solid in self.solids for hull in _hulls(solid, (0.0, 0.0), 0.0)])
        self.nose = float(bounds[:, 2].max())
        self.sides = float(bounds[:, 1].min()), float(bounds[:, 3].max())
        self.tolerance = self.solids[0].tolerance

    def at(self, at: Point2, angle: float) -> Candidate:
        """The part at a place, in the units of the setup."""
        import shapely
        from shapely import affinity

        place = float(exact(at[0]) * self._scale), float(exact(at[1]) * self._scale)
        hulls = [_hulls(solid, place, angle) for solid in self.solids]
        footprints = tuple(Footprint(tuple(some), solid.tolerance, highest_top(self.setup, solid.tolerance))
                           for some, solid in zip(hulls, self.solids, strict=True))
        length, width = HAND
        hand = affinity.translate(affinity.rotate(shapely.box(-length, -width / 2, 0.0, width / 2), angle,
                                                  origin=(0, 0)), *place)
        return Candidate(at, angle, place, footprints, _union(hulls), hand)

    @property
    def _scale(self) -> Any:
        return MM_PER_UNIT[self.setup.units]


def _hulls(solid: Solid, place: Point2, angle: float) -> list[Hull]:
    """The hulls of a solid that stands at the origin, turned and moved."""
    from ..setup.footprint import Placement

    placement = Placement(place, angle)
    return [Hull(np.array([placement.point(vertex) for vertex in piece.vertices]), piece.radius)
            for piece in solid.pieces]


def _union(hulls: Iterable[Sequence[Hull]]) -> shapely.Geometry:
    import shapely

    return shapely.union_all([as_shape(hull) for some in hulls for hull in some])


def as_shape(hull: Hull) -> shapely.Geometry:
    """A hull as a shape of GEOS; round edges as chords that lie outside it."""
    import shapely

    vertices = hull.vertices
    core = shapely.Point(vertices[0]) if len(vertices) == 1 else shapely.LineString(vertices) if len(vertices) == 2 \
        else shapely.Polygon(vertices)
    # Chords of a 64th of a turn lie inside the circle by 0.12 percent of its radius; so much larger a circle is taken.
    return core.buffer(hull.radius * 1.0013, quad_segs=16) if hull.radius else core


def standing(setup: Setup) -> list[shapely.Geometry]:
    """What stands on the table now, one shape an obstacle."""
    return [_union([_hulls(solid, (0.0, 0.0), 0.0) for solid in obstacle.solids]) for obstacle in setup.obstacles]


def candidates(part: Parted, along: Along, over: float, spacing: float | None,
               area: tuple[float, float, float, float] | None) -> list[Candidate]:
    """Every place that is tried, but for those where something stands or a hand cannot get at the part.

    over: how far the part lies on the stock, at most; 0: beside it; spacing: between places; both in the units of the
    setup. area: mm, in which `at` lies, for `anywhere`. Raises ValueError where there is no such place at all.
    """
    setup = part.setup
    if setup.stock is None:
        raise ValueError("--place needs to know where the work is: give [stock] in the setup")
    spacing = spacing or SPACING[setup.units]
    over_mm = float(exact(over) * MM_PER_UNIT[setup.units])
    if along == "edge":
        if over_mm >= part.nose:
            raise ValueError(f"--over {over:g} would bring the bolt of \"{part.name}\" onto the stock")
        places = _along_edges(part, over_mm, spacing)
    else:
        places = _anywhere(part, spacing, area)
    free = _Free(part, over_mm)
    found = [one for one in (part.at(at, angle) for at, angle in places) if free.holds(one)]
    if not found:
        raise ValueError(f"there is no free place for \"{part.name}\": something stands in the way everywhere")
    return found


def _along_edges(part: Parted, over: float, spacing: float) -> Iterator[tuple[Point2, float]]:
    """At each edge, +X across it, the nose `over` (mm) within it."""
    setup = part.setup
    assert setup.stock is not None
    (x, y), (length, width) = setup.stock.corner, setup.stock.size
    out = part.nose - over
    right, left = part.sides  # seen along +X; how far it reaches along the edge depends on how it is turned
    edges = ((0.0, (x - out, y), (0.0, 1.0), width, (right, left)),
             (180.0, (x + length + out, y), (0.0, 1.0), width, (-left, -right)),
             (90.0, (x, y - out), (1.0, 0.0), length, (-left, -right)),
             (-90.0, (x, y + width + out), (1.0, 0.0), length, (right, left)))
    for angle, first, way, side, reach in edges:
        for far in _spaced(-reach[0], side - reach[1], spacing, setup):
            yield _on_paper((first[0] + way[0] * far, first[1] + way[1] * far), setup), angle


def _spaced(first: float, last: float, spacing: float, setup: Setup) -> list[float]:
    """Places from one to another, mm, spread evenly about their middle; the middle alone where there is no room."""
    step = float(exact(spacing) * MM_PER_UNIT[setup.units])
    middle, half = (first + last) / 2, max(0, int((last - first) / 2 / step + 1e-9))
    return [middle + k * step for k in range(-half, half + 1)]


def _anywhere(part: Parted, spacing: float,
              area: tuple[float, float, float, float] | None) -> Iterator[tuple[Point2, float]]:
    """On a grid of the table, +X towards the middle of the stock."""
    setup = part.setup
    assert setup.stock is not None and area is not None
    step = float(exact(spacing) * MM_PER_UNIT[setup.units])
    if (area[2] - area[0]) * (area[3] - area[1]) / step**2 > MOST:
        raise ValueError(f"more than {MOST:,} places would be tried: give a wider --step, or an --area")
    middle = np.array(setup.stock.corner) + np.array(setup.stock.size) / 2
    for x in np.arange(np.ceil(area[0] / step), np.floor(area[2] / step) + 1) * step:
        for y in np.arange(np.ceil(area[1] / step), np.floor(area[3] / step) + 1) * step:
            way = middle - (x, y)
            far = float(np.hypot(*way))
            for angle in TURNS:
                ahead = way[0] * np.cos(np.radians(angle)) + way[1] * np.sin(np.radians(angle))
                if ahead >= TOWARDS * far:
                    yield _on_paper((float(x), float(y)), setup), angle


def _on_paper(place: Point2, setup: Setup) -> Point2:
    """A place in the units of the setup, as it is written."""
    decimals = 4 if setup.units == "inch" else 3
    x, y = (round(float(exact(value) / MM_PER_UNIT[setup.units]), decimals) for value in place)
    return x, y


class _Free:
    """Whether a part may stand somewhere, as far as other things and hands are concerned."""

    def __init__(self, part: Parted, over: float) -> None:
        import shapely

        setup = part.setup
        assert setup.stock is not None
        (x, y), (length, width) = setup.stock.corner, setup.stock.size
        self.part, self.over, self.others = part, over, standing(setup)
        inset = over + ROUGH
        self.within = shapely.box(x + inset, y + inset, x + length - inset, y + width - inset) \
            if 2 * inset < min(length, width) else None
        self.stock = shapely.box(x, y, x + length, y + width)
        self.top = setup.stock.top

    def holds(self, one: Candidate) -> bool:
        import shapely

        if self.within is not None and one.shape.intersects(self.within):
            return False
        if self.over > 0 and not one.shape.intersects(self.stock):
            return False
        if self.stock.intersects(shapely.Point(one.place)) and not self.stock.contains(one.shape):
            return False  # bolted through the stock, and beside it as well
        if any(top <= self.top and _union([footprint.hulls]).intersection(self.stock).area > 1.0
               for top, footprint in zip(self.part.tops, one.footprints, strict=True)):
            return False  # it would stand within the stock
        return all(apart(one.shape, other, self.part.tolerance) and not one.hand.intersects(other)
                   for other in self.others)


def apart(one: shapely.Geometry, other: shapely.Geometry, gap: float) -> bool:
    """Whether two things stand at least so far apart, mm."""
    return float(one.distance(other)) >= gap


def go_together(one: Candidate, other: Candidate, gap: float) -> bool:
    """Whether two proposals can stand on one table, each within reach of a hand."""
    return apart(one.shape, other.shape, gap) and not one.hand.intersects(other.shape) \
        and not other.hand.intersects(one.shape)
