"""Carrying out what was chosen for a block: up before it, across with or without a change of height, down behind it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..program.state import Coordinate
from .choices import Choice
from .detour import lead_round, write_round
from .run import Item, finite, lowest
from .surgery import axis_words, text_of
from .whole import keep_whole

if TYPE_CHECKING:
    from .planner import Plan


def carry_out(plan: Plan, item: Item, choice: Choice, place: int) -> None:
    """Writes what a block was chosen to do. Raises Stuck where that cannot be written."""
    if item.kind != "plain":
        keep_whole(plan, item, choice.start)
    elif choice.led:
        if not lead_round(plan, item, item.need, choice.end):
            plan._too_high(item, item.need)
    elif choice.corners:
        rise = [_to(plan, item, choice.start)] if choice.start > lowest(plan.actual) else []
        write_round(plan, item, list(choice.corners), rise, choice.end)
    elif not item.has_z:
        if choice.start > lowest(plan.actual):
            plan._rise_before(item, choice.start)
        plan._note_level(item)
    elif choice.start > lowest(plan.actual) or choice.across > choice.end:
        _in_pieces(plan, item, choice)
    elif choice.end > lowest(item.end[2]):
        plan._raise_word(item, choice.end)
    else:
        plan._reach(item, item.end[2], place)


def _in_pieces(plan: Plan, item: Item, choice: Choice) -> None:
    """A block that goes across and changes height, in up to three."""
    plan._may_edit(item, taken_apart=True)
    block = item.step.block
    words = axis_words(block)
    pieces: list[list[str]] = []
    if choice.start > lowest(plan.actual):
        pieces.append([_to(plan, item, choice.start)])
    start = plan.actual
    across = [text_of(block, words[letter]) for letter in "XY" if letter in words]
    if choice.across != choice.start:
        across.append(_to(plan, item, choice.across))
    pieces.append(across)
    level = min(start, plan.actual, key=lowest)
    if choice.across > choice.end:
        pieces.append([_to(plan, item, choice.end)])
    plan._write_pieces(item, pieces)
    plan.draft(item).level = finite(level)


def _to(plan: Plan, item: Item, height: float) -> str:
    """The word that leads to a height: the block's own where that is what it says; then the tool stands there."""
    end: Coordinate = item.end[2]
    if item.has_z and height == lowest(end):
        plan._can_write(item, item.step.after)
        text = plan._down_text(item, plan._pen(item.step.after))
        return text
    text, plan.actual = plan._rise_text(item, item.step.after, height)
    return text
