"""A drawing at 1:1 over several sheets of paper, with marks at which the sheets are joined."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil

from markupsafe import Markup

from gcode_guard.record.page_svg import Box, number, tag

WIDTH, HEIGHT = 180.0, 235.0  # mm, of what a sheet shows: within the margins of A4 (ISO 216) and of Letter paper
OVERLAP = 10.0  # mm, by which sheets overlap; the marks stand in the middle of it
ARM = 3.5  # mm, of a mark
CHECK = 100.0  # mm, a line to hold a ruler to


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet: its name (letter: column from the left, number: row from the front), the part of the drawing that it
    shows, and its marks."""

    name: str
    view: str
    marks: Markup


def sheets_of(frame: Box) -> Iterator[Sheet]:
    """The sheets that cover a drawing in world units, mm."""
    across, up = WIDTH - OVERLAP, HEIGHT - OVERLAP
    columns = max(1, ceil((frame[2] - frame[0] - OVERLAP) / across))
    rows = max(1, ceil((frame[3] - frame[1] - OVERLAP) / up))
    for row in range(rows):
        for column in range(columns):
            x, y = frame[0] + column * across, frame[1] + row * up
            view = f"{number(x)} {number(-y - HEIGHT)} {number(WIDTH)} {number(HEIGHT)}"
            yield Sheet(_name(column, row), view, _marks(x, y, column, row, columns, rows))


def _name(column: int, row: int) -> str:
    letters = ""
    column += 1
    while column:
        column, rest = divmod(column - 1, 26)
        letters = chr(65 + rest) + letters
    return f"{letters}{row + 1}"


def _marks(x: float, y: float, column: int, row: int, columns: int, rows: int) -> Markup:
    """A mark in each corner, where the sheets that overlap there all have it, and a line of a known length."""
    half = OVERLAP / 2
    data = "".join(f"M{number(cx - ARM)} {number(-cy)}h{number(2 * ARM)}M{number(cx)} {number(-cy - ARM)}"
                   f"v{number(2 * ARM)}"
                   for cx in (x + half, x + WIDTH - half) for cy in (y + half, y + HEIGHT - half))
    beside = [(x + WIDTH - half - 1, y + HEIGHT / 2, "end", column + 1 < columns, _name(column + 1, row)),
              (x + half + 1, y + HEIGHT / 2, "start", column > 0, _name(max(0, column - 1), row)),
              (x + WIDTH / 2, y + HEIGHT - half - 1, "middle", row + 1 < rows, _name(column, row + 1)),
              (x + WIDTH / 2, y + half, "middle", row > 0, _name(column, max(0, row - 1)))]
    words = [tag("text", f"joins {name}", x=cx, y=-cy, text_anchor=anchor, class_="tick")
             for cx, cy, anchor, there, name in beside if there]
    middle = x + WIDTH / 2
    line = f"M{number(middle - CHECK / 2)} {number(-y - 2 * OVERLAP)}v-2m0 1h{number(CHECK)}m0 -1v2"
    words.append(tag("text", "100 mm: hold a ruler to it", x=middle, y=-y - 2 * OVERLAP - 2.5, text_anchor="middle",
                     class_="tick"))
    return Markup("").join([tag("path", class_="join", d=data), tag("path", class_="join", d=line),
                            tag("g", Markup("").join(words), font_size=3.5, class_="words")])
