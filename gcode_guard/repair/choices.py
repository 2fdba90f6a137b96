"""Which repair of a run is the fastest: the choice is made over the whole run, block by block, by dynamic programming.

A repair of a run is a height at each of its places and a way to get from one to the next. The heights worth having are
the program's own and those that its rapids need; so from place to place there are few states, and for each of them only
the quickest way to it is kept (Bellman's principle). What a block can do:

* go across at the height at which the tool stands, going straight up before it where that is too low; or go round
* go up or down to its own height, or to one that a later rapid of the run needs, so as not to come down in between
* where it goes across and changes height at once: go up first, across with or without a change of height, down last

Times are those of trapezoid profiles, every block from rest to rest, as the log tells them. Of equally fast repairs the
one that changes fewer blocks is taken, then the lower one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from math import inf

from ..program.moves import Kind, Move
from ..program.state import Coordinate, known
from .limits import Limits
from .run import Item, Run, lowest
from .surgery import axis_words

MOST_HEIGHTS = 6  # needed heights that are tried at each place, the greatest ones of a run
MOST_SEARCHES = 12  # ways round that are looked for in a run
SAME = 9  # decimals of a second to which times are told apart


@dataclass(slots=True, frozen=True)
class Choice:
    """What a block is to do, in mm: go up to `start` before it, go across to `across`, and end at `end`; or go round by
    `corners`, at `start`."""

    start: float
    across: float
    end: float
    corners: tuple[tuple[float, float], ...] = ()


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
    """The choice over one run. `needs`: the heights that its rapids need, mm, the greatest first."""

    run: Run
    limits: Limits
    needs: list[float] = field(default_factory=list)
    later: list[float] = field(default_factory=list)
    searches: int = MOST_SEARCHES

    def fastest(self, actual: float) -> dict[int, Choice]:
        """The choices by the place of their item, from a tool that stands at `actual`, mm."""
        items = self.run.items
        self.needs = sorted({item.need for item in items if item.need > -inf}, reverse=True)[:MOST_HEIGHTS]
        self.later = [-inf] * len(items)
        for place in range(len(items) - 2, -1, -1):
            self.later[place] = max(self.later[place + 1], items[place + 1].need)
        states: dict[float, _State] = {actual: _State()}
        for place, item in enumerate(items):
            if item.kind != "plain":
                continue
            reached: dict[float, _State] = {}
            for height, state in states.items():
                for choice, seconds, blocks in self._ways(place, item, height):
                    over = min(choice.start, choice.across) if item.crosses else 0.0
                    new = _State(state.seconds + seconds, state.blocks + blocks, state.heights + over, choice, state)
                    if choice.end not in reached or new.rank < reached[choice.end].rank:
                        reached[choice.end] = new
            states = reached
        ended = [self._ended(height, state) for height, state in states.items()]
        best = min(ended, key=lambda state: state.rank, default=None)
        chosen: dict[int, Choice] = {}
        plain = [place for place, item in enumerate(items) if item.kind == "plain"]
        while best is not None and plain:
            if best.choice is not None:
                chosen[plain.pop()] = best.choice
            best = best.came
        return chosen

    def _ended(self, height: float, state: _State) -> _State:
        """The state at the end of the run: down to where it ends, or on to the first hole of a cycle."""
        item = self.run.items[-1]
        if item.kind != "entry":
            down = abs(height - lowest(self.run.end[2]))
            return _State(state.seconds + self._upright(down), state.blocks + (down > 0), state.heights, None, state)
        if item.need == -inf:
            down = abs(height - lowest(item.legs[0].move.start[2]))
            return _State(state.seconds + self._upright(down), state.blocks + (down > 0), state.heights, None, state)
        level = max(height, item.need)
        down = level - lowest(item.legs[-1].move.end[2])
        seconds = self._upright(level - height) + self._upright(down)
        return _State(state.seconds + seconds, state.blocks + (level > height), state.heights + level, None, state)

    def _ways(self, place: int, item: Item, height: float) -> Iterator[tuple[Choice, float, int]]:
        """What an item can do with the tool at a height: choices, their seconds and the blocks that they change."""
        if not item.has_z:
            return self._level(item, height)
        return self._slanted(place, item, height) if item.crosses else self._upward(place, item, height)

    def _level(self, item: Item, height: float) -> Iterator[tuple[Choice, float, int]]:
        across = self._across(item, 0.0)
        if item.need <= height:
            yield Choice(height, height, height), across, 0
            return
        for up in sorted({item.need, *self.needs}):
            if up >= item.need:
                yield Choice(up, up, up), self._upright(up - height) + across, 1
        yield from self._round(item, height, height)

    def _upward(self, place: int, item: Item, height: float) -> Iterator[tuple[Choice, float, int]]:
        own = lowest(item.end[2])
        for end in self._ends(place, item, height):
            yield Choice(height, end, end), self._upright(abs(end - height)), int(end != own)

    def _slanted(self, place: int, item: Item, height: float) -> Iterator[tuple[Choice, float, int]]:
        own, need = lowest(item.end[2]), item.need
        for end in self._ends(place, item, height):
            for start in {max(height, need), max(height, need, end)} if need > -inf else {height}:
                for across in {max(end, need), max(end, need, height)} if need > -inf else {end}:
                    seconds = self._upright(start - height) + self._across(item, abs(across - start)) \
                        + self._upright(across - end)
                    more = (start > height) + (across > end)
                    yield Choice(start, across, end), seconds, more + (more > 0 or end != own)
        yield from self._round(item, height, own)

    def _ends(self, place: int, item: Item, height: float) -> list[float]:
        """The heights at which a block with a Z word may leave the tool: its own, and where a later rapid needs more,
        those that the run needs."""
        own, last = lowest(item.end[2]), place == len(self.run.items) - 1
        ends = [own] if last or item.crosses or item.need <= own else []
        if last or not (literal_z(item) and max(self.later[place], item.need) > own):
            return ends
        least = own if item.crosses else max(own, item.need)
        return ends + sorted({end for end in (*self.needs, height) if end > own and end >= least})

    def _round(self, item: Item, height: float, own: float) -> Iterator[tuple[Choice, float, int]]:
        """The way round at the tool's own height, or the block's own end where that is higher."""
        if self.limits.faster_round is None or self.limits.way_round is None or self.searches == 0 \
                or item.need <= height:
            return
        self.searches -= 1
        level, move = max(height, own), item.legs[0].move
        corners = self.limits.way_round(move, level)
        if not corners:
            return
        places = [_place(move, "start"), *corners, _place(move, "end")]
        seconds = self._upright(level - height) + self._upright(level - own)
        for (x0, y0), (x1, y1) in zip(places, places[1:], strict=False):
            seconds += self._seconds(x1 - x0, y1 - y0, 0.0)
        yield Choice(level, level, own, tuple(corners)), seconds, len(corners) + 1

    # Times ----------------------------------------------------------------------------------------------------

    def _seconds(self, x: float, y: float, z: float) -> float:
        assert self.limits.seconds is not None
        return self.limits.seconds(x, y, z)

    def _upright(self, way: float) -> float:
        return self._seconds(0.0, 0.0, way)

    def _across(self, item: Item, z: float) -> float:
        if not item.legs:
            return self._upright(z)
        (x0, y0), (x1, y1) = (_place(item.legs[0].move, which) for which in ("start", "end"))
        return self._seconds(x1 - x0, y1 - y0, z)


def fastest(run: Run, actual: Coordinate, limits: Limits) -> dict[int, Choice]:
    """The choices of the fastest repair of a run by the place of their item; empty where there is nothing to choose.

    `actual` is where the tool stands before it in the mended program.
    """
    if not isinstance(actual, Decimal) or not has_choice(run, actual, limits):
        return {}
    return _Search(run, limits).fastest(float(actual))


def has_choice(run: Run, actual: Coordinate, limits: Limits) -> bool:
    """Whether a run can be mended in several ways of which one may be faster; without times there is nothing to choose.

    There is one way alone, raising what must be raised, where nothing that clips changes height on its way across and
    everything that clips lies at the first level that the run sets by a Z word, or before any: up by a block of its
    own, across in level blocks, and down or on as it likes. That is a Z word raised for what follows, or a rise put in
    where there is none. Where ways round are taken when they are faster, there is always a choice.

    A run has no choice either where a place or height in it is not known, under cutter compensation or behind it, for
    an undercut tool, where a height is above what the machine has, and where it goes home or by the machine's own
    coordinates: these keep to the plain plan.
    """
    if limits.seconds is None or limits.rise_from > -inf or not run.bad or not known(actual):
        return False
    if not all(_is_ordinary(item, place, run, limits) for place, item in enumerate(run.items)):
        return False
    if limits.faster_round is not None:
        return True
    bad = [place for place, item in enumerate(run.items) if item.need > -inf]
    slanted = any(run.items[place].has_z and run.items[place].crosses for place in bad)
    words = [place for place, item in enumerate(run.items[: bad[-1] + 1]) if item.has_z]
    return slanted or len(words) > 1 or (len(words) == 1 and bad[0] < words[0])


def _is_ordinary(item: Item, place: int, run: Run, limits: Limits) -> bool:
    """Whether the search knows all that an item can do."""
    step, first, last = item.step, place == 0, place == len(run.items) - 1
    moves = [leg.move for leg in item.legs]
    if not all(move.exact and move.kind == Kind.RAPID for move in moves):
        return False
    if item.kind == "fixed":
        return first and not any(leg.bad for leg in item.legs)
    if item.need > limits.ceiling or item.need == inf or not all(known(c) for c in item.end):
        return False
    if item.kind == "entry":
        return last and not item.hole
    return (item.kind == "plain" and not step.frozen and not step.before.beside and step.after.length_known
            and len(moves) <= 1)


def literal_z(item: Item) -> bool:
    """Whether the Z word of a block can be written with another number."""
    return axis_words(item.step.block)["Z"].literal and not item.step.frozen


def _place(move: Move, which: str) -> tuple[float, float]:
    x, y, _ = move.start if which == "start" else move.end
    return lowest(x), lowest(y)

