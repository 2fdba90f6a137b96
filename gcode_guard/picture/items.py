"""Changes and findings as items of the page: what happens there, why, and where it is on the bench."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from ..judge import Judge
from ..lengths import length
from ..program.moves import Kind, Move
from ..record.findings import Change, Finding, safe_text
from ..record.page_model import Corridor, HunkLine, Item, Place, Sight
from ..record.page_words import few, list_of
from .many import left_over_of_each, tightest_of_each, worst_of_each
from .profile import (
    Worst,
    assembly_for,
    left_beside,
    lowest_of,
    profile_of,
    straight_ends,
    tightest,
    tool_for,
    worst_of,
)
from .reading import CONTEXT, Seen, path, place_of

LONGEST_LINE = 4200  # characters of a program's line that are shown; longer lines are refused anyway
LONGEST_NAME = 60  # characters of a name within a sentence; the table of obstacles has it whole
LONGEST_TEXT = 1500
MOST_NAMES = 6  # of obstacles in a sentence
MOST_TEXT = 800_000  # characters of a program's lines on the whole page; then lines are cut after LITTLE
LITTLE = 160  # characters of a line round a change that the page itself draws, too

TITLES = {"lift": "Raised", "split": "Taken apart", "detour": "Led round", "rapid-contact": "Rapid meets an obstacle",
          "cut-contact": "Cut meets an obstacle", "close": "Close, without contact", "out-of-reach": "Out of reach",
          "in-stock": "Rapid within the stock", "not-understood": "Not understood"}


def shortened(text: str, limit: int = LONGEST_NAME) -> str:
    """`text` as safe text, cut after so many characters."""
    text = safe_text(text)
    return text if len(text) <= limit else text[: limit - 1] + "…"


@dataclass(slots=True)
class Job:
    """A change that is to be shown: what was seen of its line, the rapids of the mended program in its place and on
    from there, and its hunk. `whole`: with everything drawn; else with what the page itself draws it from."""

    number: int
    change: Change
    seen: Seen
    mended: list[Move]
    hunk: list[HunkLine]
    whole: bool


class ItemMaker:
    """Makes items out of changes and findings.

    `lifted`: the lines of the changes that something stands in the way of, and `rounds`: of those that lead round,
    each in order. `hits`: the paths of cuts that run into an obstacle, by obstacle.
    """

    def __init__(self, judge: Judge, lifted: Sequence[int], rounds: Sequence[int],
                 hits: Mapping[int, list[list[tuple[float, float]]]]) -> None:
        self.judge = judge
        self.lifted, self.rounds = lifted, rounds
        self.hits = hits
        self.units = judge.setup.units
        self._room = MOST_TEXT

    def changes(self, jobs: Sequence[Job]) -> list[Item]:
        """Changed blocks. What one is changed for may lie on it, or on the rapids that follow it."""
        own = [[m for m in job.seen.moves if m.kind == Kind.RAPID] for job in jobs]
        worsts = self._causes(jobs, own)
        packed = [None if job.whole else worst for job, worst in zip(jobs, worsts, strict=True)]
        tight = tightest_of_each(self.judge, [w if w and w.hit else None for w in packed])
        left = left_over_of_each(self.judge, [None if w is None or self._is_led_round(w) else w for w in packed],
                                 [job.change.written_z for job in jobs])
        items = []
        for k, job in enumerate(jobs):
            item = self._change(job, own[k], worsts[k])
            worst = worsts[k]
            if worst is not None and job.whole:
                self._draw(item, worst, job.mended)
            elif worst is not None:
                item.sight = self._sight(worst, tight[k], job.mended, left[k])
            items.append(item)
        return items

    def _change(self, job: Job, moves: list[Move], worst: Worst | None) -> Item:
        change = job.change
        item = Item(job.number, change.line, change.kind, TITLES[change.kind], self._sentence(change, worst),
                    tuple(shortened(name) for name in change.obstacles), is_change=True,
                    programmed_z=change.programmed_z, needed_z=change.needed_z, written_z=change.written_z,
                    from_z=_end_height(moves), added_s=change.added_s, hunk=job.hunk)
        item.programmed = _ways(moves if worst is None or worst.move.line == change.line else [worst.move])
        item.mended = _ways(job.mended)
        if worst is not None and worst.hit is not None and worst.move.line != change.line:
            item.cause = worst.move.line
        return item

    def _draw(self, item: Item, worst: Worst, mended: list[Move]) -> None:
        self._place(item, worst)
        item.corridors = self._corridors(worst)
        item.profile = profile_of(self.judge, worst, mended, item.written_z, self._is_led_round(worst))

    def _sight(self, worst: Worst, tight: tuple[tuple[float, float], float] | None, mended: list[Move],
               left_over: float | None) -> Sight:
        move, led_round = worst.move, self._is_led_round(worst)
        number = tool_for(self.judge, move, worst.hit)
        if tight is not None and not all(math.isfinite(value) for value in tight[0]):
            tight = None
        low = lowest_of(move)
        return Sight(
            place_of(move.start), place_of(move.end), number, worst.hit.part if worst.hit else "",
            tight[0] if tight else None, tight[1] if tight and math.isfinite(tight[1]) else low, low, worst.needed,
            left_over, left_beside(self.judge, mended, self.judge.assemblies[number]) if led_round else None,
            move.corner, move.grow, move.kind == Kind.RAPID, led_round,
            move.kind in (Kind.ARC_CW, Kind.ARC_CCW))

    def _is_led_round(self, worst: Worst) -> bool:
        """Whether the worst rapid is one that the mended program leads round what is in its way."""
        at = bisect_left(self.rounds, worst.move.line)
        return at < len(self.rounds) and self.rounds[at] == worst.move.line

    def _causes(self, jobs: Sequence[Job], own: list[list[Move]]) -> list[Worst | None]:
        """The rapid that each block is changed for: its own, or one that follows it in the same run."""
        names = [frozenset(job.change.obstacles) for job in jobs]
        worsts = worst_of_each(own, self.judge, names)
        again = [k for k, worst in enumerate(worsts) if names[k] and (worst is None or worst.hit is None)]
        later = worst_of_each([jobs[k].seen.runs_on for k in again], self.judge, [names[k] for k in again])
        for k, worst in zip(again, later, strict=True):
            if worst is not None and worst.hit is not None:
                worsts[k] = worst
        return worsts

    def finding(self, number: int, finding: Finding, trouble: bool, seen: Seen, hunk: list[HunkLine],
                whole: bool) -> Item:
        """Something that was found and not changed."""
        item = Item(number, finding.line, finding.kind, TITLES[finding.kind],
                    _sentence_of(shortened(finding.text, LONGEST_TEXT)),
                    (shortened(finding.obstacle),) if finding.obstacle else (), shortened(finding.advice, LONGEST_TEXT),
                    trouble=trouble, by=finding.by, hunk=hunk)
        moves = [m for m in seen.moves if _matters(m, finding)]
        worst = worst_of(moves, self.judge) if finding.kind != "in-stock" else None
        item.programmed = _ways([m for m in moves if m.kind == Kind.RAPID])
        item.cuts = [path(m) for m in moves if m.kind != Kind.RAPID]
        if whole and finding.kind == "cut-contact":
            item.cuts = self._hits(finding) or item.cuts
        if worst is not None and (worst.hit is not None or finding.kind not in ("close", "not-understood")):
            self._place(item, worst)
            if finding.obstacle and whole:
                item.corridors = self._corridors(worst)
                item.profile = profile_of(self.judge, worst, [], None)
            elif finding.obstacle:
                item.sight = self._sight(worst, tightest(self.judge, worst), [], None)
        elif moves:
            x, y, _ = place_of(moves[0].end)
            item.mark = (x, y) if x is not None and y is not None else None
        return item

    def _hits(self, finding: Finding) -> list[list[tuple[float, float]]]:
        numbers = [k for k, name in enumerate(self.judge.names) if name == finding.obstacle]
        return [way for number in numbers for way in self.hits.get(number, []) if way]

    def _place(self, item: Item, worst: Worst) -> None:
        tight = tightest(self.judge, worst)
        ends = straight_ends(worst.move)
        if tight is not None and all(abs(value) < float("inf") for value in tight[0]) and ends is not None:
            item.mark = tight[0]
        elif ends is not None:
            (x0, y0), (x1, y1) = ends
            item.mark = (x0 + x1) / 2, (y0 + y1) / 2

    def _corridors(self, worst: Worst) -> list[Corridor]:
        """What the section that comes nearest sweeps: on the straight way, and on all the ways that are possible."""
        ends = straight_ends(worst.move)
        if ends is None or worst.hit is None or worst.move.kind in (Kind.ARC_CW, Kind.ARC_CCW):
            return []
        assembly = assembly_for(self.judge, worst.move, worst.hit)
        place = list(assembly.part).index(worst.hit.part) if worst.hit.part in assembly.part else 0
        box = self.judge.as_box and worst.move.kind == Kind.RAPID and ends[0] != ends[1]
        radius = float(assembly.radius[place])
        straight = Corridor(worst.hit.part, radius, *ends)
        return [Corridor(worst.hit.part, radius, *ends, True), straight] if box else [straight]

    def hunk(self, line: int, texts: Mapping[int, bytes], changed: Mapping[int, Change],
             whole: bool) -> list[HunkLine]:
        """The lines round one: `texts` of the program by number, and the changes among them."""
        lines = []
        for number in range(line - CONTEXT, line + CONTEXT + 1):
            change = changed.get(number)
            own = number == line
            if change is None:
                raw = texts.get(number)
                if raw is not None:
                    lines.append(HunkLine(" ", number, self._line(raw, whole, own), own))
                continue
            lines += [HunkLine("-", number, self._line(raw, whole, own), own) for raw in change.before]
            lines += [HunkLine("+", None, self._line(raw, whole, own), own) for raw in change.after]
        return lines

    def _line(self, raw: bytes, whole: bool, own: bool) -> str:
        text = raw.decode("utf-8", "backslashreplace").rstrip("\r\n")
        text = shortened(text, LONGEST_LINE if (self._room > 0 if whole else own) else LITTLE)
        if whole:
            self._room -= len(text)
        return text

    # Sentences ------------------------------------------------------------------------------------------------

    def _sentence(self, change: Change, worst: Worst | None) -> str:
        if not change.obstacles:
            return self._follows(change)
        own = worst is not None and worst.move.line == change.line and not worst.move.upright
        return f"{self._why(change, worst)} {self._what(change, own, worst is not None and self._is_led_round(worst))}"

    def _why(self, change: Change, worst: Worst | None) -> str:
        names = list_of(few([f"“{shortened(name)}”" for name in change.obstacles], MOST_NAMES)) or "an obstacle"
        if worst is None or worst.hit is None:
            return f"Rapids here would come too near to {names}."
        ends = straight_ends(worst.move)
        bent = self.judge.as_box and ends is not None and ends[0][0] != ends[1][0] and ends[0][1] != ends[1][1]
        would = "could" if bent or ends is None else "would"
        subject = "On this rapid" if worst.move.line == change.line else f"On the rapid of line {worst.move.line}"
        if ends is None:
            subject += ", of which it is not known where it runs,"
        which = f"“{shortened(self.judge.names[worst.hit.obstacle])}”"
        deep = length(round(worst.hit.depth, 3), self.units)
        also = [f"“{shortened(name)}”" for name in change.obstacles if name != self.judge.names[worst.hit.obstacle]]
        stand = "stands" if len(also) == 1 else "stand"
        others = f" {list_of(few(also, MOST_NAMES))} {stand} in the way too." if also else ""
        what = "run into" if worst.contact else "come inside the clearance of"
        over = "pass over it" if worst.contact else "pass over it at a clear level"
        low = f": it is {deep} too low to {over}" if math.isfinite(worst.hit.depth) else \
            ", since its height is not known either"
        return f"{subject} the {worst.hit.part} {would} {what} {which}{low}.{others}"

    def _what(self, change: Change, own: bool, led_round: bool) -> str:
        height = "a height that is clear" if change.written_z is None else f"Z {length(change.written_z, self.units)}"
        if change.kind == "detour":
            return f"The tool is now led round it, at {height}."
        if change.kind == "split":
            return f"The block is taken apart: the tool first goes up to {height}, then across."
        if own:
            return f"It now runs at {height}; where it goes in X and Y is as before."
        then = "is led round it" if led_round else "goes across"
        return f"So the tool is raised here, to {height}, before it {then}."

    def _follows(self, change: Change) -> str:
        near = _nearest(self.lifted, change.line)
        of = f" of line {near}" if near is not None else " beside it"
        if change.written_z is not None and change.programmed_z is not None \
                and change.written_z > change.programmed_z:
            return (f"Nothing stands in the way of this rapid by itself; it keeps the height of the raised rapid{of},"
                    f" Z {length(change.written_z, self.units)}.")
        return f"This belongs to the raised rapid{of}: from here on the tool is where the program had it."


def _nearest(lines: Sequence[int], line: int) -> int | None:
    """The one of some lines in order that is nearest to a line, of two the first; None of none."""
    at = bisect_left(lines, line)
    return min(lines[max(0, at - 1) : at + 1], key=lambda other: abs(other - line), default=None)


def _sentence_of(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")


def _end_height(moves: list[Move]) -> float | None:
    return place_of(moves[-1].end)[2] if moves else None


def _matters(move: Move, finding: Finding) -> bool:
    """Whether a move of the line can be the one that the finding is about."""
    if finding.kind in ("rapid-contact", "in-stock"):
        return move.kind == Kind.RAPID
    if finding.kind == "cut-contact":
        return move.kind != Kind.RAPID
    return True


def _ways(moves: Iterable[Move]) -> list[list[Place]]:
    """Moves as polylines: one for each stretch that hangs together."""
    ways: list[list[Place]] = []
    for move in moves:
        start, end = place_of(move.start), place_of(move.end)
        if ways and ways[-1][-1] == start:
            ways[-1].append(end)
        else:
            ways.append([start, end])
    return ways
