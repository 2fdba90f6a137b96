"""Motions: rapids, cuts, arcs, probes, cycles and the ways home, in the order and with the errors of NISTIR 6556."""

from __future__ import annotations

import math
from decimal import Decimal

from ..lengths import length
from . import cycles
from .arcs import PLANES, Arc, from_centre, from_radius
from .codes import CYCLES
from .context import ADVICE_START, Context
from .doubt import ADVICE, leave, other_reading
from .errors import NotUnderstood
from .moves import Kind, Move
from .state import ANY_TOOL, ANYWHERE, Coordinate, Cycle, Position, Span, bounds, either, known

SHORTEST_PROBE = 0.254  # mm (0.01 in): NISTIR 6556, section 3.5.9
CENTRES_ASSUMED = "arc centres", "centres of arcs (I, J, K) are taken as incremental (G91.1)"


def rapid(context: Context) -> None:
    """G0 (section 3.5.1)."""
    start = context.state.position
    end = context.targets(start)
    still = (context.stays(0, start, end), context.stays(1, start, end), context.stays(2, start, end))
    context.rapid(start, end, still=still)
    context.state.position = end


def straight(context: Context) -> None:
    """G1 (section 3.5.2)."""
    start = context.state.position
    end = context.targets(start)
    if start == end and not all(context.stays(axis, start, end) for axis in range(3)):
        context.unknown_start()  # an increment from a place that is not known leads to one that is not either
    context.cut(start, end)
    context.state.position = end


def machine_move(context: Context, motion: str) -> None:
    """G53 with G0 or G1 (section 3.5.12): absolute, in the machine's own coordinates, for this block only."""
    rules, state = context.rules, context.state
    if rules.zero is None:
        context.complain("zero", "G53 moves in machine coordinates, and the setup does not say where the machine's"
                         " zero lies", "add machine.zero to the setup")
        state.lost = True
        return
    if not context.axes():
        raise NotUnderstood("G53 has no axis words", "give X, Y or Z, or leave it out")
    values: dict[int, Coordinate] = {}
    for axis in context.axes():
        length = context.length("XYZ"[axis])
        assert length is not None
        values[axis] = rules.zero[axis] + length
    if 2 in values:
        # Between M6 and G43 a Z of any kind leaves the tip at a height that is not known.
        values[2] = _hanging(context, values[2]) if state.length_known else ANYWHERE
    end = cycles.placed(state.position, values)
    if motion == "G0":
        x, y, z = (state.position[axis] == end[axis] and (axis not in values or known(end[axis])) for axis in range(3))
        context.rapid(state.position, end, part="machine", still=(x, y, z))
    else:
        context.cut(state.position, end)
    state.position = end


def _hanging(context: Context, z: Coordinate) -> Coordinate:
    """The tip's Z where the reference tool's would be at `z`."""
    tools = context.rules.tools or {}
    if context.state.tool == ANY_TOOL:
        drops = [facts.drop for facts in tools.values()]
    else:
        facts_of = tools.get(context.state.tool)
        drops = [facts_of.drop if facts_of else None]
    heights = [float(z - (drop or Decimal(0))) for drop in drops if not isinstance(z, Span)]
    if len(set(heights)) > 1:
        return Span(min(heights), max(heights))
    return z - (drops[0] or Decimal(0)) if heights and not isinstance(z, Span) else z


def arc(context: Context, code: str) -> None:
    """G2 and G3 in each plane, by centre or by radius, as helices and full circles (section 3.5.3)."""
    plane = context.need_plane()
    first, second, _ = PLANES[plane]
    start = context.state.position
    if context.state.beside:
        raise NotUnderstood("an arc right after cutter compensation starts beside the path",
                            "go to an absolute X and Y before")
    end = context.targets(start)
    if any(isinstance(c, Span) for c in start + end):
        for letter in "IJKR":
            context.number(letter)
        context.unknown_start()
        context.state.position = end
        return
    if other_reading(context, start, end) is not None:
        raise NotUnderstood("an arc starts where a cycle left the tool, at its initial or at its R level", ADVICE)
    places = [float(c) for c in start + end]  # type: ignore[arg-type]
    begin, finish = (places[first], places[second]), (places[3 + first], places[3 + second])
    clockwise = code == "G2"
    found = _centre(context, plane, begin, finish, clockwise)
    _add_arc(context, start, end, found, clockwise, plane)
    context.state.position = end


def _centre(context: Context, plane: str, begin: tuple[float, float], finish: tuple[float, float],
            clockwise: bool) -> Arc:
    first, second, third = PLANES[plane]
    letters = "IJK"[first], "IJK"[second]
    if context.has("IJK"[third]):
        raise NotUnderstood(f"an arc in {plane} has a {'IJK'[third]} word", f"check the plane: {plane} is in force")
    radius = context.length("R")
    if radius is not None:
        if any(context.has(letter) for letter in letters):
            raise NotUnderstood("an arc has both a radius and a centre", "give one of them")
        if not (context.has("XYZ"[first]) or context.has("XYZ"[second])):
            raise NotUnderstood("an arc by its radius has no end", "give the end in the plane")
        return from_radius(begin, finish, float(radius), clockwise, context.told_in)
    if not any(context.has(letter) for letter in letters):
        raise NotUnderstood("an arc has neither a centre nor a radius", f"give {letters[0]} and {letters[1]}, or R")
    given = [context.length(letter) for letter in letters]
    origins = context.origin(first), context.origin(second)
    relative = tuple(begin[k] + float(given[k] or 0) for k in range(2))
    absolute = tuple(float(origins[k] + (given[k] or 0)) for k in range(2))
    if context.state.centres == "G90.1":
        if any(value is None for value in given):
            raise NotUnderstood("an arc with an absolute centre (G90.1) needs both words of it", "give both")
        return from_centre(begin, finish, absolute, relative, context.told_in)  # type: ignore[arg-type]
    if not context.state.centres_said:
        context.assume(*CENTRES_ASSUMED)
    return from_centre(begin, finish, relative, absolute, context.told_in)  # type: ignore[arg-type]


def _add_arc(context: Context, start: Position, end: Position, found: Arc, clockwise: bool, plane: str) -> None:
    state = context.state
    first, second, third = PLANES[plane]
    centre = [0.0, 0.0, 0.0]
    centre[first], centre[second] = found.first, found.second
    begin = start[third]
    assert not isinstance(begin, Span)
    centre[third] = float(begin)

    def add(full: bool, shadow: bool) -> None:
        context.step.moves.append(
            Move(context.block.line, Kind.ARC_CW if clockwise else Kind.ARC_CCW, start, end, state.tool,
                 context.feed(), state.corner, (centre[0], centre[1], centre[2]), int(plane[1:]),
                 grow=state.grow + found.grow, shadow=shadow, full_turn=full))

    add(found.full, False)
    if found.sliver:
        add(True, True)


def probe(context: Context) -> None:
    """G38.x (section 3.5.9): a cut that may end anywhere on its way; the axes that it moves are not known after it. No
    higher than the higher end of its way: a rise that is put in behind it must not lead down onto what it touches."""
    state = context.state
    start = state.position
    end = context.targets(start)
    if state.feed_mode == "G93":
        raise NotUnderstood("a probe move under inverse time feed (G93)", "probe with feeds a minute (G94)")
    if not context.axes() or _length(start, end) < SHORTEST_PROBE:
        shortest = length(SHORTEST_PROBE, context.told_in)
        raise NotUnderstood(f"a probe move is shorter than {shortest}, or has no axis words", "start it further away")
    context.cut(start, end, Kind.PROBE)
    x, y, z = (either(start[axis], end[axis]) for axis in range(3))
    if z == ANYWHERE:
        z = Span(-math.inf, max(bounds(start[2])[1], bounds(end[2])[1]))
    state.position = (x, y, z)


def _length(start: Position, end: Position) -> float:
    """How long a straight move is; infinite where it is not known."""
    if any(isinstance(c, Span) for c in start + end):
        return math.inf
    return math.dist([float(c) for c in start], [float(c) for c in end])  # type: ignore[arg-type]


def cycle(context: Context, code: str) -> None:
    """One block of a canned cycle (section 3.5.16): its sticky words, its places, its moves."""
    state = context.state
    plane = context.need_plane()
    context.need_distance()
    first, second, axis = PLANES[plane]
    if not context.axes():
        raise NotUnderstood(f"{code} has no axis words", "give at least one of X, Y and Z")
    if state.compensation != "G40":
        raise NotUnderstood("a cycle runs under cutter compensation", "cancel it with G40 before the cycle")
    if state.feed_mode == "G93":
        raise NotUnderstood("a cycle runs under inverse time feed (G93)", "export with feeds a minute (G94)")
    before = state.cycle if state.motion in CYCLES else None
    if before is not None and state.stale:
        raise NotUnderstood(f"the {state.stale} within a canned cycle", "end the cycle with G80 before, state it anew")
    state.stale = ""
    now = _sticky(context, code, axis, before)
    repeats = context.whole("L")
    if repeats == 0:
        raise NotUnderstood("a cycle is repeated no times (L0)", "leave it out")
    if repeats is not None and repeats > 10_000:
        raise NotUnderstood(f"a cycle is repeated {repeats} times", "check L")
    hole = _hole(context, code, axis, now)
    places = _places(context, (first, second), repeats or 1)
    if before is not None and state.retract == "G98" and state.position[axis] != hole.clear:
        context.assume("initial level", "G98 behind G99 is taken to return to where the tool was before the series of"
                       " cycles")
    doubtful = not state.retract_said and hole.clear != hole.level
    if not state.retract_said:
        context.assume("return level", "cycles are taken to return to the initial level (G98); the R level is"
                       " checked too")
    if plane == "G17":
        context.step.places = [(place[0], place[1]) for place in places]  # type: ignore[misc]

    def begin(number: int) -> None:
        context.hole = number

    came, state.left = (state.left if before is None else None), None
    path = cycles.Path(state.position, context.rapid, context.cut, context.effect, begin)
    cycles.perform(code, hole, places, path, doubtful, before is None, came[1] if came is not None else None)
    state.position = path.position
    leave(context, axis, hole.level, doubtful)
    state.cycle = now


def _sticky(context: Context, code: str, axis: int, before: Cycle | None) -> Cycle:
    """The cycle in force: the words of this block, the others as they were (section 3.5.16.1)."""
    same = before if before is not None and before.code == code else None
    depth, level = context.number("XYZ"[axis]), context.number("R")
    # A dwell moves nothing wherever a control obeys it; a Q that no cycle needs may peck.
    dwell = context.number("P")
    peck = context.number("Q") if code in cycles.NEEDS_PECK else None
    if same is not None:
        depth = same.depth if depth is None else depth
        level = same.level if level is None else level
        dwell = same.dwell if dwell is None else dwell
        peck = same.peck if peck is None else peck
    if level is None:
        raise NotUnderstood(f"{code} has no R level", "give R on the block that starts the cycle")
    if depth is None:
        raise NotUnderstood(f"{code} has no depth", f"give {'XYZ'[axis]} on the block that starts the cycle")
    initial = before.initial if before is not None else context.state.position[axis]
    now = Cycle(code, depth, level, dwell, peck, initial)
    cycles.check_words(code, now, context.state.spindle)
    return now


def _hole(context: Context, code: str, axis: int, now: Cycle) -> cycles.Hole:
    state, scale = context.state, context.state.scale()
    context.need_units()
    if axis == 2 and not state.length_known:
        raise NotUnderstood("a cycle runs while no tool length offset is in force", "put G43 before it")
    if state.distance == "G91":
        here = state.position[axis]
        if isinstance(here, Span):
            raise NotUnderstood("an incremental cycle starts at a height that is not known", ADVICE_START)
        level = here + now.level * scale
        bottom = level + now.depth * scale
    else:
        level = context.origin(axis) + now.level * scale
        bottom = context.origin(axis) + now.depth * scale
    if level < bottom:
        raise NotUnderstood("the R level of a cycle lies below its depth", "check R and Z")
    hole = cycles.Hole(axis, level, bottom, cycles.clear_level(now.initial, level, state.retract), now.dwell,
                       None if now.peck is None else now.peck * scale)
    if code == "G87":
        _back_bore_words(context, hole)
    return hole


def _back_bore_words(context: Context, hole: cycles.Hole) -> None:
    if context.state.distance == "G91" or context.need_plane() != "G17":
        raise NotUnderstood("G87 is followed in G90 and G17 alone", "export the hole as plain moves")
    side = context.length("I"), context.length("J")
    top = context.length("K")
    if top is None or (side[0] is None and side[1] is None):
        raise NotUnderstood("G87 needs I or J, and K", "give them on each block of the cycle")
    hole.side = (side[0] or Decimal(0), side[1] or Decimal(0))
    hole.top = context.origin(2) + top
    if hole.top < hole.bottom:
        raise NotUnderstood("G87 ends below where it starts", "check K and Z")


def _places(context: Context, axes: tuple[int, int], repeats: int) -> list[dict[int, Coordinate]]:
    """Where the holes of a block lie. Incremental steps are made again for each repeat."""
    places, here = [], context.state.position
    for _ in range(repeats):
        place = {axis: context.target(axis, here) for axis in axes}
        if any(isinstance(value, Span) for value in place.values()):
            raise NotUnderstood("a cycle drills at a place that is not known", ADVICE_START)
        here = cycles.placed(here, place)
        places.append(place)
    return places


def go_home(context: Context, code: str) -> None:
    """G28 and G30 (section 3.5.8): by way of a point, then home with the axes that `home_axes` says.

    Where the setup does not know which, both readings are made, the named axes first, and what they leave different
    is not known. A Z that was sent home is high, unless the program itself made the home.
    """
    state = context.state
    named = context.axes()
    start = state.position
    by_way = context.targets(start)
    still = (context.stays(0, start, by_way), context.stays(1, start, by_way), context.stays(2, start, by_way))
    context.rapid(start, by_way, "by-way", still=still)
    home = _home_place(context, code)
    some = cycles.placed(by_way, {axis: home[axis] for axis in named or range(3)})
    whole = cycles.placed(by_way, {axis: home[axis] for axis in range(3)})
    if context.rules.home_axes == "all" or len(named) in (0, 3):
        _homeward(context, by_way, whole, "home", range(3))
        state.position = whole
    elif context.rules.home_axes == "named":
        _homeward(context, by_way, some, "home", named)
        state.position = some
    else:
        _homeward(context, by_way, some, "home", named)
        _homeward(context, by_way, whole, "home-all", range(3))
        x, y, z = (either(some[axis], whole[axis]) for axis in range(3))
        state.position = (x, y, z)


def _homeward(context: Context, start: Position, end: Position, part: str, axes: range | list[int]) -> None:
    """A way home. An axis whose home is not known is taken to move."""
    moves = [axis in axes and (start[axis] != end[axis] or not known(end[axis])) for axis in range(3)]
    if end[2] == start[2] and isinstance(end[2], Span) and end[2].low == float("inf"):
        moves[2] = False
    context.rapid(start, end, part, still=(not moves[0], not moves[1], not moves[2]))


def _home_place(context: Context, code: str) -> Position:
    state = context.state
    home, made = (state.home, state.home_made) if code == "G28" else (state.home2, state.home2_made)
    if made is not None and made != state.tool:
        return home[0], home[1], ANYWHERE
    return home
