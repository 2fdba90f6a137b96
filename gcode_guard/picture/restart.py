"""Finds the lines of a program from which it can be started again after a stop.

A line counts where the tool is high when it comes there, and where the blocks from it to the first cut say again all
that the cut depends on: units, distance mode, plane, a motion code, X, Y and Z, spindle, speed and feed, and every mode
that the program changes anywhere, since the stop may have come at any place. Nothing is taken over from before the line
but the tool in the spindle: where it stands after a stop is not known, so it stays above everything until X and Y are
both given.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from math import inf

from ..program.moves import Kind, Move, Step
from ..program.state import bounds

MOST = 40
EARLY = frozenset({"units", "distance", "plane"})  # what the first move needs, with the modes in CHANGED_EARLY
CHANGED_EARLY = frozenset({"offset", "path", "compensation"})
WORK = frozenset({"spindle", "S", "F"})  # what the first cut needs as well
PLACE = frozenset("XYZ")
GROUPS = {
    "G20": "units", "G21": "units", "G90": "distance", "G91": "distance",
    "G17": "plane", "G18": "plane", "G19": "plane", "G61": "path", "G61.1": "path", "G64": "path",
    "G93": "feed mode", "G94": "feed mode", "G95": "feed mode",
    "G40": "compensation", "G41": "compensation", "G41.1": "compensation", "G42": "compensation",
    "G42.1": "compensation", "G43": "length", "G49": "length", "G90.1": "centres", "G91.1": "centres",
    "G98": "retract", "G99": "retract", "M3": "spindle", "M4": "spindle", "M7": "coolant", "M8": "coolant",
    "M9": "coolant", **{f"G{number}": "offset" for number in (*range(54, 60), 59.1, 59.2, 59.3)},
}
USUAL = frozenset({"G94", "G40", "G49", "G91.1", "G98", "M9"})  # what a control starts in anyhow
# What no line says again: offsets that a program writes or shifts (and parameters and subprograms).
HOPELESS = frozenset({"G10", "G52", "G92", "G92.1", "G92.2", "G92.3"})


@dataclass(slots=True)
class Candidate:
    """A line to start again from, should the first cut after it find everything it needs.

    `line`: the first that is needed, once the whole program was seen. `said`: the line of everything that was said
    before its first move, by name; `later`: the names of what was said from there to the first cut; `low`: of those,
    the names that were said before the tool went down. `placed`: the axes in which the moves so far gave its place.
    """

    line: int
    tool: int
    height: float
    said: dict[str, int] = field(default_factory=dict)
    later: set[str] = field(default_factory=set)
    low: frozenset[str] | None = None
    placed: set[str] = field(default_factory=set)


@dataclass(slots=True)
class RestartFinder:
    """Is shown every step in order. `high` gives the tip height above everything on the table for a tool."""

    high: Callable[[Move], float]
    bench: str
    _found: list[Candidate] = field(default_factory=list)
    _further: Counter[frozenset[str]] = field(default_factory=Counter)
    _said: dict[str, int] = field(default_factory=dict)
    _open: Candidate | None = None
    _changed: set[str] = field(default_factory=set)
    _hopeless: bool = False
    _cut_before: bool = False

    @property
    def found(self) -> list[Candidate]:
        """The candidates that hold over the whole program, at most MOST of them."""
        return self._holding()[:MOST]

    @property
    def more(self) -> int:
        """How many hold beyond those."""
        beyond = sum(many for names, many in self._further.items() if self._changed <= names)
        return max(0, len(self._holding()) - MOST) + (0 if self._hopeless else beyond)

    def _holding(self) -> list[Candidate]:
        return [] if self._hopeless else [candidate for candidate in self._found if self._holds(candidate)]

    def _holds(self, candidate: Candidate) -> bool:
        """Whether everything that the program depends on anywhere is said from the candidate's line on."""
        early = EARLY | (self._changed & CHANGED_EARLY)
        if not early <= candidate.said.keys():
            return False
        line = candidate.line = min(candidate.said[name] for name in early)
        known = candidate.later | {name for name, at in candidate.said.items() if at >= line}
        lengths = "length" not in self._changed or "length" in (candidate.low or ()) \
            or candidate.said.get("length", 0) >= line
        return lengths and known >= WORK | self._changed

    def see(self, step: Step) -> None:
        """Takes the next step."""
        if step.skipped:
            return
        self._hopeless = self._hopeless or bool(step.block.settings or step.call or HOPELESS & set(step.codes)
                                                or any(step.after.extra))
        self._note(step)
        for move in step.moves:
            if move.shadow:
                continue
            if move.kind == Kind.RAPID:
                self._rapid(step, move)
            else:
                self._cut()
        self._place(step)

    def see_cuts(self) -> None:
        """Takes a stretch of plain rapids and cuts that begins after a cut and ends with one: none starts there."""
        self._open = None
        self._cut_before = True
        self._said.clear()

    def _place(self, step: Step) -> None:
        """Notes in which axes a step gave the place. A block that leaves the tool where it is may move it next time."""
        candidate, state = self._open, step.after
        if candidate is None or state.distance != "G90":
            return
        given = {word.letter for word in step.block.words if word.letter in PLACE}
        if step.moves:
            certain = all(move.part == "plain" for move in step.moves)
        else:
            certain = state.motion == "G0" and bounds(state.position[2])[0] >= candidate.height
        if certain:
            candidate.placed |= given

    def _note(self, step: Step) -> None:
        names = [GROUPS[code] for code in step.codes if code in GROUPS]
        names += [word.letter for word in step.block.words if word.letter in "SF"]
        self._said.update(dict.fromkeys(names, step.block.line))
        if self._open is not None:
            self._open.later.update(names)
        for code in step.codes:
            name = GROUPS.get(code)
            if name is not None and code not in USUAL and code != self.bench and name not in EARLY | WORK:
                self._changed.add(name)

    def _rapid(self, step: Step, move: Move) -> None:
        """Looks whether the program could be started before this rapid, with everything it needs said again."""
        candidate = self._open
        if candidate is None:
            self._begin(step, move)
        elif not _stays_high(move, candidate.height):
            if candidate.low is None:
                candidate.low = frozenset(candidate.later)
            if not {"X", "Y"} <= candidate.placed:  # it would come down wherever it stands
                self._open = None
                self._said.clear()

    def _begin(self, step: Step, move: Move) -> None:
        state = step.after
        plain = ("G0" in step.codes and state.distance == "G90" and state.compensation == "G40"
                 and state.feed_mode == "G94" and move.part == "plain" and move.tool >= 0)
        if plain and EARLY <= self._said.keys():
            high = self.high(move)
            if high < inf and _stays_high(move, high):
                self._open = Candidate(step.block.line, move.tool, high, dict(self._said))
                return
        self._said.clear()

    def _cut(self) -> None:
        candidate, self._open = self._open, None
        first, self._cut_before = not self._cut_before, True
        if candidate is not None and not first:  # before the first cut it is the beginning itself
            names = frozenset({*candidate.said, *candidate.later})
            if EARLY | WORK <= names and candidate.placed >= PLACE:
                if len(self._found) < 10 * MOST:
                    self._found.append(candidate)
                else:
                    self._further[names] += 1
        self._said.clear()


def _stays_high(move: Move, high: float) -> bool:
    """Whether a rapid is above everything at both of its ends, wherever over the table it really begins."""
    return bounds(move.start[2])[0] >= high and bounds(move.end[2])[0] >= high
