"""The moves of a program as CSV, one row a move, millimetres in the bench frame."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import IO

from .program.moves import NAMES, Kind, Move
from .program.reader import Reader
from .program.scan import look
from .program.state import ANY_TOOL, Position, known
from .record.findings import Finding
from .rules import rules_of, rules_without_setup, trouble_with_tools
from .setup.model import Setup
from .source import Source

HEADER = "line,kind,x0,y0,z0,x1,y1,z1,cx,cy,cz,plane,tool,feed"


def trace(source: Source, setup: Setup | None, tool: int | None, out: IO[bytes]) -> list[Finding]:
    """Writes the CSV to `out`; returns the reasons, if any, why it is not to be trusted."""
    facts = look(source.lines(), setup is not None and setup.program.block_delete == "skip")
    reasons: list[Finding] = []
    if setup is None:
        rules = rules_without_setup(facts)
    else:
        problem = trouble_with_tools(setup, facts, tool)
        if problem is not None:
            reasons.append(Finding(problem[0], "not-understood", problem[1], advice=problem[2]))
        rules = rules_of(setup, facts, tool)
    out.write((HEADER + "\n").encode())
    for step in Reader(source.lines(), rules, facts):
        reasons += [Finding(r.line, "not-understood", r.what, advice=r.advice) for r in step.refusals]
        for move in step.moves:
            if not move.shadow:
                out.write(_row(move).encode())
    return reasons


def _row(move: Move) -> str:
    arc = move.kind in (Kind.ARC_CW, Kind.ARC_CCW)
    centre = [number(value) for value in move.centre] if arc and move.centre else ["", "", ""]
    if arc:
        third = {17: 2, 18: 1, 19: 0}[move.plane]
        start = move.start[third]
        centre[third] = number(float(start)) if known(start) else ""  # type: ignore[arg-type]
    tool = "" if move.tool == ANY_TOOL or move.tool < 0 else str(move.tool)
    feed = "" if move.feed is None else number(move.feed)
    return ",".join([str(move.line), NAMES[move.kind], *_place(move.start), *_place(move.end), *centre,
                     f"G{move.plane}" if arc else "", tool, feed]) + "\n"


def _place(position: Position) -> list[str]:
    return [number(c) if known(c) else "" for c in position]  # type: ignore[arg-type]


def number(value: Decimal | float) -> str:
    """A number with six decimals, without a minus before zero."""
    value = float(value)
    assert math.isfinite(value)
    return f"{value + 0.0:.6f}" if abs(value) >= 5e-7 else "0.000000"
