"""Runs: rapids that follow each other with nothing between them that has an effect, judged and ready to be planned."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from math import inf

from ..program.moves import Move, Step
from ..program.state import ANYWHERE, Coordinate, Position, all_known, bounds, known, known_in_plan
from .edits import Trouble
from .surgery import axis_words

# Blocks with these are never taken apart.
WHOLE = frozenset({"G28", "G30", "G43", "G53", "G92", "G10", "M98"})
NOT_PLAIN = frozenset({"G28", "G30", "G53", "G92", "G10", "G92.1", "G92.2", "G92.3"})
CUTS = frozenset({"G1", "G2", "G3"})


@dataclass(slots=True)
class Leg:
    """One rapid with its verdict: does it clip, does it make contact, the height it needs (-inf: any), with what, how
    much too low it is for each of these, and the height that each asks for, mm."""

    move: Move
    clips: bool = False
    contact: bool = False
    needed: float = -inf
    obstacles: tuple[int, ...] = ()
    depths: tuple[float, ...] = ()
    heights: tuple[float, ...] = ()

    @property
    def trusted(self) -> bool:
        """False for a rapid across out of a height of which nothing is known."""
        return self.move.upright or bounds(self.move.start[2])[0] > -inf

    @property
    def exempt(self) -> bool:
        """True where an upright rapid at a known place only comes into the clearance (promise 1)."""
        return self.move.upright and known_in_plan(self.move.start) and not self.contact

    @property
    def bad(self) -> bool:
        return (self.clips and not self.exempt) or not self.trusted


@dataclass(slots=True)
class Item:
    """The part of a block that lies in a run: one block of G0, of G28, of G53, or a stretch of a cycle's block.

    kind: "plain", "home", "machine", "entry" (to a hole of a cycle) or "fixed" (out of one).
    """

    step: Step
    kind: str
    legs: list[Leg] = field(default_factory=list)
    hole: int = 0

    @property
    def has_z(self) -> bool:
        return self.kind == "plain" and any(w.letter == "Z" for w in self.step.block.words) \
            and not (self.step.after.distance == "G91" and not self._moves_z())

    @property
    def sets_z(self) -> bool:
        """Whether it says a height itself, at which what follows runs."""
        return self.has_z or (self.kind == "machine" and any(w.letter == "Z" for w in self.step.block.words))

    def _moves_z(self) -> bool:
        return any(leg.move.start[2] != leg.move.end[2] or not known(leg.move.end[2]) for leg in self.legs)

    @property
    def crosses(self) -> bool:
        return any(not leg.move.upright for leg in self.legs)

    @property
    def need(self) -> float:
        """The height that the bad legs of the item need; -inf where none is bad."""
        return max((leg.needed for leg in self.legs if leg.bad), default=-inf)

    @property
    def obstacles(self) -> tuple[int, ...]:
        """What its bad legs meet, that which needs the greatest height first."""
        bad = sorted((leg for leg in self.legs if leg.bad), key=lambda leg: -leg.needed)
        return tuple(dict.fromkeys(o for leg in bad for o in leg.obstacles))

    @property
    def whole(self) -> bool:
        return bool(WHOLE & set(self.step.codes))

    @property
    def end(self) -> Position:
        """Where the item leaves the tool. After a way home that may be read in two ways it is what both agree on."""
        if self.kind == "home" or not self.legs:
            return self.step.after.position
        return self.legs[-1].move.end


@dataclass(slots=True)
class Run:
    """The items of a run, and where the tool nominally stands before it. `fresh`: a tool change came before it.
    `taken`: the step behind it that takes the height at which the tool stands for a zero, a home or the start of a cut,
    if there is one."""

    items: list[Item] = field(default_factory=list)
    start: Position | None = None
    fresh: bool = False
    taken: Step | None = None

    @property
    def bad(self) -> bool:
        return any(leg.bad for item in self.items for leg in item.legs)

    @property
    def end(self) -> Position:
        return self.items[-1].end


def kind_of(part: str) -> str:
    """What an item is that holds a rapid called `part`."""
    if part in ("home", "home-all", "by-way"):
        return "home"
    if part == "machine":
        return "machine"
    if part in ("traverse", "up", "down"):
        return "entry"
    if part == "plain":
        return "plain"
    return "fixed"


def is_plain(step: Step) -> bool:
    """True for a block of G0 with axis words, even one that leads nowhere."""
    return (step.after.motion == "G0" and not (NOT_PLAIN & set(step.codes)) and not step.skipped
            and not step.refusals and bool(axis_words(step.block)))


def is_still_cut(step: Step) -> bool:
    """True for a block of G1, G2 or G3 with axis words that leads nowhere: from another height it would be a cut."""
    return (not step.moves and step.after.motion in CUTS and not (NOT_PLAIN & set(step.codes))
            and not step.skipped and not step.refusals and bool(axis_words(step.block)))


def is_still_machine(step: Step) -> bool:
    """True for a block of G53 with axis words that leads nowhere: from another height it would be a rapid."""
    return (not step.moves and "G53" in step.codes and step.after.motion == "G0" and not step.skipped
            and not step.refusals and bool(axis_words(step.block)))


def takes_height(step: Step, effect: str) -> bool:
    """True for an effect that takes the height at which the tool stands for a zero or a home."""
    has_z = any(word.letter == "Z" for word in step.block.words)
    return effect in ("G28.1", "G30.1") or (has_z and effect.startswith(("G92 ", "G10 L20 ")))


def taken_height(step: Step) -> Trouble:
    """What stands for a step that takes the height of a tool which had to be lifted, at a place that is not known."""
    what = "is a cut that leads nowhere from where the program has the tool" if is_still_cut(step) else \
        "takes the height of the tool for a zero or a home"
    return Trouble(step.block.line, 3, f"this block {what}, and the rapids before it must be lifted",
                   "say where the program starts (machine.start), or go to a known X and Y before this block")


class Runs:
    """Cuts a sequence of steps into runs. `add` returns the run that a step ended, before its own part of the next.

    A run goes on over an effect as long as XY or Z is not known there: Z may be higher there, and a lift must be able
    to wait for a known place. A tool change ends it all the same.
    """

    def __init__(self) -> None:
        self.open = Run()
        self.closed: list[Run] = []

    def add(self, step: Step, legs: list[Leg]) -> None:
        """Takes the next step, `legs` being its moves in order, rapids and cuts."""
        taken = 0
        effects = sorted(step.effects, key=lambda effect: effect.after_move)
        item: Item | None = None
        for place in range(len(legs) + 1):
            while taken < len(effects) and effects[taken].after_move == place:
                effect = effects[taken]
                taken += 1
                if takes_height(step, effect.what) and not all_known(effect.position):
                    self.close(step)
                    item = None
                elif effect.what in ("M6", "M98", "M99") or all_known(effect.position):
                    self.close()
                    self.open.fresh = self.open.fresh or effect.what == "M6"
                    item = None
            if place == len(legs):
                break
            item = self._take(step, legs, place, item)
        if is_still_cut(step):
            self.close(step)
        elif not legs and (is_plain(step) or is_still_machine(step)):
            self._append(Item(step, "machine" if "G53" in step.codes else "plain"), step.before.position)

    def _take(self, step: Step, legs: list[Leg], place: int, item: Item | None) -> Item | None:
        leg = legs[place]
        move = leg.move
        if move.kind != 0:
            self.close()
            return None
        kind = kind_of(move.part)
        if item is None or item.kind != kind or item.hole != move.hole:
            item = Item(step, kind, hole=move.hole)
            self._append(item, next((own.move.start for own in legs[place:] if not own.move.shadow), move.start))
        item.legs.append(leg)
        return item

    def _append(self, item: Item, start: Position) -> None:
        if not self.open.items:
            self.open.start = start
        self.open.items.append(item)

    def close(self, taken: Step | None = None) -> None:
        """Ends the run that is open; `taken` is the step that takes its height."""
        if self.open.items:
            self.open.taken = taken
            self.closed.append(self.open)
            self.open = Run()


def literal_z(item: Item) -> bool:
    """Whether the Z word of a block can be written with another number."""
    return not item.step.frozen and any(word.letter == "Z" and word.literal for word in item.step.block.words)


def lowest(coordinate: Coordinate) -> float:
    return bounds(coordinate)[0]


def finite(coordinate: Coordinate) -> float | None:
    """The lowest that a height may be, mm; None where that is not known, or only known to be high."""
    low = lowest(coordinate)
    return low if abs(low) < inf else None


def programmed_height(moves: Sequence[Move]) -> float | None:
    """The height, mm, that a block's rapids are programmed to run at: the lowest point of those that go across; where
    the block only goes up or down, the height that it ends at. None where that is not known."""
    across = [move for move in moves if not move.upright]
    heights = [height for move in across for height in (move.start[2], move.end[2])]
    return finite(min(heights or [move.end[2] for move in moves[-1:]] or [ANYWHERE], key=lowest))
