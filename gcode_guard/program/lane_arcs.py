"""Arcs by their centres in columns: those that nobody could read otherwise; all others are left to the exact reader."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from .arcs import AGREES, DOUBTFUL, LEAST
from .lane_words import Integers, Words
from .moves import Floats
from .state import State

if TYPE_CHECKING:
    from .lane import Place

# How far from a limit an arc must stay (mm) for the last bits of a root to make no difference.
WELL = 1e-4


def centres_of(words: Words, begin: int, end: int, counts: Integers, moved: NDArray[np.bool_],
               arcs: NDArray[np.bool_] | None, state: State, place: Place) -> tuple[Floats | None, int]:
    """The centres (2, n) of the lines that are arcs, and how many lines are certain. What others hold says nothing.

    `counts` (3, n + 1) are the places. Marks arcs in `moved`, also such as end where they start. An arc is certain in
    G17, with I or J and incremental centres, not tiny, its ends equally far from its centre, and either a full turn or
    well open. Any other, and I or J where no arc is in force, ends what is certain.
    """
    count = end - begin
    given = [_offsets(words, letter, begin, end, place) for letter in "IJ"]
    offset_lines = [lines for lines, _ in given if len(lines)]
    if arcs is None:
        return None, min((int(lines[0]) for lines in offset_lines), default=count)
    centred = np.zeros(count, dtype=np.bool_)
    for lines in offset_lines:
        centred[lines] = True
    wrong = centred & ~arcs
    wrong |= arcs & ~centred & _worded(words, begin, end)
    rows = np.flatnonzero(arcs & centred)
    if len(rows) and (state.plane != "G17" or state.centres != "G91.1"):
        wrong[rows] = True
        return None, int(np.argmax(wrong))
    one = float(place.scale.one)
    places = counts[:2] / one
    centres = places[:, :-1].copy()
    for axis, (lines, values) in enumerate(given):
        centres[axis, lines] += values / one
    start, finish, hub = places[:, rows], places[:, rows + 1], centres[:, rows]
    first, last = np.hypot(*(start - hub)), np.hypot(*(finish - hub))
    open_by = np.hypot(*(finish - start))
    doubtful = np.abs(first - last) > AGREES - WELL
    doubtful |= first < LEAST + WELL
    doubtful |= (open_by < DOUBTFUL + WELL) & (start != finish).any(axis=0)
    wrong[rows[doubtful]] = True
    moved[rows] = True
    return centres, int(np.argmax(wrong)) if wrong.any() else count


def _offsets(words: Words, letter: str, begin: int, end: int, place: Place) -> tuple[Integers, Integers]:
    if letter not in words.columns:
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    column = words.columns[letter]
    i, j = np.searchsorted(column.lines, (begin, end))
    return column.lines[i:j] - begin, column.values[i:j] * place.scale.factor


def _worded(words: Words, begin: int, end: int) -> NDArray[np.bool_]:
    """Which lines have a word that would make an arc of them: X, Y, Z or a motion code."""
    worded = np.zeros(end - begin, dtype=np.bool_)
    for letter in "GXYZ":
        if letter in words.columns:
            lines = words.columns[letter].lines
            i, j = np.searchsorted(lines, (begin, end))
            worded[lines[i:j] - begin] = True
    return worded
