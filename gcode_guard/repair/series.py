"""Series of canned cycles whose initial level a repair has raised.

A series that begins below its R level is led to its hole at that level or higher, and a G0 in the middle of a series
begins it anew: from then on G98 returns to where the mended program began it. For a later block with a lower R level
that would be another height than the program's own, so that block is stated anew too.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from ..program.codes import CYCLES
from ..program.state import Span
from .run import Run


@dataclass(slots=True)
class Series:
    """The initial level (mm) that the series in force has in the mended program; None where it is the program's own."""

    begun_at: Decimal | None = None

    def returns_elsewhere(self, run: Run) -> bool:
        """Whether the cycle that ends a run would return to another height than in the program; a run that begins a
        series begins it as the program does."""
        item = run.items[-1]
        if item.kind != "entry" or item.hole:
            return False
        step = item.step
        if step.before.motion not in CYCLES:
            self.begun_at = None
        level, cycle = item.legs[-1].move.end[2], step.after.cycle
        if self.begun_at is None or cycle is None or isinstance(cycle.initial, Span) or isinstance(level, Span) \
                or (step.after.retract == "G99" and step.after.retract_said):
            return False
        return max(cycle.initial, level) != max(self.begun_at, level)
