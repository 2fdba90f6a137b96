"""A program as a stream of events for the proof: its rapids, cuts and effects, one after the other, judged or not."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from decimal import Decimal
from itertools import islice

import numpy as np

from .judge import Examined, Judge
from .program.moves import Effect, Kind, Move, Moves, Step, table
from .program.reader import Reader
from .program.state import ANYWHERE, Position, State, bounds, known
from .rules import reach_box
from .sameness import Place, spelled

BATCH = 2000  # steps that are judged at once
OUTSIDE = 1e-6  # mm, by which an end may lie outside the reach through rounding
CALLS = frozenset({"M98", "M99"})  # they do nothing themselves: what they bring in is followed
ARGUMENTS = frozenset("PQLDHABCUVWE")  # words that stand beside a harmless code and belong to it


@dataclass(slots=True)
class Event:
    """One thing that a program does. Exactly one of `move` and `effect` is given, but at the program's end neither.

    `state` is in force after its block. `wrong` says what may never be; `clip` what may be only where the program
    itself goes as low. `beside` are second readings of the block that come before it. `refused` marks a block that
    is not understood, with `wrong` saying why.
    """

    line: int
    state: State
    move: Move | None = None
    effect: Effect | None = None
    wrong: str = ""
    clip: str = ""
    refused: bool = False
    ended: bool = False
    arguments: tuple[tuple[str, Decimal], ...] = ()
    beside: list[Event] = field(default_factory=list)

    @property
    def rapid(self) -> bool:
        return self.move is not None and self.move.kind == Kind.RAPID

    @property
    def start(self) -> Position:
        if self.move is not None:
            return self.move.start
        return self.effect.position if self.effect is not None else self.state.position

    @property
    def end(self) -> Position:
        return self.move.end if self.move is not None else self.start

    @property
    def place(self) -> Place:
        return self.start[0], self.start[1]

    @property
    def leads_to(self) -> Place:
        return self.end[0], self.end[1]


class NotFollowed(Exception):
    """A block that is not understood: its line and why."""

    def __init__(self, line: int, what: str) -> None:
        super().__init__(what)
        self.line, self.what = line, what


def programmed(reader: Reader) -> Iterator[Event]:
    """The events of the program as it was, second readings left out. Raises NotFollowed at what is not understood."""
    last = _Last(reader)
    for step in reader:
        if step.refusals:
            refusal = step.refusals[0]
            raise NotFollowed(refusal.line, f"{refusal.what} ({refusal.advice})")
        last.see(step)
        for event in _events(step, reader.interpreter.rules.harmless):
            if event.move is None or not event.move.shadow:
                yield event
    yield last.event()


def mended(reader: Reader, judge: Judge) -> Iterator[Event]:
    """The events of the program as it is now, judged; second readings stand `beside` the event after them."""
    last = _Last(reader)
    steps = iter(reader)
    beside: list[Event] = []
    while batch := list(islice(steps, BATCH)):
        for event in _judged(batch, reader, judge, last):
            if event.move is not None and event.move.shadow:
                beside.append(event)
                continue
            event.beside, beside = beside, []
            yield event
    end = last.event()
    end.beside = beside
    yield end


class _Last:
    """The end of a program: its last line, and whether M2 or M30 ended it."""

    def __init__(self, reader: Reader) -> None:
        self._reader = reader
        self._line = 0
        self._ended = False

    def see(self, step: Step) -> None:
        self._line = step.block.line
        if not step.skipped and ("M2" in step.codes or "M30" in step.codes):
            self._ended = True

    def event(self) -> Event:
        return Event(self._line, self._reader.interpreter.state, ended=self._ended)


def _events(step: Step, harmless: frozenset[str]) -> Iterator[Event]:
    """What a step does, in order."""
    effects = [effect for effect in step.effects if effect.what not in CALLS]
    if not effects:
        for move in step.moves:
            yield Event(step.block.line, step.after, move)
        return
    effects.sort(key=lambda effect: effect.after_move)
    taken = 0
    for place in range(len(step.moves) + 1):
        while taken < len(effects) and effects[taken].after_move == place:
            effect = effects[taken]
            arguments = _arguments(step) if effect.what in harmless else ()
            yield Event(step.block.line, step.after, effect=effect, arguments=arguments)
            taken += 1
        if place < len(step.moves):
            yield Event(step.block.line, step.after, step.moves[place])


def _arguments(step: Step) -> tuple[tuple[str, Decimal], ...]:
    return tuple((word.letter, word.value.normalize()) for word in step.block.words if word.letter in ARGUMENTS)


def _judged(steps: list[Step], reader: Reader, judge: Judge, last: _Last) -> Iterator[Event]:
    """The events of some steps with their verdicts."""
    moves = [move for step in steps for move in step.moves]
    verdicts = _Verdicts(judge, moves)
    row = 0
    for step in steps:
        last.see(step)
        for event in _events(step, reader.interpreter.rules.harmless):
            if event.move is not None:
                event.wrong, event.clip = verdicts.of(row)
                row += 1
            elif event.effect is not None:
                event.wrong = own_motion(judge, event.effect, step.before.corner)
            yield event
        if step.refusals:
            refusal = step.refusals[0]
            yield Event(refusal.line, step.after, wrong=f"this is not understood: {refusal.what} ({refusal.advice})",
                        refused=True)


class _Verdicts:
    """What the rule says of a list of moves, in words."""

    def __init__(self, judge: Judge, moves: list[Move]) -> None:
        self._judge = judge
        self._moves = moves
        columns = table(moves)
        self._found: Examined = judge.examine(columns)
        self._beyond = _beyond(judge, columns)
        self._touched: dict[int, list[int]] = {}
        self._clipped: dict[int, list[int]] = {}
        for hits, into in ((self._found.touched, self._touched), (self._found.clipped, self._clipped)):
            for hit in hits:
                into.setdefault(hit.move, []).append(hit.obstacle)

    def of(self, row: int) -> tuple[str, str]:
        """(what is wrong whatever else, what is wrong unless the program itself goes as low here)."""
        move = self._moves[row]
        if move.kind != Kind.RAPID:
            return self._of_cut(row) or self._outside(row), ""
        if not move.upright and bounds(move.start[2])[0] == float("-inf") and self._judge.names:
            return "a rapid goes across out of a height that is not known", ""
        if self._found.contact[row]:
            return f"a rapid makes contact with {self._names(self._touched, row)}", ""
        if self._found.clips[row]:
            text = f"a rapid comes inside the clearance of {self._names(self._clipped, row)}"
            if not (move.upright and known(move.start[0]) and known(move.start[1])):
                return text, ""
            return self._outside(row), text
        return self._outside(row), ""

    def _outside(self, row: int) -> str:
        return outside(self._judge, self._moves[row]) if row in self._beyond else ""

    def _of_cut(self, row: int) -> str:
        solid = [obstacle for obstacle in self._touched.get(row, []) if not self._judge.sacrificial[obstacle]]
        if solid:
            return "a cut runs into " + " and ".join(f'"{self._judge.names[k]}"' for k in solid)
        unnamed = self._found.contact[row] and row not in self._touched
        return "a cut runs into an obstacle" if unnamed else ""

    def _names(self, hits: dict[int, list[int]], row: int) -> str:
        names = [f'"{self._judge.names[k]}"' for k in dict.fromkeys(hits.get(row, []))]
        return " and ".join(names) or "an obstacle"


def _beyond(judge: Judge, moves: Moves) -> set[int]:
    """The rows of moves that end outside the reach of the machine, homing among them."""
    if judge.setup.machine.reach is None:
        return set()
    found: set[int] = set()
    for tool in np.unique(moves.tool).tolist():
        low, high = np.array(reach_box(judge.setup, tool)).T
        beyond = ((moves.end > high + OUTSIDE) | (moves.end < low - OUTSIDE)).any(axis=1)
        found.update(np.flatnonzero(beyond & (moves.tool == tool)).tolist())
    return found


def outside(judge: Judge, move: Move) -> str:
    """Where a move ends outside the reach of the machine, in words. Homing is not judged, nor a second reading."""
    if judge.setup.machine.reach is None or move.shadow or move.part in ("home", "home-all"):
        return ""
    for axis, (low, high) in enumerate(reach_box(judge.setup, move.tool)):
        value = move.end[axis]
        if not known(value) or value == move.start[axis]:
            continue
        number = bounds(value)[0]
        if number > high + OUTSIDE or number < low - OUTSIDE:
            limit = high if number > high else low
            return f"{'XYZ'[axis]} goes to {number:.3f} mm, and the machine ends at {limit:.3f} mm"
    return ""


def own_motion(judge: Judge, effect: Effect, corner: float) -> str:
    """What is wrong with a code at which the machine moves by itself anywhere over the table (`own_motion`)."""
    if judge.setup.machine.own_motion.get(effect.what) != "any":
        return ""
    way = Move(effect.line, Kind.RAPID, effect.position, effect.position, effect.tool, None, corner)
    way = replace(way, start=(ANYWHERE, ANYWHERE, way.start[2]), end=(ANYWHERE, ANYWHERE, way.end[2]))
    if float(judge.needed(table([way]))[0]) <= bounds(effect.position[2])[0]:
        return ""
    return (f"{effect.what} may move the tool anywhere over the table, and it stands at {spelled(effect.position)},"
            " not above everything")


def read_to_end(events: Iterable[Event]) -> None:
    """Reads on only for what is not understood. Raises NotFollowed."""
    for _ in events:
        pass
