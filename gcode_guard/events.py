"""A program as a stream of events for the proof: its rapids, cuts and effects, one after the other, judged or not."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from decimal import Decimal

import numpy as np

from .judge import Judge
from .program.lane import Stretch
from .program.lane_offer import Known, Offer
from .program.lane_reader import LaneReader
from .program.moves import Effect, Kind, Move, Step, table
from .program.reader import Reader
from .program.state import Position, State
from .sameness import Place
from .verdicts import Verdicts, own_motion

BATCH = 2000  # steps that are judged at once
CALLS = frozenset({"M98", "M99"})  # they do nothing themselves: what they bring in is followed
AnyReader = Reader | LaneReader
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


def programmed(reader: AnyReader) -> Iterator[Event | Offer]:
    """The events of the program as it was, second readings left out, and offers to pass over what comes.

    Raises NotFollowed at what is not understood.
    """
    last = _Last(reader)
    for step in _items(reader):
        if isinstance(step, Offer):
            yield step
            last.line += step.taken
            continue
        assert isinstance(step, Step)
        if step.refusals:
            refusal = step.refusals[0]
            raise NotFollowed(refusal.line, f"{refusal.what} ({refusal.advice})")
        last.see(step)
        for event in _events(step, reader.interpreter.rules.harmless):
            if event.move is None or not event.move.shadow:
                yield event
    yield last.event()


def mended(reader: AnyReader, judge: Judge) -> Iterator[Event | Offer | JudgedStretch]:
    """The events of the program as it is now, judged; second readings stand `beside` the event after them. Offers come
    before what they offer."""
    last = _Last(reader)
    beside: list[Event] = []
    for batch in _batches(reader):
        if isinstance(batch, Offer):
            if not beside:
                yield batch
                last.line += batch.taken
            continue
        if isinstance(batch, Stretch):
            yield JudgedStretch(batch, judge, beside)
            last.line += batch.used
            beside = []
            continue
        for event in _judged(batch, reader, judge, last):
            if event.move is not None and event.move.shadow:
                beside.append(event)
                continue
            event.beside, beside = beside, []
            yield event
    end = last.event()
    end.beside = beside
    yield end


def _items(reader: AnyReader) -> Iterator[Step | Stretch | Offer]:
    return reader.with_offers() if isinstance(reader, LaneReader) else iter(reader)


def _batches(reader: AnyReader) -> Iterator[list[Step] | Stretch | Offer]:
    """Up to BATCH steps at a time, and the stretches and offers between them."""
    waiting: list[Step] = []
    for step in _items(reader):
        if isinstance(step, Step):
            waiting.append(step)
            if len(waiting) < BATCH:
                continue
        if waiting:
            yield waiting
            waiting = []
        if not isinstance(step, Step):
            yield step
    if waiting:
        yield waiting


class JudgedStretch:
    """A stretch of the program as it is now, judged. It is passed over where the program had the same bytes in the
    same state, and taken in pieces, each through the next cut, where it had not."""

    def __init__(self, stretch: Stretch, judge: Judge, beside: list[Event]) -> None:
        self.stretch = stretch
        self._verdicts = Verdicts(judge, stretch.moves)
        self._beside = beside
        self._cuts: list[int] = stretch.rows[stretch.moves.kind != Kind.RAPID].tolist()
        self.wrong = np.flatnonzero(self._verdicts.wrong)  # the rows in which something may be wrong
        self._wrong: list[int] = stretch.rows[self.wrong].tolist()
        self.at = 0  # lines that are done with
        self.taken_apart = 0  # pieces that were taken

    @property
    def spent(self) -> bool:
        return self.at == self.stretch.used

    @property
    def line(self) -> int:
        """The line that comes next."""
        return self.stretch.first + self.at

    @property
    def state(self) -> State:
        """The state before the line that comes next."""
        return self.stretch.state_before(self.at)

    @property
    def may_be_passed(self) -> bool:
        """False where second readings come before it, which must be seen."""
        return not self._beside

    def pass_to(self, line: int) -> None:
        """Leaves out the lines up to one, from 0 (not included), that stands behind a cut."""
        self.at = line

    def leave(self) -> bool:
        """Leaves what is still to come to the reader; False where nothing was taken yet."""
        if self._beside or not self.at:
            return False
        self.stretch.used = self.at
        return True

    def pass_over(self, offer: Offer, known: Known) -> tuple[State, Decimal] | None:
        """Passes over what the program had too, through a cut, and as far as what is known of it begins; gives the
        state after it and how low it is at its last place, None where there is none."""
        stretch, batch = self.stretch, self.stretch.batch
        if self._beside or offer.state != self.state:
            return None
        begin, end = batch.offset(stretch.begin + self.at), batch.offset(stretch.begin + stretch.used)
        end = int(min(end, begin + known.next_place(offer.place) - offer.place))
        same = offer.same(batch.data, begin, end)
        lines = int(batch.ends.searchsorted(same, side="right")) - stretch.begin  # that are wholly the same
        wrong = bisect_left(self._wrong, self.at)
        if wrong < len(self._wrong):
            lines = min(lines, self._wrong[wrong])
        cut = bisect_left(self._cuts, lines) - 1
        if cut < 0 or self._cuts[cut] < self.at:
            return None
        lines = self._cuts[cut] + 1
        after = stretch.state_before(lines)
        offer.take(lines - self.at, batch.offset(stretch.begin + lines) - begin, after)
        self.at = lines
        return after, stretch.low_at(lines)

    def piece(self) -> list[Event]:
        """The events through the line of the next cut."""
        stretch = self.stretch
        end = self._cuts[bisect_left(self._cuts, self.at)] + 1
        row, behind = stretch.row(self.at), stretch.row(end)
        events = []
        for number in dict.fromkeys(stretch.lines[row:behind]):
            for event in self._events_of(number):
                if event.move is not None:
                    event.wrong, event.clip = self._verdicts.of(row, event.move)
                    row += 1
                events.append(event)
        events[0].beside, self._beside = self._beside, []
        self.at = end
        self.taken_apart += 1
        return events

    def _events_of(self, number: int) -> Iterable[Event]:
        made = self.stretch.made(number)
        if made is None:
            return _events(self.stretch.step(number), self.stretch.interpreter.rules.harmless)
        moves, state = made
        return [Event(move.line, state, move) for move in moves]


class _Last:
    """The end of a program: its last line, and whether M2 or M30 ended it."""

    def __init__(self, reader: AnyReader) -> None:
        self._reader = reader
        self.line = 0
        self._ended = False

    def see(self, step: Step) -> None:
        self.line = step.block.line
        if not step.skipped and ("M2" in step.codes or "M30" in step.codes):
            self._ended = True

    def event(self) -> Event:
        return Event(self.line, self._reader.interpreter.state, ended=self._ended)


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


def _judged(steps: list[Step], reader: AnyReader, judge: Judge, last: _Last) -> Iterator[Event]:
    """The events of some steps with their verdicts."""
    moves = [move for step in steps for move in step.moves]
    verdicts = Verdicts(judge, table(moves))
    row = 0
    for step in steps:
        last.see(step)
        for event in _events(step, reader.interpreter.rules.harmless):
            if event.move is not None:
                event.wrong, event.clip = verdicts.of(row, event.move)
                row += 1
            elif event.effect is not None:
                event.wrong = own_motion(judge, event.effect, step.before.corner)
            yield event
        if step.refusals:
            refusal = step.refusals[0]
            yield Event(refusal.line, step.after, wrong=f"this is not understood: {refusal.what} ({refusal.advice})",
                        refused=True)


def read_to_end(events: Iterable[Event | Offer]) -> None:
    """Reads on only for what is not understood. Raises NotFollowed."""
    for event in events:
        if isinstance(event, Offer):
            event.take_stretch()
