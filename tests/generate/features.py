"""What a program cuts: each function adds one feature at the next free places of the bench."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import shapely
from hypothesis import strategies as st

from .benches import GeneratedBench
from .writer import Writer

Draw = Callable[[st.SearchStrategy[Any]], Any]
Place = tuple[Decimal, Decimal]


class Job:
    """A program in the making. `gap` and `high` are the mm at which its rapids run and its spindle retracts."""

    def __init__(self, draw: Draw, writer: Writer, bench: GeneratedBench, gap: float, high: float) -> None:
        self.draw = draw
        self.writer = writer
        self.bench = bench
        self.gap = gap
        self.high = high
        self.tool: int | None = None
        self.room = 0.0
        self.bodies: list[list[str]] = []
        """Subprograms, to stand behind the main program."""
        self.feed = draw(st.sampled_from([600.0, 1200.0, 2540.0]))

    def flip(self) -> bool:
        return bool(self.draw(st.booleans()))

    def pick(self, *values: Any) -> Any:
        return self.draw(st.sampled_from(values))

    def next_place(self) -> Place:
        """A free place, on the grid of the hand, and how far a cut may stray from it (`room`)."""
        index = self.draw(st.integers(0, len(self.bench.places) - 1))
        x, y = self.bench.places[index]
        # Staying within the clearance keeps ends of runs free of clips; now and then a cut goes closer than that.
        wide = self.draw(st.integers(0, 4)) == 0
        self.room = min(self.bench.room[index] - 0.2 if wide else 2.0, 25.0)
        return self.on_grid(x, 0), self.on_grid(y, 1)

    def on_grid(self, millimetres: float, axis: int | None = None) -> Decimal:
        value = self.writer.rounded(millimetres, axis) * self.writer.scale
        return value if axis is None else value + self.writer.origin[axis]

    def depth(self) -> Decimal:
        return self.on_grid(self.bench.deepest * self.pick(1.0, 0.5, 0.25), 2)

    def approach(self, place: Place, gap: Decimal | float | None = None) -> None:
        """Come to a place by rapids, in the hand's manner, and stand at the gap."""
        writer, style = self.writer, self.writer.style
        gap = self.gap if gap is None else gap
        if style.incremental and None not in writer.position:
            writer.distance(True)
        if style.traverse == "feed" and None not in writer.position and self.flip():
            self.traverse_at_feed(place, gap)
        elif style.approach == "all" or (style.first_block_full and writer.position[0] is None):
            writer.rapid(*place, gap)
        elif style.approach == "z first" and writer.position[2] is not None:
            writer.rapid(None, None, self.pick(gap, self.high))
            writer.rapid(*place)
            writer.rapid(None, None, gap)
        else:
            if self.draw(st.integers(0, 5)) == 0:
                writer.rapid(place[0])
            writer.rapid(*place)
            writer.rapid(None, None, gap)
        if style.incremental:
            writer.distance(True)

    def traverse_at_feed(self, place: Place, gap: Decimal | float) -> None:
        """Come to a place as posts do that write every traverse as G1: up, across and down."""
        writer = self.writer
        level = self.pick(gap, max(gap, self.high))
        if writer.position[2] < level:  # type: ignore[operator]
            writer.cut(None, None, level, self.feed)
        writer.cut(*place, None, self.feed)
        writer.cut(None, None, gap, self.feed)

    def plunge(self, depth: Decimal) -> None:
        if self.draw(st.integers(0, 3)) == 0:
            self.writer.rapid(None, None, self.pick(0.5, 1.0))
        self.writer.cut(None, None, depth, self.feed / 2 if self.flip() else self.feed)

    def retract(self) -> None:
        style, writer = self.writer.style, self.writer
        if style.retract == "feed":
            writer.cut(None, None, self.gap, self.feed)
        elif style.retract == "own" or self.flip():
            writer.rapid(None, None, self.pick(self.gap, self.high))
        # A hand that retracts on the diagonal leaves it to the next approach.

    def is_clear(self, start: Place, end: Place, depth: Decimal) -> bool:
        """Whether a straight cut makes no contact with any tool of the bench."""
        line = shapely.LineString([[float(v) for v in start], [float(v) for v in end]])
        for obstacle in self.bench.bench.obstacles:
            distance = shapely.distance(line, obstacle.core) - obstacle.radius
            for sections in self.bench.bench.assemblies.values():
                for section in sections:
                    below = obstacle.top + obstacle.tolerance - section.bottom(float(depth))
                    if below > 0 and distance < section.radius + obstacle.tolerance + 0.01:
                        return False
        return True


def line(job: Job) -> None:
    """A groove from one place to another, or a short one where something stands in between."""
    start = job.next_place()
    near = (start[0] + job.on_grid(job.room * 0.7), start[1] - job.on_grid(job.room * 0.6))
    depth = job.depth()
    far = job.next_place()
    end = far if far != start and job.is_clear(start, far, depth) else near
    job.approach(start)
    job.plunge(depth)
    job.writer.cut(*end, None, job.feed)
    job.retract()


def pocket(job: Job) -> None:
    """A small square, round and round."""
    x, y = job.next_place()
    side = job.on_grid(max(0.2, job.room * 0.7))
    job.approach((x, y))
    for depth in sorted({job.depth(), job.depth()}, reverse=True):
        job.plunge(depth)
        for corner in ((x + side, y), (x + side, y + side), (x, y + side), (x, y)):
            job.writer.cut(*corner, None, job.feed)
    job.retract()


def arcs(job: Job) -> None:
    """Quarter turns, a half turn and perhaps a full turn about a place."""
    x, y = job.next_place()
    radius = job.on_grid(max(0.5, job.room * 0.9))
    writer = job.writer
    job.approach((x + radius, y))
    job.plunge(job.depth())
    clockwise = job.flip()
    sign = -1 if clockwise else 1
    writer.arc(clockwise, (x, y), [x, y + sign * radius, None])
    writer.arc(clockwise, (x, y), [x - radius, y, None])
    if job.flip():
        writer.arc(clockwise, (x, y), [x - radius, y, None])
    writer.arc(not clockwise, (x, y), [x, y + sign * radius, None])
    job.retract()


def helix(job: Job) -> None:
    """Down in full turns."""
    x, y = job.next_place()
    radius = job.on_grid(max(0.5, job.room * 0.8))
    depth = job.depth()
    job.approach((x + radius, y))
    job.writer.cut(None, None, Decimal(0), job.feed)
    for share in (Decimal("0.5"), Decimal(1)):
        job.writer.arc(job.flip(), (x, y), [x + radius, y, job.on_grid(float(depth * share), 2)])
    job.retract()


def upright_arc(job: Job) -> None:
    """A bow in another plane, over the top: G18 or G19."""
    x, y = job.next_place()
    radius = job.on_grid(max(0.5, min(job.room, 4.0) * 0.5))
    depth = job.depth()
    writer = job.writer
    job.approach((x, y))
    job.plunge(depth)
    if job.flip():
        writer.block("G18")
        # Seen from the end of Y, Z turns to X counter-clockwise: over the top toward X is G3.
        writer.arc(False, (x + radius, depth), [x + 2 * radius, None, depth], 18)
    else:
        writer.block("G19")
        writer.arc(True, (y + radius, depth), [None, y + 2 * radius, depth], 19)
    writer.block("G17")
    job.retract()


def ramp(job: Job) -> None:
    """Down along a slope and back."""
    x, y = job.next_place()
    job.approach((x, y))
    job.writer.cut(x + job.on_grid(job.room * 0.9), y, job.depth(), job.feed)
    job.writer.cut(x, y)
    job.retract()


CODES = ("G81", "G81", "G81", "G82", "G83", "G73", "G85", "G89", "G86", "G84")


def holes(job: Job) -> None:
    """A row of holes with one canned cycle."""
    writer, style = job.writer, job.writer.style
    first = job.next_place()
    level = job.on_grid(job.pick(job.gap, job.high), 2)
    job.approach(first, level)
    code = job.pick(*CODES)
    retract = style.cycles or "G98"
    r = job.on_grid(job.pick(job.gap, 1.0), 2)
    feed = writer.feed_word(job.feed)
    if code in ("G84", "G86"):
        writer.block("M3")
    for number in range(job.draw(st.integers(1, 5))):
        place = first if number == 0 else job.next_place()
        bare = number > 0 and job.flip()
        hole(job, code, "" if bare else retract, place, r, level, bare, feed)
        feed = ""
    if writer.incremental and job.flip() and code in ("G81", "G82") and retract == "G98":
        step = job.on_grid(min(job.room, 1.5) / 2)
        writer.block(f"X{writer.number(step / writer.scale)}", "L2")
        writer.position[0] += 2 * step  # type: ignore[operator]
    if job.flip():
        writer.block("G80")
        writer.motion = None
    else:
        writer.motion = code


def hole(job: Job, code: str, retract: str, place: Place, r: Decimal, level: Decimal, bare: bool, feed: str) -> None:
    """One block of a cycle. In G91 the R and Z words count from where the tool stands."""
    writer = job.writer
    here, depth = writer.position[2], job.depth()
    assert here is not None
    words = [f"{letter}{text}" for letter, text in zip("XY", hole_numbers(job, place), strict=True)]
    if not bare or writer.incremental:
        if writer.incremental:
            z, clear = depth - r, r - here
            words += [f"Z{writer.number(z / writer.scale)}", f"R{writer.number(clear / writer.scale)}"]
        else:
            words += [f"Z{writer.number(writer.rounded(depth, 2))}", f"R{writer.number(writer.rounded(r, 2))}"]
        if code in ("G82", "G86", "G89"):
            words.append("P0.5")
        if code in ("G83", "G73"):
            words.append(f"Q{writer.number(writer.rounded(1.7))}")
    writer.block(retract, "" if bare else code, *words, feed)
    high = (writer.style.cycles or "G98") == "G98"
    writer.position[2] = max(level, r) if high else r


def hole_numbers(job: Job, place: Place) -> list[str]:
    writer = job.writer
    numbers = []
    for axis, value in enumerate(place):
        here = writer.position[axis]
        assert here is not None
        if writer.incremental:
            numbers.append(writer.number((value - here) / writer.scale))
        else:
            numbers.append(writer.number(writer.rounded(value, axis)))
        writer.position[axis] = value
    return numbers


FEATURES: dict[str, Callable[[Job], None]] = {
    "line": line,
    "pocket": pocket,
    "arcs": arcs,
    "helix": helix,
    "upright arc": upright_arc,
    "ramp": ramp,
    "holes": holes,
}
