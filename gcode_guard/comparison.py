"""Two programs in step: the same cuts and effects, and between them rapids that are safe and no lower (promises 1, 2).

Between two cuts or effects both make a stretch of rapids; they are followed from place to place in XY, and how low each
goes there is compared. Where their ways differ (a way round), a bounded number of rapids is looked ahead for the next
place at which they meet. Nothing here knows how repairs are made.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import replace
from itertools import islice, takewhile
from math import isfinite

from .abreast import Columns
from .events import Event, JudgedStretch
from .lengths import UNIT_WORD, Units, exactly
from .program.lane_offer import Known, Offer
from .program.moves import Kind, Move
from .program.state import Position, Span, bounds
from .sameness import (
    EQUAL,
    cut_difference,
    effect_difference,
    manner_difference,
    same_place,
    state_difference,
)
from .stretch import Floors, Vertex, judged_low, last_position, meeting

AHEAD = 256  # rapids that are looked ahead for where two ways meet again


class Different(Exception):
    """AFTER does not hold: the lines at which that shows, and what it means."""

    def __init__(self, before_line: int | None, after_line: int | None, what: str) -> None:
        super().__init__(what)
        self.before_line, self.after_line, self.what = before_line, after_line, what


class Side:
    """One program's events with a look ahead."""

    def __init__(self, events: Iterator[Event | Offer | JudgedStretch]) -> None:
        self._events = events
        self._held: deque[Event] = deque()
        self._rest: Offer | JudgedStretch | None = None

    def rest(self) -> Offer | JudgedStretch | None:
        """What can be passed over at once from here on, if anything."""
        if not self._held and self._rest is None:
            event = next(self._events)
            if isinstance(event, Event):
                self._held.append(event)
            else:
                self._rest = event
        return None if self._held else self._rest

    def leave(self) -> None:
        """Goes on to what comes after, or instead of, what could be passed over."""
        self._rest = None

    def _fetch(self) -> None:
        """Holds at least one event more."""
        while True:
            event = next(self._events) if self._rest is None else self._rest
            self._rest = None
            if isinstance(event, Event):
                self._held.append(event)
                return
            if isinstance(event, JudgedStretch):
                self._held.extend(event.piece())
                if not event.spent:
                    self._rest = event
                return

    @property
    def head(self) -> Event:
        if not self._held:
            self._fetch()
        return self._held[0]

    def pop(self) -> Event:
        event = self.head
        self._held.popleft()
        return event

    def rapids(self) -> list[Event]:
        """The rapids from here to the next cut, effect or end, AHEAD of them at most."""
        while len(self._held) < AHEAD and (not self._held or self._held[-1].rapid):
            self._fetch()
        return list(islice(takewhile(_is_rapid, self._held), AHEAD))


def _is_rapid(event: Event) -> bool:
    return event.rapid


class Comparison:
    """BEFORE and AFTER in step. `run` raises Different at the first difference.

    `air_floor`: the height (mm) from which on traverses at feed may be lifted; None where they may not. `known` are
    stretches of BEFORE in which nothing is wrong. Lengths are told in `units`.
    """

    def __init__(self, before: Side, after: Side, air_floor: float | None, known: Known, units: Units) -> None:
        self.before, self.after = before, after
        self.air_floor = air_floor
        self.known = known
        self.units = units
        self.columns = Columns(known)
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
        self._stand(resting=True)
        if self._pass_over():
            return True
        self._stand(resting=False)
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

    def _pass_over(self) -> bool:
        """Passes over what both programs have byte for byte, in the same state: safe in the one, it is what it was."""
        was, now = self.before.rest(), self.after.rest()
        if not isinstance(was, Offer):
            return False
        if isinstance(now, JudgedStretch) and self.known.begins(was.place) and now.leave():
            self.after.leave()
            now = self.after.rest()
        found = None
        if isinstance(now, Offer):
            found = self.known.pass_over(was, now)
            self.after.leave()
            if found is None:
                now = self.after.rest()
        if isinstance(now, JudgedStretch):
            found = now.pass_over(was, self.known) or self.columns.pass_over(was, now)
            if now.spent:
                self.after.leave()
        if found is None:
            return False
        after, low = found
        self._settle()
        self.before.leave()
        self.before_line = was.first + was.taken - 1
        line = now.first + now.taken if isinstance(now, Offer) else now.line if now is not None else 0
        self._arrive(after.position, after.position, line - 1)
        self.vertex.was(low)
        self.vertex.now(low, line - 1)
        return True

    # Rapids ---------------------------------------------------------------------------------------------------

    def _stand(self, resting: bool) -> None:
        """Takes the upright rapids of both programs at this place; with `resting` until one can pass something over."""
        going = True
        while going:
            going = False
            if self._upright_here(self.before, resting):
                going = True
                event = self._was()
                self.vertex.was(event.start[2])
                self.vertex.was(event.end[2])
            if self._upright_here(self.after, resting):
                going = True
                event = self._now()
                self.vertex.now(event.start[2], event.line)
                self.vertex.now(event.end[2], event.line)
                self.vertex.comes_close(event)

    def _upright_here(self, side: Side, resting: bool) -> bool:
        if resting and side.rest() is not None:
            return False
        move = side.head.move
        return move is not None and move.kind == Kind.RAPID and move.upright and same_place(
            (move.start[0], move.start[1]), self.vertex.place)

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
        self._differ(f"a rapid goes down to {_spell(height, self.units)}, and the program went no lower than"
                     f" {_spell(was, self.units)} here",
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
            self.vertex.was(before[0].start[2])  # where a program begins, nothing else has said it
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
        if cut_difference(was.move, now.move, self.units) is None or not _is_level_feed(was.move, self.air_floor):
            return False
        height = now.end[2]
        z = was.start[2]
        if isinstance(height, Span) or isinstance(z, Span) or height <= z:
            return False
        corners = [was.start, (was.start[0], was.start[1], height), (was.end[0], was.end[1], height), was.end]
        for start, end in zip(corners, corners[1:], strict=False):
            wanted = replace(was.move, start=start, end=end, upright=start[:2] == end[:2])
            event = self._now()
            if event.move is None or cut_difference(wanted, event.move, self.units) \
                    or manner_difference(was.state, event.state):
                self._differ("a traverse at feed is not lifted straight up, across and down", event.line, was.line)
        self._was()
        self.vertex = Vertex(was.leads_to)
        self.vertex.was(was.end[2])
        self.vertex.now(was.end[2], self.after.head.line)
        return True

    def _compare_fixed(self, was: Event, now: Event) -> None:
        self._look_beside(now)
        what = _difference(was, now, self.units)
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


def _difference(was: Event, now: Event, units: Units) -> str | None:
    """In what two cuts, effects or ends differ."""
    if was.move is not None and now.move is not None:
        what = cut_difference(was.move, now.move, units)
        return what or manner_difference(was.state, now.state)
    if was.effect is not None and now.effect is not None:
        what = effect_difference(was.effect, now.effect, units)
        if what is None and was.arguments != now.arguments:
            what = f"the words beside {was.effect.what} are others"
        return what
    if _name(was) == _name(now):
        return state_difference(was.state, now.state, was.ended and now.ended, units)
    return f"where the program had {_name(was)}, there is now {_name(now)}"


def _name(event: Event) -> str:
    if event.move is not None:
        return "a cut"
    return event.effect.what if event.effect is not None else "its end"


def _spell(height: float, units: Units) -> str:
    if isfinite(height):
        return f"Z{exactly(height, units)} {UNIT_WORD[units]}"
    return "a height that is not known" if height < 0 else "high"
