"""Ways round for the planner: which tool, at which height, within which bounds, and whether a way round is faster."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from itertools import pairwise
from math import inf

import numpy as np

from .judge import Judge
from .program.moves import Move, table
from .program.state import ANY_TOOL, bounds
from .rules import reach_box
from .space.assembly import Assembly
from .space.hulls import box
from .space.times import rapid_time
from .space.ways import KeepOut, Level, way_round

Corners = list[tuple[float, float]]
HIGH_ABOVE = 1e6  # mm: a number for a height that is only known to be above everything


class WaysRound:
    """Looks for ways round on one bench. There are none without a stock and a reach in X and Y."""

    def __init__(self, judge: Judge) -> None:
        self._judge = judge
        self._setup = judge.setup
        reach = judge.setup.machine.reach or {}
        self.possible = judge.setup.stock is not None and "x" in reach and "y" in reach

    def at(self, move: Move, z: float, as_box: bool = False) -> Corners | None:
        """The corners (mm) of the shortest way round for a rapid with the tip at `z`; None where there is none.

        A hard shoe that stays with the gantry is carried along at its own height. `as_box`: every leg is to be clear in
        the whole box of its ends, also where paths are straight: so are rapids judged whose height is not known.
        """
        numbers = self._judge.tools(move.tool)
        if not self.possible or len(numbers) != 1:
            return None
        assembly, riding = self._judge.assemblies[numbers[0]], self._judge.riding_shoe
        low, high = (reach_box(self._setup, move.tool)[axis] for axis in range(2))
        start, end = ((bounds(p[0])[0], bounds(p[1])[0]) for p in (move.start, move.end))
        return way_round(self._judge.scene, assembly, start, end, z, beside=self._judge.beside,
                         above=self._judge.above, corner=move.corner, bounds=(low, high),
                         keep_out=self._keep_out(assembly, z), as_box=as_box or self._judge.as_box,
                         riding=[] if riding is None else [Level(*riding)])

    def _keep_out(self, assembly: Assembly, z: float) -> list[KeepOut]:
        """The stock, where the tip is lower than `above` over it; and where a shoe rides lower than its top."""
        stock, riding = self._setup.stock, self._judge.riding_shoe
        assert stock is not None
        floor, reach = stock.top + self._setup.clearance.above, -inf
        if z < floor:
            reach = float(assembly.radius[z + assembly.from_ < floor].max(initial=0.0))
        if riding is not None and riding[1] < stock.top:
            reach = max(reach, float(riding[0].radius[0]))
        if reach == -inf:
            return []
        middle = (stock.corner[0] + stock.size[0] / 2, stock.corner[1] + stock.size[1] / 2)
        return [KeepOut(box(middle, stock.size, 0.0), reach)]

    def past_shoe(self, move: Move, z: float, ceiling: float) -> tuple[Corners, float] | None:
        """A way round for a shoe that stays with the gantry: its corners (mm), and the height that the tip needs there.

        At its own height `z` (mm; inf where it is high above everything) if there is one; else at what the tool itself
        needs on the shortest way that there is at any height up to `ceiling`.
        """
        if self._judge.riding_shoe is None:
            return None
        if z > -inf:
            corners = self.at(move, min(z, HIGH_ABOVE), as_box=z == inf)
            if corners:
                return corners, z
        stock = self._setup.stock
        top = min(ceiling, max(self.clear_top(move), z))
        corners = self.at(move, top, as_box=z == inf) if self.possible and abs(top) < inf else None
        if not corners or stock is None:
            return None
        places = [move.start[:2], *(_exact(corner) for corner in corners), move.end[:2]]
        legs = [replace(move, start=(*a, move.start[2]), end=(*b, move.start[2]), upright=False)
                for a, b in pairwise(places)]
        needed = float(self._judge.needed(table(legs), riding_too=False).max())
        return corners, min(top, max(z, needed, stock.top + self._setup.clearance.above))

    def clear_top(self, move: Move) -> float:
        """The tip height, mm, from which on a tool is above everything on the table; -inf where nothing stands."""
        scene, numbers = self._judge.scene, self._judge.tools(move.tool)
        tops = scene.top + scene.tolerance + self._judge.above + move.corner
        foot = min((float(self._judge.assemblies[number].from_[0]) for number in numbers), default=0.0)
        return float(tops.max(initial=-inf)) - foot

    def faster(self, move: Move, z: float, lift: float) -> Corners | None:
        """The corners of a way round at `z` that takes less time than going up to `lift`, across and down again."""
        rates, accelerations = self._setup.machine.rapid_rate, self._setup.machine.acceleration
        stock = self._setup.stock
        if rates is None or accelerations is None or stock is None or move.tool == ANY_TOOL \
                or z < stock.top + self._setup.clearance.above:
            return None
        corners = self.at(move, z)
        if not corners:
            return None
        points = [(bounds(move.start[0])[0], bounds(move.start[1])[0]), *corners,
                  (bounds(move.end[0])[0], bounds(move.end[1])[0])]
        legs = np.diff(np.array([(*point, z) for point in points]), axis=0)
        across = (points[-1][0] - points[0][0], points[-1][1] - points[0][1], 0.0)
        up = (0.0, 0.0, lift - z)
        round_time = float(rapid_time(legs, rates, accelerations).sum())
        lift_time = float(rapid_time([up, across, up], rates, accelerations).sum())
        return corners if round_time < lift_time < inf else None


def _exact(corner: tuple[float, float]) -> tuple[Decimal, Decimal]:
    return Decimal(repr(corner[0])), Decimal(repr(corner[1]))
