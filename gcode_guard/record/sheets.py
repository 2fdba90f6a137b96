"""A drawing at 1:1 over several sheets of paper, with marks at which the sheets are joined."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil

from markupsafe import Markup

from gcode_guard.lengths import Units, length
from gcode_guard.record.page_svg import LETTER_WIDTH, Box, number, tag

WIDTH, HEIGHT = 180.0, 235.0  # mm, of what a sheet shows: within the margins of A4 (ISO 216) and of Letter paper
OVERLAP = 10.0  # mm, by which sheets overlap; the marks stand in the middle of it
ARM = 3.5  # mm, of a mark
LETTER = 3.5  # mm
CHECK: dict[Units, float] = {"mm": 100.0, "inch": 101.6}  # mm, a line to hold a ruler to


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet: its name (letter: column from the left, number: row from the front), the part of the drawing that it
    shows, its marks, and the boxes (world units, mm) in which they stand."""

    name: str
    view: str
    marks: Markup
    taken: tuple[Box, ...]


def sheets_of(frame: Box, units: Units) -> Iterator[Sheet]:
    """The sheets that cover a drawing in world units, mm; `units` are those of the ruler."""
    across, up = WIDTH - OVERLAP, HEIGHT - OVERLAP
    columns = max(1, ceil((frame[2] - frame[0] - OVERLAP) / across))
    rows = max(1, ceil((frame[3] - frame[1] - OVERLAP) / up))
    for row in range(rows):
        for column in range(columns):
            x, y = frame[0] + column * across, frame[1] + row * up
            view = f"{number(x)} {number(-y - HEIGHT)} {number(WIDTH)} {number(HEIGHT)}"
            marks, taken = _marks(x, y, column, row, columns, rows, units)
            yield Sheet(_name(column, row), view, marks, taken)


def _name(column: int, row: int) -> str:
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return f"{letters}{row + 1}"


def _marks(x: float, y: float, column: int, row: int, columns: int, rows: int,
           units: Units) -> tuple[Markup, tuple[Box, ...]]:
    """A mark in each corner, where the sheets that overlap there all have it, what joins where, and a line of a known
    length; and the boxes in which all that stands."""
    check = CHECK[units]
    half, middle = OVERLAP / 2, x + WIDTH / 2
    crosses = [(cx, cy) for cx in (x + half, x + WIDTH - half) for cy in (y + half, y + HEIGHT - half)]
    data = "".join(f"M{number(cx - ARM)} {number(-cy)}h{number(2 * ARM)}M{number(cx)} {number(-cy - ARM)}"
                   f"v{number(2 * ARM)}" for cx, cy in crosses)
    beside = [(x + WIDTH - half - 1, y + HEIGHT / 2, "end", column + 1 < columns, _name(column + 1, row)),
              (x + half + 1, y + HEIGHT / 2, "start", column > 0, _name(max(0, column - 1), row)),
              (middle, y + HEIGHT - half - 1, "middle", row + 1 < rows, _name(column, row + 1)),
              (middle, y + half, "middle", row > 0, _name(column, max(0, row - 1)))]
    said = [(f"joins {name}", cx, cy, anchor) for cx, cy, anchor, there, name in beside if there]
    foot = y + 2 * OVERLAP
    said.append((f"{length(CHECK[units], units)}: hold a ruler to it", middle, foot + 2.5, "middle"))
    line = f"M{number(middle - check / 2)} {number(-foot)}v-2m0 1h{number(check)}m0 -1v2"
    words = [tag("text", text, x=cx, y=-cy, text_anchor=anchor, class_="tick") for text, cx, cy, anchor in said]
    taken = [(cx - ARM, cy - ARM, cx + ARM, cy + ARM) for cx, cy in crosses]
    taken += [_box(text, cx, cy, anchor) for text, cx, cy, anchor in said]
    taken.append((middle - check / 2, foot - 1, middle + check / 2, foot + 3))
    drawn = [tag("path", class_="under", d=data + line), tag("path", class_="join", d=data + line),
             tag("g", Markup("").join(words), font_size=LETTER, class_="words")]
    return Markup("").join(drawn), tuple(taken)


def _box(text: str, x: float, y: float, anchor: str) -> Box:
    """Where a text stands, a little wide."""
    wide = LETTER_WIDTH * LETTER * len(text)
    left = x - {"start": 0.0, "middle": wide / 2, "end": wide}[anchor]
    return left, y - 0.3 * LETTER, left + wide, y + LETTER
