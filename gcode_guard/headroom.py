"""How much room there is above a run: what height clears the table, where the machine ends, which ways lead round."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property
from math import inf
from typing import TYPE_CHECKING

from .judge import Judge
from .program.moves import Move, table
from .program.state import ANYWHERE
from .repair.run import Run
from .rules import ceiling as ceiling_of
from .setup.model import Setup, Tool
from .space.times import Profile

if TYPE_CHECKING:
    from .repair.limits import Limits
    from .waysround import WaysRound


class Headroom:
    """The heights and ways that one bench leaves to a run."""

    def __init__(self, judge: Judge) -> None:
        self.judge = judge
        self.setup = judge.setup
        self._ceilings: dict[int, float] = {}
        self._undercuts: dict[int, bool] = {}

    @cached_property
    def ways(self) -> WaysRound:
        """Where ways round lead."""
        from .waysround import WaysRound

        return WaysRound(self.judge)

    @cached_property
    def profile(self) -> Profile | None:
        """How fast the axes are; None where the setup gives no rates and accelerations."""
        machine = self.setup.machine
        if machine.rapid_rate is None or machine.acceleration is None:
            return None
        return Profile(machine.rapid_rate, machine.acceleration)

    def limits(self, run: Run) -> Limits:
        """What there is for mending a run with, mm."""
        from .repair.limits import Limits

        tools = {leg.move.tool for item in run.items for leg in item.legs}
        # Out of an unknown height nothing is let down to where the stock may be; without one, to below the zero.
        stock = self.setup.stock
        floor = 0.0 if stock is None else stock.top + self.setup.clearance.above
        limits = Limits(min((self.ceiling(tool) for tool in tools), default=inf),
                        max((self.clear_of_all(leg.move, riding_too=False) for item in run.items for leg in item.legs
                             if not leg.trusted), default=-inf), floor)
        if stock is not None:
            limits.everything = max(limits.everything, floor)
        limits.units = self.setup.units
        limits.level = lambda move: float(self.judge.needed(table([move]))[0])
        if self.profile is not None:
            limits.seconds = self.profile.seconds
        if self.ways.possible:
            limits.way_round = self.ways.at
            limits.past_shoe = self.ways.past_shoe
            if self.setup.repair.detour == "when-faster":
                limits.faster_round = self.ways.faster
        if any(self.undercut(tool) for tool in tools):
            limits.rise_from = stock.top if stock else inf
            limits.rise_advice = ("raise the traverse in the program, from where the tool is free" if stock
                                  else "give [stock] in the setup, so that it is known where the tool is free")
        return limits

    def ceiling(self, tool: int) -> float:
        """The greatest height of the tip that the machine has, mm."""
        if tool not in self._ceilings:
            self._ceilings[tool] = ceiling_of(self.setup, tool)
        return self._ceilings[tool]

    def undercut(self, tool: int) -> bool:
        """True where a tool that may be meant is undercut."""
        if tool not in self._undercuts:
            self._undercuts[tool] = any(_is_undercut(self.setup.tools[number]) for number in self.judge.tools(tool))
        return self._undercuts[tool]

    def clear_of_all(self, move: Move, riding_too: bool = True) -> float:
        """The tip height that clears the whole table with the tool of a move; inf where a shoe that stays with the
        gantry may be in the way, unless that is left out."""
        place = (ANYWHERE, ANYWHERE, move.end[2])
        nowhere = replace(move, start=place, end=place, upright=False)
        return float(self.judge.needed(table([nowhere]), riding_too=riding_too)[0])


def rise_from(setup: Setup, number: int) -> float:
    """The lowest tip height from which a tool may be raised, mm: one that is undercut only where it is free."""
    if not _is_undercut(setup.tools[number]):
        return -inf
    return setup.stock.top if setup.stock is not None else inf


def _is_undercut(tool: Tool) -> bool:
    """True for a tool one of whose own sections is wider than one above it; shoe and nut are never in the material."""
    widths = [diameter for diameter, _ in tool.sections]
    return any(above < below for below, above in zip(widths, widths[1:], strict=False))
