"""What the rule that decides says of moves, and of codes at which the machine moves of its own, in words."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np

from .judge import Examined, Judge
from .lengths import length
from .program.moves import Effect, Kind, Move, Moves, different, table
from .program.state import ANYWHERE, bounds, known
from .reach import beyond
from .rules import reach_box
from .sameness import spelled


class Verdicts:
    """What the rule says of the moves of a table, in words."""

    def __init__(self, judge: Judge, columns: Moves, found: Examined | None = None) -> None:
        self._judge = judge
        self._columns = columns
        self._found = judge.examine(columns) if found is None else found
        self._beyond = _outside(judge, columns)
        self._touched: dict[int, list[int]] = {}
        self._clipped: dict[int, list[int]] = {}
        for hits, into in ((self._found.touched, self._touched), (self._found.clipped, self._clipped)):
            for hit in hits:
                into.setdefault(hit.move, []).append(hit.obstacle)

    @cached_property
    def wrong(self) -> np.ndarray:
        """(n,) bool: moves that may be wrong whatever else; the others surely are not."""
        rapid = self._columns.kind == Kind.RAPID
        wrong = rapid & (self._found.contact | (self._found.clips & ~self._columns.upright) | ~self._columns.exact)
        wrong[list(self._beyond)] = True
        wrong |= ~rapid & self._found.contact
        return wrong

    def of(self, row: int, move: Move) -> tuple[str, str]:
        """(what is wrong whatever else, what is wrong unless the program itself goes as low here) with the move of
        a row."""
        if move.kind != Kind.RAPID:
            return self._of_cut(row) or self._outside(row, move), ""
        if not move.upright and bounds(move.start[2])[0] == float("-inf") and self._judge.names:
            return "a rapid goes across out of a height that is not known", ""
        if self._found.contact[row]:
            return f"a rapid makes contact with {self._names(self._touched, row)}", ""
        if self._found.clips[row]:
            text = f"a rapid comes inside the clearance of {self._names(self._clipped, row)}"
            if not (move.upright and known(move.start[0]) and known(move.start[1])):
                return text, ""
            return self._outside(row, move), text
        return self._outside(row, move), ""

    def _outside(self, row: int, move: Move) -> str:
        """How a move leaves the reach. Homing is not judged, nor a second reading."""
        return "" if move.shadow or move.part in ("home", "home-all") else self._beyond.get(row, "")

    def _of_cut(self, row: int) -> str:
        solid = [obstacle for obstacle in self._touched.get(row, []) if not self._judge.sacrificial[obstacle]]
        if solid:
            return "a cut runs into " + " and ".join(f'"{self._judge.names[k]}"' for k in solid)
        unnamed = self._found.contact[row] and row not in self._touched
        return "a cut runs into an obstacle" if unnamed else ""

    def _names(self, hits: dict[int, list[int]], row: int) -> str:
        names = [f'"{self._judge.names[k]}"' for k in dict.fromkeys(hits.get(row, []))]
        return " and ".join(names) or "an obstacle"


def _outside(judge: Judge, moves: Moves) -> dict[int, str]:
    """Where the moves of some rows leave the reach of the machine, in words; homing among them."""
    if judge.setup.machine.reach is None:
        return {}
    units = judge.setup.units
    found: dict[int, str] = {}
    for tool in different(moves.tool):
        for row, axis, number, limit, _ in beyond(moves, reach_box(judge.setup, tool)):
            if moves.tool[row] == tool:
                found.setdefault(row, f"{'XYZ'[axis]} goes to {length(number, units)}, and the machine ends at"
                                      f" {length(limit, units)}")
    return found


def own_motion(judge: Judge, effect: Effect, corner: float) -> str:
    """What is wrong with a code at which the machine moves by itself anywhere over the table (`own_motion`)."""
    if judge.setup.machine.own_motion.get(effect.what) != "any":
        return ""
    way = Move(effect.line, Kind.RAPID, effect.position, effect.position, effect.tool, None, corner)
    way = replace(way, start=(ANYWHERE, ANYWHERE, way.start[2]), end=(ANYWHERE, ANYWHERE, way.end[2]))
    if float(judge.needed(table([way]))[0]) <= bounds(effect.position[2])[0]:
        return ""
    return (f"{effect.what} may move the tool anywhere over the table, and it stands at"
            f" {spelled(effect.position, judge.setup.units)},"
            " not above everything")
