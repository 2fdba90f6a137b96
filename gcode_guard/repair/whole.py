"""Ways home and blocks in the machine's own coordinates (G28, G30, G53): what is put in before them, and the few
changes that they allow themselves."""

from __future__ import annotations

from dataclasses import replace
from math import inf
from typing import TYPE_CHECKING

from ..program.moves import Move
from ..program.state import known
from .choices import literal_z
from .home import dip, ends_below
from .limits import Stuck
from .run import Item, lowest
from .surgery import Apart, axis_words, text_of

if TYPE_CHECKING:
    from .planner import Plan


def keep_whole(plan: Plan, item: Item, follow: float) -> None:
    """Plans a block of G28, G30 or G53. `follow`: the height, mm, that what comes behind it needs. Raises Stuck."""
    if not item.legs and item.kind == "machine":
        _stand(plan, item)
        return
    need = plan._trusted_need(item)
    if item.kind == "home" and ends_below(plan, item, need):
        return
    fixed_end = "Z" in axis_words(item.step.block) and (item.kind == "machine" or item.step.after.distance != "G91")
    if not fixed_end:
        need += dip(item)
    rises_itself = item.kind == "home" and fixed_end and len(axis_words(item.step.block)) == 1 and literal_z(item)
    if need > lowest(plan.actual) and not rises_itself:
        plan._rise_before(item, max(need, follow if not fixed_end else -inf))
    if fixed_end and need > -inf:
        _keep_up(plan, item, need)
    plan._note_level(item)
    _note_end(plan, item, fixed_end)


def _keep_up(plan: Plan, item: Item, need: float) -> None:
    """Sees that a block which says a height itself does not come down before its way is clear."""
    if not item.step.after.length_known:
        plan._can_write(item, item.step.after)
    if not any(_through(item, k) < leg.needed for k, leg in enumerate(item.legs) if leg.bad):
        return
    words = axis_words(item.step.block)
    if item.kind == "machine" and len(words) > 1 and not item.step.effects and not item.step.frozen and \
            _comes_down_clear(plan, item):
        _across_then_down(plan, item)
    elif item.kind == "home" and literal_z(item) and item.step.after.distance == "G90":
        text, plan.actual = plan._rise_text(item, item.step.after, need)
        plan._set_word(item, text)
    else:
        raise Stuck(item, 3, "its way comes down too early, and its block must not be taken apart",
                    "put the Z move on a line of its own, after the move in X and Y")


def _across_then_down(plan: Plan, item: Item) -> None:
    """Takes a block of G53 apart: first its X and Y at the height at which the tool stands, then its Z."""
    block, style = item.step.block, plan.style
    words = axis_words(block)
    across = [text_of(block, words[letter]) for letter in "XY" if letter in words]
    down = [style.letter("G") + "53", text_of(block, words["Z"])]
    draft = plan.draft(item)
    draft.own = [Apart(block).first(across, style.gap),
                 plan._pen(item.step.after).rapid(*down, *Apart(block).last_words(), deleted=block.deleted)]
    draft.kind = "split"


def _stand(plan: Plan, item: Item) -> None:
    """A block of G53 that leads nowhere as programmed: where the tool stands higher now, it comes down by it."""
    end, before = item.end, plan.run.items[: plan.run.items.index(item)]
    if plan.actual == end[2] or "Z" not in axis_words(item.step.block):
        return
    last = next((leg.move for other in reversed(before) for leg in reversed(other.legs)), None)
    if last is None or not _comes_down_clear(plan, item, last):
        raise Stuck(item, 3, "the tool must stand higher before it, and would come down by it where that is not clear",
                    "take its Z out, or go to a place in X and Y that is clear before it")
    plan.actual = end[2]


def _comes_down_clear(plan: Plan, item: Item, like: Move | None = None) -> bool:
    """Whether straight down to its end nothing is near; `like`: a move by the same tool."""
    end, move = item.end, like or item.legs[-1].move
    if plan.limits.level is None or not all(known(c) for c in end):
        return False
    return plan.limits.level(replace(move, start=(*end[:2], plan.actual), end=end, upright=True)) <= lowest(end[2])


def _through(item: Item, place: int) -> float:
    """How low a way of a block goes that fixes its own heights, once the tool starts high enough."""
    move = item.legs[place].move
    first = place == 0 and move.start == item.step.before.position and move.part in ("by-way", "machine")
    return lowest(move.end[2]) if first else min(lowest(move.start[2]), lowest(move.end[2]))


def _note_end(plan: Plan, item: Item, fixed_end: bool) -> None:
    """Notes at which height the tool stands behind the block."""
    before = next((leg.move.start[2] for leg in item.legs if not leg.move.shadow), plan.actual)
    after = item.end[2]
    if after == before and not fixed_end:
        if not known(after) and any(leg.move.part == "home-all" for leg in item.legs):
            plan.actual = after  # home with all axes or with those that are named: where Z stands now is in doubt
        return
    plan.actual = after
