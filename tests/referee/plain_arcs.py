"""Arcs (NISTIR 6556, section 3.5.3): centre form and radius form, in every plane, helices and full circles."""

from __future__ import annotations

import math

from .plain_state import PLANES, Move, State
from .plain_words import Words

OFFSET_LETTERS = "IJK"
LARGEST_MISMATCH = 0.05
"""mm; the contract follows ends that miss the circle by more than the report allows, but not beyond this."""


def do_arc(state: State, words: Words, clockwise: bool) -> None:
    if state.plane is None:
        raise state.fail(words, "an arc without a plane")
    first, second, normal = PLANES[state.plane]
    end = state.target(words)
    state.check_cut(words)
    if any(value is None for value in end):
        raise state.fail(words, "an arc that ends where the tool is not known to be")
    if OFFSET_LETTERS[normal] in words.values:
        raise state.fail(words, f"{OFFSET_LETTERS[normal]} lies outside the plane of the arc")
    from_, to = [float(v) for v in state.position], [float(v) for v in end]  # type: ignore[arg-type]
    a = (from_[first], from_[second])
    b = (to[first], to[second])
    if "R" in words.values:
        if any(OFFSET_LETTERS[axis] in words.values for axis in (first, second)):
            raise state.fail(words, "both R and a centre")
        centre, doubtful = centre_by_radius(state, words, a, b, clockwise)
    else:
        centre, doubtful = centre_by_offsets(state, words, a, b)
    place = [0.0, 0.0, 0.0]
    place[first], place[second], place[normal] = centre[0], centre[1], from_[normal]
    state.sequence.append(
        Move(
            words.line,
            "arc-cw" if clockwise else "arc-ccw",
            tuple(state.position),
            tuple(end),
            state.tool,
            centre=tuple(place),
            plane=state.plane,
            feed=state.known_feed(),
            rounding=state.rounding,
            compensated=state.compensation or state.ending_compensation,
            doubtful=doubtful,
        )
    )
    state.position = end


def centre_by_offsets(
    state: State, words: Words, a: tuple[float, float], b: tuple[float, float]
) -> tuple[tuple[float, float], bool]:
    axes = PLANES[state.plane or 17][:2]
    letters = [OFFSET_LETTERS[axis] for axis in axes]
    if not any(letter in words.values for letter in letters):
        raise state.fail(words, "an arc without a centre and without R")
    if state.centres_absolute:
        if not all(letter in words.values for letter in letters):
            raise state.fail(words, "G90.1 needs both words of the centre")
        centre = [float(state.origin(x) + state.length(words, c)) for x, c in zip(axes, letters, strict=True)]
    else:
        centre = [a[i] + (float(state.length(words, letters[i])) if letters[i] in words.values else 0) for i in (0, 1)]
    before, after = math.dist(a, centre), math.dist(b, centre)
    if before == 0 or after == 0:
        raise state.fail(words, "an arc of no radius")
    if abs(before - after) > LARGEST_MISMATCH:
        raise state.fail(words, "the end does not lie on the circle")
    allowed = 0.002 if state.units == "mm" else 0.0002 * 25.4
    nearly_closed = 0 < math.dist(a, b) < 0.01
    return (centre[0], centre[1]), abs(before - after) > allowed or nearly_closed


def centre_by_radius(
    state: State, words: Words, a: tuple[float, float], b: tuple[float, float], clockwise: bool
) -> tuple[tuple[float, float], bool]:
    """Positive R: the arc of at most half a turn; negative: the other one."""
    radius = float(state.length(words, "R"))
    half = math.dist(a, b) / 2
    if half == 0:
        raise state.fail(words, "R cannot make a full circle")
    if half > abs(radius) + 0.002:
        raise state.fail(words, "R is too short for the way")
    distance = math.sqrt(max(0.0, radius * radius - half * half))
    along = ((b[0] - a[0]) / (2 * half), (b[1] - a[1]) / (2 * half))
    # The centre of a clockwise arc of less than half a turn lies to the right of the way.
    to_the_right = clockwise == (radius > 0)
    across = (along[1], -along[0]) if to_the_right else (-along[1], along[0])
    middle = ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
    doubtful = half > abs(radius) * 0.999 or half < abs(radius) * 0.001
    return (middle[0] + distance * across[0], middle[1] + distance * across[1]), doubtful
