"""The plan view: the table seen from above, to scale, in world units (one unit of the drawing is a millimetre)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

from gcode_guard.lengths import MM_PER_INCH, UNIT_WORD
from gcode_guard.record.findings import safe_text
from gcode_guard.record.page_marks import Marks
from gcode_guard.record.page_model import Backdrop, Item, Place
from gcode_guard.record.page_shapes import bounds as bounds
from gcode_guard.record.page_shapes import corridor_shape
from gcode_guard.record.page_shapes import solid_shape as solid_shape
from gcode_guard.record.page_svg import Box, LabelBoard, Point, nice_step, number, path_text, tag
from gcode_guard.record.page_words import short
from gcode_guard.setup.model import Obstacle, Setup

TOO_WIDE = 2.5  # times what stands on the table: a reach beyond that is cut off, or nothing could be seen
CROWDED = 40  # items with a way of their own; with more, those that are not chosen are drawn thinly
LEAST = 60.0  # mm, the least that the picture shows
TINY = 0.9  # of the letters' size: what is smaller gets a ring round it, or nobody would find it
LONGEST_NAME = 28
MANY = 60  # obstacles: with more, only those that something comes near are named, and none far from where it stands
MOST_MISSING = 3  # names for which there is no room that are told one by one
AT_ONCE = 200  # polylines in one path of many


@dataclass(frozen=True, slots=True)
class Plan:
    """The drawing, and what a person must know to read it."""

    svg: Markup
    notes: tuple[str, ...]


def draw_plan(setup: Setup, items: Sequence[Item] = (), backdrop: Backdrop | None = None,
              hit: dict[str, str] | None = None, ways: Backdrop | None = None) -> Plan:
    """The plan of a bench, with what a program does on it, if any. `ways`: those of all changes together, where there
    are more than `items` has."""
    return _Drawing(setup, items, backdrop or Backdrop(), hit or {}, ways or Backdrop()).draw()


class _Drawing:
    def __init__(self, setup: Setup, items: Sequence[Item], backdrop: Backdrop, hit: dict[str, str],
                 ways: Backdrop) -> None:
        self.setup, self.items, self.backdrop, self.hit, self.ways = setup, items, backdrop, hit, ways
        self.notes: list[str] = []
        self.frame = self._find_frame()
        wide, high = self.frame[2] - self.frame[0], self.frame[3] - self.frame[1]
        self.size = max(wide, 1.2 * high) / 62  # of the letters
        self.labels = LabelBoard(self.frame, self.size)

    def draw(self) -> Plan:
        size, (x0, y0, x1, y1) = self.size, self.frame
        left, below, edge = 4.6 * size, 4.4 * size, 1.2 * size
        world = [self._stock(), self._reach(), *self._backdrop(), *self._together(),
                 *map(self._obstacle, self._numbered())]
        self._keep_clear()
        words = [*self._axes(), *self._obstacle_labels()]
        items = self._items()
        marks = Marks(self.labels, self.size).draw(self.items)
        view = f"{number(x0 - left)} {number(-y1 - edge)} {number(x1 - x0 + left + edge)} " \
               f"{number(y1 - y0 + below + edge)}"
        grid = self._grid()
        states = ["troubled"] if any(item.trouble for item in self.items) else []
        states += ["crowded"] if len(self.items) > CROWDED else []
        states += ["many"] if self.ways.cuts or self.ways.rapids else []
        svg = tag("svg", Markup("").join([
            self._defs(), tag("rect", class_="field", x=x0, y=-y1, width=x1 - x0, height=y1 - y0),
            tag("g", Markup("").join([grid, *world]), class_="world", transform="scale(1 -1)"),
            tag("g", Markup("").join(items), class_="items"), self._rings(),
            tag("g", Markup("").join(words), class_="words", font_size=size),
            tag("g", Markup("").join(marks), class_="marks"),
        ]), id="plan", class_=" ".join(states) or None, viewBox=view, role="group",
            aria_label="Plan view: the table seen from above", data_letter=size)
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
            if item.mark is not None:
                (x, y) = item.mark
                self.labels.take((x - half, y - half, x + half, y + half))
        lines = [line for item in self.items for line in (*flat(item.programmed), *flat(item.mended), *item.cuts)]
        for start, end in [pair for line in lines[:300] for pair in zip(line, line[1:], strict=False)]:
            self.labels.take_line(start, end, 0.6 * self.size)
        stock = self.setup.stock
        if stock is not None:
            (x, y), (wide, deep) = stock.corner, stock.size
            self.labels.take((x, y, x + wide, y + deep), LabelBoard.FIELD)
        reach = self.setup.machine.reach or {}
        if "x" in reach and "y" in reach:
            (x0, x1), (y0, y1) = reach["x"], reach["y"]
            for start, end in (((x0, y0), (x1, y0)), ((x0, y1), (x1, y1)), ((x0, y0), (x0, y1)), ((x1, y0), (x1, y1))):
                self.labels.take_line(start, end, 0.2 * self.size)

    # The frame ------------------------------------------------------------------------------------------------

    def _find_frame(self) -> Box:
        points = [point for obstacle in self.setup.obstacles for solid in obstacle.solids
                  for point in _corners(bounds(solid))]
        stock = self.setup.stock
        if stock is not None:
            points += [stock.corner, (stock.corner[0] + stock.size[0], stock.corner[1] + stock.size[1])]
        for lines in (self.backdrop.cuts, self.backdrop.rapids, self.ways.cuts, self.ways.rapids):
            points += [point for line in lines for point in line]
        for item in self.items:
            points += [(p[0], p[1]) for way in (*item.programmed, *item.mended) for p in way
                       if p[0] is not None and p[1] is not None]
        points = points or [(0.0, 0.0), (100.0, 100.0)]
        box = (min(p[0] for p in points), min(p[1] for p in points),
               max(p[0] for p in points), max(p[1] for p in points))
        lack_x, lack_y = (max(0.0, LEAST - (box[k + 2] - box[k])) / 2 for k in (0, 1))
        box = (box[0] - lack_x, box[1] - lack_y, box[2] + lack_x, box[3] + lack_y)
        margin = 0.04 * max(box[2] - box[0], box[3] - box[1])
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
        line = tag("rect", x=0, y=0, width=step, height=step, class_="ground") \
            + tag("line", x1=0, y1=0, x2=0, y2=step, class_="hatching")
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
        name = UNIT_WORD[units]
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

    def _rings(self) -> Markup:
        """A ring round each obstacle that would hardly be seen at this scale."""
        rings = []
        for obstacle in self.setup.obstacles:
            x0, y0, x1, y1 = _around([bounds(solid) for solid in obstacle.solids])
            if max(x1 - x0, y1 - y0) < TINY * self.size:
                rings.append(tag("circle", class_="ring", cx=(x0 + x1) / 2, cy=-(y0 + y1) / 2, r=0.75 * self.size))
        if len(rings) > MANY:  # they would hide what they point at
            return Markup("")
        if rings:
            self.notes.append("A thin ring marks an obstacle that is small at this scale; the ring is not to scale.")
        return tag("g", Markup("").join(rings), class_="rings") if rings else Markup("")

    def _obstacle_labels(self) -> list[Markup]:
        words, missing = [], []
        for place, obstacle in self._named():
            box = _around([bounds(solid) for solid in obstacle.solids])
            name = safe_text(obstacle.name)
            name = name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1] + "…"
            rows = [name, f"top Z {short(obstacle.top, self.setup.units)}"]
            if obstacle.sacrificial:
                rows.append("may be cut")
            if self.hit.get(obstacle.name) == "meets a move":
                rows.append("a move meets it")
            label = self._label(rows, box, place)
            words += [label] if label is not None else []
            missing += [] if label is not None else [name]
        stock = self.setup.stock
        if stock is not None:
            box = (stock.corner[0], stock.corner[1], stock.corner[0] + stock.size[0], stock.corner[1] + stock.size[1])
            words.append(self._label([f"stock, top Z {short(stock.top, self.setup.units)}"], box, None) or Markup(""))
        self._note_missing(missing, len(self.setup.obstacles) - len(self._named()))
        return words

    def _named(self) -> list[tuple[int, Obstacle]]:
        """The obstacles that are to be named: what refuses the program first, then what something comes near."""
        ranks = {"meets a move": 0, "cleared": 1, "close": 2}
        ranked = sorted(self._numbered(), key=lambda numbered: ranks.get(self.hit.get(numbered[1].name, ""), 3))
        return ranked if len(ranked) <= MANY else [n for n in ranked if n[1].name in self.hit][:MANY]

    def _note_missing(self, missing: list[str], unnamed: int) -> None:
        if unnamed or len(missing) > MOST_MISSING:
            self.notes.append(f"There is no room in the plan for the names of {len(missing) + unnamed:,} obstacles; the"
                              " table of what stands there has them all.")
            return
        self.notes += [f"There is no room in the plan for the name of “{name}”." for name in missing]

    def _label(self, rows: list[str], box: Box, place: int | None) -> Markup | None:
        label = self.labels.place(max(rows, key=len), box, lines=len(rows),
                                  far=place is None or len(self.setup.obstacles) <= MANY)
        if label is None:
            return None
        top = -label.box[3]
        spans = [tag("tspan", row, x=label.x, y=top + (k + 0.9) * 1.2 * self.size) for k, row in enumerate(rows)]
        drawn = [tag("text", Markup("").join(spans), class_="name", data_names=place)]
        if label.leader is not None:
            (ax, ay), (bx, by) = label.leader
            drawn.insert(0, tag("line", class_="leader", x1=ax, y1=-ay, x2=bx, y2=-by))
        return Markup("").join(drawn)

    # What moves there -----------------------------------------------------------------------------------------

    def _together(self) -> list[Markup]:
        """The ways of all changes, behind the obstacles, which they would hide."""
        ways = (("programmed", self.ways.cuts), ("mended", self.ways.rapids))
        return [_many(f"{name} brief", lines) for name, lines in ways if lines]

    def _items(self) -> list[Markup]:
        return [self._item(item) for item in self.items]

    def _item(self, item: Item) -> Markup:
        shapes = [corridor_shape(corridor) for corridor in item.corridors]
        cuts = "meeting" if item.kind == "cut-contact" else "nearing"
        ways = [("programmed", flat(item.programmed)), ("mended", flat(item.mended)), (cuts, item.cuts)]
        for name, lines in ways:
            data = path_text(lines)
            if data:
                shapes.append(tag("path", class_=name, d=data))
        if item.mark is not None:
            shapes.append(self._cross(item.mark))
        if not shapes:
            return Markup("")
        world = tag("g", Markup("").join(shapes), transform="scale(1 -1)")
        return tag("g", tag("title", f"{item.number}. line {item.line}: {item.title}") + world,
                   class_=f"item {item.state}", data_item=item.number)

    def _cross(self, place: Point) -> Markup:
        half = number(0.45 * self.size)
        x, y = (number(value) for value in place)
        twice = number(0.9 * self.size)
        return tag("path", class_="tightest", d=f"M{x} {y}m-{half} -{half}l{twice} {twice}m0 -{twice}l-{twice} {twice}")


def flat(ways: Sequence[Sequence[Place]]) -> list[list[Point]]:
    """Ways seen from above, without what is not known."""
    return [[(x, y) for x, y, _ in way if x is not None and y is not None] for way in ways]


def _many(name: str, lines: Sequence[Sequence[Point]]) -> Markup:
    """Many polylines as some paths: a browser strokes several small ones far faster than one huge one."""
    parts = [path_text(lines[k : k + AT_ONCE]) for k in range(0, len(lines), AT_ONCE)]
    return Markup("").join(tag("path", class_=name, d=part) for part in parts if part)


def _around(boxes: Sequence[Box]) -> Box:
    return (min(b[0] for b in boxes), min(b[1] for b in boxes), max(b[2] for b in boxes), max(b[3] for b in boxes))


def _corners(box: Box) -> list[Point]:
    return [(box[0], box[1]), (box[2], box[3])]


def _ticks(low: float, high: float, step: float) -> list[float]:
    first = int(-(-low // step))
    return [k * step for k in range(first, int(high // step) + 1)]
