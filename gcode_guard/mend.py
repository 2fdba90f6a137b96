"""Steps to edits: builds batches of steps, has them judged, sorts them into runs and has the bad runs planned."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from math import inf
from typing import TYPE_CHECKING

from .headroom import Headroom
from .judge import Examined, Hit, Judge, in_the_way
from .lengths import length
from .mend_lane import StretchMender, stand
from .program.lane import Stretch
from .program.moves import Kind, Move, Moves, Step, different, table
from .program.state import Coordinate, Rules, bounds, known
from .reach import beyond
from .record.findings import Finding
from .repair.air import is_air_feed, lift_air_feed
from .repair.edits import Draft, Edit, Trouble
from .repair.put_in import rises_and_descents
from .repair.run import Leg, Run, Runs, taken_height
from .repair.series import Series
from .repair.write import STYLED_RUNS, Style
from .rules import ceiling, reach_box
from .totals import Totals, add

if TYPE_CHECKING:
    from .quickest import Quickest

BATCH = 4000  # steps; a batch ends with the next run that ends


@dataclass(slots=True)
class Batch:
    """Blocks whose runs are complete: the edits by line, and the last line."""

    edits: dict[int, Edit]
    last_line: int


class Mender:
    """Judges and mends the steps of one program. `findings` are told as they are found, in the order of lines
    within a batch; `refused` says whether any of them refuses the program, and with which exit status."""

    def __init__(self, judge: Judge, tell: Callable[[Finding], None], assume: Callable[[str, str], None]) -> None:
        self.judge = judge
        self.setup = judge.setup
        self._tell = tell
        self._assume = assume
        self._found: list[tuple[int, Finding | tuple[str, str]]] = []
        self.totals = Totals(self.setup.units)
        self.headroom = Headroom(judge)
        self.style = Style()
        self.exit = 0
        self.carry: Coordinate | None = None
        self.pending: Step | None = None
        self.highest_written = -inf
        self.first_run = True
        self.series = Series()
        self.rules: Rules | None = None
        self.calls: dict[int, set[int]] = {}
        self.styled = 0

    def batches(self, steps: Iterable[Step | Stretch]) -> Iterator[Batch]:
        """Groups steps into batches that cut no run in two, and mends each; a stretch is a batch of its own."""
        runs = Runs()
        waiting: list[Step] = []
        for step in steps:
            if isinstance(step, Stretch):
                if waiting:
                    yield self._mend(waiting, runs, last=False)
                    waiting = []
                yield self._mend_stretch(step, runs)
                continue
            waiting.append(step)
            if len(waiting) >= BATCH and _leaves_no_run(step):
                yield self._mend(waiting, runs, last=False)
                waiting = []
        yield self._mend(waiting, runs, last=True)

    def tell(self, finding: Finding) -> None:
        """Notes a finding; those of a batch are told in the order of their lines."""
        self._found.append((finding.line, finding))

    def assume(self, about: str, text: str, line: int) -> None:
        """Notes an assumption, likewise."""
        self._found.append((line, (about, text)))

    def _tell_found(self) -> None:
        for _, found in sorted(self._found, key=lambda noted: noted[0]):
            if isinstance(found, Finding):
                self._tell(found)
            else:
                self._assume(*found)
        self._found.clear()

    def _mend_stretch(self, stretch: Stretch, runs: Runs) -> Batch:
        drafts: dict[int, Draft] = {}
        mending = StretchMender(self, stretch, runs, drafts)
        mending.mend()
        batch = self._batch(drafts, stretch.last)
        for line, edit in mending.edits.items():
            batch.edits[line] = edit
            self.highest_written = max(self.highest_written, -inf if edit.level is None else edit.level)
        return batch

    def refuse(self, status: int) -> None:
        self.exit = max(self.exit, status)

    def _mend(self, steps: list[Step], runs: Runs, last: bool) -> Batch:
        for step in steps:
            stand(step)
        moves = [move for step in steps for move in step.moves]
        columns = table(moves)
        examined = self.judge.examine(columns)
        legs = self._legs(moves, examined)
        self._count(steps, moves)
        self._tell_refusals(steps)
        drafts: dict[int, Draft] = {}
        step_of = [step for step in steps for _ in step.moves] if examined.touched else []
        self.cuts(columns, examined, drafts, step_of.__getitem__)
        self._reach(moves, columns)
        self._own_motions(steps)
        self.tell_beside(columns)
        at = 0
        for step in steps:
            self._watch_motion(step)
            runs.add(step, legs[at : at + len(step.moves)])
            at += len(step.moves)
        if last:
            runs.close()
        closed, runs.closed = runs.closed, []
        for run in closed:
            self.run(run, drafts)
            if self.pending is not None:
                self._watch_after(steps)
        return self._batch(drafts, steps[-1].block.line if steps else 0)

    def _batch(self, drafts: dict[int, Draft], last_line: int) -> Batch:
        """What became of a batch, told and ready to be copied."""
        edits: dict[int, Edit] = {}
        touched = [draft for draft in drafts.values() if draft.touched]
        moved = [draft for draft in touched if draft.moves]
        if moved:
            needed = self.judge.needed(table([move for draft in moved for move in draft.moves])).tolist()
            for draft in moved:
                draft.needed = max(needed[: len(draft.moves)])
                del needed[: len(draft.moves)]
        for draft in touched:
            _merge(edits, draft.edit(self.style.ending))
            self.highest_written = max(self.highest_written, -inf if draft.level is None else draft.level)
        self._tell_found()
        return Batch(edits, last_line)

    def tell_beside(self, columns: Moves) -> None:
        """What is only reported: rapids through the stock, bristles that brush."""
        deepest: dict[int, tuple[bool, float]] = {}
        for row, depth in self.judge.in_stock(columns):
            line, exact = int(columns.line[row]), bool(columns.exact[row])
            before = deepest.get(line, (False, 0.0))
            deepest[line] = exact or before[0], max(depth, before[1])
        for line, (exact, depth) in deepest.items():
            self.tell(Finding(line, "in-stock", f"a rapid {'goes' if exact else 'may go'} sideways with the tip below"
                              " the stock's top", by=depth))
        self._tell_close("brushed", self.judge.brushed(columns), columns)

    def _watch_after(self, steps: list[Step]) -> None:
        """Looks for the next motion among the steps behind the one before which a G0 was put in."""
        place = next((k for k, step in enumerate(steps) if step is self.pending), -1)
        for step in steps[place + 1 :]:
            self._watch_motion(step)

    def _legs(self, moves: list[Move], examined: Examined) -> list[Leg]:
        hits: dict[int, list[Hit]] = {}
        for hit in examined.clipped:
            hits.setdefault(hit.move, []).append(hit)
        return [Leg(move, bool(examined.clips[k]), bool(examined.contact[k]), float(examined.needed[k]),
                    *in_the_way(hits.get(k, ()))) for k, move in enumerate(moves)]

    def _count(self, steps: list[Step], moves: list[Move]) -> None:
        self.totals.counts.blocks += len(steps)
        rapids = sum(move.kind == Kind.RAPID and not move.shadow for move in moves)
        self.totals.counts.rapids += rapids
        self.totals.counts.cuts += sum(not move.shadow for move in moves) - rapids
        self.totals.tools_used.update(move.tool for move in moves)

    def _tell_refusals(self, steps: list[Step]) -> None:
        for step in steps:
            if step.call is not None:
                self.calls.setdefault(step.call[0], set()).add(step.block.line)
            for refusal in step.refusals:
                self.refuse(4)
                self.tell(Finding(refusal.line, "not-understood", refusal.what, advice=refusal.advice))

    def _watch_motion(self, step: Step) -> None:
        """After a G0 that was put in before a G28, the next motion must state itself."""
        if self.pending is None or not step.moves or {"G28", "G30"} & set(step.codes):
            return
        if not any(code in ("G0", "G1", "G2", "G3") or code.startswith(("G8", "G73", "G38")) for code in step.codes):
            self._trouble(Trouble(self.pending.block.line, 3, "a rise put in before this block would change the motion"
                                  f" of line {step.block.line}, which does not state its own",
                                  f"write G1 (or what it is) on line {step.block.line}"))
        self.pending = None

    # Cuts and reach -------------------------------------------------------------------------------------------

    def cuts(self, columns: Moves, examined: Examined, drafts: dict[int, Draft],
             step_of: Callable[[int], Step]) -> None:
        """Cuts that make contact and such as come close; `step_of` gives the block of a row."""
        touched = _of_cuts(examined.touched, columns)
        self._tell_close("spoiled", [hit for hit in touched if self.judge.sacrificial[hit.obstacle]], columns)
        for hit in touched:
            if self.judge.sacrificial[hit.obstacle]:
                continue
            if self._may_be_air(columns, hit.move) and self._air_feed(step_of(hit.move), hit, drafts):
                continue
            self.refuse(3)
            add(self.totals.cut_contacts, hit, int(columns.line[hit.move]))
        met = {(hit.move, hit.obstacle) for hit in touched}
        near = [hit for hit in _of_cuts(examined.clipped, columns) if (hit.move, hit.obstacle) not in met]
        self._tell_close("cut", near, columns)

    def _tell_close(self, what: str, hits: list[Hit], columns: Moves) -> None:
        """Tells what comes close, once for each line and obstacle: the deepest of it."""
        lines: dict[tuple[int, int], float] = {}
        for hit in hits:
            key = int(columns.line[hit.move]), hit.obstacle
            lines[key] = max(hit.depth, lines.get(key, -inf))
        for finding in self.totals.comes_close(what, lines, self.judge.names):
            self.tell(finding)

    def _may_be_air(self, columns: Moves, row: int) -> bool:
        """False for what is surely no traverse at feed: most cuts, told without a look at their blocks."""
        stock = self.setup.stock
        return (stock is not None and bool(columns.start[row, 2] == columns.end[row, 2])
                and bool(columns.start[row, 2] >= stock.top + self.setup.clearance.above))

    def _air_feed(self, step: Step, hit: Hit, drafts: dict[int, Draft]) -> bool:
        """Lifts a traverse at feed where the setup allows it; notes what level it needs elsewhere."""
        stock = self.setup.stock
        if stock is None or not is_air_feed(step, stock.top + self.setup.clearance.above):
            return False
        move = step.moves[0]
        needed = float(self.judge.needed(table([replace(move, kind=Kind.RAPID)]))[0])
        if not self.setup.repair.air_feeds:
            passes = float(self.judge.needed(table([move]), touching=True)[0])
            self.totals.needs_level(hit.obstacle, passes, needed)
            return False
        ends = table([replace(move, start=place, end=place, upright=True) for place in (move.start, move.end)])
        if needed == inf or needed > ceiling(self.setup, move.tool) or self.judge.examine(ends).contact.any():
            return False
        if id(step) not in drafts:
            self.style = self.style.seen([(step.block.text, step.block.ending)])
            drafts[id(step)] = lift_air_feed(step, needed, self.style)
            self.assume(f"line {move.line}", "a traverse at feed is lifted like a rapid, and goes up, across and down"
                        f" at its own feed{self._feed(move)} (air_feeds)", move.line)
        drafts[id(step)].obstacles.add(hit.obstacle)
        return True

    def _feed(self, move: Move) -> str:
        return f" of {length(float(move.feed), self.setup.units)} a minute" if move.feed is not None else ""

    def finish(self, ended: bool) -> None:
        """Tells what is summed up over the whole program. `ended`: it ended with M2 or M30, which put G1 in force."""
        if self.pending is not None and not ended:
            self._trouble(Trouble(self.pending.block.line, 3, "a rise put in before this block would leave another"
                                  " motion in force at the end", "end the program with M30"))
        for finding in self.totals.findings(self.judge.names):
            self.tell(finding)
        self._tell_found()

    def _own_motions(self, steps: list[Step]) -> None:
        """What the machine does by itself at a code, as `machine.own_motion` says."""
        for step in steps:
            for effect in step.effects:
                mode = self.setup.machine.own_motion.get(effect.what, "none")
                if mode == "none":
                    continue
                if mode == "z-first":
                    self.assume(effect.what, f"{effect.what} is taken to raise the tool before the machine moves it",
                                step.block.line)
                    continue
                self.assume(effect.what, f"{effect.what} is taken to move the tool anywhere over the table at its"
                            " height", step.block.line)
                move = Move(step.block.line, Kind.RAPID, effect.position, effect.position, effect.tool, None,
                            step.before.corner)
                if self.headroom.clear_of_all(move) > bounds(effect.position[2])[0]:
                    self.refuse(3)
                    self.tell(Finding(step.block.line, "rapid-contact", f"{effect.what} may move the tool anywhere over"
                                      " the table, and it does not stand above everything here",
                                      advice="raise the tool before it in the program, or mend machine.own_motion"))

    def _reach(self, moves: list[Move], columns: Moves) -> None:
        """Tells which moves leave the reach. Homing is not judged, nor a second reading."""
        if self.setup.machine.reach is None:
            return
        for tool in different(columns.tool):
            for row, axis, number, _, by in beyond(columns, reach_box(self.setup, tool)):
                move = moves[row]
                if move.tool == tool and not (move.shadow or move.part in ("home", "home-all")):
                    self.outside_reach(move.line, "XYZ"[axis], number, by)

    def outside_reach(self, line: int, axis: str, number: float, beyond: float) -> None:
        self.refuse(3)
        self.totals.leaves_reach(line, axis, number, beyond)

    # Runs -----------------------------------------------------------------------------------------------------

    @cached_property
    def quickest(self) -> Quickest:
        """What plans the runs."""
        from .quickest import Quickest

        planner = Quickest(self.judge, self.headroom)
        planner.rules = self.rules
        return planner

    def run(self, run: Run, drafts: dict[int, Draft]) -> None:
        assert run.start is not None
        actual = run.start[2]
        if self.carry is not None and not run.fresh and not all(known(c) for c in run.start):
            actual = self.carry
        self.carry = None
        restate = self.series.returns_elsewhere(run)
        if not run.bad and actual == run.start[2] and not restate:
            if self.styled < STYLED_RUNS:
                self._note_style(run)
            self._close_rapids(run)
            return
        self._note_style(run)
        if self._ends_inside(run):
            return
        from .repair.limits import Stuck, trouble_of  # most programs need none of it

        try:
            planned = self.quickest.plan(run, self.style, actual, drafts, restate)
        except Stuck as stuck:
            self._trouble(trouble_of(stuck, run))
            return
        plan, left = planned.plan, planned.left
        plan.name_obstacles()
        if plan.begun_at is not None:
            self.series.begun_at = plan.begun_at
        if plan.pending_motion is not None:
            self.pending = plan.pending_motion
        if left != run.end[2] and not all(known(c) for c in run.end):
            self.carry = left
            if run.taken is not None:
                self._trouble(taken_height(run.taken))
        self._close_rapids(run)
        self._close_put_in(rises_and_descents(run))

    def _note_style(self, run: Run) -> None:
        self.note_style([(item.step.block.text, item.step.block.ending) for item in run.items])

    def note_style(self, texts: list[tuple[str, str]]) -> None:
        """Looks at how the blocks of a run are written: texts and line ends."""
        self.styled += 1
        self.style = self.style.seen(texts)

    def _ends_inside(self, run: Run) -> bool:
        """A run that ends (or a program that starts) in contact cannot be mended by a lift."""
        first, self.first_run = self.first_run, False
        places = [(run.end, run.items[-1], "ends")]
        if first and run.start is not None:
            places.append((run.start, run.items[0], "starts"))
        for place, item, which in places:
            if place is None or not all(known(c) for c in place) or not item.legs:
                continue
            if not any(leg.contact for leg in item.legs):
                continue
            leg = item.legs[-1 if which == "ends" else 0]
            x, y, z = (bounds(c)[0] for c in place)
            if self.judge.is_clear((x, y, z), leg.move.tool, leg.move.grow):
                continue
            point = replace(leg.move, start=place, end=place, upright=True)
            found = self.judge.examine(table([point]))
            if found.contact[0]:
                hit = max(found.touched, key=lambda h: h.depth)
                self.refuse(3)
                sums = self.totals.ends_inside if which == "ends" else self.totals.starts_inside
                add(sums, hit, item.step.block.line)
                return True
        return False

    def _close_rapids(self, run: Run) -> None:
        for item in run.items:
            for leg in item.legs:
                if leg.clips and leg.exempt and not leg.move.shadow:
                    self.tell_close(leg.move.line, leg.obstacles, leg.depths)

    def _close_put_in(self, points: list[Move]) -> None:
        examined = self.judge.examine(table(points)) if points else None
        if examined is None or not examined.clips.any():
            return
        for leg in self._legs(points, examined):
            if leg.clips and leg.exempt:
                self.tell_close(leg.move.line, leg.obstacles, leg.depths)

    def tell_close(self, line: int, obstacles: Iterable[int], depths: Iterable[float]) -> None:
        """Tells that an upright rapid comes close to some obstacles, and how deep in their clearance, mm."""
        for obstacle, depth in zip(obstacles, depths, strict=True):
            name = self.judge.names[obstacle]
            self.tell(Finding(line, "close", f"an upright rapid comes inside the clearance of \"{name}\" without"
                              " contact", name, depth))

    def _trouble(self, trouble: Trouble) -> None:
        self.refuse(trouble.exit)
        name = self.judge.names[trouble.obstacle] if trouble.obstacle is not None else None
        about = f"a rapid comes inside the clearance of \"{name}\": " if name else "a rapid cannot be mended: "
        kind = "rapid-contact" if trouble.exit == 3 else "not-understood"
        self.tell(Finding(trouble.line, kind, about + trouble.what, name, trouble.by, trouble.advice))  # type: ignore[arg-type]


def _of_cuts(hits: list[Hit], columns: Moves) -> list[Hit]:
    """The encounters of cuts."""
    kinds = columns.kind.take([hit.move for hit in hits]).tolist() if hits else []
    return [hit for hit, kind in zip(hits, kinds, strict=True) if kind]


def _leaves_no_run(step: Step) -> bool:
    """True where no rapid that could still be edited waits for its run to end after this step."""
    if step.moves:
        return step.moves[-1].kind != Kind.RAPID or step.moves[-1].part in ("retract", "peck")
    return any(all(known(c) for c in effect.position) for effect in step.effects)


def _merge(edits: dict[int, Edit], edit: Edit) -> None:
    """Puts an edit to those of its line. A block that several runs change (a cycle with repeats) grows its pieces."""
    known_edit = edits.get(edit.line)
    if known_edit is None or edit.rank > known_edit.rank:
        edits[edit.line] = edit


