"""The side view of a change: heights over the distance along the way, both to one scale; and drawings of tools."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from gcode_guard.lengths import MM_PER_INCH, UNIT_WORD, Units
from gcode_guard.record.findings import safe_text
from gcode_guard.record.page_model import Point, Profile, Silhouette
from gcode_guard.record.page_svg import LabelBoard, nice_step, number, path_text, points_text, spread, tag
from gcode_guard.record.page_words import length, needed, short
from gcode_guard.setup.model import Setup, Tool, stacked

STEEPEST = 0.55  # height to width of the picture; a narrower way is shown with more of what is round it
FLATTEST = 0.3  # of a longer way only the part round the tightest place is shown
NAME_ROWS = 4  # of names that there is room for over everything
MOST_NAMED = 8  # obstacles; the words of more would cover what they name
ABOVE = 22.0  # mm of the uppermost section that are shown
LONGEST_NAME, SHORT_NAME = 26, 12  # characters; the short one where there is no room for the other


def draw_side(profile: Profile, units: Units, name: str) -> Markup:
    """The side view. `name` is what the drawing is called for those who do not see it."""
    return _Side(profile, units).draw(name)


class _Side:
    def __init__(self, profile: Profile, units: Units) -> None:
        self.profile, self.units = profile, units
        self.widest = max((radius for _, radius, _ in profile.sections), default=5.0)
        self.low, self.high = self._heights()
        self.left, self.right = self._distances()
        self.size = (self.right - self.left) / 46
        self.high = max(self.high, self._highest_line() + 1.6 * self.size * min(NAME_ROWS, len(self._shown())))

    def _heights(self) -> tuple[float, float]:
        p = self.profile
        levels = [z for z in (p.programmed_z, p.needed_z, p.written_z, p.tight_z) if z is not None]
        levels += [z for _, z in (*p.programmed, *p.written)]
        levels += [s.clear_top for s in p.silhouettes] + [min(s.top, s.clear_top) - 8.0 for s in p.silhouettes]
        tips = [z for z in (p.tight_z, p.written_z) if z is not None]
        if tips and p.sections:
            levels.append(max(tips) + p.sections[-1][0] + ABOVE)
        if p.stock is not None:
            levels += [p.stock[2], max(p.stock[3], p.stock[2] - 25.0)]
        if p.table_z is not None:
            levels.append(p.table_z - 3.0)
        levels = levels or [0.0, 50.0]
        margin = 0.03 * (max(levels) - min(levels))
        return min(levels) - margin, max(levels) + margin

    def _distances(self) -> tuple[float, float]:
        p = self.profile
        places = [0.0, p.length, p.tight - self.widest, p.tight + self.widest]
        places += [s.begin - s.reach for s in p.silhouettes] + [s.end + s.reach for s in p.silhouettes]
        places += [x for x, _ in p.written]
        left, right = min(places) - 6.0, max(places) + 6.0
        wide = right - left
        most, least = (self.high - self.low) / FLATTEST, (self.high - self.low) / STEEPEST
        if wide < least:
            return left - (least - wide) / 2, right + (least - wide) / 2
        if wide > most and not p.front:
            left = min(max(left, p.tight - most / 2), right - most)
            return left, left + most
        return left, right

    def _highest_line(self) -> float:
        """The highest of the ways and clearances: over it names cover nothing but the tool."""
        p = self.profile
        levels = [z for z in (p.programmed_z, p.needed_z, p.written_z) if z is not None]
        return max([*levels, *(s.clear_top for s in p.silhouettes)], default=self.low)

    def _shown(self) -> dict[str, Silhouette]:
        """The solid that stands for each obstacle by name: the highest that the way crosses, if it crosses one."""
        shown: dict[str, Silhouette] = {}
        for solid in sorted(self.profile.silhouettes, key=lambda solid: (self._crossed(solid), solid.top)):
            if solid.end > self.left and solid.begin < self.right:
                shown[solid.name] = solid
        return shown

    def draw(self, name: str) -> Markup:
        size = self.size
        world = [self._ground(), *self._clearances(), *map(self._silhouette, self.profile.silhouettes),
                 *self._levels(), *self._floor(), *self._ways(), *self._tools()]
        beside, before, below, edge = 15.0 * size, 4.4 * size, 3.2 * size, 0.6 * size
        view = (f"{number(self.left - before)} {number(-self.high - edge)} "
                f"{number(self.right - self.left + before + beside)} {number(self.high - self.low + below + edge)}")
        clip = tag("rect", class_="field", x=self.left, y=-self.high, width=self.right - self.left,
                   height=self.high - self.low)
        return tag("svg", Markup("").join([
            clip, tag("svg", tag("g", Markup("").join(world), transform="scale(1 -1)"), x=self.left, y=-self.high,
                      width=self.right - self.left, height=self.high - self.low,
                      viewBox=f"{number(self.left)} {number(-self.high)} {number(self.right - self.left)} "
                              f"{number(self.high - self.low)}"),
            tag("g", Markup("").join([*self._axes(), *self._names(), *self._level_names()]), class_="words",
                font_size=size)]),
            class_="side", viewBox=view, role="img", aria_label=name)

    # What stands there ----------------------------------------------------------------------------------------

    def _ground(self) -> Markup:
        p = self.profile
        drawn = []
        if p.table_z is not None:
            drawn.append(tag("rect", class_="table", x=self.left, y=self.low, width=self.right - self.left,
                             height=max(0.0, p.table_z - self.low)))
        if p.stock is not None:
            begin, end = max(p.stock[0], self.left), min(p.stock[1], self.right)
            if end > begin:
                bottom = max(p.stock[3], self.low)
                drawn.append(tag("rect", class_="stock", x=begin, y=bottom, width=end - begin,
                                 height=p.stock[2] - bottom))
        return Markup("").join(drawn)

    def _clearances(self) -> list[Markup]:
        return [tag("rect", class_="clearance", x=s.begin - s.reach, y=self.low, width=s.end - s.begin + 2 * s.reach,
                    height=s.clear_top - self.low) for s in self.profile.silhouettes]

    def _silhouette(self, solid: Silhouette) -> Markup:
        bottom = max(solid.bottom, self.low)
        kind = "solid" if self._crossed(solid) else "solid beside"
        return tag("rect", class_=kind, x=solid.begin, y=bottom, width=max(solid.end - solid.begin, 0.2),
                   height=solid.top - bottom)

    def _crossed(self, solid: Silhouette) -> bool:
        """Whether the lowest section would run over it; what is farther beside meets wider sections alone."""
        return solid.beside < (self.profile.sections[0][1] if self.profile.sections else 0.0)

    # Heights --------------------------------------------------------------------------------------------------

    def _levels(self) -> list[Markup]:
        p = self.profile
        return [tag("line", class_=f"level {name}", x1=self.left, y1=z, x2=self.right, y2=z)
                for name, z in (("programmed", p.programmed_z), ("needed", p.needed_z), ("written", p.written_z))
                if z is not None]

    def _floor(self) -> list[Markup]:
        data = path_text(stretch for stretch in self.profile.floor if len(stretch) > 1)
        return [tag("path", class_="floor", d=data)] if data else []

    def _ways(self) -> list[Markup]:
        drawn = []
        for name, way in (("programmed", self.profile.programmed), ("mended", self.profile.written)):
            if len(way) > 1 and not (name == "mended" and self.profile.led_round):
                drawn.append(tag("path", class_=name, d=path_text([way])))
        return drawn

    def _tools(self) -> list[Markup]:
        p = self.profile
        drawn = []
        for name, tip in (("tool programmed-tool", p.tight_z), ("tool written-tool", p.written_z)):
            if tip is not None and not (name.startswith("tool written") and (tip == p.tight_z or p.led_round)):
                drawn.append(tag("polygon", class_=name, points=points_text(
                    outline(p.sections, p.tight, tip, self.high + 5.0))))
        return drawn

    # Words ----------------------------------------------------------------------------------------------------

    def _axes(self) -> list[Markup]:
        size, unit = self.size, 1.0 if self.units == "mm" else MM_PER_INCH
        step = nice_step((self.high - self.low) / unit, 5) * unit
        words = []
        height = -(-self.low // step) * step
        while height <= self.high:
            words.append(tag("text", short(height, self.units), x=self.left - 0.4 * size, y=-height + 0.35 * size,
                             text_anchor="end", class_="tick"))
            words.append(tag("line", class_="tickmark", x1=self.left, y1=-height, x2=self.left + 0.5 * size,
                             y2=-height))
            height += step
        words.append(tag("text", "Z", x=self.left - 4.0 * size, y=-self.high + 1.0 * size, class_="tick"))
        foot = -self.low + 1.2 * size
        p = self.profile
        first, last = max(0.0, self.left), min(p.length, self.right)
        if p.ends is None:
            names = [(0.0, "left end of the bench"), (p.length, "right end")]
        elif p.length < 1e-6:
            names = [(0.0, self._place(p.ends[0]))]
        else:
            names = [(at, self._place(_between(*p.ends, at / p.length))) for at in (first, last)]
        for k, (at, words_) in enumerate(names):
            words.append(tag("line", class_="tickmark", x1=at, y1=-self.low, x2=at, y2=-self.low - 0.8 * size))
            close = len(names) == 2 and last - first < 14 * size
            anchor = "middle" if not close else ("end" if k == 0 else "start")
            words.append(tag("text", words_, x=at, y=foot, text_anchor=anchor, class_="tick"))
        unit_name = UNIT_WORD[self.units]
        note = f"distance along the way: {short(p.length, self.units)} {unit_name}"
        if last - first < p.length - 1e-6:
            note += f"; shown are {short(last - first, self.units)} {unit_name} round the tightest place"
        words.append(tag("text", note, x=(self.left + self.right) / 2, y=-self.low + 2.6 * size,
                         text_anchor="middle", class_="tick"))
        return words

    def _place(self, point: Point) -> str:
        return f"X {short(point[0], self.units)}  Y {short(point[1], self.units)}"

    def _names(self) -> list[Markup]:
        """The name of each obstacle once; of very many those that matter most."""
        board = LabelBoard((self.left, self.low, self.right, self.high), self.size)
        p = self.profile
        for tip in (p.tight_z, None if p.led_round else p.written_z):
            for begin, radius, _ in p.sections:
                if tip is not None:
                    board.take((p.tight - radius, tip + begin, p.tight + radius, self.high + 99))
        for z in (p.programmed_z, p.needed_z, p.written_z):
            if z is not None:
                board.take((self.left, z - 0.1 * self.size, self.right, z + 0.1 * self.size))
        for solid in p.silhouettes:
            board.take((solid.begin, self.low, solid.end, solid.top), LabelBoard.LINE)
        for way in (p.programmed, p.written, *p.floor):
            for start, end in zip(way, way[1:], strict=False):
                board.take_line(start, end, 0.3 * self.size)
        words = []
        named = sorted(self._shown().values(), key=lambda solid: (self._crossed(solid), solid.top))[-MOST_NAMED:]
        for solid in named:
            target = (max(solid.begin, self.left), max(solid.bottom, self.low), min(solid.end, self.right), solid.top)
            label = board.place(self._name(solid, LONGEST_NAME), target) \
                or board.place(self._name(solid, SHORT_NAME), target)
            if label is not None:
                if label.leader is not None:
                    (ax, ay), (bx, by) = label.leader
                    words.append(tag("line", class_="leader", x1=ax, y1=-ay, x2=bx, y2=-by))
                words.append(tag("text", label.text, x=label.x, y=-label.y, class_="name"))
        return words

    def _name(self, solid: Silhouette, longest: int) -> str:
        name = safe_text(solid.name)
        name = name if len(name) <= longest else name[: longest - 1] + "…"
        beside = "" if self._crossed(solid) else f" ({short(solid.beside, self.units)} beside)"
        return f"{name}, top {short(solid.top, self.units)}{beside}"

    def _level_names(self) -> list[Markup]:
        p, size = self.profile, self.size
        rows = [(z, f"{word} Z {written}", name) for z, word, written, name in (
            (p.programmed_z, "programmed", length(p.programmed_z, self.units), "programmed"),
            (p.needed_z, "needed", needed(p.needed_z, self.units), "needed"),
            (p.written_z, "written", length(p.written_z, self.units), "written")) if z is not None]
        places = spread([row[0] for row in rows], 1.5 * size, self.low, self.high)
        words = []
        for (z, written, name), at in zip(rows, places, strict=True):
            words.append(tag("path", class_=f"level {name}",
                             d=f"M{number(self.right)} {number(-z)}L{number(self.right + size)} {number(-at)}"))
            words.append(tag("text", written, x=self.right + 1.3 * size, y=-at + 0.35 * size, class_="value"))
        return words


def _between(start: Point, end: Point, part: float) -> Point:
    return start[0] + (end[0] - start[0]) * part, start[1] + (end[1] - start[1]) * part


def outline(sections: Sequence[tuple[float, float, str]], axis: float, tip: float, top: float) -> list[Point]:
    """The outline of an assembly seen from the side, as a polygon: up its right side and down its left.

    Where a section reaches higher than the next one begins (a shoe), the wider one is seen.
    """
    right: list[Point] = []
    starts = [tip + from_ for from_, _, _ in sections]
    for k, (_, radius, part) in enumerate(sections):
        low = max(starts[k], -1e9)
        high = starts[k + 1] if k + 1 < len(sections) else max(top, low + 1.0)
        del part
        right += [(axis + radius, low), (axis + radius, high)]
    return right + [(2 * axis - x, z) for x, z in reversed(right)]


def draw_tool(setup: Setup, tool: Tool) -> Markup:
    """One tool with everything above it that is modelled, to scale, with its diameters."""
    sections = [(height, diameter / 2, "cutter" if k == 0 else "shank")
                for k, (height, diameter) in enumerate(stacked(tool.sections))]
    face = tool.length
    if face is not None and setup.spindle is not None:
        sections += [(height, diameter / 2, "collet nut" if k == 0 else "spindle")
                     for k, (height, diameter) in enumerate(stacked(setup.spindle.sections, face))]
    top = sections[-1][0] + (ABOVE if len(sections) > 1 else max(ABOVE, face or 0.0))
    widest = max(radius for _, radius, _ in sections)
    size = top / 13
    words = []
    places = spread([low + 0.4 * size for low, _, _ in sections], 1.5 * size, 0.0, top)
    name = UNIT_WORD[setup.units]
    for (low, radius, part), at in zip(sections, places, strict=True):
        words.append(tag("path", class_="leader", d=f"M{number(radius)} {number(-low - 0.2 * size)}"
                                                    f"L{number(widest + 0.8 * size)} {number(-at)}"))
        words.append(tag("text", f"{part} {short(2 * radius, setup.units)} {name}, from {short(low, setup.units)} up",
                         x=widest + size, y=-at + 0.35 * size))
    shape = tag("g", tag("polygon", class_="tool written-tool", points=points_text(outline(sections, 0.0, 0.0, top))),
                transform="scale(1 -1)")
    view = f"{number(-widest - size)} {number(-top - size)} {number(2 * widest + 20 * size)} {number(top + 2 * size)}"
    return tag("svg", Markup("").join([shape, tag("g", Markup("").join(words), class_="words", font_size=size)]),
               class_="tooldrawing", viewBox=view, role="img",
               aria_label=f"tool {tool.number} from its side")
