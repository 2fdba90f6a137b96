"""Collects what the review page shows: reads the program and what was made of it once more, and draws nothing.

    write_page(out, source, setup, outcome, tool)
"""

from __future__ import annotations

import hashlib
import json
import math
import tempfile
from dataclasses import replace
from typing import IO, TYPE_CHECKING, Any

from ..judge import Judge
from ..program.moves import Move, table
from ..program.state import ANY_TOOL, ANYWHERE
from ..record.findings import Assumption, Change, Finding
from ..record.page_model import Backdrop, Item, Restart, ReviewPage, ToolChange
from ..setup.model import Setup
from ..source import Source
from .items import ItemMaker
from .reading import Reading, read
from .restart import RestartFinder

if TYPE_CHECKING:
    from ..guard import Outcome

MOST_WHOLE = 300  # changes and findings that have a side view and their lines; the others have their numbers
MOST_FINDINGS = 1_000
MOST_ASSUMPTIONS = 500
BACKDROP_DETAIL = 400.0  # a backdrop may be off by as much as one part in so many of the picture's width


def write_page(out: IO[bytes], source: Source, setup: Setup, outcome: Outcome, tool: int | None) -> None:
    """Writes the review page of a guarded program, one HTML file, to `out`. Raises OSError from reading and writing."""
    from ..record.page import write_review

    write_review(out, collect(source, setup, outcome, tool))


def collect(source: Source, setup: Setup, outcome: Outcome, tool: int | None) -> ReviewPage:
    """All that the page tells of a program, in plain data."""
    judge = Judge(setup)
    assumptions, findings, hit = _from_log(outcome)
    passed = outcome.exit == 0
    new_lines = _new_lines(outcome.changes)
    wanted = {change.line for change in outcome.changes} | {finding.line for finding in findings}
    coarsest = _width(setup) / BACKDROP_DETAIL
    contacts = any(finding.kind == "cut-contact" for finding in findings)
    finder = RestartFinder(_HighEnough(judge), setup.offsets.bench)
    unchanged = passed and not outcome.changes
    before = read(source, judge, tool, wanted, coarsest=coarsest, mark_hits=contacts,
                  restarts=finder if unchanged else None)
    after = None
    if passed and not unchanged:
        lines = {number for first, last in new_lines.values() for number in range(first, last)}

        after = read(Source(outcome.output, "output"), judge, tool, lines, coarsest=coarsest, restarts=finder)
    maker = ItemMaker(judge, before, after, outcome.changes, new_lines)
    page = ReviewPage(setup, outcome.run, outcome.summary, _items(maker, outcome, findings),
                      _backdrop(before), assumptions, hit=hit)
    _restarts(page, finder, outcome.changes)
    _tools(page, before, judge, tool)
    if passed:
        page.mended_sha256 = _digest(outcome.output)
        page.mended_lines = (after or before).lines
    _notes(page, before, outcome, findings)
    return page


def _from_log(outcome: Outcome) -> tuple[list[Assumption], list[Finding], dict[str, str]]:
    """Assumptions and findings as the log has them, so that the page cannot say anything else, and what happens at
    each obstacle."""
    assumptions: list[Assumption] = []
    others: list[Finding] = []
    hit: dict[str, str] = {}
    advised = {(reason.line, reason.kind, reason.sentence) for reason in outcome.reasons}
    with tempfile.TemporaryFile() as copy:
        outcome.log.write_to(copy, outcome.run, outcome.summary)  # type: ignore[arg-type]
        copy.seek(0)
        for raw in copy:
            record = json.loads(raw)
            _note_hit(record, hit)
            if record["record"] == "assumption" and len(assumptions) < MOST_ASSUMPTIONS:
                assumptions.append(Assumption(record["about"], record["text"]))
            elif record["record"] == "finding" and len(others) < MOST_FINDINGS:
                key = record["line"], record["kind"], record["text"]
                if key not in advised:
                    others.append(Finding(record["line"], record["kind"], record["text"], record["obstacle"],
                                          record["by_mm"]))
    reasons = sorted(outcome.reasons[:MOST_FINDINGS], key=lambda reason: reason.line)
    return assumptions, reasons + sorted(others, key=lambda finding: finding.line), hit


def _note_hit(record: dict[str, Any], hit: dict[str, str]) -> None:
    """Notes what happens at an obstacle, in a word; what is worse stands over what is less so."""
    if record["record"] == "change":
        for name in record["obstacles"]:
            if hit.get(name, "close") == "close":
                hit[name] = "cleared"
    elif record["record"] == "finding" and record["obstacle"]:
        if record["kind"] == "close":
            hit.setdefault(record["obstacle"], "close")
        else:
            hit[record["obstacle"]] = "meets a move"


def findings_of(outcome: Outcome) -> list[Finding]:
    """The findings of a run, those that refuse it first: as many as a person reads, the log has them all."""
    return _from_log(outcome)[1]


def _new_lines(changes: list[Change]) -> dict[int, tuple[int, int]]:
    """For each changed line the lines of the mended program that took its place: first, and one past the last."""
    lines = {}
    shift = 0
    for change in sorted(changes, key=lambda change: change.line):
        first = change.line + shift
        lines[change.line] = (first, first + len(change.after))
        shift += len(change.after) - len(change.before)
    return lines


def _items(maker: ItemMaker, outcome: Outcome, findings: list[Finding]) -> list[Item]:
    reasons = set(outcome.reasons)
    items: list[Item] = []
    for finding in findings:
        if finding in reasons:
            items.append(maker.finding(len(items) + 1, finding, True, len(items) >= MOST_WHOLE))
    deepest = sorted(outcome.changes, key=lambda change: -_rise(change))[: max(0, MOST_WHOLE - len(items))]
    whole = {id(change) for change in deepest}
    for change in outcome.changes:
        items.append(maker.change(len(items) + 1, change, id(change) not in whole))
    for finding in findings:
        if finding not in reasons:
            items.append(maker.finding(len(items) + 1, finding, False, len(items) >= MOST_WHOLE))
    return items


def _rise(change: Change) -> float:
    """How much higher the tool must go, mm; out of an unknown height more than anything else."""
    if change.programmed_z is None:
        return math.inf
    heights = [z for z in (change.needed_z, change.written_z) if z is not None]
    return max(heights, default=change.programmed_z) - change.programmed_z


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


def _restarts(page: ReviewPage, finder: RestartFinder, changes: list[Change]) -> None:
    lines = _new_lines(changes)
    for candidate in finder.found:
        shift = 0
        inside = False
        for line, (first, last) in lines.items():
            if last <= candidate.line:
                shift = last - (line + 1)
            elif first <= candidate.line:
                inside = True
        original = None if inside else candidate.line - shift
        page.restarts.append(Restart(candidate.line, original, candidate.tool, candidate.height))
    page.restarts_left_out = finder.more


def _tools(page: ReviewPage, reading: Reading, judge: Judge, tool: int | None) -> None:
    numbers = set(judge.assemblies) if ANY_TOOL in reading.tools else reading.tools & set(judge.assemblies)
    page.tools = [number for number in judge.assemblies if number in numbers]
    page.tool_changes = list(reading.tool_changes)
    first = min((change.line for change in page.tool_changes), default=None)
    if first is None and len(page.tools) == 1:
        page.tool_changes = [ToolChange(0, page.tools[0])]
    elif tool is not None:
        page.tool_changes.insert(0, ToolChange(0, tool))


def _notes(page: ReviewPage, reading: Reading, outcome: Outcome, findings: list[Finding]) -> None:
    summary = outcome.summary
    if summary.changes > len(outcome.changes):
        page.notes.append(f"{summary.changes - len(outcome.changes):,} more changes are in the log and the diff alone.")
    if summary.findings > len(findings):
        page.notes.append(f"{summary.findings - len(findings):,} more findings are in the log alone.")
    if reading.left:
        page.notes.append(f"{reading.left:,} moves are not drawn in the plan, since it is not known where they run.")


def _digest(file: IO[bytes]) -> str:
    digest = hashlib.sha256()
    file.seek(0)
    while piece := file.read(1 << 20):
        digest.update(piece)
    return digest.hexdigest()


__all__ = ["collect", "findings_of", "write_page"]
