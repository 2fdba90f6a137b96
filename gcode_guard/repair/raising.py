"""Runs that are mended by raising Z words that stand there, planned many at once, as the planner does one by one.

Such a run goes up and down by blocks of their own, and across at the level that the last of them set. A Z word is
raised to what the ways across at its level need; where the run begins without one, a rise is put in before the first
way that needs it. What was raised to the end comes down behind the last block. There is no other repair of such a run
that raises less. Every other shape is left to the planner.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal

import numpy as np

from ..program.block import read_block, split_ending
from ..program.moves import Floats, Integers
from ..program.state import State
from .surgery import with_word
from .write import Pen, Style

_ANY_DIGIT = bytes.maketrans(b"023456789", b"1" * 9)
_PLAIN_Z = re.compile(rb"[Zz][+-]?(?:\d+\.?\d*|\.\d+)(?=[ \t]*[A-Za-z\r\n])")


@dataclass(slots=True)
class Rapids:
    """The rapids (k,) of some runs, one run after the other.

    begins (r,): the first rapid of each run. upright, with_z, bare (k,) bool: goes up or down alone, has a Z word, has
    nothing but G0 and coordinates. need (k,) mm: the height that a rapid needs which must be lifted, -inf for the
    others. end (k,) mm: where it ends.
    """

    begins: Integers
    upright: np.ndarray
    with_z: np.ndarray
    bare: np.ndarray
    need: Floats
    end: Floats


@dataclass(slots=True)
class Levels:
    """The levels (s,) at which some rapids run, and what is to be done about them.

    first (s,): the rapid that sets it, or that begins the run. run (s,): its run. need (s,) mm: the height that what
    follows at it needs. raised, put_in (s,) bool: is another one now, and by a rise that is put in. at (s,): the rapid
    whose block changes for that. fits (r,) bool: the runs that are mended by it.
    """

    first: Integers
    run: Integers
    need: Floats
    raised: np.ndarray
    put_in: np.ndarray
    at: Integers
    fits: np.ndarray


def levels_of(rapids: Rapids, ceiling: float) -> Levels:
    """What becomes of the runs. One fits where nothing is slanted, what goes up or down alone need not be lifted,
    everything that must be comes behind a Z word or a bare block, and no height is above `ceiling`."""
    bad = rapids.need > -np.inf
    wrong = rapids.with_z & ~rapids.upright
    wrong |= bad & rapids.upright
    sets = rapids.upright.copy()
    sets[rapids.begins] = True
    first = np.flatnonzero(sets)
    run = np.searchsorted(rapids.begins, first, side="right") - 1
    need = np.maximum.reduceat(rapids.need, first)
    meets = np.flatnonzero(bad)
    put_in = (need > -np.inf) & ~rapids.upright[first]
    at = first.copy()
    at[put_in] = meets[np.searchsorted(meets, first[put_in])]
    raised = (need > rapids.end[at]) & (need <= ceiling) & (need < np.inf) & (rapids.bare[at] | ~put_in)
    fits = ~np.logical_or.reduceat(wrong, rapids.begins)
    fits[run[(need > -np.inf) & ~raised]] = False
    return Levels(first, run, need, raised, put_in, at, fits)


@dataclass(slots=True)
class _Written:
    """What was written in a style: words by the height that they reach, ways down, the style after some blocks."""

    pen: Pen
    rises: dict[float, tuple[str, float]] = field(default_factory=dict)
    downs: dict[tuple[Decimal, str], bytes] = field(default_factory=dict)
    seen: dict[bytes, Style] = field(default_factory=dict)


class Texts:
    """Writes raised words and ways down under one state (G90), and keeps what it wrote: most of it comes again."""

    def __init__(self, state: State, style: Style) -> None:
        self._state = state
        self._written: dict[Style, _Written] = {}
        self._raised: dict[tuple[bytes, str], bytes] = {}
        self._take_up(style)

    def _take_up(self, style: Style) -> None:
        """Writes in a style from here on."""
        self.style = style
        if style not in self._written:
            self._written[style] = _Written(Pen(style, self._state))
        self._own = self._written[style]

    def see(self, style: Style, blocks: Sequence[bytes]) -> Style:
        """The style, which was `style`, after a look at the blocks of a run, raw lines of G0: without comments that
        depends on no digit. What is written next is written in it."""
        if style is not self.style:
            self._take_up(style)
        whole = b"".join(blocks)
        if b"(" in whole or b";" in whole:
            seen = self.style.seen(map(split_ending, blocks))
        else:
            key = whole.translate(_ANY_DIGIT)
            found = self._own.seen.get(key)
            if found is None:
                found = self._own.seen[key] = self.style.seen(map(split_ending, blocks))
            seen = found
        if seen != self.style:
            self._take_up(seen)
        return self.style

    def rise(self, need: float) -> tuple[str, float]:
        """The Z word that goes up to `need` (mm), and how high it leads."""
        found = self._own.rises.get(need)
        if found is None:
            text, reached = self._own.pen.rise(need, None)
            found = self._own.rises[need] = text, float(reached)
        return found

    def raised(self, raw: bytes, text: str) -> bytes:
        """A raw line with another Z word."""
        found = self._raised.get((raw, text))
        if found is None:
            plain = _PLAIN_Z.search(raw) if b"(" not in raw and b";" not in raw else None
            if plain is not None:
                found = raw[: plain.start()] + text.encode("ascii") + raw[plain.end() :]
            else:
                block = read_block(0, raw, {})
                found = (with_word(block, "Z", text) + block.ending).encode("latin-1")
            self._raised[raw, text] = found
        return found

    def alone(self, word: str, like: bytes) -> bytes:
        """A line with nothing but this word, with the line end of the raw line `like`."""
        return (self._own.pen.rapid(word) + _ending(like)).encode("latin-1")

    def down(self, z: Decimal, like: bytes) -> bytes:
        """A line that comes down to `z` (mm), with the line end of the raw line `like`."""
        ending = _ending(like)
        found = self._own.downs.get((z, ending))
        if found is None:
            pen = self._own.pen
            found = self._own.downs[z, ending] = (pen.rapid(pen.exactly(2, z, None)) + ending).encode("latin-1")
        return found


def _ending(raw: bytes) -> str:
    return "\r\n" if raw.endswith(b"\r\n") else "\n"
