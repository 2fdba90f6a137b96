"""Two programs side by side in columns: where both cut alike, and AFTER's rapids between lead the same way or higher.

A section is the rapids up to a cut, and the cut. One holds where both have the same cut, as many rapids across between
the same places, none of AFTER's lower at either end and AFTER nowhere lower at a place than BEFORE, and where the rule
that decides finds nothing wrong with AFTER. The comparison one by one allows more than that: what does not hold here is
compared there. Nothing here knows how repairs are made.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from decimal import Decimal
from functools import cached_property

import numpy as np

from .events import JudgedStretch
from .program.lane import Stretch, part
from .program.lane_offer import Known, Offer
from .program.moves import Integers, Kind
from .program.state import State

FEW = 3  # sections of a stretch that are compared one by one, before reading BEFORE as columns too pays


class Track:
    """What a stretch does from the line `at` (from 0, behind a cut) on, by sections.

    starts (n + 1,): the line of the program at which each section begins, and the one behind the last.
    """

    def __init__(self, stretch: Stretch, at: int) -> None:
        self.stretch = stretch
        self.at = at
        self._row = int(np.searchsorted(stretch.rows, at))
        self._lines = stretch.rows[self._row :]
        self._kind = stretch.motions.take(self._lines)
        self._cuts = np.flatnonzero(self._kind != Kind.RAPID)  # their places among the rows from `at` on
        self.starts: list[int] = [stretch.first + at, *(self._lines[self._cuts] + stretch.first + 1).tolist()]

    def __len__(self) -> int:
        return len(self._cuts)

    def sections(self, rows: Integers) -> Integers:
        """The sections in which some rows of the stretch are, without those before `at`."""
        return np.searchsorted(self._cuts, rows[rows >= self._row] - self._row)

    def cuts(self, count: int) -> list[np.ndarray]:
        """The first cuts as columns (count,): kind, feed, where they start and end, and the centres of arcs."""
        stretch, cuts = self.stretch, self._cuts[:count]
        lines, kind = self._lines[cuts], self._kind[cuts]
        arcs = kind >= Kind.ARC_CW
        hubs = np.zeros((2, count))
        if stretch.centres is not None:
            hubs[:, arcs] = stretch.centres[:, lines[arcs]]
        ends = stretch.places.take(lines, axis=1), stretch.places.take(lines + 1, axis=1)
        return [kind, self._feeds(lines), *ends[0], *ends[1], *hubs]

    def _feeds(self, lines: Integers) -> Integers:
        """The feed in force on some lines, as it is counted; -1 where it is that before `at`."""
        words = self.stretch.batch.words.columns.get("F")
        begin = self.stretch.begin
        if words is None:
            return np.full(len(lines), -1)
        said = part(words, begin + self.at, begin + len(self.stretch))
        return np.concatenate(((-1,), said.values))[np.searchsorted(said.lines, lines + begin, side="right")]

    @cached_property
    def _across(self) -> np.ndarray:
        """(r,) bool: which rows are rapids across."""
        x, y, _ = self.stretch.places
        moved = (x[self._lines] != x[self._lines + 1]) | (y[self._lines] != y[self._lines + 1])
        return moved & (self._kind == Kind.RAPID)

    def ways(self, count: int) -> tuple[Integers, Integers, Integers]:
        """The rapids across in the first sections: the section (k,) of each, where it starts and ends (3, k)."""
        rows = np.flatnonzero(self._across[: self._end(count)])
        lines, places = self._lines[rows], self.stretch.places
        return np.searchsorted(self._cuts, rows), places.take(lines, axis=1), places.take(lines + 1, axis=1)

    def _end(self, count: int) -> int:
        return int(self._cuts[count - 1]) + 1

    def lows(self, count: int) -> tuple[Integers, Integers]:
        """How low it is at each place where it stands in the first sections: their sections (v,) and heights (v,)."""
        end = self._end(count)
        leaves = self._across[:end] | (self._kind[:end] != Kind.RAPID)
        begins = np.append(0, np.flatnonzero(leaves) + 1)
        heights = self.stretch.places[2].take(np.append(self.at, self._lines[:end] + 1))
        lows = np.minimum.reduceat(heights, begins)
        return np.searchsorted(self._cuts, begins)[:-1], lows[:-1]  # the last place belongs to what follows


class Abreast:
    """A stretch of BEFORE and one of AFTER, from lines on at which both are in the same state.

    `wrong`: the rows of AFTER's stretch in which the rule that decides may find something wrong.
    """

    def __init__(self, before: Track, after: Track, wrong: Integers) -> None:
        self.before, self.after = before, after
        self._count = count = min(len(before), len(after))
        holds = np.zeros(count, dtype=np.bool_)
        if count and before.stretch.place.scale == after.stretch.place.scale:
            holds[:] = True
            for was, now in zip(before.cuts(count), after.cuts(count), strict=True):
                holds &= was == now
            bad = after.sections(wrong)
            holds[bad[bad < count]] = False
            _compare_ways(before, after, holds)
            _compare_lows(before, after, holds)
        self._ends: list[int] = np.flatnonzero(~holds).tolist()  # the sections that do not hold

    def section(self, before_line: int, after_line: int) -> int | None:
        """The section that begins at these lines of the two programs; None where there is none."""
        section = bisect_left(self.before.starts, before_line)
        begins = section < self._count and self.before.starts[section] == before_line \
            and self.after.starts[section] == after_line
        return section if begins else None

    def holds_to(self, section: int, limit: float) -> int:
        """The first section from one on that does not hold, or that goes on at the line `limit` of BEFORE."""
        place = bisect_left(self._ends, section)
        end = self._ends[place] if place < len(self._ends) else self._count
        return max(section, min(end, bisect_right(self.before.starts, limit) - 1))


def _compare_ways(before: Track, after: Track, holds: np.ndarray) -> None:
    """Takes out the sections in which AFTER does not go across as BEFORE does, or lower."""
    (was, was_from, was_to), (now, now_from, now_to) = (track.ways(len(holds)) for track in (before, after))
    holds &= np.bincount(was, minlength=len(holds)) == np.bincount(now, minlength=len(holds))
    one, other = holds[was], holds[now]
    for a, b in ((was_from[:, one], now_from[:, other]), (was_to[:, one], now_to[:, other])):
        holds[was[one][(a[:2] != b[:2]).any(axis=0) | (b[2] < a[2])]] = False


def _compare_lows(before: Track, after: Track, holds: np.ndarray) -> None:
    """Takes out the sections in which AFTER is lower at a place than BEFORE; the others have as many places in both."""
    (was, was_low), (now, now_low) = (track.lows(len(holds)) for track in (before, after))
    one, other = holds[was], holds[now]
    holds[was[one][now_low[other] < was_low[one]]] = False


class Columns:
    """Passes over what holds in columns. `known` are stretches of BEFORE that can be passed over without that."""

    def __init__(self, known: Known) -> None:
        self._known = known
        self._pair: Abreast | None = None

    def pass_over(self, was: Offer, now: JudgedStretch) -> tuple[State, Decimal] | None:
        """Passes over what holds from here on; gives the state after it and how low it is at its last place. None where
        nothing holds, or where it is not worth the while."""
        if now.taken_apart < FEW or not now.may_be_passed:
            return None
        pair = self._pair
        section = None
        if pair is not None and pair.after.stretch is now.stretch and was.has(pair.before.stretch):
            section = pair.section(was.first, now.line)
        if section is None:
            section, pair = 0, self._begin(was, now)
        if pair is None:
            return None
        end = pair.holds_to(section, was.line_at(self._known.next_place(was.place)))
        one, other = pair.before, pair.after
        lines = one.starts[end] - one.stretch.first, other.starts[end] - other.stretch.first
        after, state = one.stretch.state_before(lines[0]), other.stretch.state_before(lines[1])
        if end == section or after != state or was.state != now.state:
            return None
        was.take_lines(one.starts[end] - was.first, after)
        now.pass_to(lines[1])
        return state, other.stretch.low_at(lines[1])

    def _begin(self, was: Offer, now: JudgedStretch) -> Abreast | None:
        """Both programs from here on, as far as their stretches go."""
        stretch = was.stretch() if was.state == now.state else None
        if type(stretch) is not Stretch or type(now.stretch) is not Stretch:
            return None
        self._pair = Abreast(Track(stretch, 0), Track(now.stretch, now.at), now.wrong)
        return self._pair
