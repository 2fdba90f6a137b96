"""Where the walk goes down: over the middle and the corners of everything on the bench, and of the stock."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from math import hypot

import numpy as np

from ..judge import Judge
from ..program.moves import Kind, Move, table
from ..program.state import ANYWHERE, Position, Span
from ..rules import Box
from ..setup import Obstacle, Setup, Solid
from ..setup.model import Piece, Point2, exact
from ..space.clearance import Sweeps, distances
from ..space.scene import Scene
from .pen import Pen

MOST_CORNERS = 8  # of an outline; more are thinned out evenly
SAME_PLACE = 1.0  # mm, within which one stop is enough


@dataclass(frozen=True, slots=True)
class Spot:
    """A place to look at, mm, and what it is of its thing: "middle", "corner 2 of 4"."""

    x: float
    y: float
    what: str


@dataclass(frozen=True, slots=True)
class Stop:
    """A place at which the walk goes down to `z` (mm) and waits. `air`: mm, from the tip down to the top as measured;
    `off`: mm, by which that may be wrong. `under`: what is below the tip, where it is not the thing itself."""

    x: float
    y: float
    z: float
    what: str
    air: float
    off: float
    under: str = ""


@dataclass(slots=True)
class Thing:
    """What is visited: its name, its stops, and how many of its spots the tool cannot reach."""

    name: str
    stops: list[Stop]
    beyond: int = 0


def spots_of(obstacle: Obstacle) -> list[Spot]:
    """The middle of each solid, the tallest first, and the corners of the widest."""
    solids = sorted(obstacle.solids, key=lambda solid: -solid.top)
    spots: list[Spot] = []
    for number, solid in enumerate(solids):
        which = "middle" if number == 0 else f"middle of its part of {solid.shape} shape"
        _add(spots, Spot(*middle_of(solid), which))
    widest = max(obstacle.solids, key=_area)
    corners = corners_of(widest)
    name = "end" if widest.shape == "bar" else "corner"
    for number, corner in enumerate(corners):
        _add(spots, Spot(*corner, f"{name} {number + 1} of {len(corners)}"))
    return spots


def _add(spots: list[Spot], spot: Spot) -> None:
    if all(hypot(spot.x - other.x, spot.y - other.y) > SAME_PLACE for other in spots):
        spots.append(spot)


def middle_of(solid: Solid) -> Point2:
    """A place well over a solid: its middle, or that of its largest convex piece where it has several."""
    piece = max(solid.pieces, key=lambda piece: _polygon_area(piece.vertices))
    x, y = np.array(piece.vertices, dtype=float).reshape(-1, 2).mean(axis=0)
    return float(x), float(y)


def corners_of(solid: Solid) -> list[Point2]:
    """The corners of a box or an outline, the ends of a bar, nothing for a cylinder."""
    if solid.shape == "cylinder":
        return []
    corners = list(solid.outline)
    if len(corners) <= MOST_CORNERS:
        return corners
    return [corners[k * len(corners) // MOST_CORNERS] for k in range(MOST_CORNERS)]


def _polygon_area(vertices: Sequence[Point2]) -> float:
    x, y = np.array(vertices, dtype=float).reshape(-1, 2).T
    return float(abs(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)) / 2)


def _area(solid: Solid) -> float:
    x, y = np.array(solid.outline, dtype=float).reshape(-1, 2).T
    around = float(np.hypot(np.roll(x, -1) - x, np.roll(y, -1) - y).sum())
    return _polygon_area(solid.outline) + around * solid.radius + 3.15 * solid.radius**2


def as_obstacle(setup: Setup) -> Setup:
    """The bench with its stock alone, as an obstacle. A shoe that stays with the gantry may ride over it."""
    stock = setup.stock
    assert stock is not None
    (x, y), (length, width) = stock.corner, stock.size
    outline = ((x, y), (x + length, y), (x + length, y + width), (x, y + width))
    solid = Solid("box", (Piece(outline, 0.0),), stock.top, setup.clearance.tolerance, outline, 0.0)
    spindle = setup.spindle
    if spindle is not None and spindle.shoe is not None and spindle.shoe.rides_at is not None:
        spindle = replace(spindle, shoe=None)
    return replace(setup, obstacles=(Obstacle("stock", (solid,)),), spindle=spindle)


class Surveyor:
    """Finds how low the tip may go at a place with one tool, and what is below it."""

    def __init__(self, judge: Judge, tool: int, pen: Pen, reach: Box) -> None:
        self.judge, self.setup, self.tool, self.pen, self.reach = judge, judge.setup, tool, pen, reach
        self.scene = judge.scene
        self.stock_judge = Judge(as_obstacle(self.setup)) if self.setup.stock is not None else None

    def travel(self) -> float:
        """The lowest tip height at which the tool may go anywhere, corners rounded, mm."""
        return self.needed([(ANYWHERE, ANYWHERE, Span(-np.inf, -np.inf))], self.setup.machine.corner_rounding)[0]

    def needed(self, places: Sequence[Position], corner: float = 0.0) -> list[float]:
        """The lowest tip heights at some places, mm: above everything that stands there, and above the stock."""
        moves = table([Move(0, Kind.RAPID, place, place, self.tool, None, corner) for place in places])
        found = self.judge.needed(moves)
        if self.stock_judge is not None:
            found = np.maximum(found, self.stock_judge.needed(moves))
        return [float(height) for height in found]

    def obstacle(self, number: int) -> Thing:
        """The stops over one obstacle."""
        obstacle = self.setup.obstacles[number]
        own = self.scene.take(np.flatnonzero(self.scene.obstacle == number))
        spots = spots_of(obstacle)
        reached = [spot for spot in spots if self._within(spot.x, spot.y)]
        if not reached:
            reached = [spot for spot in map(self._brought_in, spots) if self._stands_on(own, spot.x, spot.y)][:1]
        return Thing(obstacle.name, self._stops(reached, number), len(spots) - len(reached))

    def stock(self) -> Thing | None:
        """The stops over the corners and the middle of the stock."""
        stock = self.setup.stock
        if stock is None:
            return None
        (x, y), (length, width) = stock.corner, stock.size
        ends = [(x, y), (x + length, y), (x + length, y + width), (x, y + width)]
        spots = [Spot(x + length / 2, y + width / 2, "middle")]
        spots += [Spot(*place, f"corner {k + 1} of 4") for k, place in enumerate(ends)]
        reached = [spot for spot in spots if self._within(spot.x, spot.y)]
        return Thing("stock", self._stops(reached, None), len(spots) - len(reached))

    def _within(self, x: float, y: float) -> bool:
        return all(low <= value <= high for value, (low, high) in zip((x, y), self.reach[:2], strict=True))

    def _brought_in(self, spot: Spot) -> Spot:
        """The nearest place that the tool reaches."""
        x, y = (min(max(value, low), high) for value, (low, high) in zip((spot.x, spot.y), self.reach[:2], strict=True))
        return Spot(x, y, f"near its {spot.what}")

    def _stands_on(self, scene: Scene, x: float, y: float) -> bool:
        return bool((self._distances(scene, x, y) <= 0).any())

    def _distances(self, scene: Scene, x: float, y: float) -> np.ndarray:
        hulls = np.arange(len(scene))
        point = Sweeps(np.array([(x, y, 0.0)]), np.array([(x, y, 0.0)]))
        return distances(scene, point, np.zeros(len(hulls), dtype=np.int64), hulls)

    def _stops(self, spots: Iterable[Spot], number: int | None) -> list[Stop]:
        return [self._stop(spot, number) for spot in self._on_paper(spots)]

    def _on_paper(self, spots: Iterable[Spot]) -> Iterator[Spot]:
        """The spots where the program can say them, not beyond the reach."""
        for spot in spots:
            x, y = (self.pen.nearest(value, *limits) for value, limits in zip((spot.x, spot.y), self.reach[:2],
                                                                               strict=True))
            yield Spot(x, y, spot.what)

    def _stop(self, spot: Spot, number: int | None) -> Stop:
        x, y = exact(spot.x), exact(spot.y)
        lowest = self.needed([(x, y, exact(0.0))])[0]
        tops = self._tops(spot.x, spot.y)
        z = self.pen.up(max(lowest, self.reach[2][0]))
        top, off, under = max(tops, key=lambda found: found[0]) if tops else self._own(number)
        own = "stock" if number is None else self.setup.obstacles[number].name
        return Stop(spot.x, spot.y, z, spot.what, z - top, off, "" if under == own else under)

    def _tops(self, x: float, y: float) -> list[tuple[float, float, str]]:
        """(top, tolerance, name) of everything that stands below a place."""
        found = [(float(self.scene.top[hull]), float(self.scene.tolerance[hull]),
                  self.judge.names[int(self.scene.obstacle[hull])])
                 for hull in np.flatnonzero(self._distances(self.scene, x, y) <= SAME_PLACE / 100)] \
            if len(self.scene) else []
        stock = self.setup.stock
        if stock is not None and all(
                low - SAME_PLACE <= value <= low + side + SAME_PLACE
                for value, low, side in zip((x, y), stock.corner, stock.size, strict=True)):
            found.append((stock.top, self.setup.clearance.tolerance, "stock"))
        return found

    def _own(self, number: int | None) -> tuple[float, float, str]:
        if number is None:
            assert self.setup.stock is not None
            return self.setup.stock.top, self.setup.clearance.tolerance, "stock"
        tallest = max(self.setup.obstacles[number].solids, key=lambda solid: solid.top)
        return tallest.top, tallest.tolerance, self.setup.obstacles[number].name


def things_of(surveyor: Surveyor, setup: Setup) -> list[Thing]:
    """Everything that is visited, the stock last."""
    things = [surveyor.obstacle(number) for number in range(len(setup.obstacles))]
    stock = surveyor.stock()
    return [*things, *([stock] if stock is not None else [])]
