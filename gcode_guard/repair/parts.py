"""The parts of a run over which its fastest repair is chosen, each for itself.

A way home or a block in the machine's own coordinates (G28, G30, G53) that says a height leaves the tool at that height
whatever came before: there one part ends, and another begins. One that keeps the height at which it finds the tool is
part of what is chosen.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import inf

from ..program.moves import Kind, Move
from ..program.state import HIGH, Coordinate, known
from .detour import in_plan
from .limits import Limits
from .run import Item, Run
from .whole import keeps_height, need_of

STATIONS = ("home", "machine")


@dataclass(slots=True)
class Part:
    """Items that follow each other in a run, from place `first` on, up to its end or to `stop`, a way home or a block
    in machine coordinates that ends at a height of its own. `start`: the height before it in the mended program."""

    items: list[Item]
    first: int
    start: Coordinate
    stop: Item | None = None

    def ends_run(self, place: int) -> bool:
        """Whether the item at this place of the part is the last of its run."""
        return self.stop is None and place == len(self.items) - 1


def parts_of(run: Run, actual: Coordinate) -> Iterator[Part]:
    """The parts of a run; `actual` is the height before it in the mended program."""
    first, start = 0, actual
    for place, item in enumerate(run.items):
        if item.kind in STATIONS and not keeps_height(item):
            yield Part(run.items[first:place], first, start, item)
            first, start = place + 1, item.end[2]
    yield Part(run.items[first:], first, start)


def has_choice(part: Part, limits: Limits) -> bool:
    """Whether a part of a run can be mended in several ways of which one may be faster; without times there is nothing
    to choose.

    There is one way alone, raising what must be raised, where nothing that clips changes height on its way across and
    everything that clips lies at the first level that the part sets by a Z word, or before any: up by a block of its
    own, across in level blocks, and down or on as it likes. That is a Z word raised for what follows, or a rise put in
    where there is none. Where ways round are taken when they are faster, where one must be, or where something goes
    home or by the machine's coordinates, a choice is always looked for.

    A part keeps to the plain plan where a height in it is not known (it may be high: above everything), where a place
    is not known that it comes up or down at or goes round from, under cutter compensation or behind it, for an undercut
    tool, where the tool may still stand at the R level of a cycle, and where a cycle begins out of a height above
    everything. The blocks of G28, G30 and G53 themselves are always mended as the plain plan does, none of them is led
    round, and so is the way from hole to hole of a cycle.
    """
    if limits.seconds is None or limits.rise_from > -inf or not _height_known(part.start) or not part.items:
        return False
    bad = [place for place, item in enumerate(part.items) if item.need > -inf]
    stops = part.stop is not None and part.stop.need > -inf
    if not (bad or stops) or not all(_is_ordinary(part, place, limits) for place in range(len(part.items))):
        return False
    if not _ends_well(part, limits):
        return False
    if limits.faster_round is not None or stops or any(
            item.kind in STATIONS or no_lift_helps(item, limits) for item in part.items):
        return True
    slanted = any(part.items[place].has_z and part.items[place].crosses for place in bad)
    words = [place for place, item in enumerate(part.items[: bad[-1] + 1]) if item.has_z]
    return slanted or len(words) > 1 or (len(words) == 1 and bad[0] < words[0])


def no_lift_helps(item: Item, limits: Limits) -> bool:
    """Whether an item needs more height than the machine has, or no height is enough for it."""
    return item.need > limits.ceiling or item.need == inf


def _height_known(z: Coordinate) -> bool:
    return known(z) or z == HIGH


def _ends_well(part: Part, limits: Limits) -> bool:
    """Whether the search knows how the part ends."""
    stop = part.stop
    if stop is None:
        end = part.items[-1].end
        return known(end[0]) and known(end[1]) and _height_known(end[2])
    return _is_station(stop, limits)


def _is_station(item: Item, limits: Limits) -> bool:
    """Whether the search knows all that a way home or a block in machine coordinates needs. One that leads nowhere
    needs nothing."""
    if not item.legs:
        return item.kind == "machine"
    moves = [leg.move for leg in item.legs if not leg.move.shadow]
    return (bool(moves) and all(leg.trusted for leg in item.legs) and need_of(item) <= limits.ceiling
            and need_of(item) < inf and _height_known(moves[0].start[2]) and not item.step.before.left)


def _is_ordinary(part: Part, place: int, limits: Limits) -> bool:
    """Whether the search knows all that an item can do."""
    item, moves = part.items[place], [leg.move for leg in part.items[place].legs]
    if item.kind in STATIONS:
        return _is_station(item, limits) and _height_known(item.end[2])
    if not all(move.kind == Kind.RAPID for move in moves) or not all(known(c) for c in item.end[:2]):
        return False
    if item.kind == "fixed":
        return part.first == place == 0 and not any(leg.bad for leg in item.legs) and known(item.end[2])
    if no_lift_helps(item, limits) and not _can_be_led(item, limits) and not _from_above_everything(item):
        return False
    if item.kind == "entry":
        return part.ends_run(place) and not item.hole and all(move.exact for move in moves)
    return item.kind == "plain" and _is_plain(item, moves)


def _is_plain(item: Item, moves: list[Move]) -> bool:
    step, end = item.step, item.end[2]
    if step.frozen or step.before.beside or not step.after.length_known or len(moves) > 1:
        return False
    if not (known(end) or (end == HIGH and not item.has_z)):
        return False
    return all((move.exact or not move.shadow) and _height_known(move.start[2])
               and (not move.upright or all(known(c) for c in move.start[:2])) for move in moves)


def _can_be_led(item: Item, limits: Limits) -> bool:
    """Whether a way round can be looked for where no lift helps."""
    bad = [leg.move for leg in item.legs if leg.bad and not leg.move.upright]
    way = limits.past_shoe if item.need == inf else limits.way_round
    return way is not None and bool(bad) and all(in_plan(move) and move.exact for move in bad) \
        and not item.step.before.beside


def _from_above_everything(item: Item) -> bool:
    """Whether an item comes down slanting out of a height above everything: it can go across at that height first."""
    return item.kind == "plain" and item.has_z and item.need < inf and item.legs[0].move.start[2] == HIGH
