"""Collects what the map of room shows: both heights of every cell, the cuts as a backdrop, what stands there now."""

from __future__ import annotations

from collections.abc import Iterable
from math import inf, isfinite

import numpy as np

from ..judge import SAGITTA, Judge
from ..lengths import length
from ..picture.thin import Thinner
from ..program.moves import Kind
from ..record.page_model import Backdrop
from ..record.page_room import RoomPage, Standing
from ..setup import Setup
from ..setup.model import MM_PER_UNIT
from .asked import footprint_of
from .grid import Area, Mapper
from .limits import Footprint, Measure, rounded_down
from .reading import Programs, Ways, without_cuts

CELLS_ACROSS = 450  # of a map, about
STEPS = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0)  # mm
INCH_STEPS = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0)  # inches
CUT_PIECES = 25_000
DETAIL = 400.0  # the backdrop may be off by one part in so many of the map's width


def page_step(area: Area, setup: Setup) -> float:
    """A round step, mm, at which a map is fine enough to look at."""
    finest = max(area[2] - area[0], area[3] - area[1]) / CELLS_ACROSS
    scale = float(MM_PER_UNIT[setup.units])
    steps = [step * scale for step in (STEPS if setup.units == "mm" else INCH_STEPS)]
    return next((step for step in steps if step >= finest), finest)


def page_of(programs: Programs, ways: Iterable[Ways], area: Area, step: float) -> RoomPage:
    """The page, from one passage of the ways."""
    judge = programs.judge
    setup = judge.setup
    mapper = Mapper(judge, area, step)
    standing = _Standing(judge)
    cuts = Thinner(CUT_PIECES, max(area[2] - area[0], area[3] - area[1]) / DETAIL)
    for some in ways:
        mapper.take(some)
        standing.take(some)
        _draw(some, cuts)
    found = mapper.map()
    lines = cuts.polylines()
    backdrop = Backdrop(lines, (), cuts.count, 0, cuts.drawn, cuts.off_by, cuts.left_out)
    return RoomPage(setup, [source.name for source in programs.sources], found.xs, found.ys, found.hard, found.easy,
                    backdrop, standing.rows())


def _draw(ways: Ways, cuts: Thinner) -> None:
    """Adds the cuts of some ways to the backdrop; arcs in chords."""
    from ..space.arcs import flatten

    moves = ways.moves
    rows = ways.touching[(moves.start[ways.touching] != moves.end[ways.touching]).any(axis=1)
                         | (moves.kind[ways.touching] >= Kind.ARC_CW)]
    kinds = moves.kind[rows]
    bent = np.isin(kinds, (Kind.ARC_CW, Kind.ARC_CCW))
    curves: dict[int, list[tuple[float, float]]] = {}
    if bent.any():
        arcs = rows[bent]
        owner, start, end = flatten(moves.start[arcs], moves.end[arcs], moves.centre[arcs], moves.plane[arcs],
                                    moves.kind[arcs] == Kind.ARC_CW, 4 * SAGITTA)
        first = np.searchsorted(owner, np.arange(len(arcs) + 1))
        for k in range(len(arcs)):
            part = slice(first[k], first[k + 1])
            curves[int(arcs[k])] = [(x, y) for x, y, _ in [*start[part][:1].tolist(), *end[part].tolist()]]
    begin, finish = moves.start[rows, :2].tolist(), moves.end[rows, :2].tolist()
    for row, (x0, y0), (x1, y1) in zip(rows.tolist(), begin, finish, strict=True):
        cuts.add(curves.get(row) or [(x0, y0), (x1, y1)])


class _Standing:
    """What the obstacles that stand there now could be at their places. Cuts may run into what is sacrificial."""

    def __init__(self, judge: Judge) -> None:
        self.setup = judge.setup
        self.solids: dict[bool, list[tuple[int, float]]] = {False: [], True: []}
        footprints: dict[bool, list[Footprint]] = {False: [], True: []}
        for number, obstacle in enumerate(self.setup.obstacles):
            for solid in obstacle.solids:
                self.solids[obstacle.sacrificial].append((number, solid.top))
                footprints[obstacle.sacrificial].append(footprint_of(self.setup, solid))
        self.measures = {kind: Measure(judge, some) for kind, some in footprints.items() if some}

    def take(self, ways: Ways) -> None:
        for sacrificial, measure in self.measures.items():
            measure.take(without_cuts(ways) if sacrificial else ways)

    def rows(self) -> list[Standing]:
        left: dict[int, tuple[float, float]] = {}
        for kind, measure in self.measures.items():
            for (number, top), limits in zip(self.solids[kind], measure.limits, strict=True):
                hard, easy = left.get(number, (inf, inf))
                left[number] = min(hard, limits.hard.top - top), min(easy, limits.easy.top - top)
        return [self._row(number, *left[number]) for number in sorted(left)]

    def _row(self, number: int, hard: float, easy: float) -> Standing:
        """An obstacle as a whole, so that its tightest solid decides."""
        obstacle, setup = self.setup.obstacles[number], self.setup
        name = f"{obstacle.name} (sacrificial)" if obstacle.sacrificial else obstacle.name
        return Standing(name, f"Z {length(obstacle.top, setup.units)}", _words(obstacle.top + hard, setup),
                        _words(obstacle.top + easy, setup))


def _words(top: float, setup: Setup) -> str:
    if not isfinite(top):
        return "any height" if top > 0 else "nothing may stand there"
    inch = setup.units == "inch"
    value = rounded_down(top, inch)
    return f"Z {length(value * 25.4 if inch else value, setup.units)}"
