"""Where an obstacle that cuts run into could stand instead: the smallest move in X or Y, or lowering of its top.

The cuts alone give the least that could be enough. Whether it is, the whole program says, guarded once more on the
changed bench: under a low ceiling, with an undercut tool in the material or with a shoe that stays with the gantry, a
rapid may still be stopped by the obstacle. Then it is looked for farther out, and the place at which the program
begins to pass is narrowed down to STEP. How often the program is read for that has a bound, and where it is reached
the advice says what was not tried.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial
from itertools import chain, repeat
from math import ceil, floor

from ..judge import Judge
from ..lengths import Units, length
from ..setup.model import Setup
from .room import Direction, Room
from .ways import FARTHEST, Steps, Ways, ways_near

STEP: dict[Units, float] = {"mm": 0.1, "inch": 0.0035 * 25.4}  # mm; by so much less the program does not pass
STRIDES = (5, 10, 20, 40)  # steps from one place that is tried to the next, the last for all that follow
MOST_TRIED = 4  # obstacles whose advice is tried out
MOST_READINGS = 160  # of a program, for all of its advice
MOST_BLOCKS = 200_000  # that are read for all of it, and FEWEST_READINGS in any case
FEWEST_READINGS = 8
DIRECTIONS: tuple[tuple[str, Direction], ...] = (
    ("+X", (1.0, 0.0)), ("-X", (-1.0, 0.0)), ("+Y", (0.0, 1.0)), ("-Y", (0.0, -1.0)))

Refusals = Callable[[Setup], frozenset[tuple[str, str | None]]]


def advise(steps: Steps, judge: Judge, obstacles: Iterable[int], refusals: Refusals, blocks: int) -> dict[int, str]:
    """What would clear each of these obstacles of every move, in words, lengths in the setup's units.

    `steps` reads the program once more, `refusals` gives what of it is refused on a changed bench, as kinds of finding
    and obstacles; `blocks` is its length.
    """
    trials = _Trials(refusals, max(FEWEST_READINGS, min(MOST_READINGS, MOST_BLOCKS // max(blocks, 1))))
    found = ways_near(steps(), judge, obstacles)
    return {obstacle: _Advice(judge, obstacle, ways, trials if place < MOST_TRIED else None).sentence()
            for place, (obstacle, ways) in enumerate(found.items())}


class _Spent(Exception):
    """The program was read as often as it may be."""


class _Trials:
    """Tries benches out, as often as that may be done."""

    def __init__(self, refusals: Refusals, most: int) -> None:
        self._refusals, self._left = refusals, most

    def refused(self, setup: Setup) -> frozenset[tuple[str, str | None]]:
        """What is refused on a bench. Raises _Spent."""
        if not self._left:
            raise _Spent
        self._left -= 1
        return self._refusals(setup)


class _Advice:
    """The smallest changes of one obstacle with which the program is no longer refused for it."""

    def __init__(self, judge: Judge, obstacle: int, ways: Ways, trials: _Trials | None) -> None:
        self._setup, self._trials = judge.setup, trials
        self._name = judge.setup.obstacles[obstacle].name
        self._step = STEP[judge.setup.units]
        self._ways = ways
        self._room = Room(judge.setup, obstacle, ways)
        self._anyway: frozenset[tuple[str, str | None]] = frozenset()
        self.push: tuple[float, str] | None = None
        self.lower: float | None = None
        self.tried = False
        if not ways.too_many:
            self._find()

    def _find(self) -> None:
        """Looks for both changes; where that takes too long, takes what clears the cuts."""
        first = [(far, name, way) for name, way in DIRECTIONS if (far := self._room.free_from(way, 0.0)) is not None]
        first.sort(key=lambda place: place[0])
        lowest = self._room.lowering()
        try:
            if self._trials is None:
                raise _Spent
            self._anyway = self._trials.refused(self._room.without())
            self._find_push(first)
            if lowest is not None:
                self.lower = self._least(lowest, self._room.most_lowering, self._room.lowered, float)
            self.tried = True
        except _Spent:
            self.push = first[0][:2] if first else None
            self.lower = lowest

    def _find_push(self, places: list[tuple[float, str, Direction]]) -> None:
        for far, name, way in places:
            most = self.push[0] if self.push is not None else FARTHEST
            if far >= most:
                return
            least = self._least(far, most, partial(self._room.pushed, way), partial(self._room.free_from, way))
            if least is not None:
                self.push = least, name

    def _least(self, first: float, most: float, changed: Callable[[float], Setup],
               free_from: Callable[[float], float | None]) -> float | None:
        """The first change from `first` on and below `most` with which the program passes; a step less does not."""
        def place(steps: int) -> float:
            return round(first + steps * self._step, 6)

        last = floor((most - first) / self._step)
        low, high = -1, 0
        strides = chain(STRIDES, repeat(STRIDES[-1]))
        while not self._passes(changed(place(high))):
            low, high = high, high + next(strides)
            free = free_from(place(high))
            if free is None:
                return None
            high = max(high, ceil((free - first) / self._step))
            if high > last:
                return None
        while high - low > 1 and low >= 0:
            middle = (low + high) // 2
            low, high = (low, middle) if self._passes(changed(place(middle))) else (middle, high)
        return place(high)

    def _passes(self, setup: Setup) -> bool:
        """Whether nothing is refused on a bench but what is refused without the obstacle too. Raises _Spent."""
        assert self._trials is not None
        return self._trials.refused(setup) <= self._anyway

    def sentence(self) -> str:
        """The advice in words."""
        name, units = self._name, self._setup.units
        if self._ways.too_many:
            return f"move or lower \"{name}\""
        options = []
        if self.push is not None:
            options.append(f"move \"{name}\" by {length(self.push[0], units)} to {self.push[1]}")
        if self.lower is not None:
            options.append(f"lower its top by {length(self.lower, units)}" if options
                           else f"lower the top of \"{name}\" by {length(self.lower, units)}")
        what = "move" if self.tried else "cut"
        none = f"no move of \"{name}\" in X or Y below {length(FARTHEST, units)} was found that clears every {what}"
        if not options:
            return f"{none}, nor does lowering it; take it out, or change the cuts"
        clears = "which clears every move of the program" if self.tried else \
            "which clears every cut of the program; whether all of its rapids are clear then was not tried"
        return f"{' or '.join(options)}, {clears}" + (f"; {none}" if self.push is None else "")
