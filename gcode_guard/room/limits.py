"""How tall something may be at given places: the rule that decides, turned round.

The rule compares the tip with `top + tolerance + above + margin - from_k` where a move comes near enough sideways. So
every such pair of a move and a section bounds the top by the tip's lowest height there. Footprints are held against
all ways at once, each with the top that is still possible; what clips at that top lowers it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from math import floor, inf
from typing import Literal

import numpy as np

from ..judge import Judge
from ..space.clearance import Encounters, encounters
from ..space.hulls import Hull
from ..space.scene import Scene, SceneSolid
from .reading import Question, Ways, lifted, questions

NO_LIMIT = 1e6  # mm; a top that nothing limits stands at it
Which = Literal["hard", "easy", "over"]
WHICH: tuple[Which, ...] = ("hard", "easy", "over")
PAIRS = 400_000  # of sweeps and hulls that are looked at together at most


@dataclass(frozen=True, slots=True)
class Footprint:
    """What is to stand somewhere: its hulls, and how wrong it may be, mm. `highest`: mm, that the machine allows."""

    hulls: Sequence[Hull]
    tolerance: float
    highest: float = inf


@dataclass(frozen=True, slots=True)
class Limit:
    """The greatest top, mm: inf where nothing limits it, -inf where nothing at all may stand.

    program (place in the list of programs), line, tool (None: whichever) and part of the assembly set it;
    line 0: the machine.
    """

    top: float = inf
    program: int = 0
    line: int = 0
    tool: int | None = None
    part: str = ""


@dataclass(slots=True)
class Limits:
    """Both heights of one footprint; and `over`: how tall it may be for every rapid to be lifted over it under the
    ceiling of the machine. A taller one needs ways round."""

    hard: Limit = field(default_factory=Limit)
    easy: Limit = field(default_factory=Limit)
    over: Limit = field(default_factory=Limit)


class Measure:
    """Finds the limits of many footprints in one passage of the ways."""

    def __init__(self, judge: Judge, footprints: Sequence[Footprint]) -> None:
        self._judge = judge
        self._count = len(footprints)
        self.highest = np.array([one.highest for one in footprints], dtype=float)
        self._scenes = {which: Scene.build([SceneSolid(number, one.hulls, min(one.highest, NO_LIMIT), one.tolerance)
                                           for number, one in enumerate(footprints)]) for which in WHICH}
        self._by: dict[Which, list[Limit | None]] = {which: [None] * self._count for which in WHICH}

    def take(self, ways: Ways) -> None:
        """Holds some ways against all footprints."""
        for question in questions(self._judge, ways):
            self._ask_all(ways, question, "hard" if question.hard else "easy")
        for question in lifted(self._judge, ways):
            self._ask_all(ways, question, "over")

    def take_all(self, ways: Iterable[Ways]) -> Measure:
        for some in ways:
            self.take(some)
        return self

    def _ask_all(self, ways: Ways, question: Question, which: Which) -> None:
        rows = max(64, PAIRS // max(1, len(self._scenes[which])))
        for begin in range(0, len(question.sweeps), rows):
            self._ask(ways, question, which, slice(begin, begin + rows))

    def _ask(self, ways: Ways, question: Question, which: Which, part: slice) -> None:
        scene = self._scenes[which]
        found = encounters(scene, question.assembly, question.sweeps.take(part), question.beside, question.above)
        if not len(found):
            return
        top = scene.top[found.hull] - found.depth
        order = np.lexsort((top, found.obstacle))
        first = np.ones(len(order), dtype=bool)
        first[1:] = found.obstacle[order][1:] != found.obstacle[order][:-1]
        tops = np.full(self._count, np.inf)
        for k in order[first].tolist():
            number = int(found.obstacle[k])
            tops[number] = top[k]
            self._by[which][number] = self._limit(ways, question, part, found, k, float(top[k]))
        lowered = np.minimum(scene.top, tops[scene.obstacle])
        highest = float((lowered + scene.tolerance).max(initial=-inf))
        self._scenes[which] = replace(scene, top=lowered, highest=highest)

    def _limit(self, ways: Ways, question: Question, part: slice, found: Encounters, k: int, top: float) -> Limit:
        row = question.owner[part][found.move[k]]
        return Limit(top, ways.program, int(ways.moves.line[row]), question.number,
                     question.assembly.part[int(found.section[k])])

    @property
    def limits(self) -> list[Limits]:
        """What was found, by footprint. What makes contact, or cannot stand for other reasons, is never easy."""
        return [self._limits(number) for number in range(self._count)]

    def _limits(self, number: int) -> Limits:
        hard = self._by["hard"][number] or Limit(float(self.highest[number]))
        easy = self._by["easy"][number] or hard
        return Limits(hard, easy if easy.top < hard.top else hard, self._by["over"][number] or Limit())

    def tops(self) -> tuple[np.ndarray, np.ndarray]:
        """(n,) float each, mm: the hard and the easy heights of all footprints."""
        return (np.array([limits.hard.top for limits in self.limits], dtype=float),
                np.array([limits.easy.top for limits in self.limits], dtype=float))


def rounded_down(top: float, inch: bool) -> float:
    """A limit in the units that it is told in, mm or inch, rounded to the safe side: 3 decimals in mm, 4 in inch."""
    if not np.isfinite(top):
        return top
    decimals = 4 if inch else 3
    value = top / 25.4 if inch else top
    return floor(value * 10**decimals + 1e-6) / 10**decimals
