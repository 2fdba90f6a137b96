"""Finds the lines of a program from which it can be started again after a stop.

A line counts where the tool is high when it comes there, and where the blocks from it to the first cut say again all
that the cut depends on: units, distance mode, plane, a motion code, spindle, speed and feed, and the work offset and
tool length offset where the program uses them. Nothing is taken over from before the line but the tool in the spindle.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from ..program.moves import Kind, Move, Step
from ..program.state import bounds

MOST = 40
UNITS, DISTANCE, PLANES = ("G20", "G21"), ("G90", "G91"), ("G17", "G18", "G19")
PATHS = ("G61", "G61.1", "G64")
OFFSETS = ("G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3")


@dataclass(slots=True)
class Candidate:
    """A line to start again from, should the first cut after it find everything it needs."""

    line: int
    tool: int
    height: float


@dataclass(slots=True)
class RestartFinder:
    """Is shown every step in order. `high` gives the tip height above everything on the table for a tool.

    `found`: the candidates that held, at most MOST of them; `more`: how many beyond.
    """

    high: Callable[[Move], float]
    bench: str
    found: list[Candidate] = field(default_factory=list)
    more: int = 0
    _said: dict[str, int] = field(default_factory=dict)
    _open: Candidate | None = None
    _offsets_used: bool = False
    _hopeless: bool = False
    _cut_before: bool = False

    def see(self, step: Step) -> None:
        """Takes the next step."""
        # What a parameter, a subprogram or G10 holds is not said again by any line that could be looked at here.
        self._hopeless = self._hopeless or bool(step.block.settings or step.call or "G10" in step.codes)
        self._note(step)
        for move in step.moves:
            if move.shadow:
                continue
            if move.kind == Kind.RAPID:
                self._rapid(step, move)
            else:
                self._cut(step)

    def see_cuts(self) -> None:
        """Takes a stretch of plain rapids and cuts that begins after a cut and ends with one: none starts there."""
        self._open = None
        self._cut_before = True
        self._said.clear()

    def _note(self, step: Step) -> None:
        line = step.block.line
        for code in step.codes:
            for name, group in (("units", UNITS), ("distance", DISTANCE), ("plane", PLANES), ("offset", OFFSETS),
                                ("path", PATHS)):
                if code in group:
                    self._said[name] = line
            if code in ("M3", "M4"):
                self._said["spindle"] = line
            elif code == "G43":
                self._said["length"] = line
        self._offsets_used = self._offsets_used or step.after.offset != self.bench
        for word in step.block.words:
            if word.letter in "SF":
                self._said[word.letter] = line

    def _rapid(self, step: Step, move: Move) -> None:
        """Looks whether the program could be started before this rapid, with everything it needs said again."""
        if self._open is not None or self._hopeless:
            return
        state = step.after
        wanted = ["units", "distance", "plane"]
        for name, needed in (("offset", self._offsets_used), ("length", state.length_on), ("path", state.path)):
            if needed:
                wanted.append(name)
        plain = ("G0" in step.codes and state.distance == "G90" and state.compensation == "G40"
                 and state.feed_mode == "G94" and move.part == "plain" and move.tool >= 0
                 and not any(state.extra))
        if plain and all(name in self._said for name in wanted):
            high = self.high(move)
            if bounds(move.start[2])[0] >= high and (move.upright or bounds(move.end[2])[0] >= high):
                self._open = Candidate(min(self._said[name] for name in wanted), move.tool, high)
                return
        self._said.clear()

    def _cut(self, step: Step) -> None:
        candidate, self._open = self._open, None
        first, self._cut_before = not self._cut_before, True
        if candidate is not None and not first:  # before the first cut it is the beginning itself
            wanted = ("spindle", "S", "F")
            if all(self._said.get(name, 0) >= candidate.line for name in wanted):
                if len(self.found) < MOST:
                    self.found.append(candidate)
                else:
                    self.more += 1
        self._said.clear()
