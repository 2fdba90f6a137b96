"""Ways round: where no height takes a rapid over an obstacle, it is led round it in X and Y.

At the greatest height that the machine has; or, where the setup asks for it, at the rapid's own height when that takes
less time than a lift. The corners come from outside: this file writes them.
"""

from __future__ import annotations

from decimal import Decimal
from math import inf
from typing import TYPE_CHECKING

from ..program.moves import Move
from ..program.state import Coordinate, Position, Span, known
from .run import Item, lowest
from .surgery import axis_words, text_of

if TYPE_CHECKING:
    from .planner import Plan

Corners = list[tuple[float, float]]


def lead_round(plan: Plan, item: Item, need: float) -> bool:
    """Leads a block round what it cannot pass over, or need not. True where there is such a way, and it is written."""
    move = next((leg.move for leg in item.legs if leg.bad), None)
    if move is None or item.whole or item.step.frozen or lowest(plan.actual) == -inf or not _in_plan(move):
        return False
    if item.step.before.beside:
        return False  # after G40 corners in X and Y would lead the tool back to its path before the program does
    rise: str | None = None
    corners: Corners | None = None
    if need > plan.limits.ceiling:
        corners, rise = _at_the_top(plan, item, move)
    elif plan.limits.faster_round is not None and not item.has_z and not isinstance(plan.actual, Span):
        corners = plan.limits.faster_round(move, float(plan.actual), need)
    if not corners:
        return False
    plan._may_edit(item, taken_apart=True)
    plan._can_write(item, item.step.after)
    pieces = [[rise]] if rise else []
    pieces += _legs(plan, item, corners)
    pieces.append(_last_leg(plan, item, corners))
    level = lowest(plan.actual)
    if item.has_z and plan.actual != item.end[2]:
        pieces.append([plan._down_text(item, plan._pen(item.step.after))])
    plan._write_pieces(item, pieces)
    draft = plan.draft(item)
    draft.kind, draft.level = "detour", level
    return True


def _at_the_top(plan: Plan, item: Item, move: Move) -> tuple[Corners | None, str | None]:
    """A way round at the greatest height that the machine has, and the Z word that leads there, if one is needed."""
    if plan.limits.way_round is None:
        return None, None
    pen = plan._pen(item.step.after)
    start = _number(plan.actual)
    if pen.incremental and start is None:
        return None, None
    text, reached = pen.highest(plan.limits.ceiling, start)
    if start is not None and reached <= start:
        text, reached = "", start
    corners = plan.limits.way_round(move, float(reached))
    if not corners:
        return None, None
    plan._check_rise(item, float(reached))
    plan.actual = reached
    return corners, text or None


def _in_plan(move: Move) -> bool:
    return all(known(c) for c in (*move.start[:2], *move.end[:2]))


def _legs(plan: Plan, item: Item, corners: Corners) -> list[list[str]]:
    """The words of the way to each corner."""
    pen, legs = plan._pen(item.step.after), []
    here: tuple[Coordinate, Coordinate] = item.legs[0].move.start[:2]
    for corner in corners:
        to = _written(corner)
        legs.append([pen.exactly(axis, to[axis], _number(here[axis])) for axis in range(2)])
        here = to
    return legs


def _last_leg(plan: Plan, item: Item, corners: Corners) -> list[str]:
    """The words of the way from the last corner to the block's own end: its own words where they say all of it."""
    pen, block = plan._pen(item.step.after), item.step.block
    words = axis_words(block)
    if not pen.incremental and "X" in words and "Y" in words:
        return [text_of(block, words["X"]), text_of(block, words["Y"])]
    end: Position = item.legs[-1].move.end
    came = _written(corners[-1])
    return [pen.exactly(axis, to, came[axis]) for axis, to in enumerate(end[:2]) if not isinstance(to, Span)]


def _written(corner: tuple[float, float]) -> tuple[Decimal, Decimal]:
    """A corner to 0.001 mm: corners keep a distance from the boundary that is wider than this."""
    return Decimal(f"{corner[0]:.3f}"), Decimal(f"{corner[1]:.3f}")


def _number(coordinate: Coordinate) -> Decimal | None:
    return None if isinstance(coordinate, Span) else coordinate
