"""The quickest of the repairs of a run: the plain plan and the one that the search over the whole run chose, both read
back by the interpreter, judged, and timed; the plain one where the other is not surely right and faster."""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass
from math import inf

from .headroom import Headroom
from .judge import Judge
from .program.interpreter import Interpreter
from .program.moves import Kind, Move, Step, table
from .program.state import Coordinate, Rules, Span, State
from .repair.choices import fastest
from .repair.edits import Draft
from .repair.limits import Limits, Stuck
from .repair.planner import Plan
from .repair.run import Leg, Run
from .repair.write import Style

FASTER = 1e-6  # s, by which a repair must be faster to be taken in place of the plain one


@dataclass(slots=True)
class Planned:
    """A plan that was carried out, and the height at which it leaves the tool."""

    plan: Plan
    left: Coordinate


class Quickest:
    """Plans the runs of one program. `rules` are those by which it is read; without them nothing is read back, and
    every run keeps its plain plan."""

    def __init__(self, judge: Judge, headroom: Headroom) -> None:
        self._judge, self._headroom = judge, headroom
        self.rules: Rules | None = None

    def plan(self, run: Run, style: Style, actual: Coordinate, drafts: dict[int, Draft], restate: bool) -> Planned:
        """Plans a run once or, where there is something to choose, twice, and puts what its blocks become into
        `drafts`. Raises Stuck where the plain plan is stuck."""
        limits = self._headroom.limits(run)
        choices = {}
        if self.rules is not None and limits.seconds is not None and not restate \
                and not any(id(item.step) in drafts for item in run.items):
            choices = fastest(run, actual, limits)
        if not choices:
            return _carry_out(Plan(run, style, limits, actual, drafts, restate=restate))
        plain = _carry_out(Plan(run, style, limits, actual))
        best, seconds = plain, self._seconds(plain, run, limits, check=False)
        try:
            other = _carry_out(Plan(run, style, limits, actual, choices=choices))
        except Stuck:
            other = plain
        if other is not plain and self._seconds(other, run, limits, check=True) < seconds - FASTER:
            best = other
        drafts.update(best.plan.drafts)
        return best

    def _seconds(self, planned: Planned, run: Run, limits: Limits, check: bool) -> float:
        """How long the rapids of a run take in a plan; inf where `check` finds them not to be what they must be."""
        assert limits.seconds is not None
        steps = self._read_back(planned.plan, run)
        moves = [move for step in steps for move in step.moves]
        if check and not self._right(steps, moves, run):
            return inf
        return sum(limits.seconds(*(_way(move, axis) for axis in range(3))) for move in moves
                   if move.kind == Kind.RAPID and not move.shadow)

    def _read_back(self, plan: Plan, run: Run) -> list[Step]:
        """The steps of what the blocks of a run become."""
        assert self.rules is not None
        interpreter = Interpreter(self.rules)
        old = list({id(item.step): item.step for item in run.items if item.kind != "fixed"}.values())
        interpreter.state = old[0].before
        steps: list[Step] = []
        for place, step in enumerate(old):
            if place:
                interpreter.state = _between(old[place - 1].after, interpreter.state, step.before)
            draft = plan.drafts.get(id(step))
            raws = [step.block.raw] if draft is None or not draft.touched else draft.edit(plan.style.ending).new
            steps += [interpreter.execute(step.block.line, raw) for raw in raws]
        return steps

    def _right(self, steps: Sequence[Step], moves: list[Move], run: Run) -> bool:
        """Whether steps are safe, and end as the run's own do."""
        before, after = run.items[-1].step.after, steps[-1].after
        if any(step.refusals for step in steps) or (before.position, before.motion) != (after.position, after.motion):
            return False
        rapids = [move for move in moves if move.kind == Kind.RAPID]
        examined = self._judge.examine(table(rapids))
        return not any(Leg(move, bool(examined.clips[k]), bool(examined.contact[k])).bad
                       for k, move in enumerate(rapids))


def _between(left: State, stands: State, before: State) -> State:
    """The state before a block whose rapids follow those of another one, where blocks that are no part of the run may
    lie in between (G90, say): `left` and `before` are in the program, and what the edits changed is in `stands`."""
    state = copy(before)
    state.position = stands.position
    if left.motion == before.motion:
        state.motion = stands.motion
    return state


def _carry_out(plan: Plan) -> Planned:
    return Planned(plan, plan.carry_out())


def _way(move: Move, axis: int) -> float:
    start, end = move.start[axis], move.end[axis]
    return 0.0 if isinstance(start, Span) or isinstance(end, Span) else float(end - start)
