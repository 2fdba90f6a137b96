"""Which repair of a run is the fastest: the choice is made over its parts, block by block, by dynamic programming.

A repair of a run is a height at each of its places and a way to get from one to the next. The heights worth having are
the program's own and those that its rapids need; so from place to place there are few states, and for each of them only
the quickest way to it is kept (Bellman's principle). What a block can do:

* go across at the height at which the tool stands, going straight up before it where that is too low; or go round
* go up or down to its own height, or to one that a later rapid of the run needs, so as not to come down in between
* where it goes across and changes height at once: go up first, across with or without a change of height, down last
* where no height takes it over: go round at the height that the plain plan takes, and stay there or come down behind it

Times are those of trapezoid profiles, every block from rest to rest, as the log tells them. Of equally fast repairs the
one that changes fewer blocks is taken, then the lower one.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import pairwise
from math import inf

from ..program.moves import Move
from ..program.state import Coordinate, known
from .limits import Limits
from .parts import STATIONS, Part, has_choice, no_lift_helps, parts_of
from .run import Item, Run, literal_z, lowest
from .whole import comes_down_clear, need_of, seconds_of
from .write import Pen, Style

MOST_HEIGHTS = 6  # needed heights that are tried at each place, the greatest ones of a run
MOST_SEARCHES = 12  # ways round that are looked for in a run
SAME = 9  # decimals of a second to which times are told apart


@dataclass(slots=True, frozen=True)
class Choice:
    """What a block is to do, in mm: go up to `start` before it, go across to `across`, and end at `end`; or go round by
    `corners`, at `start`. `led`: the way round is the one that the plain plan takes where no lift helps."""

    start: float
    across: float
    end: float
    corners: tuple[tuple[float, float], ...] = ()
    led: bool = False


@dataclass(slots=True)
class _State:
    """The quickest way so far to stand at a height: seconds, how many blocks that changes or adds, the sum of the
    heights gone across at (mm), and the choices that lead there."""

    seconds: float = 0.0
    blocks: int = 0
    heights: float = 0.0
    choice: Choice | None = None
    came: _State | None = None

    @property
    def rank(self) -> tuple[float, int, float]:
        return round(self.seconds, SAME), self.blocks, self.heights


@dataclass(slots=True)
class _Search:
    """The choice over one part of a run. `needs`: the heights that its rapids need, mm, the greatest first; `later`:
    what is needed at most behind each item; `found`: the ways round by item and height."""

    part: Part
    limits: Limits
    needs: list[float] = field(default_factory=list)
    later: list[float] = field(default_factory=list)
    found: dict[tuple[int, float], tuple[tuple[float, float], ...]] = field(default_factory=dict)

    def fastest(self) -> dict[int, Choice]:
        """The choices by the place of their item in the run."""
        items, stop = self.part.items, self.part.stop
        asked = [[*self._heights(item)] for item in items] + [[-inf if stop is None else need_of(stop)]]
        self.needs = sorted({h for heights in asked for h in heights if h > -inf}, reverse=True)[:MOST_HEIGHTS]
        if self.limits.faster_round is not None and self.limits.floor not in self.needs:
            self.needs.append(self.limits.floor)  # the least height for a way over the stock
        self.later = [-inf] * len(items)
        most = -inf
        for place in range(len(items) - 1, -1, -1):
            most = self.later[place] = max(most, -inf, *asked[place + 1])
        states: dict[float, _State] = {lowest(self.part.start): _State()}
        chosen_for = [place for place, item in enumerate(items) if item.kind in ("plain", *STATIONS)]
        for place in chosen_for:
            item, reached = items[place], dict[float, _State]()
            for height, state in states.items():
                for choice, seconds, blocks in self._ways(place, item, height):
                    over = min(choice.start, choice.across) if item.crosses else 0.0
                    over = over if over < inf else 0.0
                    new = _State(state.seconds + seconds, state.blocks + blocks, state.heights + over, choice, state)
                    if choice.end not in reached or new.rank < reached[choice.end].rank:
                        reached[choice.end] = new
            states = reached
        ended = [end for height, state in states.items() for end in self._ended(height, state)]
        best = min(ended, key=lambda state: state.rank, default=None)
        chosen: dict[int, Choice] = {}
        while best is not None and chosen_for:
            if best.choice is not None:
                chosen[self.part.first + chosen_for.pop()] = best.choice
            best = best.came
        return chosen

    def _heights(self, item: Item) -> Iterator[float]:
        """The heights that are worth having for an item: what it needs, or where it is led round; and where ways round
        are taken when they are faster, what each of the obstacles on its way needs by itself."""
        if item.kind in STATIONS:
            yield need_of(item)
        elif not no_lift_helps(item, self.limits):
            yield item.need
        elif item.need < inf and (item.step.after.distance != "G91" or known(item.step.before.position[2])):
            yield self._top(item, lowest(item.step.before.position[2]))
        if self.limits.faster_round is not None and item.kind == "plain":
            yield from (h for leg in item.legs if leg.bad for h in leg.heights if h <= self.limits.ceiling)

    def _top(self, item: Item, height: float) -> float:
        """The height at which an item is led round out of another: as high as the machine can."""
        pen = Pen(Style(), item.step.after)
        start = Decimal(repr(height)) if pen.incremental else None
        top = float(pen.highest(self.limits.ceiling, start)[1])
        return top if height == inf else max(height, top)

    def _ended(self, height: float, state: _State) -> Iterator[_State]:
        """The state at the end of the part: down to where the run ends, or on to the first hole of a cycle, or on home
        or by the machine's coordinates."""
        for seconds, blocks, over in self._endings(height):
            yield _State(state.seconds + seconds, state.blocks + blocks, state.heights + over, None, state)

    def _endings(self, height: float) -> Iterator[tuple[float, int, float]]:
        stop = self.part.stop
        if stop is not None and not stop.legs:
            if self._comes_down_by(stop, height):
                yield self._upright(height, lowest(stop.end[2])), 0, 0.0
            return
        if stop is not None:
            level = max(height, need_of(stop))
            yield self._upright(height, level) + seconds_of(stop, level, self._seconds), int(level > height), 0.0
            return
        item = self.part.items[-1]
        if item.kind != "entry" or item.need == -inf:
            end = item.end[2] if item.kind != "entry" else item.legs[0].move.start[2]
            yield self._upright(height, lowest(end)), int(height != lowest(end)), 0.0
            return
        down_to = lowest(item.legs[-1].move.end[2])
        if not no_lift_helps(item, self.limits):
            level = max(height, item.need)
            yield self._upright(height, level) + self._upright(level, down_to), int(level > height), level
            return
        for level, corners in self._led(len(self.part.items) - 1, item, height, down_to):
            seconds = self._upright(height, level) + self._round_seconds(item, corners) + self._upright(level, down_to)
            yield seconds, int(level > height), level

    def _comes_down_by(self, stop: Item, height: float) -> bool:
        """Whether a block in machine coordinates that leads nowhere may be what the tool comes down by."""
        if height == lowest(stop.end[2]):
            return True
        last = next((leg.move for item in reversed(self.part.items) for leg in reversed(item.legs)), None)
        return last is not None and height < inf and comes_down_clear(
            self.limits, stop, Decimal(repr(height)), last)

    def _ways(self, place: int, item: Item, height: float) -> Iterator[tuple[Choice, float, int]]:
        """What an item can do with the tool at a height: choices, their seconds and the blocks that they change."""
        if item.kind in STATIONS:
            return self._passing(item, height)
        if no_lift_helps(item, self.limits) and item.need > height:
            return self._no_lift(place, item, height)
        if not item.has_z:
            return self._level(place, item, height)
        return self._slanted(place, item, height) if item.crosses else self._upward(place, item, height)

    def _passing(self, item: Item, height: float) -> Iterator[tuple[Choice, float, int]]:
        """A way home or by the machine's coordinates that takes the tool's height along."""
        for up in self._ups(need_of(item), height):
            yield Choice(up, up, up), self._upright(height, up) + seconds_of(item, up, self._seconds), int(up > height)

    def _ups(self, need: float, height: float) -> list[float]:
        """The heights at which something that needs one can begin."""
        return [height] if need <= height else sorted({up for up in (need, *self.needs) if up >= need})

    def _level(self, place: int, item: Item, height: float) -> Iterator[tuple[Choice, float, int]]:
        across = self._across(item, 0.0)
        for up in self._ups(item.need, height):
            yield Choice(up, up, up), self._upright(height, up) + across, int(up > height)
        yield from self._round(place, item, height)

    def _upward(self, place: int, item: Item, height: float) -> Iterator[tuple[Choice, float, int]]:
        own = lowest(item.end[2])
        for end in self._ends(place, item, height):
            yield Choice(height, end, end), self._upright(height, end), int(end != own)

    def _slanted(self, place: int, item: Item, height: float) -> Iterator[tuple[Choice, float, int]]:
        own, need = lowest(item.end[2]), item.need
        for end in self._ends(place, item, height):
            for start in {max(height, need), max(height, need, end)} if need > -inf else {height}:
                for across in {max(end, need), max(end, need, height)} if need > -inf else {end}:
                    if height < max(start, across) and max(start, across) > self.limits.ceiling:
                        continue
                    if across < height == inf and across > self.limits.ceiling:
                        continue
                    seconds = self._upright(height, start) + self._across(item, gap(across, start)) \
                        + self._upright(across, end)
                    more = (start > height) + (across > end)
                    yield Choice(start, across, end), seconds, more + (more > 0 or end != own)
        yield from self._round(place, item, height)

    def _ends(self, place: int, item: Item, height: float) -> list[float]:
        """The heights at which a block with a Z word may leave the tool: its own, and where a later rapid needs more,
        those that the run needs."""
        own, last = lowest(item.end[2]), self.part.ends_run(place)
        ends = [own] if last or item.crosses or item.need <= own else []
        if last or not (literal_z(item) and max(self.later[place], item.need) > own):
            return ends
        least = own if item.crosses else max(own, item.need)
        return ends + sorted({end for end in (*self.needs, height) if end > own and least <= end < inf})

    # Ways round -----------------------------------------------------------------------------------------------

    def _round(self, place: int, item: Item, height: float) -> Iterator[tuple[Choice, float, int]]:
        """The ways round that may be faster than a lift: at the tool's own height, the block's own end where that is
        higher, a height that takes it over some of what is in its way, or the least at which a way that the program did
        not take may run over the stock."""
        if self.limits.faster_round is None or item.need <= height or item.need == inf or height == inf:
            return
        own = max(height, lowest(item.end[2]) if item.has_z else -inf)
        for level in sorted({own, *(up for up in self.needs if own < up < item.need)}):
            corners = self._corners(place, item, level)
            if corners:
                yield from self._rounded(place, item, height, level, corners, led=False)

    def _no_lift(self, place: int, item: Item, height: float) -> Iterator[tuple[Choice, float, int]]:
        """What an item can do that no lift takes over: go round."""
        least = lowest(item.end[2]) if item.has_z else -inf
        for level, corners in self._led(place, item, height, least):
            yield from self._rounded(place, item, height, level, corners, led=True)
        yield from self._round(place, item, height)

    def _led(self, place: int, item: Item, height: float,
             least: float) -> Iterator[tuple[float, tuple[tuple[float, float], ...]]]:
        """The height and the corners at which the plain plan leads an item round, if it does. `least`: the end of its
        slope or the R level of its cycle, mm."""
        if item.need == inf:
            past = self.limits.past_shoe
            found = past(_bad_way(item), max(height, least), self.limits.ceiling) if past is not None else None
            if found:
                yield max(height, found[1]), tuple(found[0])
            return
        level = self._top(item, height)
        corners = self._corners(place, item, level, needed=True)
        if corners and (level >= least or item.kind != "entry"):
            yield level, corners

    def _rounded(self, place: int, item: Item, height: float, level: float, corners: tuple[tuple[float, float], ...],
                 led: bool) -> Iterator[tuple[Choice, float, int]]:
        seconds = self._upright(height, level) + self._round_seconds(item, corners)
        own = lowest(item.end[2]) if item.has_z else level
        for end in self._ends(place, item, level) if item.has_z else [level]:
            if end == own or end <= level:
                blocks = len(corners) + 1 + int(end not in (level, own))
                yield Choice(level, level, end, corners, led), seconds + self._upright(level, end), blocks

    def _corners(self, place: int, item: Item, level: float, needed: bool = False) -> tuple[tuple[float, float], ...]:
        """The corners of the way round at a height; none where there is no such way, or too many were looked for."""
        key = place, level
        if key not in self.found:
            if self.limits.way_round is None or (len(self.found) >= MOST_SEARCHES and not needed):
                return ()
            self.found[key] = tuple(self.limits.way_round(_bad_way(item), level) or ())
        return self.found[key]

    # Times ----------------------------------------------------------------------------------------------------

    def _seconds(self, x: float, y: float, z: float) -> float:
        assert self.limits.seconds is not None
        return self.limits.seconds(x, y, z)

    def _upright(self, start: float, end: float) -> float:
        return self._seconds(0.0, 0.0, gap(start, end))

    def _across(self, item: Item, z: float) -> float:
        if not item.legs:
            return self._seconds(0.0, 0.0, z)
        move = item.legs[0].move
        x, y = (gap(lowest(a), lowest(b)) for a, b in zip(move.start[:2], move.end[:2], strict=True))
        return self._seconds(x, y, z)

    def _round_seconds(self, item: Item, corners: Iterable[tuple[float, float]]) -> float:
        move = _bad_way(item)
        places = [_place(move.start), *corners, _place(move.end)]
        return sum(self._seconds(x1 - x0, y1 - y0, 0.0) for (x0, y0), (x1, y1) in pairwise(places))


def fastest(run: Run, actual: Coordinate, limits: Limits) -> dict[int, Choice]:
    """The choices of the fastest repair of a run by the place of their item; empty where there is nothing to choose.

    `actual` is where the tool stands before it in the mended program.
    """
    chosen: dict[int, Choice] = {}
    for part in parts_of(run, actual):
        if has_choice(part, limits):
            chosen |= _Search(part, limits).fastest()
    return chosen


def gap(start: float, end: float) -> float:
    """How far apart two coordinates are, mm; 0 where one is not known or high, as times are told."""
    return abs(end - start) if abs(start) < inf and abs(end) < inf else 0.0


def _bad_way(item: Item) -> Move:
    """The way across of an item that must be mended."""
    return next(leg.move for leg in item.legs if leg.bad and not leg.move.upright)


def _place(position: tuple[Coordinate, Coordinate, Coordinate]) -> tuple[float, float]:
    return lowest(position[0]), lowest(position[1])
