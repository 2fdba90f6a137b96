"""How far an obstacle must be moved, or its top lowered, before it touches none of its ways.

An obstacle is pushed in one direction, out of everything that it meets on the way, until it meets nothing: a convex
footprint and a straight way touch each other over one interval of the push, so no place is passed over.
"""

from __future__ import annotations

from dataclasses import replace
from math import ceil, inf

import numpy as np

from ..lengths import Units
from ..setup.model import Obstacle, Setup, exact
from ..space.clearance import Sweeps, encounters
from .ways import FARTHEST, Part, Ways, scene_of

FINEST: dict[Units, float] = {"mm": 0.01, "inch": 0.0005 * 25.4}  # mm, to which advice is rounded up
SAME = 4e-8  # mm, less than what counts as an encounter
ROUNDS = 200

Direction = tuple[float, float]


class Room:
    """One obstacle among its ways. Lengths in mm, rounded up to FINEST."""

    def __init__(self, setup: Setup, number: int, ways: Ways) -> None:
        self._setup, self._number, self._ways = setup, number, ways
        self._obstacle = setup.obstacles[number]
        self._scene = scene_of(self._obstacle)
        self._finest = FINEST[setup.units]

    def free_from(self, direction: Direction, far: float) -> float | None:
        """The first place on a push, from `far` on, at which the obstacle touches nothing; None within FARTHEST."""
        far = self._round_up(far)
        for _ in range(ROUNDS):
            beyond = max([far, *(self._out_of(part, direction, far) for part in self._ways.parts)])
            if beyond > FARTHEST:
                return None
            if beyond == far:
                return far
            far = self._round_up(beyond)
        return None

    def lowering(self) -> float | None:
        """By how much the top must come down; None where nothing of the obstacle would be left over the table."""
        deepest = 0.0
        for part in self._ways.parts:
            found = encounters(self._scene, part.assembly, part.sweeps, 0.0, 0.0)
            deepest = max(deepest, float(found.depth.max(initial=0.0)))
        if deepest == inf:  # a way from a height that is not known
            return None
        by = self._round_up(deepest)
        return by if by < self.most_lowering else None

    @property
    def most_lowering(self) -> float:
        """How far it may be lowered at all."""
        table_z = self._setup.table_z
        return FARTHEST if table_z is None else min(FARTHEST, self._obstacle.top - table_z)

    def pushed(self, direction: Direction, far: float) -> Setup:
        """The setup with the obstacle moved."""
        return self._with(_moved(self._obstacle, far * direction[0], far * direction[1], 0.0))

    def lowered(self, by: float) -> Setup:
        """The setup with its top lowered."""
        return self._with(_moved(self._obstacle, 0.0, 0.0, by))

    def without(self) -> Setup:
        """The setup as if the obstacle were not there."""
        return self._with()

    def _with(self, *instead: Obstacle) -> Setup:
        obstacles = self._setup.obstacles
        return replace(self._setup, obstacles=(*obstacles[: self._number], *instead, *obstacles[self._number + 1 :]))

    def _round_up(self, far: float) -> float:
        return round(ceil((far - SAME) / self._finest) * self._finest, 6)

    def _out_of(self, part: Part, direction: Direction, far: float) -> float:
        """Where the push that stands at `far` leaves everything behind that it meets there."""
        def meets(sweeps: Sweeps, push: np.ndarray) -> np.ndarray:
            found = encounters(self._scene, part.assembly, _shifted(sweeps, push, direction), 0.0, 0.0)
            touched = np.zeros(len(sweeps), dtype=bool)
            touched[found.move] = True
            return touched

        met = meets(part.sweeps, np.full(len(part.sweeps), far))
        if not met.any():
            return far
        sweeps = part.sweeps.take(met)
        low, high = np.full(len(sweeps), far), np.full(len(sweeps), FARTHEST + 1.0)
        if meets(sweeps, high).any():
            return FARTHEST + 1.0
        while (high - low).max() > SAME:
            middle = (low + high) / 2
            inside = meets(sweeps, middle)
            low, high = np.where(inside, middle, low), np.where(inside, high, middle)
        return float(high.max())


def _shifted(sweeps: Sweeps, push: np.ndarray, direction: Direction) -> Sweeps:
    """The sweeps as the obstacle sees them once it is pushed: moved the other way."""
    by = np.zeros((len(sweeps), 3))
    by[:, :2] = -push[:, None] * np.array(direction)
    return Sweeps(sweeps.start + by, sweeps.end + by, sweeps.box, sweeps.margin, sweeps.sink, sweeps.grow)


def _moved(obstacle: Obstacle, x: float, y: float, down: float) -> Obstacle:
    """The obstacle somewhere else; lengths in mm, without the noise of binary fractions."""
    def shifted(points: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
        return tuple((float(exact(px) + exact(x)), float(exact(py) + exact(y))) for px, py in points)

    solids = tuple(replace(solid, top=float(exact(solid.top) - exact(down)), outline=shifted(solid.outline),
                           pieces=tuple(replace(piece, vertices=shifted(piece.vertices)) for piece in solid.pieces))
                   for solid in obstacle.solids)
    return replace(obstacle, solids=solids)
