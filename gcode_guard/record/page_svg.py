"""Small means to draw SVG: elements whose every value is escaped, numbers, labels that keep clear of each other.

Drawings are in world units: one unit is a millimetre of the bench. Y grows upward within a group that is turned over
once; only text stands outside of it, with its Y negated.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape

Point = tuple[float, float]
Box = tuple[float, float, float, float]
"""Lowest x, lowest y, highest x, highest y."""

NEAR_RINGS = 3  # round a target, in which a label stands that may not stand far off
LETTER_WIDTH = 0.56  # of the font's size: the mean of sans-serif faces, a little wide; common practice, no source


def tag(name: str, content: Markup | str = "", /, **attributes: object) -> Markup:
    """An element. Text and values are escaped, Markup is not; None leaves an attribute out; `class_` is `class`."""
    written = Markup("").join(
        Markup(' {}="{}"').format(Markup(key.rstrip("_").replace("_", "-")), text(value))
        for key, value in attributes.items() if value is not None)
    body = content if isinstance(content, Markup) else escape(content)
    return Markup("<{0}{1}>{2}</{0}>").format(Markup(name), written, body) if body else \
        Markup("<{0}{1}/>").format(Markup(name), written)


def text(value: object) -> str:
    """A value of an attribute: numbers to a thousandth."""
    return number(value) if isinstance(value, float) else str(value)


def number(value: float) -> str:
    """A number of the drawing, to a thousandth of a millimetre, without needless zeros."""
    written = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if written == "-0" else written


def points_text(points: Iterable[Point]) -> str:
    """Points as SVG wants them in `points`."""
    return " ".join(f"{number(x)},{number(y)}" for x, y in points)


def path_text(lines: Iterable[Sequence[Point]]) -> str:
    """Polylines as the data of one path; a line that stays at its place becomes a dot."""
    parts = []
    for line in lines:
        if len(line) < 2:
            continue
        first, *rest = (f"{number(x)} {number(y)}" for x, y in line)
        parts.append(f"M{first}L" + " ".join(rest))
    return "".join(parts)


@dataclass(frozen=True, slots=True)
class Label:
    """Text placed in a drawing: its lower left corner (y upward), and where its leader ends, if it needs one."""

    text: str
    x: float
    y: float
    leader: tuple[Point, Point] | None
    box: Box


class LabelBoard:
    """Places labels within `frame` so that none covers another or what was taken before.

    `size` is the font's, in the units of the drawing. What was taken is FIRM and never covered, a LINE that is covered
    only where there is no room nearby, or a FIELD that is left free if there is room right beside it.
    """

    FIRM, LINE, FIELD = 0, 1, 2

    def __init__(self, frame: Box, size: float) -> None:
        self.frame, self.size = frame, size
        self._taken: tuple[list[Box], list[Box], list[Box]] = ([], [], [])

    def take(self, box: Box, degree: int = FIRM) -> None:
        """Keeps labels out of a box."""
        self._taken[degree].append(box)

    def take_line(self, start: Point, end: Point, wide: float) -> None:
        """Keeps labels off a straight line. A slanting one is kept clear in pieces, since the box round all of it
        would be mostly empty."""
        (x0, y0), (x1, y1) = start, end
        half = wide / 2
        slant = min(abs(x1 - x0), abs(y1 - y0))
        pieces = max(1, min(40, int(max(abs(x1 - x0), abs(y1 - y0)) / (2 * self.size)))) if slant > half else 1
        for k in range(pieces):
            xs = sorted((x0 + (x1 - x0) * k / pieces, x0 + (x1 - x0) * (k + 1) / pieces))
            ys = sorted((y0 + (y1 - y0) * k / pieces, y0 + (y1 - y0) * (k + 1) / pieces))
            self.take((xs[0] - half, ys[0] - half, xs[1] + half, ys[1] + half), self.LINE)

    def width(self, words: str) -> float:
        return len(words) * self.size * LETTER_WIDTH

    def place(self, words: str, target: Box, *, lines: int = 1, over_lines: bool = True,
              far: bool = True) -> Label | None:
        """The nearest free place for `words` round (or in) the box `target`; None where there is no room at all.

        `over_lines`: it may cover lines where there is no other room. `far`: it may stand far off, with a leader.
        """
        width, height = self.width(words), self.size * 1.25 * lines
        middle = ((target[0] + target[2]) / 2, (target[1] + target[3]) / 2)
        if width < target[2] - target[0] and height < target[3] - target[1]:
            inside = self._free(middle[0] - width / 2, middle[1] - height / 2, width, height, self.LINE)
            if inside is not None:
                return self._put(words, inside, None)
        passes = [(range(3), self.FIELD), (range(6), self.LINE), (range(12), self.FIELD)]
        for rings, degree in passes + ([(range(12), self.FIRM)] if over_lines else []):
            for ring in rings if far else rings[:NEAR_RINGS]:
                gap = self.size * (0.5 + 0.9 * ring)
                for x, y in _round(target, middle, width, height, gap):
                    box = self._free(x, y, width, height, degree)
                    if box is not None:
                        leader = (_nearest(middle, box), _into(target, box)) if ring > 0 else None
                        return self._put(words, box, leader)
        return None

    def _free(self, x: float, y: float, width: float, height: float, degree: int) -> Box | None:
        """The box, if it is free of everything up to a degree."""
        box = (x, y, x + width, y + height)
        frame = self.frame
        if box[0] < frame[0] or box[1] < frame[1] or box[2] > frame[2] or box[3] > frame[3]:
            return None
        return None if any(_cross(box, other) for kept in self._taken[: degree + 1] for other in kept) else box

    def _put(self, words: str, box: Box, leader: tuple[Point, Point] | None) -> Label:
        self.take(box)
        if leader is not None:
            self.take_line(*leader, 0.1 * self.size)
        return Label(words, box[0], box[1] + 0.28 * self.size, leader, box)


def _round(target: Box, middle: Point, width: float, height: float, gap: float) -> list[Point]:
    """Lower left corners of a label round a box: beside it, over and under it, at its corners."""
    right, left = target[2] + gap, target[0] - gap - width
    over, under = target[3] + gap, target[1] - gap - height
    across, up = middle[0] - width / 2, middle[1] - height / 2
    return [(right, up), (left, up), (across, over), (across, under), (right, over), (left, over), (right, under),
            (left, under), (right, target[3] - height), (right, target[1]), (left, target[3] - height),
            (left, target[1]), (target[0], over), (target[2] - width, over), (target[0], under),
            (target[2] - width, under)]


def _cross(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _nearest(point: Point, box: Box) -> Point:
    return min(max(point[0], box[0]), box[2]), min(max(point[1], box[1]), box[3])


def _into(target: Box, label: Box) -> Point:
    """Where a leader from a label ends: in the target, a third of the way to its middle."""
    edge = _nearest(((label[0] + label[2]) / 2, (label[1] + label[3]) / 2), target)
    middle = ((target[0] + target[2]) / 2, (target[1] + target[3]) / 2)
    return edge[0] + (middle[0] - edge[0]) / 3, edge[1] + (middle[1] - edge[1]) / 3


def spread(places: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Moves numbers apart until neighbours are `gap` from each other, in their order, within `low` to `high` if it
    can be: for labels beside a scale."""
    order = sorted(range(len(places)), key=lambda k: places[k])
    moved = [places[k] for k in order]
    for _ in range(50):
        calm = True
        for k in range(1, len(moved)):
            lack = gap - (moved[k] - moved[k - 1])
            if lack > 1e-9:
                moved[k - 1] -= lack / 2
                moved[k] += lack / 2
                calm = False
        if calm:
            break
    if moved:
        shift = max(0.0, low - moved[0]) - max(0.0, moved[-1] - high)
        moved = [value + shift for value in moved]
    result = [0.0] * len(places)
    for k, value in zip(order, moved, strict=True):
        result[k] = value
    return result


def nice_step(span: float, about: int) -> float:
    """A round step (1, 2 or 5 times a power of ten) that divides `span` into about so many parts."""
    raw = max(span, 1e-9) / about
    power = 10.0 ** len(str(int(raw))) / 10 if raw >= 1 else 1.0
    while power > raw:
        power /= 10
    return next(power * factor for factor in (1, 2, 5, 10) if power * factor >= raw)
