"""The worst moves of many changes at once: what `profile` finds for one, by tables, so that a page of a quarter of a
million changes is made in minutes."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from ..judge import Hit, Judge
from ..program.moves import Move, table
from ..record.page_model import Point
from ..space.clearance import Encounters, Sweeps, encounters
from .profile import Worst, longest_of, straight_ends, tool_for

Tightest = tuple[Point, float]
"""Where over the bench a move is tightest, and how low the tip is there, mm."""


def worst_of_each(groups: Sequence[list[Move]], judge: Judge,
                  obstacles: Sequence[frozenset[str] | None]) -> list[Worst | None]:
    """For each group of rapids the one that comes deepest into one of its obstacles (None: any) or its clearance,
    contact before clearance; else the longest. None for a group without moves.

    An upright rapid that only comes into a clearance does not count, since none is lifted for it.
    """
    moves = [move for group in groups for move in group]
    if not moves:
        return [None] * len(groups)
    examined = judge.examine(table(moves))
    touched, clipped = _by_move(examined.touched), _by_move(examined.clipped)
    found: list[Worst | None] = []
    begin = 0
    for group, names in zip(groups, obstacles, strict=True):
        rows = range(begin, begin + len(group))
        begin += len(group)
        worst = _worst(group, rows, touched, True, judge, names) or _worst(group, rows, clipped, False, judge, names)
        if worst is not None and worst.hit is not None:
            needed = float(examined.needed[worst.hit.move])
            worst.needed = needed if math.isfinite(needed) else None
        found.append(worst or (Worst(longest_of(group), None, False) if group else None))
    return found


def _by_move(hits: list[Hit]) -> dict[int, list[Hit]]:
    found: dict[int, list[Hit]] = {}
    for hit in hits:
        found.setdefault(hit.move, []).append(hit)
    return found


def _worst(group: list[Move], rows: range, hits: dict[int, list[Hit]], contact: bool, judge: Judge,
           names: frozenset[str] | None) -> Worst | None:
    worst = None
    for row, move in zip(rows, group, strict=True):
        if row not in hits or (not contact and move.upright and straight_ends(move)):
            continue
        for hit in hits[row]:
            if (names is None or judge.names[hit.obstacle] in names) \
                    and (worst is None or worst.hit is None or hit.depth > worst.hit.depth):
                worst = Worst(move, hit, contact)
    return worst


def tightest_of_each(judge: Judge, worsts: Sequence[Worst | None]) -> list[Tightest | None]:
    """Where each worst move is tightest; None where nothing is near it."""
    result: list[Tightest | None] = [None] * len(worsts)
    for contact in (True, False):
        beside, above = (0.0, 0.0) if contact else (judge.beside, judge.above)
        for number, rows in _by_tool(judge, [w if w and w.contact == contact else None for w in worsts]).items():
            owner, sweeps = _sweeps(judge, worsts, rows, corner=False)
            found = encounters(judge.scene, judge.assemblies[number], sweeps, beside, above)
            order = np.lexsort((-found.depth, owner[found.move]))
            owned = owner[found.move][order]
            first = np.ones(len(order), dtype=bool)
            first[1:] = owned[1:] != owned[:-1]
            for k, row in zip(order[first].tolist(), owned[first].tolist(), strict=True):
                x, y = found.at[k].tolist()
                result[rows[row]] = (x, y), float(found.lowest[k])
    return result


def left_over_of_each(judge: Judge, moves: Sequence[Worst | None], written: Sequence[float | None]) \
        -> list[float | None]:
    """What is left, mm, between the assembly and the tops of what is near each way (as measured), flown at `written`;
    None where nothing is near or no height is written."""
    result: list[float | None] = [None] * len(moves)
    flown = [w if z is not None else None for w, z in zip(moves, written, strict=True)]
    for number, rows in _by_tool(judge, flown).items():
        assembly = judge.assemblies[number]
        owner, sweeps = _sweeps(judge, moves, rows, corner=True)
        heights = np.array([written[row] for row in rows], dtype=float)[owner]
        level = Sweeps(_at(sweeps.start, heights), _at(sweeps.end, heights), sweeps.box, sweeps.margin, 0.0,
                       sweeps.grow)
        found = encounters(judge.scene, assembly, level, judge.beside, judge.above, clipping_only=False)
        left = np.full(len(rows), np.inf)
        np.minimum.at(left, owner[found.move], _left(judge, found, heights[found.move], assembly.from_))
        for row, value in zip(rows, left.tolist(), strict=True):
            result[row] = value if math.isfinite(value) else None
    return result


def _left(judge: Judge, found: Encounters, heights: np.ndarray, from_: np.ndarray) -> np.ndarray:
    return heights + from_[found.section] - judge.scene.top[found.hull]


def _by_tool(judge: Judge, worsts: Sequence[Worst | None]) -> dict[int, list[int]]:
    """The places of the worst moves that are judged with each tool."""
    found: dict[int, list[int]] = {}
    for place, worst in enumerate(worsts):
        if worst is not None:
            found.setdefault(tool_for(judge, worst.move, worst.hit), []).append(place)
    return found


def _sweeps(judge: Judge, worsts: Sequence[Worst | None], rows: list[int], corner: bool) \
        -> tuple[np.ndarray, Sweeps]:
    moves = [worst.move for row in rows if (worst := worsts[row]) is not None]
    return judge.sweeps(table(moves), np.arange(len(moves)), corner=corner)


def _at(points: np.ndarray, heights: np.ndarray) -> np.ndarray:
    moved = points.copy()
    moved[:, 2] = heights
    return moved
