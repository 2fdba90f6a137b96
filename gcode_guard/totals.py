"""What is summed up over a whole program: what was read, and what comes too near, one message an obstacle."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import inf

from .judge import Hit
from .lengths import Units, length, length_up
from .record.findings import Finding

LISTED = 10  # lines that a summed-up finding names
MOST_CLOSE = 10_000  # messages about what comes close, one for each line and obstacle; the rest is summed up
CLOSE = {  # what comes close, as a sentence about one line and about several
    "cut": ("a cut comes", "{} more cuts come", "inside the clearance of", "without contact"),
    "spoiled": ("a cut runs", "{} more cuts run", "into", "which is sacrificial"),
    "brushed": ("the bristles of the shoe brush", "{} more times the bristles of the shoe brush", "over", ""),
}


@dataclass(slots=True)
class Counts:
    """What was read: blocks, rapids and cuts (a move that a doubtful reading adds is not counted)."""

    blocks: int = 0
    rapids: int = 0
    cuts: int = 0


@dataclass(slots=True)
class ContactSum:
    """All cuts into one obstacle: the first line, the deepest, with what, how many."""

    obstacle: int
    line: int
    depth: float
    part: str
    lines: list[int] = field(default_factory=list)
    count: int = 0

    def add(self, line: int) -> None:
        """Counts one more, on this line."""
        self.count += 1
        self.line = min(self.line, line)
        if line not in self.lines and len(self.lines) <= LISTED:
            self.lines.append(line)

    @property
    def more(self) -> str:
        """The lines in brackets, where there are several."""
        if len(self.lines) < 2:
            return ""
        listed = sorted(self.lines)[:LISTED]
        return f" (lines {', '.join(map(str, listed))}{', ...' if len(self.lines) > LISTED else ''})"


@dataclass(slots=True)
class Totals:
    """The sums of one program, by the number of the obstacle; `outside` by the axis that leaves the reach.

    `advice` is what would help against an obstacle; `air_levels` the lowest levels (mm) at which what may be a traverse
    at feed would pass over one, and keep its clearance. Lengths are told in `units`.
    """

    units: Units = "mm"
    counts: Counts = field(default_factory=Counts)
    tools_used: set[int] = field(default_factory=set)
    cut_contacts: dict[int, ContactSum] = field(default_factory=dict)
    ends_inside: dict[int, ContactSum] = field(default_factory=dict)
    starts_inside: dict[int, ContactSum] = field(default_factory=dict)
    close: dict[tuple[str, int], ContactSum] = field(default_factory=dict)
    told_close: dict[tuple[str, int, int], float] = field(default_factory=dict)
    outside: dict[str, ContactSum] = field(default_factory=dict)
    air_levels: dict[int, tuple[float, float]] = field(default_factory=dict)
    advice: dict[int, str] = field(default_factory=dict)

    @property
    def blocked(self) -> set[int]:
        """The obstacles that no lift takes the program clear of."""
        return {*self.cut_contacts, *self.ends_inside, *self.starts_inside}

    def leaves_reach(self, line: int, axis: str, number: float, beyond: float) -> None:
        """Counts a move that ends `beyond` mm outside the reach of an axis, at `number` mm."""
        found = self.outside.setdefault(axis, ContactSum(0, line, 0.0, ""))
        found.add(line)
        if beyond > found.depth:
            found.depth, found.part = beyond, length(number, self.units)

    def needs_level(self, obstacle: int, passes: float, clear: float) -> None:
        """Notes the levels that what may be a traverse at feed needs over an obstacle."""
        before = self.air_levels.get(obstacle, (-inf, -inf))
        self.air_levels[obstacle] = max(passes, before[0]), max(clear, before[1])

    def findings(self, names: Sequence[str]) -> Iterator[Finding]:
        """What is to be told at the end of the program; `names` are those of the obstacles."""
        for found in self.cut_contacts.values():
            name = names[found.obstacle]
            what = "a cut runs" if found.count == 1 else f"{found.count} cuts run"
            lines = found.more
            yield Finding(found.line, "cut-contact", f"{what} into \"{name}\"{lines}, {self._depth(found)}", name,
                              found.depth, self._air_advice(found.obstacle), found.count)
        for sums, verb in ((self.ends_inside, "end"), (self.starts_inside, "start")):
            for found in sums.values():
                name = names[found.obstacle]
                what = f"a rapid {verb}s inside" if found.count == 1 else f"{found.count} rapids {verb} inside"
                lines = found.more
                yield Finding(found.line, "rapid-contact", f"{what} \"{name}\"{lines}, {self._depth(found)}", name,
                                  found.depth, self._end_advice(found.obstacle), found.count)
        for axis, found in self.outside.items():
            yield Finding(found.line, "out-of-reach", f"{axis} leaves the machine's reach{found.more}, as far as"
                              f" {found.part}, which is {length_up(found.depth, self.units)} too far", None,
                              found.depth, "place the work elsewhere, or mend machine.reach", found.count)
        for (what, obstacle), found in self.close.items():
            yield Finding(found.line, "close", _close_text(what, names[obstacle], found), names[obstacle], found.depth,
                          first_of=found.count)

    def comes_close(self, what: str, lines: Mapping[tuple[int, int], float], names: Sequence[str]) -> Iterator[Finding]:
        """What is to be told at once of what comes close: `lines` gives how deep, mm, by line and obstacle; `what` is a
        key of CLOSE. Beyond the first `MOST_CLOSE` it is summed up, to be told at the end."""
        for (line, obstacle), depth in lines.items():
            key = what, line, obstacle
            if key in self.told_close and depth <= self.told_close[key]:
                continue  # the same block, called once more
            if len(self.told_close) < MOST_CLOSE:
                self.told_close[key] = depth
                yield Finding(line, "close", _close_text(what, names[obstacle]), names[obstacle], depth)
                continue
            found = self.close.setdefault((what, obstacle), ContactSum(obstacle, line, depth, ""))
            found.add(line)
            found.depth = max(found.depth, depth)

    def _depth(self, found: ContactSum) -> str:
        """How deep the deepest is, and with what."""
        return f"up to {length_up(found.depth, self.units)} below what would clear it, with the {found.part}"

    def _air_advice(self, obstacle: int) -> str:
        levels = self.air_levels.get(obstacle)
        otherwise = self.advice.get(obstacle, "move or lower the obstacle, or take the cut out")
        if levels is None:
            return otherwise
        if levels[0] == inf:
            return f"the dust shoe stays with the gantry, and no level passes over it; {otherwise}"
        passes, clear = (length_up(level, self.units) for level in levels)
        return ("if this is a traverse at feed, say air_feeds = true under [repair]; the lowest level that passes is"
                f" {passes}, and {clear} keeps the clearance; else {otherwise}")

    def _end_advice(self, obstacle: int) -> str:
        cuts = self.cut_contacts.get(obstacle)
        if cuts is not None:
            return f"the advice for line {cuts.line} holds for this too"
        return self.advice.get(obstacle, "move or lower the obstacle")


def _close_text(what: str, name: str, found: ContactSum | None = None) -> str:
    """What comes close to an obstacle, on one line or (`found`) on all those that are summed up."""
    one, several, how, end = CLOSE[what]
    subject, lines = (one, "") if found is None else (several.format(found.count), found.more)
    comma = ", " if end.startswith("which") else " " if end else ""
    return f"{subject} {how} \"{name}\"{lines}{comma}{end}"


def add(sums: dict[int, ContactSum], hit: Hit, line: int) -> None:
    """Counts an encounter on a line to the sums of its obstacle, and keeps the deepest."""
    found = sums.get(hit.obstacle)
    if found is None:
        found = sums[hit.obstacle] = ContactSum(hit.obstacle, line, hit.depth, hit.part)
    found.add(line)
    if hit.depth > found.depth:
        found.depth, found.part = hit.depth, hit.part
