"""Ways home (G28, G30) that a lift before them does not cure: to a height that the program stored itself (G28.1,
G30.1), and by way of a point whose height is not known. A home of the setup's is high and needs none of this."""

from __future__ import annotations

from math import inf
from typing import TYPE_CHECKING

from ..program.state import Span, known
from .limits import Stuck
from .run import Item, lowest
from .surgery import axis_words

if TYPE_CHECKING:
    from .planner import Plan


def ends_below(plan: Plan, item: Item, need: float) -> bool:
    """Whether a way home ends at a height that the program stored; then notes that the tool stands there.

    Raises Stuck (through the plan) where it would have to be lifted.
    """
    if any(leg.bad for leg in item.legs) and _names_unknown_height(item):
        raise Stuck(item, 4, "the point by way of which it goes home lies at a height that is not known",
                    "name that height in G90, or leave it out with Z0 in G91")
    if not leads_to_stored_height(item):
        return False
    in_doubt = any(leg.move.part == "home-all" for leg in item.legs)
    if need > -inf or (in_doubt and plan.actual != item.step.before.position[2]):
        raise Stuck(item, 3, "it leads home to a height that the program stored itself, and comes down on its way",
                    "go to that place with G0 X Y at a height that is clear, and only then home")
    plan.actual = item.end[2]
    return True


def dip(item: Item) -> float:
    """How much lower than where it starts a way home by way of a point comes, mm."""
    start = item.step.before.position[2]
    low = min(lowest(end[2]) for leg in item.legs if not leg.move.shadow
              for end in (leg.move.start, leg.move.end))
    return 0.0 if isinstance(start, Span) else float(start) - low


def _names_unknown_height(item: Item) -> bool:
    """Whether its own Z word leads to a height that is not known, however high it starts."""
    word = axis_words(item.step.block).get("Z")
    if word is None or (item.step.after.distance == "G91" and word.value >= 0):
        return False
    return any(leg.move.part == "by-way" and lowest(leg.move.end[2]) == -inf for leg in item.legs)


def leads_to_stored_height(item: Item) -> bool:
    """Whether it sends Z to a height that the program stored, by one reading of it at least."""
    state = item.step.before
    home = state.home if "G28" in item.step.codes else state.home2
    if not known(home[2]):
        return False
    named = axis_words(item.step.block)
    ways = [leg.move for leg in item.legs]
    return not named or "Z" in named or any(
        way.part == "home-all" or (way.part == "home" and way.start[2] != way.end[2]) for way in ways)
