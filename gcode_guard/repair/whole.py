"""Ways home and blocks in the machine's own coordinates (G28, G30, G53): what is put in before them, and the few
changes that they allow themselves."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import inf
from typing import TYPE_CHECKING

from ..program.moves import Move
from ..program.state import Coordinate, Span, all_known, known
from .home import dip, ends_below, leads_to_stored_height
from .limits import Limits, Stuck
from .run import Item, literal_z, lowest
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
    fixed_end = _fixes_end(item)
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
    if not _comes_down_early(item):
        return
    words = axis_words(item.step.block)
    if item.kind == "machine" and len(words) > 1 and not item.step.effects and not item.step.frozen and \
            comes_down_clear(plan.limits, item, plan.actual, item.legs[-1].move):
        _across_then_down(plan, item)
    elif item.kind == "home" and literal_z(item) and item.step.after.distance == "G90" \
            and any(lowest(leg.move.start[2]) < need for leg in item.legs if leg.move.part != "by-way"):
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
                 style.block(*down, *Apart(block).last_words(), deleted=block.deleted)]
    draft.kind = "split"


def _stand(plan: Plan, item: Item) -> None:
    """A block of G53 that leads nowhere as programmed: where the tool stands higher now, it comes down by it."""
    end, before = item.end, plan.run.items[: plan.run.items.index(item)]
    if plan.actual == end[2] or "Z" not in axis_words(item.step.block):
        return
    last = next((leg.move for other in reversed(before) for leg in reversed(other.legs)), None)
    if last is None or not comes_down_clear(plan.limits, item, plan.actual, last):
        raise Stuck(item, 3, "the tool must stand higher before it, and would come down by it where that is not clear",
                    "take its Z out, or go to a place in X and Y that is clear before it")
    plan.actual = end[2]


def comes_down_clear(limits: Limits, item: Item, start: Coordinate, like: Move) -> bool:
    """Whether straight down from a height to where a block ends nothing is near; `like`: a move by the same tool."""
    end = item.end
    if limits.level is None or not all_known(end):
        return False
    return limits.level(replace(like, start=(*end[:2], start), end=end, upright=True)) <= lowest(end[2])


def _fixes_end(item: Item) -> bool:
    """Whether a block says itself at which height it ends, whatever the one at which it starts."""
    return "Z" in axis_words(item.step.block) and (item.kind == "machine" or item.step.after.distance != "G91")


def _comes_down_early(item: Item) -> bool:
    """Whether a block goes lower on its way than that needs, however high the tool stands before it."""
    return any(_through(item, k) < leg.needed for k, leg in enumerate(item.legs) if leg.bad)


def _through(item: Item, place: int) -> float:
    """How low a way of a block goes that fixes its own heights, once the tool starts high enough."""
    move, before = item.legs[place].move, item.step.before.position
    # Where a cycle may have left the tool at its R level, a second reading of the same way begins there.
    first = move.part in ("by-way", "machine") and (
        (move.shadow and move.start[:2] == before[:2]) or (place == 0 and move.start == before))
    return lowest(move.end[2]) if first else min(lowest(move.start[2]), lowest(move.end[2]))


def _note_end(plan: Plan, item: Item, fixed_end: bool) -> None:
    """Notes at which height the tool stands behind the block."""
    before = next(leg.move.start[2] for leg in item.legs if not leg.move.shadow)
    after = item.end[2]
    if after == before and not fixed_end:
        if not known(after) and any(leg.move.part == "home-all" for leg in item.legs):
            plan.actual = after  # home with all axes or with those that are named: where Z stands now is in doubt
        return
    plan.actual = after


# What the choice of the fastest repair must know of such a block ----------------------------------------------------


def keeps_height(item: Item) -> bool:
    """Whether a block of G28, G30 or G53 leaves the tool at the height at which it finds it, raised or not."""
    before = next((leg.move.start[2] for leg in item.legs if not leg.move.shadow), None)
    if _fixes_end(item) or (item.kind == "home" and leads_to_stored_height(item)):
        return False
    return item.end[2] == before or (not item.legs and item.kind == "machine")


def need_of(item: Item) -> float:
    """The height, mm, that the tool must have before a block of G28, G30 or G53; -inf where any is enough."""
    if item.kind == "home" and _fixes_end(item) and len(axis_words(item.step.block)) == 1 and literal_z(item):
        return -inf  # it goes up itself
    return item.need if _fixes_end(item) or item.need == -inf else item.need + dip(item)


def seconds_of(item: Item, level: float, seconds: Callable[[float, float, float], float]) -> float:
    """How long a block of G28, G30 or G53 takes from a height, mm; `seconds` gives the time of a rapid by its way.

    As times are told: axes of which an end is not known do not count.
    """
    moves = [leg.move for leg in item.legs if not leg.move.shadow and leg.move.part != "home-all"]
    start = lowest(moves[0].start[2]) if moves else inf
    more = level - start if abs(level) < inf and abs(start) < inf else 0.0
    fixed, total = _fixes_end(item), 0.0
    for place, move in enumerate(moves):
        x, y, z = (0.0 if isinstance(a, Span) or isinstance(b, Span) else float(b - a)
                   for a, b in zip(move.start, move.end, strict=True))
        if known(move.start[2]) and known(move.end[2]):
            z -= more if place == 0 or not fixed else 0.0
            z += more if not fixed and (place < len(moves) - 1 or keeps_height(item)) else 0.0
        apart = item.kind == "machine" and fixed and item.need > -inf and _comes_down_early(item)
        total += seconds(x, y, 0.0) + seconds(0.0, 0.0, z) if apart else seconds(x, y, z)
    return total
