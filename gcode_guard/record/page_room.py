"""The map of room: for hard and easy the plan of the table with contours of the greatest top, and sheets at 1:1."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from math import hypot
from typing import IO, Any

import numpy as np
from markupsafe import Markup
from numpy.typing import NDArray

from gcode_guard.lengths import MM_PER_INCH, UNIT_WORD
from gcode_guard.record.findings import safe_text
from gcode_guard.record.page import write_document
from gcode_guard.record.page_model import Backdrop
from gcode_guard.record.page_plan import bounds, solid_shape
from gcode_guard.record.page_svg import Box, Label, LabelBoard, nice_step, number, path_text, tag
from gcode_guard.record.page_words import short
from gcode_guard.record.sheets import Sheet, sheets_of
from gcode_guard.record.summary import not_checked_with
from gcode_guard.setup.model import Setup

Floats = NDArray[np.float64]

ABOUT = 7  # contours
LETTERS_WIDE = 62  # letters across a map
FINE_LETTER = 3.5  # mm, on the sheets at 1:1
RIM = 8.0  # mm, that the sheets show round what matters
APART = 26  # letters from one label of a contour to the next, about
TRIED = 8  # places for each
NOTHING_EASY = (" Here it is nothing anywhere: a rapid runs across out of a height that is not known, and is lifted"
                " whatever stands there. Give machine.start in the setup, or begin the program with a Z.")
DARKEST, LIGHTEST = 0.5, 0.06  # of the bands, from no room to much


@dataclass(frozen=True, slots=True)
class Standing:
    """What stands there now: its name, its top, and the greatest top that it could have, hard and easy, as text."""

    name: str
    top: str
    hard: str
    easy: str


@dataclass(slots=True)
class RoomPage:
    """What the map shows. xs (columns + 1,), ys (rows + 1,) float: edges of cells; hard, easy (rows, columns) float:
    the greatest top in each; inf: any, -inf: none; all mm. `programs`: their names."""

    setup: Setup
    programs: Sequence[str]
    xs: Floats
    ys: Floats
    hard: Floats
    easy: Floats
    backdrop: Backdrop = field(default_factory=Backdrop)
    standing: Sequence[Standing] = ()


@dataclass(frozen=True, slots=True)
class Map:
    """One map of the page: `svg` as a whole, `defs` with what its sheets show, and its sheets."""

    name: str
    title: str
    says: str
    svg: Markup
    defs: Markup
    sheets: tuple[Sheet, ...]
    bands: tuple[tuple[Markup, str], ...]


def write_room(out: IO[bytes], page: RoomPage) -> None:
    """Writes the page as UTF-8. Raises OSError."""
    sheets = tuple(sheets_of(_matters(page), page.setup.units))
    hard = _Drawing(page, "hard", page.hard, sheets).draw(
        "Hard: no cut touches it",
        "The greatest top at which no cut of these programs would touch something that stands there.")
    easy = _Drawing(page, "easy", page.easy, sheets).draw(
        "Easy: no rapid is lifted", "The greatest top at which not even a rapid would have to be lifted."
        + (NOTHING_EASY if page.easy.size and np.isneginf(page.easy).all() else ""))
    values: dict[str, Any] = {
        "page": page, "setup": page.setup, "maps": (hard, easy), "unit": UNIT_WORD[page.setup.units],
        "step": short(float(page.xs[1] - page.xs[0]), page.setup.units),
        "table": None if page.setup.table_z is None else short(page.setup.table_z, page.setup.units),
        "tolerance": short(page.setup.clearance.tolerance, page.setup.units),
        "cutter_only": bool(page.setup.bare_tools()), "not_checked": not_checked_with(page.setup),
        "title": f"Room on {safe_text(page.setup.path.name)}", "programs": [safe_text(name) for name in page.programs]}
    write_document(out, "room.html", values, "room.css")


def _matters(page: RoomPage) -> Box:
    """What is worth paper at 1:1: where something is limited, the stock, and what stands there; within the map."""
    rows, columns = np.nonzero(~np.isposinf(np.minimum(page.hard, page.easy)))
    boxes: list[Box] = [bounds(solid) for obstacle in page.setup.obstacles for solid in obstacle.solids]
    if len(rows):
        boxes.append((page.xs[columns.min()], page.ys[rows.min()], page.xs[columns.max() + 1],
                      page.ys[rows.max() + 1]))
    stock = page.setup.stock
    if stock is not None:
        boxes.append((*stock.corner, stock.corner[0] + stock.size[0], stock.corner[1] + stock.size[1]))
    frame = np.array([page.xs[0], page.ys[0], page.xs[-1], page.ys[-1]])
    if not boxes:
        return tuple(frame.tolist())
    of_all = np.array(boxes)
    low, high = of_all[:, :2].min(axis=0) - RIM, of_all[:, 2:].max(axis=0) + RIM
    low, high = np.maximum(low, frame[:2]), np.minimum(high, frame[2:])
    return tuple([*low.tolist(), *high.tolist()] if (low < high).all() else frame.tolist())


class _Drawing:
    """One map."""

    def __init__(self, page: RoomPage, name: str, tops: Floats, sheets: tuple[Sheet, ...]) -> None:
        self.page, self.name, self.tops, self.setup, self.sheets = page, name, tops, page.setup, sheets
        self.frame: Box = (float(page.xs[0]), float(page.ys[0]), float(page.xs[-1]), float(page.ys[-1]))
        wide, high = self.frame[2] - self.frame[0], self.frame[3] - self.frame[1]
        self.size = max(wide, 1.2 * high) / LETTERS_WIDE
        self.unit = 1.0 if self.setup.units == "mm" else MM_PER_INCH
        self.floor = -np.inf if self.setup.table_z is None else self.setup.table_z
        self.levels = self._levels()

    def _levels(self) -> list[float]:
        """Round heights between the lowest and the highest top of both maps, mm."""
        both = np.concatenate([self.page.hard.ravel(), self.page.easy.ravel()])
        both = both[np.isfinite(both) & (both > self.floor)] / self.unit
        if not len(both):
            return []
        low, high = float(both.min()), float(both.max())
        step = nice_step(max(high - low, 1e-3), ABOUT)
        first = int(np.ceil(low / step - 1e-9))
        return [k * step * self.unit for k in range(first, int(np.floor(high / step + 1e-9)) + 1)] or [low * self.unit]

    def draw(self, title: str, says: str) -> Map:
        size, (x0, y0, x1, y1) = self.size, self.frame
        regions = [self._region(self.tops >= level) for level in self.levels]
        edge = tag("rect", class_="edge", x=x0, y=y0, width=x1 - x0, height=y1 - y0)
        parts = [*self._bands(), self._grid(), *self._bench(), *self._contours(regions), edge]
        world = tag("g", Markup("").join(parts), id=f"{self.name}-map", class_="world", transform="scale(1 -1)")
        words = tag("g", Markup("").join([*self._axes(), *self._words(regions, size)]), class_="words", font_size=size)
        marks = [box for sheet in self.sheets for box in sheet.taken]
        fine = tag("g", Markup("").join(self._words(regions, FINE_LETTER, marks)),
                   id=f"{self.name}-words", class_="fine", font_size=FINE_LETTER)
        left, below, rest = 4.6 * size, 3.0 * size, 1.2 * size
        view = f"{number(x0 - left)} {number(-y1 - rest)} {number(x1 - x0 + left + rest)} " \
               f"{number(y1 - y0 + below + rest)}"
        field_ = tag("rect", class_="field", x=x0, y=-y1, width=x1 - x0, height=y1 - y0)
        svg = tag("svg", Markup("").join([field_, world, words]), viewBox=view, role="img", class_="room",
                  aria_label=f"{title}: map of the table seen from above")
        return Map(self.name, title, says, svg, fine, self.sheets, tuple(self._key()))

    # Heights --------------------------------------------------------------------------------------------------

    def _region(self, mask: NDArray[np.bool_]) -> list[list[tuple[float, float]]]:
        """The outlines of some cells, holes as outlines of their own, mm."""
        import shapely

        padded = np.pad(mask, ((0, 0), (1, 1))).astype(np.int8)
        change = np.diff(padded, axis=1)
        (rows, first), (_, last) = np.nonzero(change == 1), np.nonzero(change == -1)
        if not len(rows):
            return []
        xs, ys = self.page.xs, self.page.ys
        whole = shapely.union_all(shapely.box(xs[first], ys[rows], xs[last], ys[rows + 1]))
        polygons = whole.geoms if hasattr(whole, "geoms") else [whole]
        rings = [ring for polygon in polygons for ring in (polygon.exterior, *polygon.interiors)]
        return [[(float(x), float(y)) for x, y in shapely.simplify(ring, 0.0).coords] for ring in rings]

    def _limits(self) -> list[float]:
        return [-np.inf, *self.levels, np.inf]

    def _shade(self, band: int) -> str:
        """How dark the band between two levels is, the lowest darkest, so that it reads in grey."""
        count = max(1, len(self.levels))
        return f"{DARKEST - (DARKEST - LIGHTEST) * band / count:.3f}"

    def _bands(self) -> Iterator[Markup]:
        limits = self._limits()
        none = self.tops <= self.floor
        for band, (low, high) in enumerate(pairwise(limits)):
            mask = (self.tops >= low) & (self.tops < high) & ~none & np.isfinite(self.tops)
            rings = self._region(mask)
            if rings:
                yield tag("path", class_="band", fill_opacity=self._shade(band), d=path_text(rings))
        rings = self._region(none)
        if rings:
            yield tag("path", class_="band none", d=path_text(rings))

    def _contours(self, regions: Sequence[Sequence[Sequence[tuple[float, float]]]]) -> Iterator[Markup]:
        free = self._region(np.isposinf(self.tops))
        for level, rings in zip(self.levels, regions, strict=True):
            if rings:
                yield tag("path", class_="contour", d=path_text(rings), data_top_mm=level)
        if free:
            yield tag("path", class_="contour free", d=path_text(free))

    def _words(self, regions: Sequence[Sequence[Sequence[tuple[float, float]]]], size: float,
               marks: Sequence[Box] = ()) -> Iterator[Markup]:
        """The names of what stands there now, and the heights of the contours, none over another, nor over marks."""
        names = list(self._named(size, marks))
        yield from self._labels(regions, size, [*marks, *(name.box for name in names)])
        for name in names:
            if name.leader is not None:
                (x0, y0), (x1, y1) = name.leader
                yield tag("path", class_="leader", d=f"M{number(x0)} {number(-y0)}L{number(x1)} {number(-y1)}")
            yield tag("text", name.text, class_="name", x=name.x, y=-name.y)

    def _named(self, size: float, marks: Sequence[Box]) -> Iterator[Label]:
        board = LabelBoard(self.frame, size)
        for box in marks:
            board.take(box)
        for obstacle in self.setup.obstacles:
            boxes = np.array([bounds(solid) for solid in obstacle.solids])
            low, high = (np.clip(corner, self.frame[:2], self.frame[2:]) for corner in
                         (boxes[:, :2].min(axis=0), boxes[:, 2:].max(axis=0)))
            if (low < high).all():
                label = board.place(safe_text(obstacle.name), (*low.tolist(), *high.tolist()))
                if label is not None:
                    yield label

    def _labels(self, regions: Sequence[Sequence[Sequence[tuple[float, float]]]], size: float,
                others: Sequence[Box]) -> Iterator[Markup]:
        """The heights of the contours, along them, none over another or over others."""
        taken = [*others]
        for level, rings in zip(self.levels, regions, strict=True):
            words = short(level, self.setup.units)
            half = 0.3 * size * len(words) + 0.2 * size
            own: list[tuple[float, float]] = []
            for x, y in (place for ring in rings for place in _along(ring, APART * size / TRIED)):
                box = (x - half, y - 0.6 * size, x + half, y + 0.6 * size)
                inside = self.frame[0] <= box[0] and box[2] <= self.frame[2] and self.frame[1] <= box[1] \
                    and box[3] <= self.frame[3]
                near = any(hypot(x - u, y - v) < APART * size / 2 for u, v in own)
                if inside and not near and not any(_cross(box, other) for other in taken):
                    taken.append(box)
                    own.append((x, y))
                    yield tag("text", words, class_="value", x=x, y=-y + 0.35 * size, text_anchor="middle")

    def _key(self) -> Iterator[tuple[Markup, str]]:
        """What the bands mean."""
        limits, units = self._limits(), self.setup.units
        unit = UNIT_WORD[units]

        def swatch(**look: object) -> Markup:
            return tag("svg", tag("rect", x=1, y=1, width=38, height=14, **look), viewBox="0 0 40 16",
                       aria_hidden="true")

        yield swatch(class_="band none"), "nothing may stand here"
        for band, (low, high) in enumerate(pairwise(limits)):
            if np.isinf(low) and np.isinf(high):
                continue
            words = f"below Z {short(high, units)} {unit}" if np.isinf(low) else f"from Z {short(low, units)} {unit}" \
                if np.isinf(high) else f"Z {short(low, units)} to {short(high, units)} {unit}"
            yield swatch(class_="band", fill_opacity=self._shade(band)), words
        yield swatch(class_="field"), "any height"

    # The bench ------------------------------------------------------------------------------------------------

    def _bench(self) -> Iterator[Markup]:
        stock = self.setup.stock
        if stock is not None:
            yield tag("rect", class_="room-stock", x=stock.corner[0], y=stock.corner[1], width=stock.size[0],
                      height=stock.size[1])
        data = path_text(self.page.backdrop.cuts)
        if data:
            yield tag("path", class_="cuts", d=data)
        for obstacle in self.setup.obstacles:
            shapes = [solid_shape(solid) for solid in obstacle.solids]
            yield tag("g", Markup("").join([tag("title", safe_text(obstacle.name)), *shapes]), class_="obstacle")

    def _step(self) -> float:
        span = max(self.frame[2] - self.frame[0], self.frame[3] - self.frame[1])
        return nice_step(span / self.unit, 9) * self.unit

    def _grid(self) -> Markup:
        x0, y0, x1, y1 = self.frame
        data = "".join(f"M{number(x)} {number(y0)}V{number(y1)}" for x in _ticks(x0, x1, self._step()))
        data += "".join(f"M{number(x0)} {number(y)}H{number(x1)}" for y in _ticks(y0, y1, self._step()))
        return tag("path", class_="grid", d=data) if data else Markup("")

    def _axes(self) -> Iterator[Markup]:
        step, size, units = self._step(), self.size, self.setup.units
        x0, y0, x1, y1 = self.frame
        for x in _ticks(x0, x1, step):
            yield tag("text", short(x, units), x=x, y=-y0 + 1.3 * size, text_anchor="middle", class_="tick")
        for y in _ticks(y0, y1, step):
            yield tag("text", short(y, units), x=x0 - 0.4 * size, y=-y + 0.35 * size, text_anchor="end", class_="tick")
        name = UNIT_WORD[units]
        yield tag("text", f"X, {name}", x=x1, y=-y0 + 2.5 * size, text_anchor="end", class_="tick")
        yield tag("text", "Y", x=x0 - 3.6 * size, y=-y1 + size, class_="tick")


def _along(ring: Sequence[tuple[float, float]], apart: float) -> Iterator[tuple[float, float]]:
    """Places along an outline, so far from each other; none on one that is too short for a label."""
    points = np.array(ring)
    far = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    if far[-1] < apart / 3:
        return
    for place in np.arange(min(apart / 2, far[-1] / 2), far[-1], apart):
        yield float(np.interp(place, far, points[:, 0])), float(np.interp(place, far, points[:, 1]))


def _cross(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _ticks(low: float, high: float, step: float) -> list[float]:
    return [k * step for k in range(int(np.ceil(low / step - 1e-9)), int(np.floor(high / step + 1e-9)) + 1)]
