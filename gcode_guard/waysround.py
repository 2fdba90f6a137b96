"""Ways round for the planner: which tool, at which height, within which bounds, and whether a way round is faster."""

from __future__ import annotations

from math import inf

import numpy as np

from .judge import Judge
from .program.moves import Move
from .program.state import ANY_TOOL, bounds
from .rules import reach_box
from .space.hulls import box
from .space.times import rapid_time
from .space.ways import KeepOut, way_round

Corners = list[tuple[float, float]]


class WaysRound:
    """Looks for ways round on one bench. There are none without a stock and a reach in X and Y."""

    def __init__(self, judge: Judge) -> None:
        self._judge = judge
        self._setup = judge.setup
        reach = judge.setup.machine.reach or {}
        self.possible = judge.setup.stock is not None and "x" in reach and "y" in reach

    def at(self, move: Move, z: float) -> Corners | None:
        """The corners (mm) of the shortest way round for a rapid with the tip at `z`; None where there is none."""
        numbers = self._judge.tools(move.tool)
        stock = self._setup.stock
        if not self.possible or stock is None or len(numbers) != 1 or self._judge.riding_shoe is not None:
            return None
        assembly = self._judge.assemblies[numbers[0]]
        low, high = (reach_box(self._setup, move.tool)[axis] for axis in range(2))
        keep = []
        if z < stock.top + self._setup.clearance.above:
            middle = (stock.corner[0] + stock.size[0] / 2, stock.corner[1] + stock.size[1] / 2)
            low_enough = z + assembly.from_ < stock.top + self._setup.clearance.above
            keep.append(KeepOut(box(middle, stock.size, 0.0), float(assembly.radius[low_enough].max(initial=0.0))))
        start, end = ((bounds(p[0])[0], bounds(p[1])[0]) for p in (move.start, move.end))
        return way_round(self._judge.scene, assembly, start, end, z, beside=self._judge.beside,
                         above=self._judge.above, corner=move.corner, bounds=(low, high), keep_out=keep,
                         as_box=self._judge.as_box)

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
