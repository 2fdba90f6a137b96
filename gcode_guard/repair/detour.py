"""Ways round: where no height takes a rapid over an obstacle, it is led round it in X and Y.

At the greatest height that the machine has; where a shoe that stays with the gantry is in the way, at the rapid's own
height or what the tool needs on the way round; or, where the setup asks for it, at the rapid's own height when that
takes less time than a lift. The corners come from outside: this file writes them.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from math import inf
from typing import TYPE_CHECKING

from ..program.moves import Move
from ..program.state import Coordinate, Position, Span, known, known_in_plan
from .limits import Corners
from .run import Item, finite, lowest
from .surgery import axis_words, text_of

if TYPE_CHECKING:
    from .planner import Plan


def lead_round(plan: Plan, item: Item, need: float, end: float = -inf) -> bool:
    """Leads a block round what it cannot pass over, or need not. True where there is such a way, and it is written.

    `end`: the height, mm, at which a block that says one is to leave the tool, where that is above its own.
    """
    move = next((leg.move for leg in item.legs if leg.bad), None)
    if move is None or item.whole or item.step.frozen or lowest(plan.actual) == -inf or not in_plan(move):
        return False
    if item.step.before.beside:
        return False  # after G40 corners in X and Y would lead the tool back to its path before the program does
    if need > plan.limits.ceiling or need == inf:
        corners, rise = way_where_no_lift_helps(plan, item, move, need)
    elif plan.limits.faster_round is not None and not item.has_z and not isinstance(plan.actual, Span):
        corners, rise = plan.limits.faster_round(move, float(plan.actual), need), None
    else:
        return False
    if not corners:
        return False
    write_round(plan, item, corners, [rise] if rise else [], end)
    return True


def write_round(plan: Plan, item: Item, corners: Corners, rise: list[str], end: float = -inf) -> None:
    """Writes a way round by these corners, behind a rise if there is one, and down to where the block ends, or to `end`
    (mm) where that is higher."""
    plan._may_edit(item, taken_apart=True)
    plan._can_write(item, item.step.after)
    pieces = [rise] if rise else []
    places = written(corners)
    pieces += words_to(plan, item, places)
    pieces.append(_last_leg(plan, item, places[-1]))
    level = plan.actual
    if item.has_z and end > lowest(item.end[2]):
        if end < lowest(plan.actual):
            text, plan.actual = plan._rise_text(item, item.step.after, end)
            pieces.append([text])
    elif item.has_z and plan.actual != item.end[2]:
        pieces.append([plan._down_text(item, plan._pen(item.step.after))])
    plan._write_pieces(item, pieces)
    draft = plan.draft(item)
    draft.kind, draft.level = "detour", finite(level)


def way_where_no_lift_helps(plan: Plan, item: Item, move: Move, need: float,
                            least: float = -inf) -> tuple[Corners | None, str | None]:
    """A way round for a rapid that needs more height than there is, and the Z word that leads to it, if one is needed;
    then `plan.actual` is its height. Never lower than `least`, mm."""
    if need == inf:
        return _past_the_shoe(plan, item, move, least)
    return _at_the_top(plan, item, move, least)


def _at_the_top(plan: Plan, item: Item, move: Move, least: float) -> tuple[Corners | None, str | None]:
    """At the greatest height that the machine has."""
    if plan.limits.way_round is None:
        return None, None
    pen = plan._pen(item.step.after)
    if pen.incremental and not known(plan.actual):
        return None, None
    text, reached = pen.highest(plan.limits.ceiling, plan.actual)
    if isinstance(plan.actual, Decimal) and reached <= plan.actual:
        text, reached = "", plan.actual
    if reached < least:
        return None, None
    corners = plan.limits.way_round(move, float(reached))
    if not corners:
        return None, None
    if text:
        plan._check_rise(item, float(reached))
    plan.actual = reached
    return corners, text or None


def _past_the_shoe(plan: Plan, item: Item, move: Move, least: float) -> tuple[Corners | None, str | None]:
    """For a shoe that no lift takes over anything: at the rapid's own height, or what the tool needs on the way."""
    end = item.end[2]
    own = max(lowest(plan.actual), lowest(end) if item.has_z else least)
    found = plan.limits.past_shoe(move, own, plan.limits.ceiling) if plan.limits.past_shoe is not None else None
    if found is None:
        return None, None
    corners, height = found
    if height <= lowest(plan.actual):
        return corners, None
    if height == lowest(end) and item.has_z:
        plan._can_write(item, item.step.after)
        plan._check_rise(item, height)
        text = plan._own_z(item, plan._pen(item.step.after))
        plan.actual = end
        return corners, text
    text, plan.actual = plan._rise_text(item, item.step.after, height)
    return corners, text


def in_plan(move: Move) -> bool:
    """Whether it is known in X and Y where a rapid begins and ends."""
    return known_in_plan(move.start) and known_in_plan(move.end)


def words_to(plan: Plan, item: Item, places: Sequence[tuple[Decimal, Decimal]]) -> list[list[str]]:
    """The words of the way from where an item starts to each of these places, mm, one after the other."""
    pen, legs = plan._pen(item.step.after), []
    here: Sequence[Coordinate] = item.legs[0].move.start
    for to in places:
        legs.append([pen.exactly(axis, to[axis], here[axis]) for axis in range(2)])
        here = to
    return legs


def _last_leg(plan: Plan, item: Item, came: tuple[Decimal, Decimal]) -> list[str]:
    """The words of the way from the last corner to the block's own end: its own words where they say all of it."""
    pen, block = plan._pen(item.step.after), item.step.block
    words = axis_words(block)
    if not pen.incremental and "X" in words and "Y" in words:
        return [text_of(block, words["X"]), text_of(block, words["Y"])]
    end: Position = item.legs[-1].move.end
    return [pen.exactly(axis, to, came[axis]) for axis, to in enumerate(end[:2]) if not isinstance(to, Span)]


def written(corners: Corners) -> list[tuple[Decimal, Decimal]]:
    """Corners to 0.001 mm: they keep a distance from the boundary that is wider than this."""
    return [(Decimal(f"{x:.3f}"), Decimal(f"{y:.3f}")) for x, y in corners]
