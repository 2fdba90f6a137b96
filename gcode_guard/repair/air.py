"""Traverses at feed: a level G1 high over the stock that would meet an obstacle is lifted over it, at its own feed.

Only where the setup allows it (`[repair] air_feeds`). Up, across and down are all G1, so that nothing that is in force
changes; the feed of the way across is said on it, whether or not the block had an F of its own.
"""

from __future__ import annotations

from decimal import Decimal

from ..program.moves import Kind, Step
from .edits import Draft
from .surgery import Apart, axis_words, text_of
from .write import Pen, Style


def is_air_feed(step: Step, floor: float) -> bool:
    """True for a block that is one level straight cut wholly at or above `floor` (mm), and nothing more intricate."""
    if len(step.moves) != 1 or step.frozen or step.after.feed_mode == "G93" or "G53" in step.codes:
        return False
    move = step.moves[0]
    if move.kind != Kind.CUT or not move.exact or move.start[2] != move.end[2] or move.upright:
        return False
    return float(move.start[2]) >= floor  # type: ignore[arg-type]


def _feed_words(step: Step, style: Style) -> list[str]:
    """The feed of a block, as it says it itself or as what is in force."""
    own = [text_of(step.block, word) for word in step.block.words if word.letter == "F" and word.literal]
    if own or step.after.feed is None:
        return own
    return [f"{style.letter('F')}{(step.after.feed / step.after.scale()).normalize():f}"]


def lift_air_feed(step: Step, needed: float, style: Style) -> Draft:
    """The block as up, across and down, at least at `needed` (mm)."""
    block, move = step.block, step.moves[0]
    words = axis_words(block)
    z = move.start[2]
    assert isinstance(z, Decimal)
    pen = Pen(style, step.after)
    rise, reached = pen.rise(needed, z)
    feed = style.rapid[:-1] + "1"
    across = [text_of(block, words[letter]) for letter in "XY" if letter in words]
    apart = Apart(block)
    slash = "/" if block.deleted else ""
    texts = [apart.first([rise], style.gap), slash + style.gap.join([feed, *across, *_feed_words(step, style)]),
             slash + style.gap.join([feed, pen.exactly(2, z, reached), *apart.last_words()])]
    draft = Draft(block, own=texts, programmed=float(z), level=float(reached))
    draft.moves = [move]
    return draft
