"""The plan view: the table seen from above, to scale, in world units (one unit of the drawing is a millimetre)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from gcode_guard.record.findings import safe_text
from gcode_guard.record.page_model import Backdrop, Corridor, Item, Place
from gcode_guard.record.page_svg import Box, LabelBoard, Point, nice_step, number, path_text, points_text, tag
from gcode_guard.record.page_words import MM_PER_INCH, short
from gcode_guard.setup.model import Obstacle, Setup, Solid

TOO_WIDE = 2.5  # times what stands on the table: a reach beyond that is cut off, or nothing could be seen
MOST_MARKS = 60  # numbers that stand in the plan all the time; further ones appear when they are chosen
LONGEST_NAME = 28
AT_ONCE = 200  # polylines in one path of many


@dataclass(frozen=True, slots=True)
class Plan:
    """The drawing, and what a person must know to read it."""

    svg: Markup
    notes: tuple[str, ...]


def draw_plan(setup: Setup, items: Sequence[Item] = (), backdrop: Backdrop | None = None,
              hit: dict[str, str] | None = None) -> Plan:
    """The plan of a bench, with what a program does on it, if any."""
    return _Drawing(setup, items, backdrop or Backdrop(), hit or {}).draw()


class _Drawing:
    def __init__(self, setup: Setup, items: Sequence[Item], backdrop: Backdrop, hit: dict[str, str]) -> None:
        self.setup, self.items, self.backdrop, self.hit = setup, items, backdrop, hit
        self.notes: list[str] = []
        self.frame = self._find_frame()
        wide, high = self.frame[2] - self.frame[0], self.frame[3] - self.frame[1]
        self.size = max(wide, 1.2 * high) / 62  # of the letters
        self.labels = LabelBoard(self.frame, self.size)

    def draw(self) -> Plan:
        size, (x0, y0, x1, y1) = self.size, self.frame
        left, below, edge = 4.6 * size, 4.4 * size, 1.2 * size
        world = [self._stock(), self._reach(), *self._backdrop(), *map(self._obstacle, self._numbered())]
        self._keep_clear()
        items = self._items()
        words = [*self._axes(), *self._obstacle_labels()]
        view = f"{number(x0 - left)} {number(-y1 - edge)} {number(x1 - x0 + left + edge)} " \
               f"{number(y1 - y0 + below + edge)}"
        grid = self._grid()
        troubled = "troubled" if any(item.trouble for item in self.items) else None
        svg = tag("svg", Markup("").join([
            self._defs(), tag("rect", class_="field", x=x0, y=-y1, width=x1 - x0, height=y1 - y0),
            tag("g", Markup("").join([grid, *world]), class_="world", transform="scale(1 -1)"),
            tag("g", Markup("").join(items), class_="items"),
            tag("g", Markup("").join(words), class_="words", font_size=size),
        ]), id="plan", class_=troubled, viewBox=view, role="group", aria_label="Plan view: the table seen from above",
            data_letter=size)
        return Plan(svg, tuple(self.notes))

    def _numbered(self) -> list[tuple[int, Obstacle]]:
        return list(enumerate(self.setup.obstacles))

    def _keep_clear(self) -> None:
        """Tells the board what words should not cover: obstacles and tightest places, the work if there is a choice."""
        for obstacle in self.setup.obstacles:
            for solid in obstacle.solids:
                self.labels.take(bounds(solid))
        half = 0.7 * self.size
        for item in self.items:
            if item.mark is not None and not item.brief:
                (x, y) = item.mark
                self.labels.take((x - half, y - half, x + half, y + half))
        lines = [line for item in self.items for line in (*flat(item.programmed), *flat(item.mended))]
        for (x0, y0), (x1, y1) in [pair for line in lines[:200] for pair in zip(line, line[1:], strict=False)]:
            # A slanting way is kept clear in pieces, since the box round all of it would be mostly empty.
            pieces = max(1, min(40, int(max(abs(x1 - x0), abs(y1 - y0)) / (2 * self.size))))
            for k in range(pieces):
                xs = sorted((x0 + (x1 - x0) * k / pieces, x0 + (x1 - x0) * (k + 1) / pieces))
                ys = sorted((y0 + (y1 - y0) * k / pieces, y0 + (y1 - y0) * (k + 1) / pieces))
                self.labels.take((xs[0], ys[0], xs[1], ys[1]), firmly=False)
        stock = self.setup.stock
        if stock is not None:
            (x, y), (wide, deep) = stock.corner, stock.size
            self.labels.take((x, y, x + wide, y + deep), firmly=False)
        reach = self.setup.machine.reach or {}
        if "x" in reach and "y" in reach:
            (x0, x1), (y0, y1) = reach["x"], reach["y"]
            for edge in ((x0, y0, x1, y0), (x0, y1, x1, y1), (x0, y0, x0, y1), (x1, y0, x1, y1)):
                self.labels.take(edge, firmly=False)

    # The frame ------------------------------------------------------------------------------------------------

    def _find_frame(self) -> Box:
        points = [point for obstacle in self.setup.obstacles for solid in obstacle.solids
                  for point in _corners(bounds(solid))]
        stock = self.setup.stock
        if stock is not None:
            points += [stock.corner, (stock.corner[0] + stock.size[0], stock.corner[1] + stock.size[1])]
        for lines in (self.backdrop.cuts, self.backdrop.rapids):
            points += [point for line in lines for point in line]
        for item in self.items:
            points += [(p[0], p[1]) for way in (*item.programmed, *item.mended) for p in way
                       if p[0] is not None and p[1] is not None]
        points = points or [(0.0, 0.0), (100.0, 100.0)]
        box = (min(p[0] for p in points), min(p[1] for p in points),
               max(p[0] for p in points), max(p[1] for p in points))
        margin = 0.04 * max(box[2] - box[0], box[3] - box[1], 50.0)
        box = (box[0] - margin, box[1] - margin, box[2] + margin, box[3] + margin)
        return self._with_reach(box, margin)

    def _with_reach(self, box: Box, margin: float) -> Box:
        reach = self.setup.machine.reach or {}
        low_x, high_x = reach.get("x", (box[0], box[2]))
        low_y, high_y = reach.get("y", (box[1], box[3]))
        whole = (min(box[0], low_x - margin), min(box[1], low_y - margin),
                 max(box[2], high_x + margin), max(box[3], high_y + margin))
        if whole[2] - whole[0] > TOO_WIDE * (box[2] - box[0]) or whole[3] - whole[1] > TOO_WIDE * (box[3] - box[1]):
            units = self.setup.units
            self.notes.append("The reach goes beyond the picture: "
                              f"X {short(low_x, units)} to {short(high_x, units)}, "
                              f"Y {short(low_y, units)} to {short(high_y, units)}.")
            return box
        return whole

    # What stands there ----------------------------------------------------------------------------------------

    def _defs(self) -> Markup:
        step = number(0.75 * self.size)
        line = tag("line", x1=0, y1=0, x2=0, y2=step, class_="hatching")
        wide = number(1.5 * self.size)
        coarse = tag("line", x1=0, y1=0, x2=0, y2=wide, class_="sweeping")
        return tag("defs", Markup("").join([
            tag("pattern", line, id="hatch", width=step, height=step, patternUnits="userSpaceOnUse",
                patternTransform="rotate(45)"),
            tag("pattern", coarse, id="sweep", width=wide, height=wide, patternUnits="userSpaceOnUse",
                patternTransform="rotate(-45)")]))

    def _grid(self) -> Markup:
        step = self._step()
        x0, y0, x1, y1 = self.frame
        data = "".join(f"M{number(x)} {number(y0)}V{number(y1)}" for x in _ticks(x0, x1, step))
        data += "".join(f"M{number(x0)} {number(y)}H{number(x1)}" for y in _ticks(y0, y1, step))
        return tag("path", class_="grid", d=data) if data else Markup("")

    def _step(self) -> float:
        unit = 1.0 if self.setup.units == "mm" else MM_PER_INCH
        return nice_step(max(self.frame[2] - self.frame[0], self.frame[3] - self.frame[1]) / unit, 9) * unit

    def _axes(self) -> list[Markup]:
        step, size, units = self._step(), self.size, self.setup.units
        x0, y0, x1, y1 = self.frame
        words = [tag("text", short(x, units), x=x, y=-y0 + 1.3 * size, text_anchor="middle", class_="tick")
                 for x in _ticks(x0, x1, step)]
        words += [tag("text", short(y, units), x=x0 - 0.4 * size, y=-y + 0.35 * size, text_anchor="end",
                      class_="tick") for y in _ticks(y0, y1, step)]
        name = "mm" if units == "mm" else "in"
        words.append(tag("text", f"X, {name}", x=x1, y=-y0 + 2.6 * size, text_anchor="end", class_="tick"))
        words.append(tag("text", "Y", x=x0 - 3.6 * size, y=-y1 + size, class_="tick"))
        foot = -y0 + 3.1 * size
        bar = f"M{number(x0)} {number(foot - 0.4 * size)}v{number(0.8 * size)}m0 {number(-0.4 * size)}" \
              f"h{number(step)}m0 {number(-0.4 * size)}v{number(0.8 * size)}"
        words.append(tag("path", class_="bar", d=bar))
        words.append(tag("text", f"{short(step, units)} {name}", x=x0 + step + 0.6 * size, y=foot + 0.35 * size,
                         class_="tick"))
        return words

    def _stock(self) -> Markup:
        stock = self.setup.stock
        if stock is None:
            return Markup("")
        title = tag("title", f"stock, top at Z {short(stock.top, self.setup.units)}")
        return tag("rect", title, class_="stock", x=stock.corner[0], y=stock.corner[1], width=stock.size[0],
                   height=stock.size[1], data_top_mm=stock.top)

    def _reach(self) -> Markup:
        reach = self.setup.machine.reach
        if reach is None or not ("x" in reach and "y" in reach):
            return Markup("")
        (x0, x1), (y0, y1) = reach["x"], reach["y"]
        return tag("rect", tag("title", "reach of the machine"), class_="reach", x=x0, y=y0, width=x1 - x0,
                   height=y1 - y0)

    def _backdrop(self) -> list[Markup]:
        drawn = []
        for name, lines in (("cuts", self.backdrop.cuts), ("rapids", self.backdrop.rapids)):
            drawn.append(_many(name, lines))
        return drawn

    def _obstacle(self, numbered: tuple[int, Obstacle]) -> Markup:
        number_, obstacle = numbered
        kind = "obstacle" + (" sacrificial" if obstacle.sacrificial else "") \
            + (" met" if self.hit.get(obstacle.name) == "meets a move" else "")
        shapes = [tag("title", f"{safe_text(obstacle.name)}, top at Z {short(obstacle.top, self.setup.units)}")]
        shapes += [solid_shape(solid) for solid in obstacle.solids]
        return tag("g", Markup("").join(shapes), class_=kind, data_obstacle=number_, data_top_mm=obstacle.top)

    def _obstacle_labels(self) -> list[Markup]:
        words = []
        for place, obstacle in self._numbered():
            box = _around([bounds(solid) for solid in obstacle.solids])
            name = safe_text(obstacle.name)
            name = name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1] + "…"
            rows = [name, f"top Z {short(obstacle.top, self.setup.units)}"]
            if obstacle.sacrificial:
                rows.append("may be cut")
            if self.hit.get(obstacle.name) == "meets a move":
                rows.append("a move meets it")
            words.append(self._label(rows, box, place))
        stock = self.setup.stock
        if stock is not None:
            box = (stock.corner[0], stock.corner[1], stock.corner[0] + stock.size[0], stock.corner[1] + stock.size[1])
            words.append(self._label([f"stock, top Z {short(stock.top, self.setup.units)}"], box, None))
        return words

    def _label(self, rows: list[str], box: Box, place: int | None) -> Markup:
        label = self.labels.place(max(rows, key=len), box, lines=len(rows))
        if label is None:
            self.notes.append(f"There is no room in the plan for the name of “{rows[0]}”.")
            return Markup("")
        top = -label.box[3]
        spans = [tag("tspan", row, x=label.x, y=top + (k + 0.9) * 1.2 * self.size) for k, row in enumerate(rows)]
        drawn = [tag("text", Markup("").join(spans), class_="name", data_names=place)]
        if label.leader is not None:
            (ax, ay), (bx, by) = label.leader
            drawn.insert(0, tag("line", class_="leader", x1=ax, y1=-ay, x2=bx, y2=-by))
        return Markup("").join(drawn)

    # What moves there -----------------------------------------------------------------------------------------

    def _items(self) -> list[Markup]:
        self._reserve_marks()
        whole = [item for item in self.items if not item.brief]
        brief = [item for item in self.items if item.brief]
        ways = (("programmed", [way for item in brief for way in flat(item.programmed)]),
                ("mended", [way for item in brief for way in flat(item.mended)]))
        shapes = [_many(f"{name} brief", lines) for name, lines in ways if lines]
        listed = [tag("g", Markup("").join(shapes), transform="scale(1 -1)")] if shapes else []
        return listed + [self._item(item) for item in whole]

    def _reserve_marks(self) -> None:
        self.marks: dict[int, tuple[Point, tuple[Point, Point] | None]] = {}
        board = self.labels
        half = 0.9 * self.size
        for item in sorted(self.items, key=lambda item: (not item.trouble, item.number)):
            if item.mark is None or item.brief or len(self.marks) >= MOST_MARKS:
                continue
            x, y = item.mark
            label = board.place("####", (x - half / 2, y - half / 2, x + half / 2, y + half / 2), lines=2)
            if label is not None:
                centre = ((label.box[0] + label.box[2]) / 2, (label.box[1] + label.box[3]) / 2)
                self.marks[item.number] = (centre, (centre, (x, y)))

    def _item(self, item: Item) -> Markup:
        shapes = [_corridor(corridor) for corridor in item.corridors]
        cuts = "meeting" if item.kind == "cut-contact" else "nearing"
        ways = [("programmed", flat(item.programmed)), ("mended", flat(item.mended)), (cuts, item.cuts)]
        for name, lines in ways:
            data = path_text(lines)
            if data:
                shapes.append(tag("path", class_=name, d=data))
        if item.mark is not None:
            shapes.append(self._cross(item.mark))
        world = tag("g", Markup("").join(shapes), transform="scale(1 -1)") if shapes else Markup("")
        mark = self._mark(item)
        if not world and not mark:
            return Markup("")
        kind = "trouble" if item.trouble else "change" if item.is_change else "remark"
        return tag("g", Markup("").join([tag("title", f"{item.number}. line {item.line}: {item.title}"), world, mark]),
                   class_=f"item {kind}", data_item=item.number)

    def _cross(self, place: Point) -> Markup:
        half = number(0.45 * self.size)
        x, y = (number(value) for value in place)
        twice = number(0.9 * self.size)
        return tag("path", class_="tightest", d=f"M{x} {y}m-{half} -{half}l{twice} {twice}m0 -{twice}l-{twice} {twice}")

    def _mark(self, item: Item) -> Markup:
        if item.mark is None:
            return Markup("")
        centre, leader = self.marks.get(item.number, (item.mark, None))
        quiet = item.number not in self.marks
        size = self.size
        drawn = []
        if leader is not None:
            (ax, ay), (bx, by) = leader
            drawn.append(tag("line", class_="leader", x1=ax, y1=-ay, x2=bx, y2=-by))
        x, y = centre[0], -centre[1]
        # Round for a change, square for what refuses the program, on its corner for a remark.
        half = 0.85 * size
        if item.is_change:
            shape = tag("circle", class_="plate", cx=x, cy=y, r=half)
        elif item.trouble:
            shape = tag("rect", class_="plate", x=x - half, y=y - half, width=2 * half, height=2 * half)
        else:
            corner = 1.2 * half
            shape = tag("polygon", class_="plate",
                        points=points_text([(x, y - corner), (x + corner, y), (x, y + corner), (x - corner, y)]))
        digits = str(item.number)
        letter = size * (1.0 if len(digits) < 3 else 0.75)
        drawn += [shape, tag("text", digits, x=x, y=y + 0.35 * letter, font_size=letter, text_anchor="middle")]
        return tag("a", Markup("").join(drawn), class_="mark quiet" if quiet else "mark", href=f"#item-{item.number}",
                   data_item=item.number, data_at=f"{number(x)} {number(y)}",
                   aria_label=f"{item.number}: line {item.line}, {item.title}")


def flat(ways: Sequence[Sequence[Place]]) -> list[list[Point]]:
    """Ways seen from above, without what is not known."""
    return [[(x, y) for x, y, _ in way if x is not None and y is not None] for way in ways]


def _many(name: str, lines: Sequence[Sequence[Point]]) -> Markup:
    """Many polylines as some paths: a browser strokes several small ones far faster than one huge one."""
    parts = [path_text(lines[k : k + AT_ONCE]) for k in range(0, len(lines), AT_ONCE)]
    return Markup("").join(tag("path", class_=name, d=part) for part in parts if part)


def solid_shape(solid: Solid) -> Markup:
    """The exact footprint of a solid as an SVG shape in world units, Y upward."""
    outline, radius = solid.outline, solid.radius
    if len(outline) == 1:
        return tag("circle", cx=outline[0][0], cy=outline[0][1], r=radius)
    if len(outline) == 2:
        return tag("path", d=capsule(outline[0], outline[1], radius))
    return tag("polygon", points=points_text(outline))


def capsule(start: Point, end: Point, radius: float) -> str:
    """Path data of everything within `radius` of a segment; Y upward."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    long = (dx * dx + dy * dy) ** 0.5
    ux, uy = (dx / long, dy / long) if long > 0 else (1.0, 0.0)
    nx, ny = -uy * radius, ux * radius
    r = number(radius)

    def at(x: float, y: float) -> str:
        return f"{number(x)} {number(y)}"

    return (f"M{at(start[0] + nx, start[1] + ny)}A{r} {r} 0 0 1 {at(start[0] - nx, start[1] - ny)}"
            f"L{at(end[0] - nx, end[1] - ny)}A{r} {r} 0 0 1 {at(end[0] + nx, end[1] + ny)}Z")


def _corridor(corridor: Corridor) -> Markup:
    (x0, y0), (x1, y1), r = corridor.start, corridor.end, corridor.radius
    kind = "corridor anywhere" if corridor.box else "corridor"
    facts = {"class_": kind, "data_part": corridor.part, "data_radius_mm": r}
    if corridor.box:
        return tag("rect", x=min(x0, x1) - r, y=min(y0, y1) - r, width=abs(x1 - x0) + 2 * r,
                   height=abs(y1 - y0) + 2 * r, rx=r, **facts)
    return tag("path", d=capsule((x0, y0), (x1, y1), r), **facts)


def bounds(solid: Solid) -> Box:
    """The box round a footprint."""
    xs, ys, r = [p[0] for p in solid.outline], [p[1] for p in solid.outline], solid.radius
    return min(xs) - r, min(ys) - r, max(xs) + r, max(ys) + r


def _around(boxes: Sequence[Box]) -> Box:
    return (min(b[0] for b in boxes), min(b[1] for b in boxes), max(b[2] for b in boxes), max(b[3] for b in boxes))


def _corners(box: Box) -> list[Point]:
    return [(box[0], box[1]), (box[2], box[3])]


def _ticks(low: float, high: float, step: float) -> list[float]:
    first = int(-(-low // step))
    return [k * step for k in range(first, int(high // step) + 1)]
