"""The guard: strings the rooms together, from a program and a setup to a mended program, a diff and a log.

    from gcode_guard.guard import guard
    with Source.from_path(path) as source:
        outcome = guard(source, load_setup("bench.toml"))

One pass to look for facts, one to read, judge and mend, one to copy. Everything that grows with the program lies on
disk in temporary files until it is proven.
"""

from __future__ import annotations

import pickle
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from math import inf
from typing import IO, TYPE_CHECKING, Any

import numpy as np

from . import __version__
from .judge import Examined, Judge
from .lengths import length
from .mend import Batch, Mender
from .program.interpreter import left_behind
from .program.lane import Stretch
from .program.lane_offer import Known
from .program.lane_reader import LaneReader
from .program.moves import Step
from .program.reader import Reader
from .program.scan import Facts, look_through
from .program.state import ANY_TOOL
from .record.diff import DiffWriter, split_lines
from .record.findings import Assumption, Change, Finding, Run
from .record.log import LogSpool
from .record.summary import Summary, unchecked
from .repair.edits import Edit
from .rules import rules_of, trouble_with_tools
from .setup.model import Setup
from .source import Source
from .verdicts import Verdicts
from .verify import verify

if TYPE_CHECKING:
    from .timing import Times

MOST_REASONS = 10_000  # findings that refuse and are kept in memory; the log has them all
Progress = Callable[[int], None]
HELD_AT_ONCE = 1000  # changes


@dataclass(slots=True)
class Outcome:
    """What became of a program. `output` and `diff` are open temporary files, empty where it was refused."""

    summary: Summary
    reasons: list[Finding]
    output: IO[bytes]
    diff: IO[bytes]
    log: LogSpool
    run: Run
    defect: str = ""
    changes: list[Change] = field(default_factory=list)

    @property
    def exit(self) -> int:
        return self.summary.exit

    def close(self) -> None:
        self.output.close()
        self.diff.close()
        self.log.close()


class _Copier:
    """Copies the program with its edits, in batches that are not taken apart where they stay, and tells the diff."""

    def __init__(self, source: Source, output: IO[bytes], diff: IO[bytes]) -> None:
        self._source = source
        self._output = output
        self._diff = DiffWriter(diff)  # type: ignore[arg-type]
        self._data, self._place = source.batch(0)
        self._lines = _count(self._data)
        self._line = 0  # lines copied so far
        self._edits: dict[int, Edit] = {}

    def up_to(self, line: float, edits: dict[int, Edit]) -> None:
        """Takes the edits up to and with `line`, and copies what is complete."""
        self._edits.update(edits)
        while self._data and self._line + self._lines <= line:
            self._copy()
            self._data, self._place = self._source.batch(self._place)
            self._lines = _count(self._data)

    def _copy(self) -> None:
        edits = sorted(line for line in self._edits if line <= self._line + self._lines)
        if edits:
            self._copy_apart(edits)
        else:
            self._output.write(self._data)
            self._diff.same_bulk(self._data, self._lines)
        self._line += self._lines

    def _copy_apart(self, edits: list[int]) -> None:
        lines = split_lines(self._data)
        changed = [(line - self._line - 1, self._edits.pop(line).new) for line in edits]
        copied = 0
        for number, new in changed:
            self._output.writelines(lines[copied:number])
            self._output.writelines(new)
            copied = number + 1
        self._output.writelines(lines[copied:])
        self._diff.edited(lines, changed)

    def finish(self, edits: dict[int, Edit]) -> None:
        self.up_to(inf, edits)
        self._diff.finish()
        self._output.flush()


def _ignore(about: str, text: str) -> None:
    """Takes an assumption of a trial, which is told already."""


def _count(data: bytes) -> int:
    lines = int(np.count_nonzero(np.frombuffer(data, dtype=np.uint8) == 10))
    return lines + (bool(data) and not data.endswith(b"\n"))


def guard(source: Source, setup: Setup, *, tool: int | None = None, progress: Progress | None = None,
          prove: bool = True, lane: bool = True) -> Outcome:
    """Guards one program. Never raises for what the program says: the outcome carries the reasons.

    Without `lane` every block is read by the exact reader: slower, and with the same outcome.
    Raises OSError from reading or writing temporary files, SourceChanged where the program changes meanwhile.
    """
    work = _Work(source, setup, tool, progress, lane)
    work.mend()
    if work.mender.exit == 0 and prove:
        work.prove()
    work.tell_changes()
    source.check_unchanged()
    return work.outcome()


class _Work:
    """One program on its way through."""

    def __init__(self, source: Source, setup: Setup, tool: int | None, progress: Progress | None, lane: bool) -> None:
        self.source, self.setup, self.tool, self.progress, self.lane = source, setup, tool, progress, lane
        self.judge = Judge(setup)
        self.log = LogSpool()
        self.reasons: list[Finding] = []
        self.findings = self.changes = self.assumptions = 0
        self.kept: list[Change] = []
        self.held_changes: IO[bytes] = tempfile.TemporaryFile()
        self.rapid_s: float | None = None
        self.added_s: float | None = None
        self.mender = Mender(self.judge, self._tell, self._assume_once)
        self._assumed: set[str] = set()
        self.output: IO[bytes] = tempfile.TemporaryFile()
        self.diff: IO[bytes] = tempfile.TemporaryFile()
        self.defect = ""

    def _tell(self, finding: Finding) -> None:
        self.findings += 1
        self.log.add(finding)
        if finding.kind not in ("close", "in-stock") and len(self.reasons) < MOST_REASONS:
            self.reasons.append(finding)

    def _assume(self, about: str, text: str) -> None:
        self.assumptions += 1
        self.log.add(Assumption(about, text))

    def _assume_once(self, about: str, text: str) -> None:
        if about not in self._assumed:
            self._assumed.add(about)
            self._assume(about, text)

    def mend(self) -> None:
        facts = look_through(self.source, self.setup.program.block_delete == "skip")
        problem = trouble_with_tools(self.setup, facts, self.tool)
        if problem is not None:
            self.mender.refuse(4)
            self._tell(Finding(problem[0], "not-understood", problem[1], advice=problem[2]))
        rules = rules_of(self.setup, facts, self.tool)
        self.facts, self.rules, self.known = facts, rules, Known(facts)
        self.mender.rules = rules
        reader = self._reader(self.source)
        copier = _Copier(self.source, self.output, self.diff)
        held: dict[int, Edit] = {}
        for batch in self.mender.batches(self._watched(reader)):
            self._take(batch, facts, copier, held)
        if self.mender.exit == 3 and self.mender.totals.blocked:
            from .advice import advise

            totals = self.mender.totals
            totals.advice = advise(lambda: self._reader(self.source), self.judge, totals.blocked, self._refusals,
                                   totals.counts.blocks)
        self.mender.finish(reader.interpreter.state.ended)
        if facts.calls:
            self._changed(held)
        if self.mender.exit == 0:
            copier.finish(held)
        self._assumptions(reader, facts)

    def _refusals(self, setup: Setup) -> frozenset[tuple[str, str | None]]:
        """What of the program would be refused on another bench: kinds of finding and obstacles."""
        found: list[Finding] = []
        reader, mender = self._reader(self.source), Mender(Judge(setup), found.append, _ignore)
        for _ in mender.batches(reader):
            pass
        mender.finish(reader.interpreter.state.ended)
        return frozenset((f.kind, f.obstacle) for f in found if f.kind not in ("close", "in-stock"))

    def _take(self, batch: Batch, facts: Facts, copier: _Copier, held: dict[int, Edit]) -> None:
        if facts.calls:
            for line, edit in batch.edits.items():
                before = held.get(line)
                if before is None or edit.rank > before.rank:
                    held[line] = edit
            return
        self._changed(batch.edits)
        if self.mender.exit == 0:
            copier.up_to(batch.last_line, batch.edits)

    def _watched(self, reader: Reader | LaneReader) -> Iterator[Step | Stretch]:
        for count, step in enumerate(reader):
            if self.progress is not None and (not count % 1000 or isinstance(step, Stretch)):
                self.progress(step.last if isinstance(step, Stretch) else step.block.line)
            yield step
            if isinstance(step, Stretch):
                self._remember(step)

    def _remember(self, stretch: Stretch) -> None:
        """Keeps in mind for the proof what the bytes of a stretch do, and whether any of it may be wrong."""
        assert isinstance(stretch.examined, Examined)
        verdicts = Verdicts(self.judge, stretch.moves, stretch.examined)
        self.known.add(stretch, bool(verdicts.wrong.any()))

    def _changed(self, edits: dict[int, Edit]) -> None:
        """Holds back changes, as what a `Change` takes: some at once are written and read several times faster."""
        lines, names = sorted(edits), self.judge.names
        self.changes += len(lines)
        for some in range(0, len(lines), HELD_AT_ONCE):
            changes = [(edit.line, edit.kind, tuple([names[k] for k in edit.obstacles]), edit.programmed, edit.needed,
                        edit.level, (edit.raw,), tuple(edit.new))
                       for edit in map(edits.__getitem__, lines[some : some + HELD_AT_ONCE])]
            pickle.dump(changes, self.held_changes)

    def tell_changes(self) -> None:
        """Logs the changes, each with the time that it adds, once the mended program is whole."""
        times = self._times()
        at = 0
        for some in self._held():
            if times is not None:
                added = times.added[at : at + len(some)].tolist()
                some = [(*told, seconds) for told, seconds in zip(some, added, strict=True)]
            at += len(some)
            changes = [Change(*told) for told in some]
            self.log.add_all(changes)
            self.kept += changes[: MOST_REASONS - len(self.kept)]
        self.held_changes.close()
        if times is not None:
            self.rapid_s, self.added_s = times.rapids, times.whole

    def _held(self) -> Iterator[list[tuple[Any, ...]]]:
        """The changes held back, some at once."""
        self.held_changes.seek(0)
        left = self.changes
        while left:
            some = pickle.load(self.held_changes)
            left -= len(some)
            yield some

    def _times(self) -> Times | None:
        if self.mender.exit or self.setup.machine.rapid_rate is None or self.setup.machine.acceleration is None:
            return None
        from .timing import times_of

        after = self._reader(Source(self.output, "output")) if self.changes else None
        changed = [np.array([(told[0], len(told[7])) for told in some], dtype=np.int64) for some in self._held()]
        lines, became = np.concatenate([np.zeros((0, 2), dtype=np.int64), *changed]).T
        return times_of(self._reader(self.source), after, lines, became, self.setup)

    def _reader(self, source: Source) -> Reader | LaneReader:
        """A reader of the program, or of what was made of it."""
        if self.lane and not self.facts.calls:
            return LaneReader(source, self.rules, self.facts)
        return Reader(source.lines(), self.rules, self.facts)

    def _assumptions(self, reader: Reader | LaneReader, facts: Facts) -> None:
        interpreter = reader.interpreter
        for about, text in interpreter.assumptions.items():
            self._assume(about, text)
        state = interpreter.state
        if not state.feed_mode_said:
            self._assume("feed mode", "feeds are taken as units a minute (G94)")
        self._assume("left over", "no offset and no compensation is taken to be left over from an earlier program")
        if facts.tools and not facts.changes_tool:
            self._assume("tool", "a T word without M6 is taken as the tool in the spindle")
        for assumption in unchecked(self._cutter_only()):
            self._assume(assumption.about, assumption.text)
        for what in left_behind(state, interpreter.rules):
            self._assume("left behind", f"the program ends with {what} in force; the next one may not expect it")
        if self.setup.machine.reach is None and self.mender.highest_written > -inf:
            self._assume("highest Z", f"the setup gives no reach: the machine is taken to have the height of"
                         f" {length(self.mender.highest_written, self.setup.units)} that was written")

    def prove(self) -> None:
        """Reads the output as it was written and proves it against the program."""
        output = Source(self.output, "output")
        proof = verify(self.source, output, self.setup, self.tool, lane=self.lane, known=self.known)
        if proof.holds:
            return
        if self.mender.calls:
            self._calls_at_odds(proof.before_line or 1, proof.what)
            return
        self.defect = f"line {proof.before_line or proof.after_line or 1}: {proof.what}"
        self.mender.refuse(3)
        self._tell(Finding(proof.before_line or 1, "not-understood",
                           f"the mended program does not stand its proof: {proof.what}",
                           advice="this is a defect of gcode-guard: please report it with both files"))

    def _calls_at_odds(self, line: int, what: str) -> None:
        """No edit of a body serves every call of it."""
        calls = "; ".join(f"O{number} from {'lines' if len(lines) > 1 else 'line'} {', '.join(map(str, sorted(lines)))}"
                          for number, lines in sorted(self.mender.calls.items()))
        self.mender.refuse(3)
        self._tell(Finding(line, "rapid-contact", f"one edit cannot serve all calls of a subprogram ({calls}): {what}",
                           advice="write the calls out as plain blocks, or raise the traverse in the program"))

    def _cutter_only(self) -> bool:
        """Whether nothing above the cutter is modelled for a tool that the program may use: for any, where it was not
        read as far as to name one or to move."""
        used = self.mender.totals.tools_used
        return bool(self.setup.bare_tools(used if used and ANY_TOOL not in used else None))

    def outcome(self) -> Outcome:
        mender = self.mender
        status = mender.exit
        if status and not self.defect:
            self.output.truncate(0)
        if status:
            self.diff.truncate(0)
        verdict = "refused" if status else "repaired" if self.changes else "safe"
        counts = mender.totals.counts
        dates = [o.measured_on for o in self.setup.obstacles if o.measured_on] + \
            ([self.setup.measured_on] if self.setup.measured_on else [])
        summary = Summary(
            program=self.source.name, verdict=verdict, exit=status, blocks=counts.blocks,  # type: ignore[arg-type]
            rapids=counts.rapids, cuts=counts.cuts, changes=self.changes, findings=self.findings,
            obstacles=len(self.setup.obstacles), assumptions=self.assumptions,
            rapid_s=self.rapid_s, added_s=self.added_s, cutter_only=self._cutter_only(),
            highest_written_z=mender.highest_written if self.setup.machine.reach is None
            and mender.highest_written > -inf else None,
            oldest_measured_on=min(dates) if dates else None, units=self.setup.units)
        run = Run(__version__, self.source.name, self.source.sha256, self.setup.sha256)
        return Outcome(summary, self.reasons, self.output, self.diff, self.log, run, self.defect, self.kept)
