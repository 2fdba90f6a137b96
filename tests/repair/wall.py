"""Runs planned by themselves, against one wall across the table, without a setup and without geometry.

The wall stands from X80 to X120 wherever Y is below 250, 18 mm high: by the arithmetic of test_tables.py a rapid must
stay above 23 mm between X72 and X128, and nothing may be lower than 19 between X76 and X124. A rapid counts as low as
its lower end all along, and as near as any place between its ends.

Where a program is planned against two walls, the second, number 1, stands from X480 to X520 and is 20 mm higher: above
43 mm between X472 and X528, and nothing lower than 39 between X476 and X524.
"""

from __future__ import annotations

from decimal import Decimal
from math import inf
from typing import Any, NamedTuple

from gcode_guard.mend import stand
from gcode_guard.program.moves import Move
from gcode_guard.program.state import HIGH, Coordinate, all_known, bounds, known
from gcode_guard.repair.edits import Draft
from gcode_guard.repair.limits import Limits, Stuck, trouble_of
from gcode_guard.repair.planner import Plan
from gcode_guard.repair.run import Leg, Run, Runs, lowest
from gcode_guard.repair.write import Style
from tests.language.reading import read

SAME = {"after_tool_change": "same"}
HOME = {"home_axes": "named", "home": (Decimal(200), Decimal(100), HIGH), "home2": (Decimal(200), Decimal(100), HIGH)}
STORED = HOME | {"home": (Decimal(200), Decimal(100), Decimal(25))}
IN_DOUBT = {"home_axes": "unknown"}
ZERO = {"zero": (Decimal(-10), Decimal(-20), Decimal(-50))}
UP = "G91 G28 Z0\nG90\n"  # at an unknown height above everything
LOW = "G0 Z5\nG1 Z-1\n"
SHIFTED = {"shifts": {"G54": (Decimal(0), Decimal(0), Decimal(0)), "G55": (Decimal(10), Decimal(20), Decimal(8))}}
KNOWN: tuple[float, float, float] = (0, 100, 30)
TOP = ('say where the tool stands: machine.start, or after_tool_change = "high" where M6 leaves it above'
       " everything")
CORNERS = [(60.0, 300.0), (140.0, 300.0)]  # round the end of the wall
NEEDED = 23.0


class Wall(NamedTuple):
    """From where to where it stands in X, how low a rapid may come near it, and how low anything may within it, mm."""

    first: float
    last: float
    needed: float
    contact: float


ONE = (Wall(80, 120, NEEDED, 19.0),)
TWO = (*ONE, Wall(480, 520, 43.0, 39.0))


def across(move: Move, first: float, last: float) -> bool:
    """Whether a move may come between two places in X, beside the end of the wall."""
    (a, b), (c, d) = bounds(move.start[0]), bounds(move.end[0])
    return min(a, c) < last and max(b, d) > first and min(bounds(y)[0] for y in (move.start[1], move.end[1])) < 250


def level(move: Move, walls: tuple[Wall, ...] = ONE) -> float:
    """The height at which the whole way of a rapid is clear, mm."""
    return max((wall.needed for wall in walls if across(move, wall.first - 8, wall.last + 8)), default=-inf)


def judged(move: Move, shoe: bool, walls: tuple[Wall, ...]) -> Leg:
    """A rapid with its verdict; under a shoe that stays with the gantry no height is enough."""
    low = min(lowest(move.start[2]), lowest(move.end[2]))
    near = [(k, wall) for k, wall in enumerate(walls) if across(move, wall.first - 8, wall.last + 8)]
    shoe = shoe and not move.upright and bool(near)
    met = tuple(k for k, wall in near if shoe or low < wall.needed)
    contact = shoe or any(low < wall.contact and across(move, wall.first - 4, wall.last + 4) for wall in walls)
    return Leg(move, bool(met), contact, inf if shoe else level(move, walls) if met else -inf, met)


def limits(**more: Any) -> Limits:
    """No ceiling; out of an unknown height 23 mm clear all, and nothing is let down below 3."""
    return Limits(**{"everything": NEEDED, "floor": 3.0, "level": level} | more)


class Planned:
    """What became of a program: `text`, or what was said where a run could not be mended."""

    def __init__(self, program: str, room: Limits, start: tuple[float, float, float] | None = (0, 100, 30),
                 shoe: bool = False, walls: tuple[Wall, ...] = ONE, **rules: Any) -> None:
        steps = read(program, start, **rules).steps
        runs = Runs()
        for step in steps:
            stand(step)
            runs.add(step, [judged(move, shoe, walls) for move in step.moves])
        runs.close()
        if len(walls) > 1:
            room.level = lambda move: level(move, walls)
        self.room, self.text, self.said = room, "", ""
        self.style = Style().seen([(step.block.text, step.block.ending) for step in steps])
        self.drafts: dict[int, Draft] = {}
        self.carry: Coordinate | None = None
        self.motion_pending: list[int] = []
        try:
            for run in runs.closed:
                self._plan(run)
        except Stuck as stuck:
            trouble = trouble_of(stuck, run)
            self.said = f"{trouble.exit} line {trouble.line}: {trouble.what}; {trouble.advice}"
            return
        for step in steps:
            draft = self.drafts.get(id(step))
            lines = draft.edit("\n").new if draft is not None else [step.block.raw]
            self.text += b"".join(lines).decode("latin-1")

    @property
    def told(self) -> list[tuple[int, str, float | None, float | None, float, int]]:
        """What the log is told of changed blocks: line, kind, programmed height, the height at which it runs now, the
        same in the program's own coordinates, and how many rapids the block has."""
        edits = [(draft.edit("\n"), len(draft.moves)) for draft in self.drafts.values() if draft.touched]
        return [(edit.line, edit.kind, edit.programmed, edit.level, edit.rank, rapids) for edit, rapids in edits]

    def _plan(self, run: Run) -> None:
        """As `mend.Mender.run`: at a place that is not known a run takes over at which height the last one left."""
        assert run.start is not None
        taken_over = self.carry is not None and not run.fresh and not all(known(c) for c in run.start)
        plan = Plan(run, self.style, self.room, self.carry if taken_over else run.start[2],  # type: ignore[arg-type]
                    self.drafts)
        left = plan.carry_out()
        # At the end of a run the tool stands where the program has it, as soon as it is known where that is.
        assert left == run.end[2] or not all_known(run.end)
        plan.name_obstacles()
        if plan.pending_motion is not None:
            self.motion_pending.append(plan.pending_motion.block.line)
        self.carry = left if left != run.end[2] and not all(known(c) for c in run.end) else None


def became(program: str, start: tuple[float, float, float] | None = KNOWN, room: dict[str, Any] | None = None,
           walls: tuple[Wall, ...] = ONE, **rules: Any) -> str:
    """What a program becomes; it must come through a second time as it is, without a look for a way round."""
    planned = Planned(program, limits(**(room or {})), start, walls=walls, **rules)
    assert not planned.said
    again = {key: value for key, value in (room or {}).items() if "round" not in key}
    assert Planned(planned.text, limits(**again), start, walls=walls, **rules).text == planned.text
    return planned.text
