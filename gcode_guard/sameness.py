"""When a cut, an effect or what a program leaves behind is the same in two programs: promise 2, one pair at a time."""

from __future__ import annotations

import math
from decimal import Decimal

from .lengths import UNIT_WORD, Units, exactly
from .program.moves import NAMES, Effect, Kind, Move
from .program.state import Coordinate, Position, Span, State, bounds, known

EQUAL = 1e-4  # mm, and mm a minute: the contract's own measure of sameness
_EQUAL = Decimal("0.0001")
Place = tuple[Coordinate, Coordinate]
PLANE_AXES = {17: (0, 1), 18: (2, 0), 19: (1, 2)}


def same_number(a: float, b: float) -> bool:
    return a == b or abs(a - b) <= EQUAL


def same(a: Coordinate, b: Coordinate) -> bool:
    """The same coordinate, or not known within the same bounds."""
    if isinstance(a, Span) or isinstance(b, Span):
        return isinstance(a, Span) and isinstance(b, Span) and all(same_number(x, y) for x, y in zip(a, b, strict=True))
    return a == b or abs(a - b) <= _EQUAL


def same_place(a: Place, b: Place) -> bool:
    return same(a[0], b[0]) and same(a[1], b[1])


def stays(before: Position, after: Position) -> bool:
    """Whether an effect is still where it was: where its Z was not known, or its XY, it may be higher."""
    if not (same(before[0], after[0]) and same(before[1], after[1])):
        return False
    if same(before[2], after[2]):
        return True
    if known(before[2]) and known(before[0]) and known(before[1]):
        return False
    return bounds(after[2])[0] >= bounds(before[2])[0] - EQUAL


def cut_difference(before: Move, after: Move, units: Units) -> str | None:
    """In what a cut differs from what it was, in plain words, lengths in `units`; None where it is the same."""
    if before.kind != after.kind:
        return f"a move of the kind {NAMES[before.kind]} became one of the kind {NAMES[after.kind]}"
    name = NAMES[before.kind]
    if not all(same(x, y) for x, y in zip(before.start, after.start, strict=True)):
        return (f"the {name} started at {spelled(before.start, units)} and now starts at"
                f" {spelled(after.start, units)}")
    if not all(same(x, y) for x, y in zip(before.end, after.end, strict=True)):
        return (f"the {name} ended at {spelled(before.end, units)} and now ends at"
                f" {spelled(after.end, units)}")
    if before.plane != after.plane:
        return f"the arc lay in the plane G{before.plane} and now lies in G{after.plane}"
    return _arc_difference(before, after, units) or _tool_difference(before, after, units)


def _arc_difference(before: Move, after: Move, units: Units) -> str | None:
    if before.centre is None or after.centre is None:
        return None
    axes = PLANE_AXES[before.plane]
    if not all(same_number(before.centre[axis], after.centre[axis]) for axis in axes):
        was, now = (", ".join(exactly(move.centre[axis], units) for axis in axes)  # type: ignore[index]
                    for move in (before, after))
        return f"the centre of the arc was {was} and is {now} {UNIT_WORD[units]}"
    # Ends that lie within the measure of sameness of each other may still be a turn apart.
    if before.full_turn != after.full_turn or abs(_turn(before) - _turn(after)) > math.pi:
        return "the arc was " + (" and is ".join("a full turn" if abs(_turn(m)) > math.pi else "less than half a turn"
                                                 for m in (before, after)))
    return None


def _turn(move: Move) -> float:
    """The angle that an arc turns through, radians, counter-clockwise positive."""
    assert move.centre is not None
    way = -1.0 if move.kind == Kind.ARC_CW else 1.0
    if move.full_turn:
        return way * 2 * math.pi
    first, second = PLANE_AXES[move.plane]
    angles = [math.atan2(float(p[second]) - move.centre[second], float(p[first]) - move.centre[first])  # type: ignore[arg-type]
              for p in (move.start, move.end)]
    return way * ((way * (angles[1] - angles[0])) % (2 * math.pi))


def _tool_difference(before: Move, after: Move, units: Units) -> str | None:
    """Feed, tool and rounding."""
    if (before.feed is None) != (after.feed is None) or (
            before.feed is not None and after.feed is not None and not same(before.feed, after.feed)):
        return f"the feed was {_feed(before.feed, units)} and is {_feed(after.feed, units)}"
    if before.tool != after.tool:
        return f"the cut was made with tool {before.tool} and is made with tool {after.tool}"
    if not same_number(before.corner, after.corner):
        return "the corners of the cut are rounded otherwise (G61, G64)"
    return None


def manner_difference(before: State, after: State) -> str | None:
    """In what the state under two cuts differs that the moves themselves do not tell: feed mode and compensation."""
    if before.feed_mode != after.feed_mode:
        return f"the feed was given in {before.feed_mode} and is given in {after.feed_mode}"
    if before.compensation != after.compensation or not same_number(before.grow, after.grow):
        return "the cut lies at another distance from its programmed path (cutter compensation)"
    return None


def _feed(feed: Decimal | None, units: Units) -> str:
    return "none" if feed is None else f"{exactly(float(feed), units)} {UNIT_WORD[units]} a minute"


def effect_difference(before: Effect, after: Effect, units: Units) -> str | None:
    """In what an effect differs from what it was; None where it is the same at the same place."""
    if not _same_text(before.what, after.what):
        return f"{before.what} became {after.what}"
    if not stays(before.position, after.position):
        return (f"{before.what} happened at {spelled(before.position, units)} and now happens at"
                f" {spelled(after.position, units)}")
    if before.tool != after.tool:
        return f"{before.what} happens with another tool in the spindle"
    return None


def _same_text(before: str, after: str) -> bool:
    """The same words, numbers in them compared as numbers ("dwell 0.50" is "dwell 0.5")."""
    if before == after:
        return True
    pairs = list(zip(before.split(), after.split(), strict=False))
    return len(before.split()) == len(after.split()) and all(a == b or _equal_numbers(a, b) for a, b in pairs)


def _equal_numbers(a: str, b: str) -> bool:
    try:
        return Decimal(a) == Decimal(b)
    except ArithmeticError:
        return False


def _ends_higher(before: Position, after: Position) -> bool:
    """Whether a program that ends without M2 or M30 leaves the tool higher at the same place: nothing happens there.
    (Where one of these ends it, the height at which that happens was compared before.)"""
    if not (same(before[0], after[0]) and same(before[1], after[1])):
        return False
    return bounds(after[2])[0] >= bounds(before[2])[1]


def state_difference(before: State, after: State, ended: bool, units: Units) -> str | None:
    """In what the two programs leave the control differently. `ended`: both end with M2 or M30, which set the
    motion to G1 (NISTIR 6556, section 3.6.1), so that it makes no difference what it was."""
    if not stays(before.position, after.position) and not _ends_higher(before.position, after.position):
        return (f"the program ended at {spelled(before.position, units)} and now ends at"
                f" {spelled(after.position, units)}")
    names = {"units": "units", "distance": "distance mode", "plane": "plane", "motion": "motion in force",
             "centres": "way of giving arc centres", "feed_mode": "feed mode", "offset": "work offset",
             "tool": "tool in the spindle", "selected": "tool selected", "compensation": "cutter compensation",
             "length_on": "tool length offset", "length_known": "tool length offset", "path": "path control",
             "corner": "rounding of corners", "retract": "return level of cycles", "parameters": "parameters"}
    for field, name in names.items():
        a, b = getattr(before, field), getattr(after, field)
        if a != b and not (ended and field == "motion"):
            a, b = (f"{exactly(value, units)} {UNIT_WORD[units]}" if field == "corner" else value for value in (a, b))
            return f"the {name} left at the end was {_shown(a)} and is {_shown(b)}"
    for field, name in {"shift": "work offset", "extra": "G92 shift", "home": "home", "home2": "second home"}.items():
        if not all(same(x, y) for x, y in zip(getattr(before, field), getattr(after, field), strict=True)):
            return f"the {name} left at the end is another one"
    if before.shifts.keys() != after.shifts.keys() or not all(
            same(x, y) for key in before.shifts for x, y in zip(before.shifts[key], after.shifts[key], strict=True)):
        return "the work offsets left at the end are others"
    if before.feed != after.feed and (before.feed is None or after.feed is None or not same(before.feed, after.feed)):
        return f"the feed left at the end was {_feed(before.feed, units)} and is {_feed(after.feed, units)}"
    return None


def _shown(value: object) -> str:
    return "not set" if value is None else "others" if isinstance(value, dict) else str(value)


def spelled(position: Position, units: Units) -> str:
    """A position of the bench frame for a person: "X1.0000 Y2.0000 Z(high) mm"."""
    places = (f"{letter}{_coordinate(value, units)}" for letter, value in zip("XYZ", position, strict=True))
    return f"{' '.join(places)} {UNIT_WORD[units]}"


def _coordinate(value: Coordinate, units: Units) -> str:
    if not isinstance(value, Span):
        return exactly(float(value), units)
    if value.low == math.inf:
        return "(high)"
    return "(not known)" if value.low == -math.inf else f"({exactly(value.low, units)} or higher)"
