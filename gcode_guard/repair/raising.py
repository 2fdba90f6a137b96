"""Runs that are mended by raising Z words that stand there, planned many at once, as the planner does one by one.

Such a run goes up and down by blocks of their own, and across at the level that the last of them set. A Z word is
raised to what the ways across at its level need; what was raised to the end comes down behind the last block. There
is no other repair of such a run that raises less. Every other shape is left to the planner.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from ..program.block import read_block, split_ending
from ..program.moves import Floats, Integers
from ..program.state import State
from .surgery import with_word
from .write import Pen, Style

_ANY_DIGIT = bytes.maketrans(b"023456789", b"1" * 9)
_COMMENTS = (b"(", b";")
_PLAIN_Z = re.compile(rb"[Zz][+-]?(?:\d+\.?\d*|\.\d+)(?=[ \t]*[A-Za-z\r\n])")


@dataclass(slots=True)
class Rapids:
    """The rapids (k,) of some runs, one run after the other.

    begins (r,): the first rapid of each run. upright, with_z (k,) bool: goes up or down alone, and has a Z word.
    need (k,) mm: the height that a rapid needs which must be lifted, -inf for the others. end (k,) mm: where it ends.
    """

    begins: Integers
    upright: np.ndarray
    with_z: np.ndarray
    need: Floats
    end: Floats


@dataclass(slots=True)
class Levels:
    """The levels (s,) at which some rapids run, and what is to be done about them.

    first (s,): the rapid that sets it. run (s,): its run. need (s,) mm: the height that what follows at it needs.
    raised (s,) bool. fits (r,) bool: the runs that are mended by it.
    """

    first: Integers
    run: Integers
    need: Floats
    raised: np.ndarray
    fits: np.ndarray


def levels_of(rapids: Rapids, ceiling: float) -> Levels:
    """What becomes of the runs. One fits where nothing is slanted, what goes up or down alone need not be lifted,
    everything that must be comes behind a Z word, and no height is above `ceiling`."""
    bad = rapids.need > -np.inf
    wrong = rapids.with_z & ~rapids.upright
    wrong |= bad & rapids.upright
    sets = rapids.upright.copy()
    sets[rapids.begins] = True
    first = np.flatnonzero(sets)
    run = np.searchsorted(rapids.begins, first, side="right") - 1
    need = np.maximum.reduceat(rapids.need, first)
    raised = rapids.upright[first] & (need > rapids.end[first]) & (need <= ceiling) & (need < np.inf)
    fits = ~np.logical_or.reduceat(wrong, rapids.begins)
    fits[run[(need > -np.inf) & ~raised]] = False
    return Levels(first, run, need, raised, fits)


class Texts:
    """Writes raised words and ways down under one state (G90), and keeps what it wrote: most of it comes again."""

    def __init__(self, state: State) -> None:
        self._state = state
        self._rises: dict[tuple[Style, float], tuple[str, float]] = {}
        self._downs: dict[tuple[Style, Decimal, bool], bytes] = {}
        self._raised: dict[tuple[bytes, str], bytes] = {}
        self._styles: dict[tuple[Style, bytes], Style] = {}

    def see(self, style: Style, blocks: Sequence[bytes]) -> Style:
        """The style after the blocks of a run, raw lines of G0: without comments it depends on no digit of theirs."""
        whole = b"".join(blocks)
        if any(mark in whole for mark in _COMMENTS):
            return style.seen(map(split_ending, blocks))
        key = style, whole.translate(_ANY_DIGIT)
        if key not in self._styles:
            self._styles[key] = style.seen(map(split_ending, blocks))
        return self._styles[key]

    def rise(self, style: Style, need: float) -> tuple[str, float]:
        """The Z word that goes up to `need` (mm), and how high it leads."""
        key = style, need
        if key not in self._rises:
            text, reached = Pen(style, self._state).rise(need, None)
            self._rises[key] = text, float(reached)
        return self._rises[key]

    def raised(self, raw: bytes, text: str) -> bytes:
        """A raw line with another Z word."""
        key = raw, text
        if key not in self._raised:
            plain = _PLAIN_Z.search(raw) if not any(mark in raw for mark in _COMMENTS) else None
            if plain is not None:
                self._raised[key] = raw[: plain.start()] + text.encode("ascii") + raw[plain.end() :]
            else:
                block = read_block(0, raw, {})
                self._raised[key] = (with_word(block, "Z", text) + block.ending).encode("latin-1")
        return self._raised[key]

    def down(self, style: Style, z: Decimal, like: bytes) -> bytes:
        """A line that comes down to `z` (mm), with the line end of the raw line `like`."""
        key = style, z, like.endswith(b"\r\n")
        if key not in self._downs:
            pen = Pen(style, self._state)
            text = pen.rapid(pen.exactly(2, z, None)) + split_ending(like)[1]
            self._downs[key] = text.encode("latin-1")
        return self._downs[key]
