"""The proof over two programs: AFTER does what BEFORE does, and its rapids are safe (promises 1 and 2).

Both are read from scratch and in step. Between two cuts or effects both make a stretch of rapids; the proof follows
them from place to place in XY and compares how low each goes there. Where their ways differ (a way round), it looks
a bounded number of rapids ahead for the next place at which they meet. It knows nothing of how repairs are made.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from math import isfinite

from .events import Event, NotFollowed, mended, programmed, read_to_end
from .judge import Judge
from .program.errors import NotUnderstood
from .program.moves import Kind, Move
from .program.reader import Reader
from .program.scan import Facts, look
from .program.state import Position, Span, bounds
from .rules import rules_of, trouble_with_tools
from .sameness import (
    EQUAL,
    cut_difference,
    effect_difference,
    manner_difference,
    same_place,
    state_difference,
)
from .setup.model import Setup
from .stretch import Floors, Vertex, judged_low, last_position, meeting

AHEAD = 256  # rapids that are looked ahead for where two ways meet again
Lines = Callable[[], Iterable[bytes]]


@dataclass(slots=True, frozen=True)
class Proof:
    """What came of a proof. Where it does not hold: the first difference in program order, its lines (from 1; None
    where there is none) and what it means. `understood` is False where BEFORE is not."""

    holds: bool
    understood: bool = True
    before_line: int | None = None
    after_line: int | None = None
    what: str = ""


def verify(before_lines: Lines, after_lines: Lines, setup: Setup, tool: int | None = None) -> Proof:
    """Proves AFTER against BEFORE on one bench. `tool` is the one in the spindle at the start, where it is given.

    Each callable gives the raw lines of a program anew. Raises OSError where they cannot be read.
    """
    try:
        before = programmed(_reader(before_lines, setup, tool))
    except NotFollowed as reason:
        return Proof(False, False, reason.line, None, reason.what)
    try:
        _compare(before, after_lines, setup, tool)
    except NotFollowed as reason:
        return Proof(False, False, reason.line, None, reason.what)
    except Different as found:
        try:
            read_to_end(before)
        except NotFollowed as reason:
            return Proof(False, False, reason.line, None, reason.what)
        return Proof(False, True, found.before_line, found.after_line, found.what)
    return Proof(True)


def _compare(before: Iterator[Event], after_lines: Lines, setup: Setup, tool: int | None) -> None:
    try:
        reader = _reader(after_lines, setup, tool)
    except NotFollowed as reason:
        raise Different(None, reason.line, f"this is not understood: {reason.what}") from reason
    stock = setup.stock
    floor = stock.top + setup.clearance.above if stock is not None and setup.repair.air_feeds else None
    Comparison(_Side(before), _Side(mended(reader, Judge(setup))), floor).run()


def _reader(lines: Lines, setup: Setup, tool: int | None) -> Reader:
    """A reader of one program. Raises NotFollowed where it is not certain how to read it."""
    facts: Facts = look(lines(), setup.program.block_delete == "skip")
    trouble = trouble_with_tools(setup, facts, tool)
    if trouble is not None:
        raise NotFollowed(trouble[0], f"{trouble[1]} ({trouble[2]})")
    try:
        return Reader(lines(), rules_of(setup, facts, tool), facts)
    except NotUnderstood as error:
        raise NotFollowed(1, f"{error.what} ({error.advice})") from error


class Different(Exception):
    """AFTER does not hold: the lines at which that shows, and what it means."""

    def __init__(self, before_line: int | None, after_line: int | None, what: str) -> None:
        super().__init__(what)
        self.before_line, self.after_line, self.what = before_line, after_line, what


class _Side:
    """One program's events with a look ahead."""

    def __init__(self, events: Iterator[Event]) -> None:
        self._events = events
        self._held: deque[Event] = deque()

    @property
    def head(self) -> Event:
        if not self._held:
            self._held.append(next(self._events))
        return self._held[0]

    def pop(self) -> Event:
        event = self.head
        self._held.popleft()
        return event

    def rapids(self) -> list[Event]:
        """The rapids from here to the next cut, effect or end, AHEAD of them at most."""
        while len(self._held) < AHEAD and (not self._held or self._held[-1].rapid):
            self._held.append(next(self._events))
        return [event for event in self._held if event.rapid][:AHEAD]


class Comparison:
    """BEFORE and AFTER in step. `run` raises Different at the first difference.

    `air_floor`: the height (mm) from which on traverses at feed may be lifted; None where they may not.
    """

    def __init__(self, before: _Side, after: _Side, air_floor: float | None = None) -> None:
        self.before, self.after = before, after
        self.air_floor = air_floor
        self.vertex = Vertex(before.head.place)
        self.before_line = before.head.line

    def run(self) -> None:
        while self._advance():
            pass

    # The streams ----------------------------------------------------------------------------------------------

    def _was(self) -> Event:
        event = self.before.pop()
        self.before_line = event.line
        return event

    def _now(self) -> Event:
        """Takes AFTER's next event, after a look at what may never be."""
        event = self.after.pop()
        for shadow in event.beside:
            self._never(shadow)
            if shadow.clip and not same_place(shadow.place, self.vertex.place):
                self._differ(shadow.clip, shadow.line)
            self.vertex.comes_close(shadow)
        self._never(event)
        return event

    def _never(self, event: Event) -> None:
        if event.wrong:
            self._differ(event.wrong, event.line)

    def _differ(self, what: str, after_line: int | None, before_line: int | None = None) -> None:
        raise Different(before_line or self.before_line, after_line, what)

    def _advance(self) -> bool:
        """One step on; False at the end of both programs."""
        self._stand()
        was, now = self.before.head, self.after.head
        if now.refused:
            self._now()
        if same_place(was.place, now.place) and not same_place(was.place, self.vertex.place):
            self._settle()
            self.vertex = Vertex(was.place)
        elif was.rapid and now.rapid and same_place(was.place, now.place) \
                and same_place(was.leads_to, now.leads_to):
            self._cross()
        elif was.rapid or now.rapid:
            self._detour()
        else:
            return self._fixed()
        return True

    # Rapids ---------------------------------------------------------------------------------------------------

    def _stand(self) -> None:
        """Takes the upright rapids of both programs at this place."""
        going = True
        while going:
            going = False
            if self._upright_here(self.before.head):
                going = True
                event = self._was()
                self.vertex.was(event.start[2])
                self.vertex.was(event.end[2])
            if self._upright_here(self.after.head):
                going = True
                event = self._now()
                self.vertex.now(event.start[2], event.line)
                self.vertex.now(event.end[2], event.line)
                self.vertex.comes_close(event)

    def _upright_here(self, event: Event) -> bool:
        return event.rapid and event.move is not None and event.move.upright and same_place(
            event.place, self.vertex.place)

    def _settle(self) -> None:
        """Leaves a place: AFTER must not have been lower there than BEFORE."""
        vertex = self.vertex
        if vertex.after_low < vertex.before_low - EQUAL:
            self._lower(vertex.after_low, vertex.before_low, vertex.after_line)
        self._settle_clip(vertex.clip, vertex.known_low)

    def _settle_clip(self, clip: tuple[float, int, str] | None, known_low: float) -> None:
        if clip is not None and not clip[0] >= known_low - EQUAL:
            self._differ(f"{clip[2]}, where the program itself does not go as low", clip[1])

    def _lower(self, height: float, was: float, line: int) -> None:
        self._differ(f"a rapid goes down to {_spell(height)}, and the program went no lower than {_spell(was)} here",
                     line)

    def _cross(self) -> None:
        """Both go the same way across: AFTER at both ends as high as BEFORE or higher."""
        was, now = self._was(), self._now()
        self.vertex.was(was.start[2])
        self.vertex.now(now.start[2], now.line)
        self._settle()
        for a, b in ((was.start[2], now.start[2]), (was.end[2], now.end[2])):
            if bounds(b)[0] < bounds(a)[0] - EQUAL:
                self._lower(bounds(b)[0], bounds(a)[0], now.line)
        self._arrive(was.end, now.end, now.line)

    def _arrive(self, was: Position, now: Position, line: int) -> None:
        self.vertex = Vertex((was[0], was[1]))
        self.vertex.was(was[2])
        self.vertex.now(now[2], line)

    def _detour(self) -> None:
        """The ways differ: finds where they meet again, and holds AFTER's above the lowest of BEFORE's."""
        before, after = self.before.rapids(), self.after.rapids()
        met = meeting(self.vertex.place, before, after)
        if met is None:
            self._part(before, after)
            return
        floors = Floors(self.vertex, before[: met[0]])
        was, now, line = floors.last, last_position(self.vertex, after[: met[1]]), self.vertex.after_line
        for _ in range(met[0]):
            self._was()
        for _ in range(met[1]):
            event = self._now()
            line = event.line
            self._hold_above(event, floors)
        if met[0] and met[1]:
            self._settle()
            self._arrive(was, now, line)
        elif met[0]:
            self.vertex.was(was[2])
        else:
            self.vertex.now(now[2], line)

    def _hold_above(self, event: Event, floors: Floors) -> None:
        for position in (event.start, event.end):
            floor = floors.at(position)
            if bounds(position[2])[0] < floor - EQUAL:
                self._lower(bounds(position[2])[0], floor, event.line)
        if event.clip:
            self._settle_clip((judged_low(event), event.line, event.clip), floors.known_at(event.place))

    def _part(self, before: list[Event], after: list[Event]) -> None:
        """The ways do not meet again: says so, or with which wrong rapid or other difference that begins."""
        for _ in after:
            self._now()
        if len(before) < AHEAD and len(after) < AHEAD:
            for _ in before:
                self._was()
            self._compare_fixed(self.before.head, self.after.head)
        line = after[0].line if after else self.after.head.line
        self._differ("the ways of the two programs part here and do not meet again before the next cut", line,
                     before[0].line if before else None)

    # Cuts, effects, the end -----------------------------------------------------------------------------------

    def _fixed(self) -> bool:
        self._settle()
        was, now = self.before.head, self.after.head
        if self._lifted_feed(was, now):
            return True
        self._compare_fixed(was, now)
        if was.move is None and was.effect is None:
            return False
        self._was()
        self.vertex = Vertex(was.leads_to)
        self._now()
        self.vertex.was(was.end[2])
        self.vertex.now(now.end[2], now.line)
        return True

    def _lifted_feed(self, was: Event, now: Event) -> bool:
        """Takes a traverse at feed and the three cuts that lift it, where the setup allows that (`air_feeds`)."""
        if self.air_floor is None or was.move is None or now.move is None or was.rapid or now.rapid:
            return False
        if cut_difference(was.move, now.move) is None or not _is_level_feed(was.move, self.air_floor):
            return False
        height = now.end[2]
        z = was.start[2]
        if isinstance(height, Span) or isinstance(z, Span) or height <= z:
            return False
        corners = [was.start, (was.start[0], was.start[1], height), (was.end[0], was.end[1], height), was.end]
        for start, end in zip(corners, corners[1:], strict=False):
            wanted = replace(was.move, start=start, end=end, upright=start[:2] == end[:2])
            event = self._now()
            if event.move is None or cut_difference(wanted, event.move) or manner_difference(was.state, event.state):
                self._differ("a traverse at feed is not lifted straight up, across and down", event.line, was.line)
        self._was()
        self.vertex = Vertex(was.leads_to)
        self.vertex.was(was.end[2])
        self.vertex.now(was.end[2], self.after.head.line)
        return True

    def _compare_fixed(self, was: Event, now: Event) -> None:
        self._look_beside(now)
        what = _difference(was, now)
        if what is not None:
            self._differ(what, now.line, was.line)

    def _look_beside(self, event: Event) -> None:
        for shadow in event.beside:
            self._never(shadow)
        if event.refused:
            self._never(event)


def _is_level_feed(move: Move, floor: float) -> bool:
    """True for a level straight cut wholly at or above `floor`."""
    if move.kind != Kind.CUT or not move.exact or move.start[2] != move.end[2]:
        return False
    return bounds(move.start[2])[0] >= floor - EQUAL


def _difference(was: Event, now: Event) -> str | None:
    """In what two cuts, effects or ends differ."""
    if was.move is not None and now.move is not None:
        what = cut_difference(was.move, now.move)
        return what or manner_difference(was.state, now.state)
    if was.effect is not None and now.effect is not None:
        what = effect_difference(was.effect, now.effect)
        if what is None and was.arguments != now.arguments:
            what = f"the words beside {was.effect.what} are others"
        return what
    if _name(was) == _name(now):
        return state_difference(was.state, now.state, was.ended and now.ended)
    return f"where the program had {_name(was)}, there is now {_name(now)}"


def _name(event: Event) -> str:
    if event.move is not None:
        return "a cut"
    return event.effect.what if event.effect is not None else "its end"


def _spell(height: float) -> str:
    return f"Z{height:.4f}" if isfinite(height) else "a height that is not known" if height < 0 else "high"
