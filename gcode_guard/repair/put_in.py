"""Upright rapids that a mended run goes through without having them itself: where it begins inside a clearance and is
lifted out of it, and where it comes down into one. Like its own they may stay and are told as close (promise 1)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..program.moves import Integers, Move, Moves
from ..program.state import Position, all_known
from .run import Leg, Run


def rises_and_descents(run: Run) -> list[Move]:
    """The lowest points of the upright rapids that are put into a run which is mended, each as a move of no length on
    the line of the block that is changed for it.

    A run goes up at its beginning, or behind the way out of a hole, where the next rapid leads across and must be
    lifted. It comes down behind its last rapid where that leads across and must be lifted.
    """
    legs = [(leg, item.kind) for item in run.items for leg in item.legs if not leg.move.shadow]
    points = [_point(leg, leg.move.start) for (leg, _), (_, before) in zip(legs, [(None, "fixed"), *legs], strict=False)
              if before == "fixed" and _is_across(leg)]
    points += [_point(leg, leg.move.end) for leg, _ in legs[-1:] if _is_across(leg)]
    return [point for point in points if all_known(point.start)]


def _is_across(leg: Leg) -> bool:
    return leg.bad and not leg.move.upright


def _point(leg: Leg, place: Position) -> Move:
    return replace(leg.move, start=place, end=place, upright=True)


def points_of(moves: Moves, begin: Integers, end: Integers) -> Moves:
    """The same of many runs: `begin` the rows that are led up out of where they start, `end` those that come down to
    where they end. Returns len(begin) + len(end) moves of no length."""
    rows = np.concatenate([begin, end])
    places = np.concatenate([moves.start[begin], moves.end[end]])
    return replace(moves.take(rows), start=places, end=places, low=places, high=places,
                   upright=np.ones(len(rows), dtype=np.bool_))
