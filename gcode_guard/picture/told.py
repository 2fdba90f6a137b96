"""What a run told, read back from its log on disk, so that the page cannot say anything else."""

from __future__ import annotations

import heapq
import json
import math
import tempfile
from array import array
from bisect import bisect_right
from collections.abc import Iterator
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from ..record.findings import Assumption, Change, Finding

if TYPE_CHECKING:
    from ..guard import Outcome

MOST_FINDINGS = 1_000
MOST_ASSUMPTIONS = 500


class Told:
    """A log, read as often as it is needed.

    `reasons`: the findings that refuse the program, and `others`, by line, at most MOST_FINDINGS of each. `hit`: what
    happens at each obstacle; `led`: how many blocks are changed for it. Of each change the line (`lines`), and the
    lines that take its place in the mended program, the first and one past the last (`firsts`, `lasts`), in order;
    `lifted`: the lines of those that something stands in the way of, `rounds`: of those that lead round. Memory: these
    numbers.
    """

    def __init__(self, outcome: Outcome) -> None:
        self._copy = tempfile.TemporaryFile()
        outcome.log.write_to(self._copy, outcome.run, outcome.summary)  # type: ignore[arg-type]
        self.assumptions: list[Assumption] = []
        self.hit: dict[str, str] = {}
        self.led: dict[str, int] = {}
        self.lines, self.firsts, self.lasts, self.lifted = (array("q") for _ in range(4))
        self.rounds = array("q")
        self.reasons = sorted(outcome.reasons[:MOST_FINDINGS], key=lambda reason: reason.line)
        self.others: list[Finding] = []
        self._advised = {(reason.line, reason.kind, reason.sentence) for reason in outcome.reasons}
        self._shift = 0
        for record in self._records():
            self._note(record)
        self.others.sort(key=lambda finding: finding.line)

    def _records(self) -> Iterator[dict[str, Any]]:
        place = 0
        while True:
            self._copy.seek(place)  # several may read at the same time
            lines = self._copy.readlines(1 << 18)
            if not lines:
                return
            place = self._copy.tell()
            yield from map(json.loads, lines)

    def _note(self, record: dict[str, Any]) -> None:
        kind = record["record"]
        if kind == "assumption" and len(self.assumptions) < MOST_ASSUMPTIONS:
            self.assumptions.append(Assumption(record["about"], record["text"]))
        elif kind == "change":
            self._note_change(record)
        elif kind == "finding":
            self._note_finding(record)

    def _note_change(self, record: dict[str, Any]) -> None:
        line, after = record["line"], len(record["after"])
        self.lines.append(line)
        self.firsts.append(line + self._shift)
        self.lasts.append(line + self._shift + after)
        self._shift += after - len(record["before"])
        if record["obstacles"]:
            self.lifted.append(line)
        if record["kind"] == "detour":
            self.rounds.append(line)
        for name in record["obstacles"]:
            self.led[name] = self.led.get(name, 0) + 1
            if self.hit.get(name, "close") == "close":
                self.hit[name] = "cleared"

    def _note_finding(self, record: dict[str, Any]) -> None:
        """What is worse stands over what is less so."""
        name = record["obstacle"]
        if name and record["kind"] == "close":
            self.hit.setdefault(name, "close")
        elif name:
            self.hit[name] = "meets a move"
        if len(self.others) < MOST_FINDINGS and (record["line"], record["kind"], record["text"]) not in self._advised:
            self.others.append(Finding(record["line"], record["kind"], record["text"], name, record["by_mm"]))

    def changes(self) -> Iterator[Change]:
        """Every change, in the order of the program."""
        for record in self._records():
            if record["record"] == "change":
                before, after = (tuple(block.encode() for block in record[key]) for key in ("before", "after"))
                yield Change(record["line"], record["kind"], tuple(record["obstacles"]), record["programmed_z_mm"],
                             record["needed_z_mm"], record["written_z_mm"], before, after, record["added_s"])

    def deepest(self, most: int) -> set[int]:
        """The lines of the changes that take the greatest lifts."""
        ranked = ((rise(change), -number, change.line) for number, change in enumerate(self.changes()))
        return {line for _, _, line in heapq.nlargest(most, ranked)}

    def original(self, line: int) -> int | None:
        """The line of the program that a line of the mended one was; None where it was put in or changed."""
        at = bisect_right(self.firsts, line) - 1
        if at < 0:
            return line
        return None if line < self.lasts[at] else line - self.lasts[at] + self.lines[at] + 1

    def close(self) -> None:
        """Gives the temporary file back."""
        self._copy.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 trace: TracebackType | None) -> None:
        self.close()


def rise(change: Change) -> float:
    """How much higher the tool must go, mm; out of an unknown height more than anything else."""
    if change.programmed_z is None:
        return math.inf
    heights = [z for z in (change.needed_z, change.written_z) if z is not None]
    return max(heights, default=change.programmed_z) - change.programmed_z
