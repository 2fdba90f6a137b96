"""Ways between the holes of a canned cycle: up, across and down before the block, and the cycle stated again.

A G0 ends the cycle, so the block that follows states all of its sticky words anew at the hole that the tool stands
over. The tool comes down to the level where the series of cycles began, so that G98 means what it meant.
"""

from __future__ import annotations

from decimal import Decimal
from math import inf
from typing import TYPE_CHECKING

from ..program.codes import CYCLES, spell
from ..program.state import Coordinate, Span
from .detour import in_plan, way_where_no_lift_helps, words_to, written
from .edits import Draft
from .limits import Stuck
from .run import Item, finite, lowest
from .surgery import axis_words, is_stop, put, text_of
from .write import spell_number

if TYPE_CHECKING:
    from ..program.block import Block
    from .planner import Plan

CARRIED = frozenset("STF")


def enter_cycle(plan: Plan, item: Item, need: float) -> None:
    """Leads the tool to hole `item.hole` at a height that is clear, and states the cycle there.

    Raises Stuck (through the plan) where the cycle lies in another plane, or where the level to come down to is not
    the one that later blocks of the cycle would return to.
    """

    step, cycle = item.step, item.step.after.cycle
    if not step.places or cycle is None or cycle.code == "G87":
        raise Stuck(item, 3, "a way within this cycle comes too near, and the cycle cannot be stated anew",
                    "write the holes as plain moves")
    if step.before.beside and (item.hole or not {"X", "Y"} <= axis_words(step.block).keys()):
        raise Stuck(item, 3, "the tool may still stand beside its path (G40), where the cycle cannot be stated anew",
                    "name both X and Y (G90) in a block of G0 before the cycle")
    down_to = _level_to_start_from(item)
    draft = plan.draft(item)
    pen = plan._pen(step.after)
    texts: list[str] = []
    # By the report a cycle that starts below its R level goes across at that level: never lower.
    need = max(need, lowest(item.legs[-1].move.end[2]))
    doubt = _level_in_doubt(item)
    if doubt is not None:
        if pen.incremental:
            raise Stuck(item, 3, "nothing says whether the cycle returns to its initial level or to its R level, and"
                        " under G91 no height can be written out of one that is not known",
                        "write G98 or G99 before the cycle")
        need = max(need, doubt)
    lifted: Coordinate = plan.actual
    corners, rise = _way_round(plan, item, need)
    if corners:
        lifted = plan.actual
        if rise is None and doubt is not None and isinstance(lifted, Decimal):
            rise = pen.exactly(2, lifted, lifted)  # one reading has the tool lower
        texts = [rise] if rise else []
    elif need == inf:
        plan._too_high(item, need)
    elif lowest(plan.actual) < need or doubt is not None:
        text, lifted = plan._rise_text(item, step.after, need)
        texts.append(text)
    x, y = step.places[item.hole]
    blocks = [[text] for text in texts] + words_to(plan, item, [*corners, (x, y)])
    if down_to is not None and lifted != down_to:
        blocks.append([pen.exactly(2, down_to, lifted)])
    plan.begun_at = down_to
    draft.level = finite(lifted)
    draft.kind = "detour" if corners else "split"
    first_piece = _carried_words(item) if item.hole == 0 else []
    gap, deleted = plan.style.gap, step.block.deleted
    written = [plan.style.block(*words, deleted=deleted) for words in blocks]
    if first_piece:
        written[0] = ("/" if deleted else "") + gap.join([plan.style.rapid, *first_piece, *blocks[0]])
    if len(step.places) == 1 or not pen.incremental:
        draft.before = written
        _restate(plan, item, draft, first_piece)
    else:
        _unroll(plan, item, draft, written)


def _level_in_doubt(item: Item) -> float | None:
    """The height at which the tool stands before a hole where cycles return to the initial level, if neither G98 nor
    G99 was said and it may stand at the R level as well; None where there is no doubt."""
    stands = next(lowest(leg.move.start[2]) for leg in item.legs if not leg.move.shadow)
    lower = (leg for leg in item.legs if leg.move.shadow and lowest(leg.move.start[2]) < stands)
    return stands if any(leg.bad for leg in lower) else None


def _way_round(plan: Plan, item: Item, need: float) -> tuple[list[tuple[Decimal, Decimal]], str | None]:
    """The corners of a way round to the hole where no lift helps, and the Z word that leads to it, if one is needed."""
    crossing = [leg.move for leg in item.legs if leg.bad and not leg.move.upright]
    if not crossing or (need <= plan.limits.ceiling and need < inf) \
            or lowest(plan.actual) == -inf or item.step.before.beside or not in_plan(crossing[0]):
        return [], None
    plan._can_write(item, item.step.after)
    level = lowest(item.legs[-1].move.end[2])
    corners, rise = way_where_no_lift_helps(plan, item, crossing[0], need, least=level)
    return written(corners or []), rise


def _level_to_start_from(item: Item) -> Decimal | None:
    """The height over the hole from which the restated cycle starts."""

    step = item.step
    assert step.after.cycle is not None
    initial, start = step.after.cycle.initial, step.before.position[2]
    level = item.legs[-1].move.end[2]
    if isinstance(initial, Span) and lowest(initial) == inf:
        raise Stuck(item, 3, "the cycle began at the top, which is a height that cannot be written",
                    "put a G0 Z before the cycle")
    if step.after.distance == "G91":
        if initial != start:
            raise Stuck(item, 3, "an incremental cycle between its R level and its initial level cannot be stated anew",
                        "export the holes in absolute distances (G90)")
        if lowest(start) < lowest(level):
            raise Stuck(item, 3, "an incremental cycle that starts below its R level cannot be stated anew",
                        "start it from above its R level")
        initial = start
    # From below the R level the cycle itself first goes up to it, and returns to it: nothing leads lower.
    level = max(initial, level, key=lowest)
    return None if isinstance(level, Span) else level


def _carried_words(item: Item) -> list[str]:
    """Words of a block that belong on its first piece: modes, S, T, spindle and coolant."""
    block, out = item.step.block, []
    for word in block.words:
        name = spell(word.letter, word.value) if word.letter in "GM" else ""
        carried = word.letter in CARRIED or (
            name and name not in CYCLES | {"G98", "G99", "M0", "M1", "M2", "M30"})
        if carried:
            out.append(text_of(block, word))
    return out


def _restate(plan: Plan, item: Item, draft: Draft, carried: list[str]) -> None:
    """The block itself: as it is where it starts the cycle, else with everything that was sticky."""
    step, block = item.step, item.step.block
    starts = step.before.motion not in CYCLES
    incremental = step.after.distance == "G91"
    if starts and not incremental and not carried:
        return
    draft.own = [_in_place(item, plan.style.gap.join(_cycle_words(plan, item) + _stops(block)))]


def _stops(block: Block) -> list[str]:
    return [text_of(block, word) for word in block.words if is_stop(word)]


def _in_place(item: Item, cycle: str) -> str:
    """The block with the cycle stated anew: its number and its comments stay where they are."""
    changes = {(word.start, word.end): "" for word in item.step.block.words if word.letter != "N"}
    return put(item.step.block, changes | {min(changes): cycle})


def _cycle_words(plan: Plan, item: Item) -> list[str]:
    """The cycle with all of its sticky words, at the hole over which the tool stands."""
    step, block = item.step, item.step.block
    cycle = step.after.cycle
    assert cycle is not None
    pen, style = plan._pen(step.after), plan.style
    letter = style.letter
    x, y = step.places[item.hole]
    words = [letter("G") + step.after.retract[1:]] if step.after.retract_said else []
    words.append(letter("G") + cycle.code[1:])
    words += [pen.exactly(0, x, x), pen.exactly(1, y, y)]
    words += [letter("Z") + spell_number(cycle.depth, style.decimals),
              letter("R") + spell_number(cycle.level, style.decimals)]
    if cycle.dwell is not None:
        words.append(letter("P") + spell_number(cycle.dwell, 1))
    if cycle.peck is not None:
        words.append(letter("Q") + spell_number(cycle.peck, style.decimals))
    if step.after.distance != "G91":
        words += [text_of(block, word) for word in block.words if word.letter == "L"]
    return words


def _unroll(plan: Plan, item: Item, draft: Draft, written: list[str]) -> None:
    """An incremental block with repeats: one cycle of its own for each hole from the first on, a stop behind the last.

    Every hole starts from the height at which the block started, so that R counts from the same level.
    """

    holes, block, gap = draft.holes, item.step.block, plan.style.gap
    cycle = gap.join(_cycle_words(plan, item))
    holes[item.hole] = [*written, ("/" if block.deleted else "") + cycle if item.hole else _in_place(item, cycle)]
    if item.step.after.retract == "G99":
        raise Stuck(item, 3, "an incremental cycle with repeats under G99 cannot be stated anew",
                    "export the holes in absolute distances (G90)")
    draft.own = []
    for number in range(len(item.step.places)):
        if number in holes:
            draft.own += holes[number]
        else:
            draft.own.append(_plain_hole(plan, item, number))
    draft.own[-1] = gap.join([draft.own[-1], *_stops(block)])


def _plain_hole(plan: Plan, item: Item, number: int) -> str:
    """A hole of an unrolled block whose way needs no lift: the cycle with the block's own step."""
    step, block = item.step, item.step.block
    if number == 0:
        return put(block, {(word.start, word.end): "" for word in block.words if word.letter == "L" or is_stop(word)})
    pen = plan._pen(step.after)
    (x0, y0), (x1, y1) = step.places[number - 1], step.places[number]
    words = [pen.exactly(0, x1, x0), pen.exactly(1, y1, y0)]
    return ("/" if block.deleted else "") + plan.style.gap.join(words)
