"""The map of room: for every cell of a grid both heights, for any point within the cell, on the safe side."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from math import ceil, floor, inf
from typing import IO

import numpy as np
from numpy.typing import NDArray

from ..judge import Judge
from ..lengths import length_up
from ..setup import Setup
from ..space.assembly import Assembly
from ..space.clearance import Sweeps
from .asked import highest_top
from .lows import Layout, spread, stamp
from .reading import Question, Ways, questions, xy_bounds

FINEST = 0.5  # mm, of the raster under a map
MOST_CELLS = 16_000_000  # of all rasters together: 128 MB
MOST_KINDS = 4  # of margins that are kept apart for each assembly and height
ALIKE = 0.02  # mm, by which margins may differ and still be taken together, as the wider
SPARE = 10.0  # mm, that paths may be widened by for other reasons than compensation
ROOM = 50.0  # mm that a map shows round stock and obstacles where the setup gives no reach

Area = tuple[float, float, float, float]


class TooFine(ValueError):
    """A map that would need more memory than there should be used."""


@dataclass(slots=True)
class RoomMap:
    """hard, easy: (rows, columns) float, mm, tops; inf: any, -inf: nothing may stand there. Row 0 is the lowest Y.

    xs, ys: edges of the cells, mm.
    """

    xs: NDArray[np.float64]
    ys: NDArray[np.float64]
    hard: NDArray[np.float64]
    easy: NDArray[np.float64]


@dataclass(slots=True)
class _Kind:
    """One raster: the lows of all sweeps that are held against an obstacle in the same way, or more strictly."""

    sideways: float
    upward: float
    lows: NDArray[np.float64]


@dataclass(slots=True)
class _Group:
    """The rasters of one assembly for one of the heights."""

    assembly: Assembly
    kinds: list[_Kind] = field(default_factory=list)


def default_area(setup: Setup) -> Area | None:
    """Where a map lies unless it is said: reach, stock and obstacles together; None where the setup has neither."""
    reach = setup.machine.reach or {}
    boxes: list[Area] = []
    if "x" in reach and "y" in reach:
        boxes.append((reach["x"][0], reach["y"][0], reach["x"][1], reach["y"][1]))
    stock = setup.stock
    if stock is not None:
        boxes.append((*stock.corner, stock.corner[0] + stock.size[0], stock.corner[1] + stock.size[1]))
    for obstacle in setup.obstacles:
        for solid in obstacle.solids:
            points = np.array(solid.outline)
            low, high = points.min(axis=0) - solid.radius, points.max(axis=0) + solid.radius
            boxes.append((float(low[0]), float(low[1]), float(high[0]), float(high[1])))
    if not boxes:
        return None
    room = 0.0 if "x" in reach and "y" in reach else ROOM
    columns = np.array(boxes)
    low, high = columns[:, :2].min(axis=0) - room, columns[:, 2:].max(axis=0) + room
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def area_of(ways: Iterable[Ways]) -> Area:
    """Where the moves run, with room round them, mm. Raises ValueError where nothing is known of any."""
    low, high = np.full(2, inf), np.full(2, -inf)
    for some in ways:
        bounds = xy_bounds(some)
        low, high = np.minimum(low, bounds[0]), np.maximum(high, bounds[1])
    if not np.isfinite([low, high]).all():
        raise ValueError("the setup gives neither stock nor reach, and no place of any move is known")
    return float(low[0] - ROOM), float(low[1] - ROOM), float(high[0] + ROOM), float(high[1] + ROOM)


class Mapper:
    """Takes in ways and gives the map. Raises TooFine where a grid has too many cells."""

    def __init__(self, judge: Judge, area: Area, step: float) -> None:
        self._judge = judge
        self._setup = judge.setup
        self._tolerance = judge.setup.clearance.tolerance
        self._groups: dict[tuple[bool, int | None], _Group] = {}
        self._layout = self._laid_out(area, step)

    def _laid_out(self, area: Area, step: float) -> Layout:
        """The area in whole cells, whose edges are multiples of the step."""
        first = [floor(low / step + 1e-9) for low in area[:2]]
        columns, rows = (ceil(high / step - 1e-9) - low for high, low in zip(area[2:], first, strict=True))
        finer = max(1, min(8, ceil(step / FINEST)))
        rasters = 3 * (len(self._judge.assemblies) + 1)
        while True:
            rim = ceil(self._widest() * finer / step / finer + 1e-9) * finer
            layout = Layout((first[0], first[1]), step, max(1, columns), max(1, rows), finer, rim)
            if layout.shape[0] * layout.shape[1] * rasters <= MOST_CELLS:
                return layout
            if finer == 1:
                raise TooFine(f"a grid of {columns} x {rows} cells is too fine")
            finer -= 1

    def _widest(self) -> float:
        """How far from its axis anything may count, mm, but for compensation."""
        radii = [float(assembly.radius.max()) for assembly in self._judge.assemblies.values()]
        if self._judge.gantry_shoe is not None:
            radii.append(self._judge.gantry_shoe.diameter / 2)
        cutters = [tool.diameter / 2 for tool in self._setup.tools.values()]
        return max(radii) + max(cutters) + self._tolerance + self._judge.beside + self._setup.machine.corner_rounding \
            + SPARE

    def take(self, ways: Ways) -> None:
        for question in questions(self._judge, ways):
            self._take(question)

    def take_all(self, ways: Iterable[Ways]) -> Mapper:
        for some in ways:
            self.take(some)
        return self

    def _take(self, question: Question) -> None:
        sweeps = question.sweeps
        if not len(sweeps):
            return
        group = self._groups.setdefault((question.hard, question.number), _Group(question.assembly.reduce()))
        margins = np.column_stack((question.beside + sweeps.margin + sweeps.grow, question.above + sweeps.margin))
        if (margins == margins[0]).all():
            self._stamp(group, margins[0], sweeps)
            return
        different, which = np.unique(np.ceil(margins * 1e3 - 1e-6) / 1e3, axis=0, return_inverse=True)
        for number, margin in enumerate(different):
            self._stamp(group, margin, sweeps.take(which.reshape(-1) == number))

    def _stamp(self, group: _Group, margin: NDArray[np.float64], sweeps: Sweeps) -> None:
        stamp(self._kind(group, float(margin[0]), float(margin[1])).lows, self._layout, sweeps)

    def _kind(self, group: _Group, sideways: float, upward: float) -> _Kind:
        """The raster for these margins; where there are too many, one that is held more strictly."""
        def apart(kind: _Kind) -> float:
            return max(abs(kind.sideways - sideways), abs(kind.upward - upward))

        kind = min(group.kinds, key=apart, default=None)
        if kind is None or (apart(kind) > ALIKE and len(group.kinds) < MOST_KINDS):
            group.kinds.append(_Kind(sideways, upward, np.full(self._layout.shape, inf)))
            return group.kinds[-1]
        kind.sideways, kind.upward = max(kind.sideways, sideways), max(kind.upward, upward)
        return kind

    def map(self) -> RoomMap:
        """The map of everything that was taken in."""
        layout = self._layout
        found = {hard: np.full((layout.rows, layout.columns), inf) for hard in (True, False)}
        np.minimum(found[True], highest_top(self._setup, self._tolerance), out=found[True])
        for (hard, _), group in self._groups.items():
            for kind in group.kinds:
                self._lower(found[hard], group.assembly, kind)
        xs, ys = (np.array([(first + k) * layout.step for k in range(count + 1)])
                  for first, count in zip(layout.first, (layout.columns, layout.rows), strict=True))
        return RoomMap(xs, ys, found[True], np.minimum(found[False], found[True]))

    def _lower(self, tops: NDArray[np.float64], assembly: Assembly, kind: _Kind) -> None:
        for radius, from_ in zip(assembly.radius.tolist(), assembly.from_.tolist(), strict=True):
            reach = radius + self._tolerance + kind.sideways
            if reach > self._layout.widest_spread:
                by = length_up(kind.sideways, self._setup.units)
                raise ValueError(f"a path is widened by {by}, which is more than a map has room for")
            lowest = spread(kind.lows, self._layout, reach)
            np.minimum(tops, lowest + (from_ - self._tolerance - kind.upward), out=tops)


def write_csv(out: IO[bytes], found: RoomMap, setup: Setup) -> None:
    """The map as CSV in the units of the setup, one cell a row: its edges and both tops, rounded down.

    `inf`: any height; `-inf`: nothing may stand there.
    """
    inch = setup.units == "inch"
    scale, decimals = (25.4, 4) if inch else (1.0, 3)
    unit = setup.units
    names = ("x0", "y0", "x1", "y1", "hard", "easy")
    out.write((",".join(f"{name}_{unit}" for name in names) + "\n").encode())
    xs, ys = ([f"{value:.6f}".rstrip("0").rstrip(".") for value in (edges / scale).tolist()]
              for edges in (found.xs, found.ys))
    for row in range(len(ys) - 1):
        hard, easy = (_column(tops[row] / scale, decimals) for tops in (found.hard, found.easy))
        out.write("".join(f"{xs[k]},{ys[row]},{xs[k + 1]},{ys[row + 1]},{hard[k]},{easy[k]}\n"
                          for k in range(len(hard))).encode())


def _column(tops: NDArray[np.float64], decimals: int) -> list[str]:
    down = np.floor(tops * 10**decimals + 1e-6) / 10**decimals
    return [f"{value:.{decimals}f}" for value in down.tolist()]
