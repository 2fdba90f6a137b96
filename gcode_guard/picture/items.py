"""Changes and findings as items of the page: what happens there, why, and where it is on the bench."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from ..judge import Judge
from ..lengths import length
from ..program.moves import Kind, Move
from ..record.findings import Change, Finding, safe_text
from ..record.page_model import Corridor, HunkLine, Item, Place
from ..record.page_words import list_of
from .profile import Worst, assembly_for, profile_of, straight_ends, tightest, worst_of
from .reading import Reading, path, place_of

CONTEXT = 2  # lines round a change
LONGEST_LINE = 4200  # characters of a program's line that are shown; longer lines are refused anyway
LONGEST_NAME = 60  # characters of a name within a sentence; the table of obstacles has it whole
LONGEST_TEXT = 1500
MOST_TEXT = 800_000  # characters of a program's lines on the whole page; then lines are cut after LITTLE
LITTLE = 160
BRIEF_RAPIDS = 4  # of the run that a brief one belongs to

TITLES = {"lift": "Raised", "split": "Taken apart", "detour": "Led round", "rapid-contact": "Rapid meets an obstacle",
          "cut-contact": "Cut meets an obstacle", "close": "Close, without contact", "out-of-reach": "Out of reach",
          "in-stock": "Rapid within the stock", "not-understood": "Not understood"}


def shortened(text: str, limit: int = LONGEST_NAME) -> str:
    """`text` as safe text, cut after so many characters."""
    text = safe_text(text)
    return text if len(text) <= limit else text[: limit - 1] + "…"


class ItemMaker:
    """Makes items out of changes and findings.

    `before` is the reading of the program, `after` that of the mended one (None where there is none); `new_lines`
    gives for each changed line the lines of the mended program that took its place, first and one past the last.
    """

    def __init__(self, judge: Judge, before: Reading, after: Reading | None, changes: Sequence[Change],
                 new_lines: dict[int, tuple[int, int]]) -> None:
        self.judge = judge
        self.before, self.after = before, after
        self.changed = {change.line: change for change in changes}
        self.lifted = sorted(change.line for change in changes if change.obstacles)
        self.new_lines = new_lines
        self._room = MOST_TEXT
        self.units = judge.setup.units

    def change(self, number: int, change: Change, brief: bool) -> Item:
        """One changed block. What it is changed for may lie on it, or on the rapids that follow it."""
        moves = [m for m in self.before.moves.get(change.line, []) if m.kind == Kind.RAPID]
        worst = None if brief else self._cause(change, moves)
        sentence = "" if brief else self._sentence(change, worst)
        item = Item(number, change.line, change.kind, TITLES[change.kind], sentence,
                    tuple(shortened(name) for name in change.obstacles), is_change=True,
                    programmed_z=change.programmed_z, needed_z=change.needed_z, written_z=change.written_z,
                    from_z=_end_height(moves), added_s=change.added_s, brief=brief)
        mended = self._mended(change.line, brief)
        if brief:
            item.programmed = _ways(self.before.runs.get(change.line, [])[:BRIEF_RAPIDS])
            item.mended = _ways(mended)
            return item
        item.programmed = _ways(moves if worst is None or worst.move in moves else [worst.move])
        item.mended = _ways(mended)
        if worst is not None:
            self._place(item, worst)
            item.corridors = self._corridors(worst)
            item.profile = profile_of(self.judge, worst, mended, change.written_z, self._is_led_round(worst))
            item.cause = worst.move.line if worst.move.line != change.line and worst.hit is not None else None
        item.hunk = self._hunk(change.line)
        return item

    def _is_led_round(self, worst: Worst) -> bool:
        """Whether the worst rapid is one that the mended program leads round what is in its way."""
        change = self.changed.get(worst.move.line)
        return change is not None and change.kind == "detour"

    def _cause(self, change: Change, moves: list[Move]) -> Worst | None:
        """The rapid that the block is changed for: its own, or one that follows it in the same run."""
        names = frozenset(change.obstacles)
        own = worst_of(moves, self.judge, across=True, obstacles=names)
        if not names or (own is not None and own.hit is not None):
            return own
        worst = worst_of(self.before.runs.get(change.line, []), self.judge, across=True, obstacles=names)
        return worst if worst is not None and worst.hit is not None else own

    def finding(self, number: int, finding: Finding, trouble: bool, brief: bool) -> Item:
        """Something that was found and not changed."""
        item = Item(number, finding.line, finding.kind, TITLES[finding.kind],
                    _sentence_of(shortened(finding.text, LONGEST_TEXT)),
                    (shortened(finding.obstacle),) if finding.obstacle else (), shortened(finding.advice, LONGEST_TEXT),
                    trouble=trouble, by=finding.by, brief=brief)
        moves = [m for m in self.before.moves.get(finding.line, []) if _matters(m, finding)]
        if brief:
            item.programmed = _ways(moves[:BRIEF_RAPIDS])
            return item
        worst = worst_of(moves, self.judge) if finding.kind != "in-stock" else None
        item.programmed = _ways([m for m in moves if m.kind == Kind.RAPID])
        item.cuts = [path(m) for m in moves if m.kind != Kind.RAPID]
        if finding.kind == "cut-contact":
            item.cuts = self._hits(finding) or item.cuts
        if worst is not None and (worst.hit is not None or finding.kind not in ("close", "not-understood")):
            self._place(item, worst)
            if finding.obstacle:
                item.corridors = self._corridors(worst)
                item.profile = profile_of(self.judge, worst, [], None)
        elif moves:
            x, y, _ = place_of(moves[0].end)
            item.mark = (x, y) if x is not None and y is not None else None
        item.hunk = self._hunk(finding.line)
        return item

    def _hits(self, finding: Finding) -> list[list[tuple[float, float]]]:
        numbers = [k for k, name in enumerate(self.judge.names) if name == finding.obstacle]
        return [way for number in numbers for way in self.before.hits.get(number, []) if way]

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

    def _mended(self, line: int, brief: bool) -> list[Move]:
        """The rapids that took a line's place, and, unless `brief`, those that follow them in the same run."""
        if self.after is None or line not in self.new_lines:
            return []
        first, last = self.new_lines[line]
        if not brief:
            return self.after.runs.get(first, [])
        return [m for number in range(first, last) for m in self.after.moves.get(number, []) if m.kind == Kind.RAPID]

    def _hunk(self, line: int) -> list[HunkLine]:
        lines = []
        for number in range(line - CONTEXT, line + CONTEXT + 1):
            change = self.changed.get(number)
            own = number == line
            if change is None:
                raw = self.before.texts.get(number)
                if raw is not None:
                    lines.append(HunkLine(" ", number, self._line(raw), own))
                continue
            lines += [HunkLine("-", number, self._line(raw), own) for raw in change.before]
            lines += [HunkLine("+", None, self._line(raw), own) for raw in change.after]
        return lines

    def _line(self, raw: bytes) -> str:
        text = raw.decode("utf-8", "backslashreplace").rstrip("\r\n")
        text = shortened(text, LONGEST_LINE if self._room > 0 else LITTLE)
        self._room -= len(text)
        return text

    # Sentences ------------------------------------------------------------------------------------------------

    def _sentence(self, change: Change, worst: Worst | None) -> str:
        if not change.obstacles:
            return self._follows(change)
        own = worst is not None and worst.move.line == change.line and not worst.move.upright
        return f"{self._why(change, worst)} {self._what(change, own, worst is not None and self._is_led_round(worst))}"

    def _why(self, change: Change, worst: Worst | None) -> str:
        names = list_of([f"“{shortened(name)}”" for name in change.obstacles]) or "an obstacle"
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
        others = f" {list_of(also)} {'stands' if len(also) == 1 else 'stand'} in the way too." if also \
            else ""
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
        return f"So the tool is raised to {height} here, before it {'is led round it' if led_round else 'goes across'}."

    def _follows(self, change: Change) -> str:
        near = min(self.lifted, key=lambda line: abs(line - change.line), default=None)
        of = f" of line {near}" if near is not None else " beside it"
        if change.written_z is not None and change.programmed_z is not None \
                and change.written_z > change.programmed_z:
            return (f"Nothing stands in the way of this rapid by itself; it keeps the height of the raised rapid{of},"
                    f" Z {length(change.written_z, self.units)}.")
        return f"This belongs to the raised rapid{of}: from here on the tool is where the program had it."


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
