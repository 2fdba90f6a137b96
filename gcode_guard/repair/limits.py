"""What there is for mending a run with: the heights and ways of the machine, and what stands for a run that no edit
cures."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import inf

from ..lengths import Units
from ..program.moves import Move
from ..program.state import Coordinate
from .edits import Trouble
from .run import Item, Run
from .surgery import axis_words

Corners = list[tuple[float, float]]
ADVICE_HIGH = ('say where the tool stands: machine.start, or after_tool_change = "high" where M6 leaves it above'
               " everything")


class Stuck(Exception):
    """Raised while planning where no edit cures the run."""

    def __init__(self, item: Item, exit_status: int, what: str, advice: str) -> None:
        super().__init__(what)
        self.item, self.exit_status, self.what, self.advice = item, exit_status, what, advice


@dataclass(slots=True)
class Limits:
    """What heights there are for the tool of a run, mm: `ceiling` of the machine, `everything` (the height that
    clears the whole table, the stock too), `floor` (below which nothing is let down out of an unknown height), and the
    lowest tip height from which an undercut tool may be raised.

    `level` gives the height at which the whole way of a rapid across is clear, -inf where it is at any.
    `way_round` gives the corners of a way round in XY (mm) for a rapid at a height, None where there is none;
    `past_shoe` likewise with the height that the tip needs there, for a shoe that stays with the gantry, given the
    height at which the tool stands and the ceiling;
    `faster_round` likewise for a rapid at its height, where that takes less time than a lift to the other height.
    `seconds` gives the time of a rapid by its way along X, Y and Z, mm; None where that is not known.
    """

    ceiling: float = inf
    everything: float = -inf
    floor: float = -inf
    rise_from: float = -inf
    rise_advice: str = ""
    units: Units = "mm"
    """In which lengths are told."""
    level: Callable[[Move], float] | None = None
    way_round: Callable[[Move, float], Corners | None] | None = None
    past_shoe: Callable[[Move, float, float], tuple[Corners, float] | None] | None = None
    faster_round: Callable[[Move, float, float], Corners | None] | None = None
    seconds: Callable[[float, float, float], float] | None = None

    def need_from_high(self, item: Item, actual: Coordinate) -> float:
        """The height that a slope needs out of one that is only known to be high: it may come down anywhere."""
        if self.level is None:
            return inf
        moves = (replace(leg.move, start=(leg.move.start[0], leg.move.start[1], actual)) for leg in item.legs)
        return max(map(self.level, moves))


def advice_on_length(run: Run) -> str:
    """What helps a run for which no height can be written, since no tool length offset is in force."""
    first = next((item for item in run.items
                  if "Z" in axis_words(item.step.block) and not item.step.after.length_known), None)
    if first is None:
        return f"put G43 and the tool's number as H before it, or {ADVICE_HIGH}"
    if first.step.after.distance == "G91":
        return f"put G43 and the tool's number as H before it and go to an absolute Z (G90), or {ADVICE_HIGH}"
    line = first.step.block.line
    return f"put G43 and the tool's number as H before the Z of line {line}, or take that Z out and {ADVICE_HIGH}"


def trouble_of(stuck: Stuck, run: Run) -> Trouble:
    """A Stuck as a trouble of its line, with the first obstacle that is in the way of the run."""
    item = stuck.item
    names = item.obstacles or tuple(o for other in run.items for o in other.obstacles)
    hit = names[0] if names else None
    return Trouble(item.step.block.line, stuck.exit_status, stuck.what, stuck.advice, hit)
