"""The best places for a part: no cut touches it, and no rapid is lifted for it, or for as few seconds as can be."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import hypot, inf
from typing import Any

import numpy as np

from ..guard import guard
from ..setup import Setup
from ..setup.errors import printable
from ..source import Source
from ..whatif import with_obstacles
from .asked import part_entry
from .candidates import Candidate, Parted, go_together
from .limits import Measure
from .reading import Programs, Ways

SURE = -1e-7  # mm: what just touches is allowed, as the rule that decides allows it; the guard proves each proposal
MOST_BLOCKS = 3_000_000  # that are guarded to find the fewest seconds; beyond it the least likely places are left out
NEAR = 10.0  # mm from the stock, within which places are taken as equally near to it
TRIES = 20  # proposals that are given up because they do not pass together


class NoPlace(Exception):
    """There are not so many places, or the programs are refused on the bench as it is."""


@dataclass(slots=True)
class Proposal:
    """A place, how much taller the part could be before a cut touches it and before a rapid is lifted (mm, negative
    where one is), and what lifts over it cost: seconds, or, where the setup gives no rates, mm of rise."""

    candidate: Candidate
    hard: float
    easy: float
    cost: float = 0.0

    @property
    def price(self) -> tuple[bool, float]:
        """What counts when the cheapest is sought: whether rapids are lifted, and what that costs, if anything."""
        return self.easy < SURE, round(max(self.cost, 0.0), 2)


@dataclass(slots=True)
class Chosen:
    """The proposals and the keys of their obstacles, how many places were tried, and how many were left out."""

    proposals: list[Proposal]
    entries: list[dict[str, Any]]
    tried: int
    left_out: int


def measure(part: Parted, places: Sequence[Candidate], programs: Programs,
            ways: Iterator[Ways]) -> list[Proposal]:
    """What each place leaves of room, for those at which no cut touches the part."""
    footprints = [footprint for place in places for footprint in place.footprints]
    hard, easy = Measure(programs.judge, footprints).take_all(ways).tops()
    shape = (len(places), len(part.tops))
    tops = np.array(part.tops)
    left = [(tops_of.reshape(shape) - tops).min(axis=1) for tops_of in (hard, easy)]
    return [Proposal(place, float(left[0][k]), float(left[1][k])) for k, place in enumerate(places)
            if left[0][k] >= SURE]


class Chooser:
    """Chooses among proposals, and proves what it chooses by the guard itself."""

    def __init__(self, part: Parted, sources: Sequence[Source], tool: int | None,
                 tell: Callable[[str], None] = lambda text: None) -> None:
        self.part, self.sources, self.tool, self.tell = part, sources, tool, tell
        self.setup = part.setup
        self.base = self._cost(self.setup, prove=False)
        if self.base == inf:
            raise NoPlace("the programs are refused on the bench as it is: review them first")
        self.blocks = max(1, sum(sum(1 for _ in source.lines()) for source in sources))
        self.left_out = 0

    def choose(self, proposals: Sequence[Proposal], count: int) -> Chosen:
        """The best `count` places that go together. Raises NoPlace where there are not so many."""
        easy = [one for one in proposals if one.easy >= SURE]
        lifting = sorted((one for one in proposals if one.easy < SURE), key=lambda one: -one.easy)
        pool = easy
        chosen = self._spread(pool, count)
        if len(chosen) < count and lifting:
            pool = easy + self._costed(lifting)
            chosen = self._spread(pool, count)
        for _ in range(TRIES):
            if len(chosen) < count:
                break
            entries = self._entries(chosen)
            if self._cost(with_obstacles(self.setup, entries), prove=True) < inf:
                return Chosen(chosen, entries, len(proposals), self.left_out)
            pool = [one for one in pool if one is not chosen[-1]]
            chosen = self._spread(pool, count)
        name = printable(self.part.name)
        raise NoPlace(f"no more than {len(chosen)} places that go together were found for \"{name}\"" if chosen else
                      f"there is no place for \"{name}\" that no cut touches")

    def _costed(self, lifting: list[Proposal]) -> list[Proposal]:
        """What lifts over each place cost, by the guard; those for which no lift is possible are left out."""
        most = max(10, MOST_BLOCKS // self.blocks)
        self.left_out = max(0, len(lifting) - most)
        self.tell(f"trying {min(len(lifting), most)} places at which rapids are lifted")
        for one in lifting[:most]:
            one.cost = self._cost(with_obstacles(self.setup, self._entries([one])), prove=False) - self.base
        return [one for one in lifting[:most] if one.cost < inf]

    def _cost(self, setup: Setup, prove: bool) -> float:
        """What the changes of all programs add; inf where one is refused."""
        whole = 0.0
        for source in self.sources:
            outcome = guard(source, setup, tool=self.tool, prove=prove)
            try:
                if outcome.exit:
                    return inf
                if outcome.summary.added_s is not None:
                    whole += outcome.summary.added_s
                else:
                    whole += sum((change.written_z or 0.0) - (change.programmed_z or 0.0)
                                 for change in outcome.changes)
            finally:
                outcome.close()
        return whole

    def _spread(self, pool: Sequence[Proposal], count: int) -> list[Proposal]:
        """The cheapest places that go together; among equally cheap ones those nearest to the stock, of them the one
        with most room first, then always the one that is farthest from all others."""
        chosen: list[Proposal] = []
        beside = dict(zip(map(id, pool), self._beside(pool), strict=True))
        left = list(pool)
        while left and len(chosen) < count:
            cheapest = min(one.price for one in left)
            same = [one for one in left if one.price == cheapest]
            nearest = min(beside[id(one)] for one in same)
            same = [one for one in same if beside[id(one)] == nearest]
            best = max(same, key=lambda one: (self._apart(one, chosen), min(one.hard, one.easy), one.hard,
                                              -self._from_middle(one)))
            chosen.append(best)
            left = [one for one in left if one is not best
                    and go_together(one.candidate, best.candidate, 2 * self.part.tolerance)]
        return chosen

    def _beside(self, pool: Sequence[Proposal]) -> list[int]:
        """How far from the stock each stands, in steps of NEAR."""
        import shapely

        stock = self.setup.stock
        assert stock is not None
        (x, y), (length, width) = stock.corner, stock.size
        away = shapely.distance([one.candidate.shape for one in pool], shapely.box(x, y, x + length, y + width))
        return [int(far // NEAR) for far in np.atleast_1d(away)]

    @staticmethod
    def _apart(one: Proposal, chosen: Sequence[Proposal]) -> float:
        x, y = one.candidate.place
        return min((hypot(x - other.candidate.place[0], y - other.candidate.place[1]) for other in chosen),
                   default=0.0)

    def _from_middle(self, one: Proposal) -> float:
        """How far a place is from the middle of the edge that it stands at, or of the stock, mm."""
        assert self.setup.stock is not None
        corner, size = self.setup.stock.corner, self.setup.stock.size
        return float(min(abs(place - low - side / 2) for place, low, side in
                         zip(one.candidate.place, corner, size, strict=True)))

    def _entries(self, chosen: Sequence[Proposal]) -> list[dict[str, Any]]:
        taken = {obstacle.name for obstacle in self.setup.obstacles}
        entries = []
        for one in chosen:
            number = 1
            while f"{self.part.name} {number}" in taken:
                number += 1
            name = f"{self.part.name} {number}"
            taken.add(name)
            entries.append(part_entry(self.setup, self.part.name, one.candidate.at, one.candidate.angle, name))
        return entries
