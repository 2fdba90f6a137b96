"""Behind a cycle of which nothing said whether it returns to the initial or to the R level (G98, G99).

The initial level is taken, as the report has it by default. Until a height is said again the tool may as well stand at
the R level: what goes across from there is followed at that height too, as a shadow, so that both must be safe.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from .errors import NotUnderstood
from .state import Position, Span

if TYPE_CHECKING:
    from .context import Context

TAKES_HEIGHT = frozenset({"G28.1", "G30.1"})
TAKES_HEIGHT_BY_Z = frozenset({"G92", "G10"})
ABSOLUTE = frozenset({"G28", "G30", "G53"})
ADVICE = "put G98 or G99 before the cycle, or into program.starts_in"


def other_reading(context: Context, start: Position, end: Position,
                  part: str = "plain") -> tuple[Position, Position] | None:
    """Where a move across leads by the other reading; None where there is none, or none that differs."""
    left = context.state.left
    if left is None or start[2] != left[0] or start[:2] == end[:2]:
        return None
    z = end[2]
    if part in ("plain", "by-way") and not isinstance(z, Span) and not (
            "Z" in context.words and context.state.distance == "G90"):
        z = left[1] + (z - left[0])
    elif z == start[2] and "Z" not in context.words:
        z = left[1]
    return (start[0], start[1], left[1]), (end[0], end[1], z)


def settle(context: Context) -> None:
    """Behind a block: what is left of the doubt. Raises NotUnderstood where the block took the height for a zero or a
    home."""
    state, left = context.state, context.state.left
    if left is None or state.cycle is not None:
        return
    codes, z = set(context.codes), state.position[2]
    if codes & TAKES_HEIGHT or ("Z" in context.words and codes & TAKES_HEIGHT_BY_Z):
        state.left = None
        raise NotUnderstood("the height at which the cycle before it left the tool is not known", ADVICE)
    if isinstance(z, Span):
        state.left = None
    elif "Z" in context.words and (state.distance == "G90" or codes & ABSOLUTE):
        state.left = None
    elif z != left[0]:
        state.left = (z, left[1] + (z - left[0])) if state.distance == "G91" and not codes & ABSOLUTE else None


def leave(context: Context, axis: int, level: Decimal, doubtful: bool) -> None:
    """Notes at which other height a block of a cycle may leave the tool."""
    z = context.state.position[2]
    context.state.left = (z, level) if doubtful and axis == 2 and not isinstance(z, Span) and z != level else None
