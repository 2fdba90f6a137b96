"""Collects what the review page shows: reads the program and what was made of it once more, and draws nothing.

    write_page(out, source, setup, outcome, tool)
"""

from __future__ import annotations

import hashlib
import heapq
import itertools
import tempfile
from array import array
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from typing import IO, TYPE_CHECKING

from ..judge import Judge
from ..program.moves import Move, table
from ..program.state import ANY_TOOL, ANYWHERE
from ..record.findings import Change, Finding
from ..record.page_model import Backdrop, Item, Restart, ReviewPage, ToolChange
from ..record.page_pack import Packed, Packer
from ..record.summary import count
from ..setup.model import Setup
from ..source import Source
from .items import ItemMaker, Job
from .reading import CONTEXT, Reading, Seen, follow, new_reading
from .restart import RestartFinder
from .thin import Thinner
from .told import Told

if TYPE_CHECKING:
    from ..guard import Outcome

MOST_WHOLE = 300  # changes and findings that the page has drawn; with more the page itself draws what is asked for
DRAWN_CHANGES, DRAWN_FINDINGS = 60, 100  # of more: so many are drawn all the same, for print and without a script
WAY_PIECES = 4_000  # straight pieces for the ways of all changes together, where there are many
AT_ONCE = 400  # changes that are looked at together
BACKDROP_DETAIL = 400.0  # a backdrop may be off by as much as one part in so many of the picture's width


def write_page(out: IO[bytes], source: Source, setup: Setup, outcome: Outcome, tool: int | None) -> None:
    """Writes the review page of a guarded program, one HTML file, to `out`. Raises OSError from reading and writing."""
    from ..record.page import write_review

    with closing(collect(source, setup, outcome, tool)) as page:
        write_review(out, page)


def collect(source: Source, setup: Setup, outcome: Outcome, tool: int | None) -> ReviewPage:
    """All that the page tells of a program, in plain data."""
    with Told(outcome) as told:
        return _Collector(source, setup, outcome, tool, told).page()


class _Collector:
    """Reads a program, what was made of it and the log side by side."""

    def __init__(self, source: Source, setup: Setup, outcome: Outcome, tool: int | None, told: Told) -> None:
        self.source, self.setup, self.outcome, self.tool, self.told = source, setup, outcome, tool, told
        self.judge = Judge(setup)
        self.coarsest = _width(setup) / BACKDROP_DETAIL
        self.before, self.after = new_reading(self.coarsest), new_reading(self.coarsest)
        self.mended = outcome.exit == 0 and bool(told.lines)
        self.findings = told.reasons + told.others
        self.many = len(self.findings) + len(told.lines) > MOST_WHOLE
        self.deepest = told.deepest(DRAWN_CHANGES) if self.many else set()
        self.maker = ItemMaker(self.judge, told.lifted, told.rounds, self.before.hits)
        self.finder = RestartFinder(_HighEnough(self.judge), setup.offsets.bench)
        self.seen = {finding.line: Seen(finding.line) for finding in self.findings}
        self.near: dict[int, Change] = {}
        self.whole: list[Item] = []
        blobs = tempfile.TemporaryFile()
        self.packers = [Packer(blobs, setup) for _ in range(3)]
        self.ways = Thinner(WAY_PIECES, self.coarsest), Thinner(WAY_PIECES, self.coarsest)

    def page(self) -> ReviewPage:
        """Everything, read and put together."""
        told, outcome = self.told, self.outcome
        self._changes(len(told.reasons))
        self._findings(told.reasons, 1, True)
        self._findings(told.others, len(told.reasons) + len(told.lines) + 1, False)
        self.whole.sort(key=lambda item: item.number)
        page = ReviewPage(self.setup, outcome.run, outcome.summary, self.whole, _backdrop(self.before),
                          told.assumptions, hit=told.hit, led=told.led)
        if self.many:
            page.packed = Packed(self.packers, self.judge.as_box, {
                number: list(zip(a.from_.tolist(), a.radius.tolist(), a.part, strict=True))
                for number, a in self.judge.assemblies.items()})
            page.ways = Backdrop(self.ways[0].polylines(), self.ways[1].polylines(), off_by=max(
                ways.off_by for ways in self.ways), left_out=sum(ways.left_out for ways in self.ways))
        for candidate in self.finder.found:
            original = told.original(candidate.line) if self.mended else candidate.line
            page.restarts.append(Restart(candidate.line, original, candidate.tool, candidate.height))
        page.restarts_left_out = self.finder.more
        _tools(page, self.before, self.judge, self.tool)
        if outcome.exit == 0:
            page.mended_sha256 = _digest(outcome.output)
            page.mended_lines = (self.after if self.mended else self.before).lines
        self._notes(page)
        return page

    # The changes, in the order of the program -----------------------------------------------------------------

    def _changes(self, number: int) -> None:
        told = self.told
        merged = heapq.merge(sorted(self.seen), told.lines)
        wanted = array("q", (line for line, _ in itertools.groupby(merged)))
        contacts = any(finding.kind == "cut-contact" for finding in self.findings)
        unchanged = self.outcome.exit == 0 and not self.mended
        before = _Cursor(follow(self.source, self.judge, self.tool, wanted, self.before, mark_hits=contacts,
                                restarts=self.finder if unchanged else None), self._note_seen)
        after = _Cursor(follow(Source(self.outcome.output, "output"), self.judge, self.tool, told.firsts, self.after,
                               restarts=self.finder) if self.mended else iter(()))
        jobs: list[Job] = []
        for change, first, near in zip(told.changes(), told.firsts, self._nearby(), strict=True):
            number += 1
            seen, runs_on = before.at(change.line), after.at(first).runs_on
            for whole in self._forms(change.line in self.deepest):
                hunk = self.maker.hunk(change.line, seen.texts, near, whole)
                jobs.append(Job(number, change, seen, runs_on, hunk, whole))
            if len(jobs) >= AT_ONCE:
                self._make(jobs)
                jobs = []
        self._make(jobs)
        before.drain()
        after.drain()

    def _forms(self, drawn: bool) -> list[bool]:
        """Whether an item is packed (False), drawn whole (True), or both."""
        return [not self.many] + [True] * (self.many and drawn)

    def _make(self, jobs: list[Job]) -> None:
        for job, item in zip(jobs, self.maker.changes(jobs), strict=True):
            self._put(item, 1, job.whole)

    def _put(self, item: Item, shelf: int, whole: bool) -> None:
        if whole:
            self.whole.append(item)
            return
        self.packers[shelf].add(item)
        led_round = item.mended if item.kind == "detour" else []  # any other runs over its way as programmed
        for thinner, ways in zip(self.ways, (item.programmed, led_round), strict=True):
            for way in ways:
                thinner.add([(x, y) for x, y, _ in way if x is not None and y is not None])

    def _nearby(self) -> Iterator[dict[int, Change]]:
        """For each change those round it, by line."""
        around = {line + k for line in self.seen for k in range(-CONTEXT, CONTEXT + 1)}
        changes, ahead = itertools.tee(self.told.changes())
        near: dict[int, Change] = {}
        following = next(ahead, None)
        for change in changes:
            while following is not None and following.line <= change.line + CONTEXT:
                near[following.line] = following
                if following.line in around:
                    self.near[following.line] = following
                following = next(ahead, None)
            for line in [line for line in near if line < change.line - CONTEXT]:
                del near[line]
            yield near

    def _note_seen(self, seen: Seen) -> None:
        if seen.line in self.seen:
            self.seen[seen.line] = seen

    # What was found ----------------------------------------------------------------------------------------------

    def _findings(self, findings: list[Finding], number: int, trouble: bool) -> None:
        for place, finding in enumerate(findings):
            seen = self.seen[finding.line]
            for whole in self._forms(place < DRAWN_FINDINGS):
                hunk = self.maker.hunk(finding.line, seen.texts, self.near, whole)
                item = self.maker.finding(number + place, finding, trouble, seen, hunk, whole)
                self._put(item, 0 if trouble else 2, whole)

    def _notes(self, page: ReviewPage) -> None:
        untold = self.outcome.summary.findings - len(self.findings)
        if untold > 0:
            page.notes.append(f"In the log alone: {count(untold, 'more finding')}.")
        if self.before.left:
            page.notes.append(f"Not drawn in the plan, since it is not known where: {count(self.before.left, 'move')}.")


class _Cursor:
    """Goes through what was seen, line by line; `passed` is shown everything."""

    def __init__(self, seen: Iterator[Seen], passed: Callable[[Seen], None] = lambda seen: None) -> None:
        self._seen = seen
        self._passed = passed
        self._next: Seen | None = None
        self._go()

    def _go(self) -> None:
        self._next = next(self._seen, None)
        if self._next is not None:
            self._passed(self._next)

    def at(self, line: int) -> Seen:
        """What was seen of a line; nothing, where it was not come to. Lines are asked for in order."""
        while self._next is not None and self._next.line < line:
            self._go()
        return self._next if self._next is not None and self._next.line == line else Seen(line)

    def drain(self) -> None:
        """Goes on to the end."""
        while self._next is not None:
            self._go()


def findings_of(outcome: Outcome) -> list[Finding]:
    """The findings of a run, those that refuse it first: as many as a person reads, the log has them all."""
    with Told(outcome) as told:
        return told.reasons + told.others


def _width(setup: Setup) -> float:
    """Roughly how wide the picture is, mm: the reach, or the obstacles and the stock."""
    reach = setup.machine.reach or {}
    if "x" in reach:
        return reach["x"][1] - reach["x"][0]
    points = [vertex[0] for obstacle in setup.obstacles for solid in obstacle.solids for vertex in solid.outline]
    if setup.stock is not None:
        points += [setup.stock.corner[0], setup.stock.corner[0] + setup.stock.size[0]]
    return max(max(points) - min(points), 100.0) if points else 400.0


def _backdrop(reading: Reading) -> Backdrop:
    cuts, rapids = reading.cuts.polylines(), reading.rapids.polylines()
    return Backdrop(cuts, rapids, reading.cuts.count, reading.rapids.count,
                    reading.cuts.drawn + reading.rapids.drawn, max(reading.cuts.off_by, reading.rapids.off_by),
                    reading.cuts.left_out + reading.rapids.left_out)


class _HighEnough:
    """The tip height that clears everything on the table, for the tool of a move."""

    def __init__(self, judge: Judge) -> None:
        self._judge = judge
        self._known: dict[tuple[int, float, float], float] = {}

    def __call__(self, move: Move) -> float:
        key = move.tool, move.corner, move.grow
        if key not in self._known:
            nowhere = replace(move, start=(ANYWHERE, ANYWHERE, move.end[2]), end=(ANYWHERE, ANYWHERE, move.end[2]),
                              upright=False)
            self._known[key] = float(self._judge.needed(table([nowhere]))[0])
        return self._known[key]


def _tools(page: ReviewPage, reading: Reading, judge: Judge, tool: int | None) -> None:
    numbers = set(judge.assemblies) if ANY_TOOL in reading.tools else reading.tools & set(judge.assemblies)
    page.tools = [number for number in judge.assemblies if number in numbers]
    page.tool_changes = list(reading.tool_changes)
    first = min((change.line for change in page.tool_changes), default=None)
    if first is None and len(page.tools) == 1:
        page.tool_changes = [ToolChange(0, page.tools[0])]
    elif tool is not None:
        page.tool_changes.insert(0, ToolChange(0, tool))


def _digest(file: IO[bytes]) -> str:
    digest = hashlib.sha256()
    file.seek(0)
    while piece := file.read(1 << 20):
        digest.update(piece)
    return digest.hexdigest()


__all__ = ["collect", "findings_of", "write_page"]
