"""The bad runs of a stretch that need nothing but Z words raised: judged, planned and written together."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import inf
from typing import Protocol

import numpy as np

from .headroom import Headroom
from .judge import Examined, Hit, Judge, in_the_way
from .program.lane import Stretch
from .program.moves import Integers
from .repair.edits import Edit
from .repair.put_in import points_of
from .repair.raising import Rapids, Texts, levels_of
from .repair.write import STYLED_RUNS, Style
from .setup.model import Setup

Spans = tuple[Integers, Integers]  # where each run begins, and where it ends (not included): (r,) places


class Lifting(Protocol):
    """What the lifts need of the mender."""

    judge: Judge
    setup: Setup
    headroom: Headroom
    style: Style
    styled: int
    first_run: bool

    def tell_close(self, line: int, obstacles: Iterable[int], depths: Iterable[float]) -> None: ...


@dataclass(slots=True)
class _Change:
    """What becomes of a block: its row and line within the stretch, its raw line, the height it was programmed at (mm),
    the height that it must reach (mm), whether by a rise before it, and the rows that ask for that."""

    row: int
    number: int
    raw: bytes
    programmed: float
    need: float
    put_in: bool
    bad: list[int]


class Lifts:
    """Runs of a stretch (r of them) with rapids that clip: `fits` (r,) bool says which of them can be mended here.

    `lines` (k,): the lines of the stretch, from 0, that are blocks of G0; `spans` the places of each run among them.
    `hits`: the encounters of each row. `take` mends a run; `edits` gives what becomes of the blocks of those taken.
    """

    def __init__(self, mender: Lifting, stretch: Stretch, examined: Examined, hits: Mapping[int, Sequence[Hit]],
                 lines: Integers, spans: Spans) -> None:
        self._mender, self._stretch, self._hits = mender, stretch, hits
        self._blocks = stretch.raws(lines)
        self._begins, self._ends = spans[0].tolist(), spans[1].tolist()
        self._texts = Texts(stretch.before, mender.style)
        self._edited: list[tuple[int, Edit]] = []  # with their rows
        self._rows, self._first = _rapids(stretch, lines, spans)
        self._last = np.append(self._first[1:], len(self._rows)) - 1
        rows, columns = self._rows, stretch.moves
        clips, contact, upright = examined.clips[rows], examined.contact[rows], columns.upright[rows]
        # An upright rapid that only comes inside the clearance may stay (promise 1).
        self._bad = clips & (~upright | contact)
        lines_of = stretch.rows[rows]
        rapids = Rapids(self._first, upright, stretch.worded("Z", lines_of), ~stretch.worded("F", lines_of),
                        np.where(self._bad, examined.needed[rows], -inf), columns.end[rows, 2])
        self._levels = levels_of(rapids, mender.headroom.ceiling(stretch.before.tool))
        bad_runs = np.logical_or.reduceat(self._bad, self._first)
        self.fits = self._last + 1 - self._first == spans[1] - spans[0]
        self.fits &= ~bad_runs | self._curable(bad_runs, contact, rapids)
        self._raises = self._raises_of()
        self._descents = self._descents_of()
        self._close = _grouped(self._run_of(np.flatnonzero(clips & ~self._bad)), rows[clips & ~self._bad])
        self._put_in = self._close_put_in(self._bad & ~upright)

    def _curable(self, bad_runs: np.ndarray, contact: np.ndarray, rapids: Rapids) -> np.ndarray:
        """(r,) bool: the runs that higher Z words mend, and for which no other repair could be chosen."""
        mender, levels, tool = self._mender, self._levels, self._stretch.before.tool
        machine = mender.setup.machine
        curable = levels.fits & bad_runs
        if self._stretch.place.incremental or mender.setup.repair.detour == "when-faster" \
                or mender.headroom.undercut(tool):
            return np.zeros_like(curable)
        if machine.rapid_rate is not None and machine.acceleration is not None:
            # Between two levels that are raised it may be faster to stay up, and at a lower one before them to go up.
            raised = np.flatnonzero(levels.raised)
            worded = np.cumsum(rapids.upright[levels.first] & rapids.with_z[levels.first])
            before = worded - np.append(0, worded)[np.searchsorted(levels.run, levels.run)]
            curable &= np.bincount(levels.run[raised], minlength=len(curable)) <= 1
            curable[levels.run[raised[before[raised] > 1]]] = False
        for need in set(levels.need[levels.raised].tolist()):
            if not need <= self._texts.rise(need)[1] <= mender.headroom.ceiling(tool):
                curable[levels.run[levels.need == need]] = False
        if mender.first_run:
            curable[np.flatnonzero(bad_runs)[:1]] = False  # where the program starts is looked at too
        ends = np.flatnonzero(curable & contact[self._last])
        if len(ends):
            curable[ends[self._touches_at_end(self._rows[self._last[ends]])]] = False
        return curable

    def _touches_at_end(self, rows: Integers) -> np.ndarray:
        """Which of some rapids make contact at the place where they end."""
        rapids, upright = self._stretch.moves.take(rows), np.ones(len(rows), dtype=np.bool_)
        points = replace(rapids, start=rapids.end, low=rapids.end, high=rapids.end, upright=upright)
        return self._mender.judge.examine(points).contact

    def _close_put_in(self, across: np.ndarray) -> dict[int, list[tuple[int, list[Hit]]]]:
        """Where the runs go up out of a clearance or come down into one, by run: the row and what is near. `across`
        (k,) bool: the rapids across that are lifted."""
        begin = np.flatnonzero(across[self._first] & self.fits)
        end = np.flatnonzero(across[self._last] & self.fits)
        rows = self._rows[np.concatenate([self._first[begin], self._last[end]])]
        found = self._mender.judge.examine(points_of(self._stretch.moves, rows[:len(begin)], rows[len(begin):]))
        hits: dict[int, list[Hit]] = {}
        for hit in found.clipped:
            hits.setdefault(hit.move, []).append(hit)
        close: dict[int, list[tuple[int, list[Hit]]]] = {}
        for place, run in enumerate([*begin.tolist(), *end.tolist()]):
            if place in hits and not found.contact[place]:
                close.setdefault(run, []).append((int(rows[place]), hits[place]))
        return close

    # What becomes of them -------------------------------------------------------------------------------------

    def _run_of(self, places: Integers) -> Integers:
        return np.searchsorted(self._first, places, side="right") - 1

    def _changes(self, places: Integers, need: np.ndarray, put_in: np.ndarray,
                 bad: Sequence[list[int]]) -> list[_Change]:
        rows, columns = self._rows[places], self._stretch.moves
        lines = self._stretch.rows[rows]
        raws = self._stretch.raws(lines)
        # A block that goes up or down alone is programmed at the height where it ends.
        programmed = np.where(columns.upright[rows], columns.end[rows, 2], columns.low[rows, 2])
        return [_Change(*change) for change in zip(rows.tolist(), lines.tolist(), raws, programmed.tolist(),
                                                   need.tolist(), put_in.tolist(), bad, strict=True)]

    def _raises_of(self) -> dict[int, list[_Change]]:
        """The words that are raised and the rises put in, by run."""
        levels = self._levels
        raised = np.flatnonzero(levels.raised & self.fits[levels.run])
        bad = np.flatnonzero(self._bad)
        at = np.searchsorted(levels.first, bad, side="right") - 1
        by_level = _grouped(at, self._rows[bad])
        changes = self._changes(levels.at[raised], levels.need[raised], levels.put_in[raised],
                                [by_level[level] for level in raised.tolist()])
        found: dict[int, list[_Change]] = {}
        for run, change in zip(levels.run[raised].tolist(), changes, strict=True):
            found.setdefault(run, []).append(change)
        return found

    def _descents_of(self) -> dict[int, _Change]:
        """The blocks behind which the tool comes down, by run: the last ones of those that end at a raised level."""
        levels = self._levels
        last = np.searchsorted(levels.run, np.arange(len(self._first)), side="right") - 1
        runs = np.flatnonzero(levels.raised[last] & self.fits)
        places = self._last[runs]
        bad = [[row] if bad else [] for row, bad in zip(self._rows[places].tolist(), self._bad[places].tolist(),
                                                        strict=True)]
        changes = self._changes(places, levels.need[last[runs]], levels.put_in[last[runs]], bad)
        return dict(zip(runs.tolist(), changes, strict=True))

    def take(self, run: int) -> None:
        """Mends a run."""
        mender, stretch = self._mender, self._stretch
        raises = self._raises.get(run)
        if raises or mender.styled < STYLED_RUNS:
            mender.styled += 1
            mender.style = self._texts.see(mender.style, self._blocks[self._begins[run] : self._ends[run]])
        if raises:
            self._lift(raises, self._descents.get(run))
        for row in self._close.get(run, ()):
            mender.tell_close(int(stretch.moves.line[row]), *in_the_way(self._hits[row])[:2])
        for row, hits in self._put_in.get(run, ()):
            mender.tell_close(int(stretch.moves.line[row]), *in_the_way(hits)[:2])

    def _lift(self, raises: list[_Change], descent: _Change | None) -> None:
        """Raises words or puts in rises, and comes down where the run ends at the level of the last of them."""
        stretch, texts = self._stretch, self._texts
        over: set[int] = set()
        for change in raises:
            obstacles = self._obstacles(change)
            over |= obstacles
            word, level = texts.rise(change.need)
            raw = change.raw
            if change.put_in:
                new, kind = [texts.alone(word, raw), raw], "split"
            else:
                new, kind = [texts.raised(raw, word)], "lift"
            self._edit(change, new, kind, obstacles, level)
        if descent is None:
            return
        raw, z = descent.raw, int(stretch.places[2, descent.number + 1])
        down = texts.down(stretch.place.scale.length(z), raw)
        if descent.row == change.row:
            new.append(down)
        else:  # a block that only comes down again changes for what the run was raised over
            self._edit(descent, [raw, down], "split", self._obstacles(descent) or over, level)

    def _obstacles(self, change: _Change) -> set[int]:
        return {hit.obstacle for row in change.bad for hit in self._hits[row]}

    def _edit(self, change: _Change, new: list[bytes], kind: str, obstacles: set[int], level: float) -> None:
        line = self._stretch.first + change.number
        edit = Edit(line, change.raw, new, kind, tuple(sorted(obstacles)), change.programmed, None, level)
        self._edited.append((change.row, edit))

    def edits(self) -> dict[int, Edit]:
        """What becomes of the blocks of the runs that were taken, by the line of the program."""
        if not self._edited:
            return {}
        rows = np.array([row for row, _ in self._edited])
        needed = self._mender.judge.needed(self._stretch.moves.take(rows)).tolist()
        for (_, edit), need in zip(self._edited, needed, strict=True):
            edit.needed = need if need > -inf else None
        return {edit.line: edit for _, edit in self._edited}


def _rapids(stretch: Stretch, lines: Integers, spans: Spans) -> tuple[Integers, Integers]:
    """The rows (k,) of the rapids of some runs, one run after the other, and the place (r,) of the first of each."""
    begin = np.searchsorted(stretch.rows, lines[spans[0]])
    end = np.searchsorted(stretch.rows, lines[spans[1] - 1], side="right")
    count = end - begin
    first = np.cumsum(count) - count
    rows = np.arange(int(count.sum())) + np.repeat(begin - first, count)
    assert (count > 0).all() and not stretch.moves.kind[rows].any()
    return rows, first


def _grouped(keys: Integers, values: Integers) -> dict[int, list[int]]:
    """The values of each key."""
    found: dict[int, list[int]] = {}
    for key, value in zip(keys.tolist(), values.tolist(), strict=True):
        found.setdefault(key, []).append(value)
    return found
