"""Frames and fixed places: G53, G28, G30, G28.1, G30.1, the G92 family, G10 L2 and L20 (sections 3.5.5 to 3.5.19)."""

from __future__ import annotations

from fractions import Fraction

from .plain_options import HIGH
from .plain_state import AXES, Position, State
from .plain_words import Number, Words

OFFSET_NAMES = ("G54", "G55", "G56", "G57", "G58", "G59", "G59.1", "G59.2", "G59.3")


def longer_than_reference(state: State, words: Words) -> Number:
    """By how much the tip hangs lower than that of the tool for which the machine's own figures hold."""
    tools, reference = state.options.tools or {}, state.options.reference_tool
    if reference is None or tools.get(reference) is None:
        return Fraction(0)
    if state.tool is None or state.tool not in tools:
        raise state.fail(words, "a machine position with a tool that is not known")
    if tools[state.tool] is None:
        return Fraction(0)
    return tools[state.tool] - tools[reference]  # type: ignore[operator]


def go_in_machine_frame(state: State, words: Words, kind: str) -> None:
    """G53: absolute in the machine's own frame, whatever offsets and distance mode are on."""
    zero = state.options.zero
    if zero is None:
        raise state.fail(words, "G53, and the setup gives no machine.zero")
    end = list(state.position)
    for axis in state.axes_in(words):
        end[axis] = zero[axis] + state.length(words, AXES[axis])  # type: ignore[operator]
        if axis == 2:
            end[2] = None if state.tip_unknown else end[2] - longer_than_reference(state, words)  # type: ignore[operator]
    state.go(words, kind, end)


def go_home(state: State, words: Words, code: int) -> None:
    """G28, G30: by way of the programmed point to the stored one. Which axes go there differs between controls."""
    named = state.axes_in(words) or [0, 1, 2]
    if state.axes_in(words):
        state.go(words, "rapid", state.target(words))
    readings = {"named": [named], "all": [[0, 1, 2]], "unknown": [named, [0, 1, 2]]}[state.options.home_axes]
    if len(readings) == 2 and readings[0] == readings[1]:
        readings.pop()
    ends = [home_of(state, code, axes) for axes in readings]
    for index, end in enumerate(ends):
        state.go(words, "rapid", end, stay=True, other=index > 0)
    first, last = ends[0], ends[-1]
    state.position = [a if a == b else None for a, b in zip(first, last, strict=True)]


def home_of(state: State, code: int, axes: list[int]) -> Position:
    end = list(state.position)
    home = state.homes[code]
    for axis in axes:
        end[axis] = None if home is None else home[axis]
        if axis == 2 and code not in state.stored_home:
            # The contract: Z that was sent home is high, whatever figure the setup gives.
            end[2] = HIGH
        elif axis == 2 and state.stored_home[code] != state.tool:
            # The place was stored for the spindle: the tip of another tool hangs there at another height.
            end[2] = None
    return end


def store_home(state: State, words: Words, code: int) -> None:
    state.homes[code] = tuple(state.position)
    state.stored_home[code] = state.tool
    state.effect(words, "home stored", code)


def change_frame(state: State, words: Words, code: float) -> None:
    if code == 92:
        axes = state.axes_in(words)
        if not axes:
            raise state.fail(words, "G92 without axis words")
        for axis in axes:
            here = known(state, words, axis)
            without = state.origin(axis) - state.shift[axis]
            state.shift[axis] = here - without - state.length(words, AXES[axis])
        state.saved_shift = list(state.shift)
        state.effect(words, "shift", tuple(state.shift))
    elif code == 92.1:
        state.shift, state.saved_shift = [Fraction(0)] * 3, [Fraction(0)] * 3
        state.effect(words, "shift", None)
    elif code == 92.2:
        state.shift = [Fraction(0)] * 3
        state.effect(words, "shift", None)
    elif code == 92.3:
        state.shift = list(state.saved_shift)
        state.effect(words, "shift", tuple(state.shift))
    else:
        set_origin(state, words)


def known(state: State, words: Words, axis: int) -> Number:
    here = state.position[axis]
    if here is None or here == HIGH:
        raise state.fail(words, "a frame set where the tool is not known to be")
    return here


def set_origin(state: State, words: Words) -> None:
    """G10 L2: an origin in the machine's frame. G10 L20: so that the tool stands at the given numbers."""
    kind, number = words.values.get("L"), words.values.get("P")
    if kind not in (2, 20) or number is None or number != int(number) or not 0 <= number <= 9:
        raise state.fail(words, "G10 needs L2 or L20, and P 0 to 9")
    name = state.offset if number == 0 else OFFSET_NAMES[int(number) - 1]
    axes = state.axes_in(words)
    if axes and name not in state.origins and len(axes) < 3:
        raise state.fail(words, "G10 leaves a part of the origin unknown")
    bench = state.options.origins[state.options.bench]
    if not axes:
        return
    origin = list(state.origins.get(name, [Fraction(0)] * 3))
    for axis in axes:
        value = state.length(words, AXES[axis])
        if kind == 20:
            origin[axis] = known(state, words, axis) - value - state.shift[axis] + bench[axis]
            continue
        zero = state.options.zero
        if zero is None or zero[axis] is None:
            raise state.fail(words, "G10 L2, and the setup gives no machine.zero")
        origin[axis] = zero[axis] + value + bench[axis]
    state.origins[name] = origin
    state.effect(words, "origin", (name, tuple(origin)))
