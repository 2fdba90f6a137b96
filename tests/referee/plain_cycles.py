"""Canned cycles (NISTIR 6556, section 3.5.16), each step a motion of its own.

`normal` is the axis that drills; the traverse between two holes runs in the two others.
G73 is not in the report: like G83, but it backs off a little instead of to R (common practice, no source).
"""

from __future__ import annotations

from fractions import Fraction

from .plain_options import HIGH
from .plain_state import AXES, PLANES, State
from .plain_words import Number, Words

CYCLES = (73, 81, 82, 83, 84, 85, 86, 87, 88, 89)
BACK_OFF = Fraction(254, 1000)
"""0.010 in: how far above the last depth a peck comes back at traverse (section 3.5.16.4)."""

ROUNDING = 1e-9
"""mm: what is left of a hole by the rounding of floats is no peck of its own."""


def do_cycle(state: State, words: Words, code: int) -> None:
    if state.plane is None:
        raise state.fail(words, "a cycle without a plane")
    if state.incremental is None:
        raise state.fail(words, "G90 or G91 is not known")
    if state.tip_unknown:
        raise state.fail(words, "a cycle where the length of the tool is not in force")
    if state.feed_mode == 93 or state.compensation:
        raise state.fail(words, "a cycle in G93 or under compensation")
    if not state.axes_in(words):
        raise state.fail(words, "a cycle without X, Y and Z")
    normal = PLANES[state.plane][2]
    settle_words(state, words, code, normal)
    here = state.position[normal]
    if state.motion not in CYCLES or state.cycle_axis != normal:
        state.initial_level = here
    state.cycle_axis = normal
    repeats = repeats_of(state, words)
    r = state.cycle["R"]
    z = state.cycle["depth"]
    if state.incremental:
        if here is None or here == HIGH:
            raise state.fail(words, "R counts from a height that is not known")
        r = here + r
        z = r + z
    else:
        r = state.origin(normal) + r
        z = state.origin(normal) + z
    if r < z:
        raise state.fail(words, "R lies below the bottom of the hole")
    if here is not None and here < r:
        rise(state, words, normal, r)
    across = [axis for axis in state.axes_in(words) if axis != normal]
    clear = r if state.retract_to_r else clear_level(state.initial_level, r)
    for turn in range(repeats):
        end = list(state.position)
        for axis in across:
            value = state.length(words, AXES[axis])
            if not state.incremental:
                end[axis] = state.origin(axis) + value
            elif end[axis] is not None:
                end[axis] = end[axis] + value  # type: ignore[operator]
        if turn == 0 or end != state.position:
            state.go(words, "rapid", end)
        rise(state, words, normal, r)
        drill(state, words, code, normal, r, z, clear)


def settle_words(state: State, words: Words, code: int, normal: int) -> None:
    """The sticky words: Z, R, P and Q stand until they are given again, while the same cycle is on."""
    if state.motion != code:
        state.cycle = {}
    if AXES[normal] in words.values:
        state.cycle["depth"] = state.length(words, AXES[normal])
    for letter in ("R", "Q"):
        if letter in words.values:
            state.cycle[letter] = state.length(words, letter)
    if "P" in words.values:
        if words.values["P"] < 0:
            raise state.fail(words, "a negative dwell")
        state.cycle["P"] = words.values["P"]
    needed = ["depth", "R"] + (["Q"] if code in (73, 83) else []) + (["P"] if code in (82, 86, 88, 89) else [])
    for name in needed:
        if name not in state.cycle:
            raise state.fail(words, f"a cycle that lacks its {name}")
    if code in (73, 83) and state.cycle["Q"] <= 0:
        raise state.fail(words, "a peck that is not positive")


def repeats_of(state: State, words: Words) -> int:
    count = words.values.get("L", Fraction(1))
    if count != int(count) or count < 1:
        raise state.fail(words, "L must be a positive whole number")
    return int(count)


def clear_level(initial: Number | None, r: Number) -> Number | None:
    """G98: back to the level before the cycles began, unless that is below R."""
    return None if initial is None else max(initial, r)


def rise(state: State, words: Words, normal: int, level: Number | None, kind: str = "rapid") -> None:
    """Move the drilling axis alone."""
    end = list(state.position)
    end[normal] = level
    state.go(words, kind, end)


def drill(state: State, words: Words, code: int, normal: int, r: Number, z: Number, clear: Number | None) -> None:
    if code in (73, 83):
        peck(state, words, code, normal, r, z)
    elif code == 87:
        bore_from_below(state, words, normal, r, z, clear)
        return
    else:
        rise(state, words, normal, z, "cut")
    if code in (82, 86, 88, 89):
        state.effect(words, "dwell", state.cycle["P"])
    if code == 84:
        if state.spindle != 3:
            raise state.fail(words, "tapping needs M3")
        state.effect(words, "spindle", 5)
        state.effect(words, "spindle", 4)
        rise_at_feed(state, words, normal, r, clear)
        state.effect(words, "spindle", 5)
        state.effect(words, "spindle", 3)
    elif code in (85, 89):
        rise_at_feed(state, words, normal, r, clear)
    elif code == 86:
        if state.spindle not in (3, 4):
            raise state.fail(words, "G86 needs a spindle that turns")
        state.effect(words, "spindle", 5)
        rise(state, words, normal, clear)
        state.effect(words, "spindle", state.spindle)
    elif code == 88:
        if state.spindle not in (3, 4):
            raise state.fail(words, "G88 needs a spindle that turns")
        state.effect(words, "spindle", 5)
        state.effect(words, "stop", 0)
        # The operator draws the tool out by hand: nobody knows how far.
        state.position[normal] = None
        state.effect(words, "spindle", state.spindle)
    else:
        rise(state, words, normal, clear)


def rise_at_feed(state: State, words: Words, normal: int, r: Number, clear: Number | None) -> None:
    if clear is None:
        raise state.fail(words, "a retract at feed to a height that is not known")
    if clear == HIGH:
        # No feed move can end at a height without a number: what is cut ends at R in any case.
        rise(state, words, normal, r, "cut")
        rise(state, words, normal, clear)
        return
    rise(state, words, normal, clear, "cut")


def peck(state: State, words: Words, code: int, normal: int, r: Number, z: Number) -> None:
    depth = r - state.cycle["Q"]
    while depth - z > ROUNDING:
        rise(state, words, normal, depth, "cut")
        if code == 83:
            rise(state, words, normal, r)
        rise(state, words, normal, depth + BACK_OFF)
        depth -= state.cycle["Q"]
    rise(state, words, normal, z, "cut")


def bore_from_below(state: State, words: Words, normal: int, r: Number, z: Number, clear: Number | None) -> None:
    """G87, section 3.5.16.8: aside, down, back in, cut upward to K and down again, aside, up, back in."""
    first, second, _ = PLANES[state.plane or 17]
    letters = ["IJK"[first], "IJK"[second], "IJK"[normal]]
    if state.spindle not in (3, 4):
        raise state.fail(words, "G87 needs a spindle that turns")
    if any(letter not in words.values for letter in letters):
        raise state.fail(words, "G87 needs I, J and K")
    middle = state.length(words, letters[2])
    middle = z + middle if state.incremental else state.origin(normal) + middle
    if middle < z:
        raise state.fail(words, "G87 with its middle below its bottom")
    over = list(state.position)
    aside = list(state.position)
    for axis, letter in ((first, letters[0]), (second, letters[1])):
        aside[axis] = aside[axis] + state.length(words, letter)  # type: ignore[operator]

    def at(place: list[Number | None], level: Number | None, kind: str = "rapid") -> None:
        end = list(place)
        end[normal] = level
        state.go(words, kind, end)

    at(aside, r)
    state.effect(words, "spindle", 5)
    at(aside, z)
    at(over, z)
    state.effect(words, "spindle", state.spindle)
    at(over, middle, "cut")
    at(over, z, "cut")
    state.effect(words, "spindle", 5)
    at(aside, z)
    at(aside, clear)
    at(over, clear)
    state.effect(words, "spindle", state.spindle)
