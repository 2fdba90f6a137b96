"""The plain reader's moves in the columns of `trace`, to be laid beside what the command prints."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass
from typing import Any

from .plain_reader import Move, Reading
from .plain_state import PLANES

HEADER = "line,kind,x0,y0,z0,x1,y1,z1,cx,cy,cz,plane,tool,feed".split(",")
EQUAL = 1e-4


@dataclass
class Row:
    """One move; None where a value is not known or not meant. `centre` has the two axes of the plane alone."""

    line: int
    kind: str
    ends: tuple[float | None, ...]
    centre: tuple[float, ...]
    plane: str
    tool: int | None
    feed: float | None


def rows_of_reading(reading: Reading) -> list[Row]:
    return [row for row in map(row_of_move, reading.moves) if not is_nothing(row)]


def row_of_move(move: Move) -> Row:
    centre: tuple[float, ...] = ()
    if move.centre is not None:
        centre = tuple(float(move.centre[axis]) for axis in sorted(PLANES[move.plane or 17][:2]))  # type: ignore[arg-type]
    return Row(
        move.line,
        move.kind,
        tuple(finite(value) for value in (*move.start, *move.end)),
        centre,
        f"G{move.plane}" if move.centre is not None else "",
        move.tool,
        move.feed,
    )


def finite(value: Any) -> float | None:
    """A height that is only known to be high is empty."""
    return None if value is None or math.isinf(value) else float(value)


def rows_of_csv(text: str) -> list[Row]:
    """Raises AssertionError where the text is not what the contract says of `trace`."""
    lines = list(csv.reader(io.StringIO(text)))
    assert lines[0] == HEADER
    rows = []
    for line in lines[1:]:
        cells = dict(zip(HEADER, line, strict=True))
        assert cells["kind"] in ("rapid", "cut", "arc-cw", "arc-ccw", "probe")
        ends = tuple(number(cells[name]) for name in HEADER[2:8])
        centre: tuple[float, ...] = ()
        if cells["kind"].startswith("arc"):
            axes = {"G17": ("cx", "cy"), "G18": ("cx", "cz"), "G19": ("cy", "cz")}[cells["plane"]]
            centre = tuple(float(cells[name]) for name in axes)
        else:
            assert cells["cx"] == cells["cy"] == cells["cz"] == cells["plane"] == ""
        tool = int(cells["tool"]) if cells["tool"] else None
        rows.append(Row(int(cells["line"]), cells["kind"], ends, centre, cells["plane"], tool, number(cells["feed"])))
    return [row for row in rows if not is_nothing(row)]


def number(text: str) -> float | None:
    if text == "":
        return None
    value = float(text)
    assert math.isfinite(value)
    assert "." not in text or len(text.split(".")[1]) >= 4, f"{text} has fewer than four decimals"
    return value


def is_nothing(row: Row) -> bool:
    return row.centre == () and all(same(a, b) for a, b in zip(row.ends[:3], row.ends[3:], strict=True))


def same(a: float | None, b: float | None) -> bool:
    if a is None or b is None:
        return a is b
    return abs(a - b) <= EQUAL


def first_difference(ours: list[Row], theirs: list[Row]) -> str | None:
    """Where two lists of moves part, None where they do not. A tool or feed that one side leaves open is no matter."""
    for a, b in zip(ours, theirs, strict=False):
        alike = (a.line, a.kind, a.plane) == (b.line, b.kind, b.plane)
        alike = alike and all(same(x, y) for x, y in zip(a.ends + a.centre, b.ends + b.centre, strict=True))
        alike = alike and (a.tool is None or b.tool is None or a.tool == b.tool)
        alike = alike and (a.feed is None or b.feed is None or abs(a.feed - b.feed) < 0.01)
        if not alike:
            return f"{a}\n{b}"
    if len(ours) != len(theirs):
        more = ours if len(ours) > len(theirs) else theirs
        return f"{len(ours)} and {len(theirs)} moves; the first that is left over: {more[min(len(ours), len(theirs))]}"
    return None
