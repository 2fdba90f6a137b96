"""Writes the walk round the bench and proves it before anybody runs it."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass, field
from math import inf

from ..guard import guard
from ..judge import Judge
from ..record.findings import Finding
from ..record.summary import not_checked_with
from ..rules import reach_box
from ..setup import Setup
from ..setup.errors import printable
from ..source import Source
from .pen import Pen, brief, comment
from .stops import Stop, Surveyor, Thing, things_of
from .tour import Place, best_order, within

ACROSS = 1500.0  # mm a minute, at the height that clears everything; common practice, no source
ROOM_ABOVE = 25.0  # mm, that the ways across are higher than they must be; common practice, no source
DOWN = 400.0  # mm a minute, the walking feed: slow enough to stop by hand; common practice, no source


class CannotWalk(Exception):
    """There is no walk round this bench. `reasons`: what `filter` says of the one that was tried."""

    def __init__(self, text: str, reasons: list[Finding] | None = None) -> None:
        super().__init__(text)
        self.reasons = reasons or []


@dataclass(slots=True)
class Walk:
    """The program, what it visits in order, and what it cannot visit."""

    text: bytes
    things: list[Thing]
    missed: list[str] = field(default_factory=list)
    not_checked: str = ""
    """What the proof of the walk does not speak of, as a sentence."""

    @property
    def stops(self) -> int:
        return sum(len(thing.stops) for thing in self.things)


def walk(setup: Setup, tool: int | None = None) -> Walk:
    """The walk round a bench with one tool. Raises CannotWalk, and ValueError where it is not said which tool."""
    number = _tool(setup, tool)
    judge = Judge(setup)
    pen = Pen(setup.units)
    reach = reach_box(setup, number)
    surveyor = Surveyor(judge, number, pen, reach)
    if surveyor.travel() == inf:
        raise CannotWalk("the dust shoe stays with the gantry, and no height takes it over everything on the table;"
                         " take it off, and its entry out of the setup, for the walk")
    things = things_of(surveyor, setup)
    if not things:
        raise CannotWalk("the setup has no obstacles and no stock: there is nothing to walk to")
    missed = [f"{printable(thing.name)} is outside the reach" for thing in things if not thing.stops]
    missed += [f"{thing.beyond} of the corners of {printable(thing.name)} are outside the reach"
               for thing in things if thing.stops and thing.beyond]
    things = [thing for thing in things if thing.stops]
    if not things:
        raise CannotWalk("nothing of the bench is within the reach")
    writer = _Writer(setup, number, pen, _height(setup, surveyor, things, reach[2][1]))
    things = _in_order(things, writer.start)
    made = Walk(("\n".join(writer.blocks(things, missed)) + "\n").encode("ascii"), things, missed,
                not_checked_with(setup, [number]))
    _prove(made, setup)
    return made


def _tool(setup: Setup, tool: int | None) -> int:
    if tool is not None:
        return tool
    if len(setup.tools) != 1:
        raise ValueError("say which tool is in the spindle: --tool N" if setup.tools else "the setup has no tools")
    return next(iter(setup.tools))


def _height(setup: Setup, surveyor: Surveyor, things: list[Thing], ceiling: float) -> float:
    """The height of the ways across: well above everything, for what the walk is to find is that something is taller
    than the setup says; as high as the start where that is higher, and not above the reach."""
    needed = max([surveyor.travel(), *(stop.z for thing in things for stop in thing.stops)])
    start = setup.machine.start
    high = max(needed + ROOM_ABOVE, start[2] if start is not None and not isinstance(start, str) else -inf)
    if high <= ceiling and surveyor.pen.up(high) <= ceiling:
        return surveyor.pen.up(high)
    highest = surveyor.pen.nearest(ceiling, high=ceiling)
    if highest >= needed:
        return highest
    tallest = max(setup.obstacles, key=lambda obstacle: obstacle.top, default=None)
    over = "the stock" if tallest is None else f"\"{printable(tallest.name)}\""
    raise CannotWalk(f"the tip must be at {surveyor.pen.length(needed)} to pass over {over}, and the reach ends at"
                     f" {surveyor.pen.length(ceiling)}; take a shorter tool, or the obstacle off")


def _in_order(things: list[Thing], start: Place | None) -> list[Thing]:
    """The things in the order in which the whole round trip is shortest: to the first stop of each, which is over its
    middle, over its other stops by the shortest way, and on to the next thing."""
    places = [[(stop.x, stop.y) for stop in thing.stops] for thing in things]
    order = best_order(start, places)
    for k, thing_number in enumerate(order):
        following = places[order[k + 1]][0] if k + 1 < len(order) else start or places[order[0]][0]
        thing = things[thing_number]
        thing.stops = [thing.stops[number] for number in within(places[thing_number], following)]
    return [things[k] for k in order]


class _Writer:
    """The blocks of a walk."""

    def __init__(self, setup: Setup, tool: int, pen: Pen, height: float) -> None:
        self.setup, self.tool, self.pen, self.height = setup, tool, pen, height
        start = setup.machine.start
        self.start: Place | None = None if start is None or isinstance(start, str) else start[:2]
        rates = setup.machine.rapid_rate or (inf, inf, inf)
        self.across, self.down = (pen.feed(min(feed, *rates)) for feed in (ACROSS, DOWN))

    def blocks(self, things: list[Thing], missed: list[str]) -> Iterator[str]:
        yield from self._head(missed)
        yield f"G0 Z{self.pen.number(self.height)}"
        total = sum(len(thing.stops) for thing in things)
        number = 0
        for thing in things:
            for stop in thing.stops:
                number += 1
                yield from self._visit(thing, stop, number, total)
        if self.start is not None:
            yield self._way(*self.start)
        yield "M30"

    def _head(self, missed: list[str]) -> Iterator[str]:
        tool = self.setup.tools[self.tool]
        yield comment(f"Walk round the bench of {self.setup.path.name}")
        for text in missed:
            yield comment(f"Not visited: {text}")
        yield comment(not_checked_with(self.setup, [self.tool]).removesuffix("."))
        yield from ("G20" if self.setup.units == "inch" else "G21", "G90", "G94", self.setup.offsets.bench)
        if len(self.setup.tools) > 1:
            yield f"T{self.tool}"
        yield "M5"
        sure = f"{self.pen.length(tool.length)} from its tip to the collet face" if tool.length is not None \
            else "its tip where Z was set"
        name = f"tool {self.tool}" if tool.name == f"tool {self.tool}" else f"tool {self.tool}, {brief(tool.name)}"
        yield "M0 " + comment(f"Take the cutter out, or be sure of its length: {name}, {sure}. Hand on the stop")

    def _visit(self, thing: Thing, stop: Stop, number: int, total: int) -> Iterator[str]:
        if number == 1:  # a rapid: a feed move may not start where the tool is not known to be
            yield f"G0 X{self.pen.number(stop.x)} Y{self.pen.number(stop.y)}"
        else:
            yield self._way(stop.x, stop.y)
        yield f"G1 Z{self.pen.number(stop.z)} F{self.down}"
        yield "M0 " + comment(self._look(thing, stop, number, total))
        yield f"G1 Z{self.pen.number(self.height)} F{self.across}"

    def _way(self, x: float, y: float) -> str:
        return f"G1 X{self.pen.number(x)} Y{self.pen.number(y)} F{self.across}"

    def _look(self, thing: Thing, stop: Stop, number: int, total: int) -> str:
        under = f", above {brief(stop.under)}" if stop.under else ""
        air, least = self.pen.length(stop.air), self.pen.length(max(stop.air - stop.off, 0.0))
        most = self.pen.length(stop.air + stop.off)
        return (f"{number} of {total}: {brief(thing.name)}, {stop.what}{under}. Is the tip over it, with {air} of air,"
                f" from {least} to {most}")


def _prove(made: Walk, setup: Setup) -> None:
    """Holds the walk against the rule: `filter` must pass it as it is."""
    with Source.from_stream(io.BytesIO(made.text), "the walk") as source:
        outcome = guard(source, setup)
        try:
            if outcome.exit or outcome.changes:
                raise CannotWalk("there is no way round this bench that comes near nothing", outcome.reasons)
        finally:
            outcome.close()
