"""Canned cycles as the moves that they make: NISTIR 6556, section 3.5.16.

Every cycle first raises the tool to the R level where it stands below it, goes across, and down to the R level;
it leaves by going to the R level (G99) or to where the tool was before the series of cycles, if that is higher (G98).
Other controls go across before they rise: that order is followed as a shadow, so that both must be safe.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from math import inf

from .errors import NotUnderstood
from .state import Coordinate, Cycle, Position, Span, bounds, known

# How far a peck's rapid back stops above the last bottom, and how far chip breaking backs off: 0.010 in, as the
# report's own interpreter has it (it leads above the R level where Q is smaller).
BACK_OFF = Decimal("0.254")
MOST_PECKS = 10_000
ADVICE_LEVEL = "give machine.start, or put a G0 Z before the cycle"


@dataclass(slots=True)
class Hole:
    """What a cycle does at each place: levels in millimetres along the depth axis `axis`, clear level included."""

    axis: int
    level: Decimal
    bottom: Decimal
    clear: Coordinate
    dwell: Decimal | None = None
    peck: Decimal | None = None
    side: tuple[Decimal, Decimal] = (Decimal(0), Decimal(0))
    top: Decimal | None = None


@dataclass(slots=True)
class Path:
    """Collects what a block does: `rapid`, `cut` and `effect` go on from `position`."""

    position: Position
    rapid_to: Callable[[Position, Position, str, bool], None]
    cut_to: Callable[[Position, Position], None]
    effect_at: Callable[[str, Position], None]
    begin_hole: Callable[[int], None]

    def rapid(self, axis_values: dict[int, Coordinate], part: str, shadow: bool = False) -> None:
        end = placed(self.position, axis_values)
        self.rapid_to(self.position, end, part, shadow)
        if not shadow:
            self.position = end

    def cut(self, axis: int, value: Decimal) -> None:
        end = placed(self.position, {axis: value})
        self.cut_to(self.position, end)
        self.position = end

    def effect(self, what: str) -> None:
        self.effect_at(what, self.position)


def placed(position: Position, values: dict[int, Coordinate]) -> Position:
    """A position with some of its coordinates replaced."""
    x, y, z = (values.get(axis, position[axis]) for axis in range(3))
    return x, y, z


def clear_level(initial: Coordinate, level: Decimal, retract: str) -> Coordinate:
    """Where a cycle leaves the tool. Raises NotUnderstood where that is not known."""
    if retract == "G99":
        return level
    if isinstance(initial, Span):
        if bounds(initial)[0] >= level:
            return initial
        raise NotUnderstood("this cycle returns to a height that is not known (G98)", ADVICE_LEVEL)
    return max(initial, level)


def perform(code: str, hole: Hole, places: list[dict[int, Coordinate]], path: Path, doubtful_level: bool,
            first: bool, came_from: Coordinate | None = None) -> None:
    """Makes the moves of one block of a cycle: one hole at each place of `places` (values by axis).

    With `doubtful_level` nothing said whether cycles return to the initial or the R level: the way across behind a
    hole is followed at the R level too, as a shadow. `first` is True for the block that begins a series of cycles,
    which no hole comes before;
    then `came_from` is the R level at which the series before it may have left the tool as well.
    """
    axis = hole.axis
    for number, place in enumerate(places):
        path.begin_hole(number)
        here = path.position[axis]
        below = not known(here) or here < hole.level  # type: ignore[operator]
        if number == 0 and came_from is not None:
            _across_at_level(path, place, axis, came_from)
        if number == 0 and known(here) and below:
            path.rapid(place, "traverse", shadow=True)
            path.rapid({axis: hole.level}, "up")
        # Behind G88 the height is not known by either reading.
        elif doubtful_level and (number > 0 or not first) and bounds(here)[0] > -inf:
            _across_at_level(path, place, axis, hole.level)
        path.rapid(place, "traverse")
        path.rapid({axis: hole.level}, "down")
        BODIES[code](hole, path)


def _across_at_level(path: Path, place: dict[int, Coordinate], axis: int, level: Coordinate) -> None:
    kept = path.position
    path.position = placed(kept, {axis: level})
    path.rapid(place, "traverse", shadow=True)
    path.position = kept


def _out_rapid(hole: Hole, path: Path) -> None:
    path.rapid({hole.axis: hole.clear}, "retract")


def _out_feed(hole: Hole, path: Path) -> None:
    if isinstance(hole.clear, Span):
        if hole.clear.low < inf:
            raise NotUnderstood("this cycle returns at feed to a height that is not known (G98)", ADVICE_LEVEL)
        # No cut is known to end at a height that is only high: what it cuts ends at the R level in any case.
        path.cut(hole.axis, hole.level)
        path.rapid({hole.axis: hole.clear}, "retract")
    else:
        path.cut(hole.axis, hole.clear)


def _dwell(hole: Hole, path: Path) -> None:
    path.effect(f"dwell {hole.dwell}")


def _drill(hole: Hole, path: Path) -> None:
    path.cut(hole.axis, hole.bottom)
    _out_rapid(hole, path)


def _drill_dwell(hole: Hole, path: Path) -> None:
    path.cut(hole.axis, hole.bottom)
    _dwell(hole, path)
    _out_rapid(hole, path)


def _pecks(hole: Hole) -> list[Decimal]:
    assert hole.peck is not None
    if (hole.level - hole.bottom) / hole.peck > MOST_PECKS:
        raise NotUnderstood(f"this hole takes more than {MOST_PECKS} pecks", "check Q")
    depths, depth = [], hole.level - hole.peck
    while depth > hole.bottom:
        depths.append(depth)
        depth -= hole.peck
    return depths


def _peck(hole: Hole, path: Path) -> None:
    for depth in _pecks(hole):
        path.cut(hole.axis, depth)
        path.rapid({hole.axis: hole.level}, "peck")
        path.rapid({hole.axis: depth + BACK_OFF}, "peck")
    _drill(hole, path)


def _break_chips(hole: Hole, path: Path) -> None:
    for depth in _pecks(hole):
        path.cut(hole.axis, depth)
        path.rapid({hole.axis: depth + BACK_OFF}, "peck")
    _drill(hole, path)


def _tap(hole: Hole, path: Path) -> None:
    path.cut(hole.axis, hole.bottom)
    path.effect("spindle reversed")
    _out_feed(hole, path)
    path.effect("spindle as before")


def _bore(hole: Hole, path: Path) -> None:
    path.cut(hole.axis, hole.bottom)
    _out_feed(hole, path)


def _bore_stop(hole: Hole, path: Path) -> None:
    path.cut(hole.axis, hole.bottom)
    _dwell(hole, path)
    path.effect("spindle off")
    _out_rapid(hole, path)
    path.effect("spindle as before")


def _bore_back(hole: Hole, path: Path) -> None:
    assert hole.top is not None
    first, second = (a for a in range(3) if a != hole.axis)
    centre = {first: path.position[first], second: path.position[second]}
    aside: dict[int, Coordinate] = {}
    for axis, by in zip((first, second), hole.side, strict=True):
        value = centre[axis]
        assert not isinstance(value, Span)
        aside[axis] = value + by
    path.rapid(aside, "side")
    path.effect("spindle off, oriented")
    path.rapid({hole.axis: hole.bottom}, "side")
    path.rapid(centre, "side")
    path.effect("spindle as before")
    path.cut(hole.axis, hole.top)
    path.cut(hole.axis, hole.bottom)
    path.effect("spindle off, oriented")
    path.rapid(aside, "side")
    path.rapid({hole.axis: hole.clear}, "side")
    path.rapid(centre, "side")
    path.effect("spindle as before")


def _bore_by_hand(hole: Hole, path: Path) -> None:
    path.cut(hole.axis, hole.bottom)
    _dwell(hole, path)
    path.effect("spindle off")
    path.effect("stop, out by hand")
    # The operator takes the tool out: how far is not known, but for "upward".
    path.position = placed(path.position, {hole.axis: Span(float("-inf"), float("inf"))})
    path.effect("spindle as before")


def _bore_dwell(hole: Hole, path: Path) -> None:
    path.cut(hole.axis, hole.bottom)
    _dwell(hole, path)
    _out_feed(hole, path)


BODIES: dict[str, Callable[[Hole, Path], None]] = {
    "G73": _break_chips, "G81": _drill, "G82": _drill_dwell, "G83": _peck, "G84": _tap, "G85": _bore,
    "G86": _bore_stop, "G87": _bore_back, "G88": _bore_by_hand, "G89": _bore_dwell,
}
NEEDS_DWELL = frozenset({"G82", "G86", "G88", "G89"})
NEEDS_PECK = frozenset({"G73", "G83"})
STOPS_SPINDLE = frozenset({"G86", "G87", "G88"})


def check_words(code: str, cycle: Cycle, spindle: str | None) -> None:
    """The error cases of the report that concern a cycle's own words and the spindle. Raises NotUnderstood."""
    if code == "G84" and spindle != "M3":
        raise NotUnderstood("G84 taps, and the spindle does not turn clockwise", "put M3 before it")
    if code in STOPS_SPINDLE and spindle not in ("M3", "M4"):
        raise NotUnderstood(f"{code} stops the spindle, which the program did not start", "put M3 before it")
    if code in NEEDS_DWELL and (cycle.dwell is None or cycle.dwell < 0):
        raise NotUnderstood(f"{code} needs a dwell (P, not negative)", "give P on the block that starts the cycle")
    if code in NEEDS_PECK and (cycle.peck is None or cycle.peck <= 0):
        raise NotUnderstood(f"{code} needs a peck depth (Q, above zero)", "give Q on the block that starts the cycle")

