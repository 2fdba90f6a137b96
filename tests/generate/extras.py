"""The rest of the language: subprograms, offsets, homing, machine coordinates, parameters, stops, block delete."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

from hypothesis import strategies as st

from .features import Job, pocket


def subprogram(job: Job) -> None:
    """A small body in increments, called at several places; it ends where it began."""
    writer = job.writer
    number = len(job.bodies) + 100
    places = [job.next_place() for _ in range(job.draw(st.integers(1, 3)))]
    side = job.on_grid(1.2)
    gap, depth = job.on_grid(job.gap, 2), job.depth()
    count = job.pick(1, 1, 2)
    for place in places:
        job.approach(place, gap)
        writer.block("M98", f"P{number}", f"L{count}" if count > 1 else "")
        # The body leaves G90 and G1 or G0 behind; the hand states them anew.
        writer.incremental, writer.motion, writer.feed = False, None, None
    lines, writer.lines = writer.lines, []
    writer.incremental = False
    writer.block(f"O{number}")
    writer.distance(True)
    writer.cut(None, None, depth, job.feed)
    x, y = (v for v in writer.position[:2])
    for corner in ((x + side, y), (x + side, y + side), (x, y)):  # type: ignore[operator]
        writer.cut(*corner)
    writer.motion_word(0)
    writer.motion = None
    writer.rapid(None, None, gap)
    writer.distance(False)
    writer.block("M99")
    job.bodies.append(writer.lines)
    writer.lines = lines
    writer.motion, writer.feed = None, None


def offset(job: Job) -> None:
    """Another work offset, one feature in it, and back."""
    setup, writer = job.bench.setup, job.writer
    scale = Decimal("25.4") if setup["units"] == "inch" else Decimal(1)
    name = job.pick("G55", "G59.1")
    here, there = setup["offsets"]["G54"], setup["offsets"][name]
    writer.rapid(None, None, job.high)
    writer.distance(False)
    writer.block(name)
    writer.origin = [(Decimal(str(b)) - Decimal(str(a))) * scale for a, b in zip(here, there, strict=True)]
    pocket(job)
    writer.distance(False)
    writer.rapid(None, None, job.high)
    writer.block("G54")
    writer.origin = [Decimal(0)] * 3


def shifted(job: Job) -> None:
    """G92 or G10 L20 at a place, one feature in the shifted frame, and back."""
    writer = job.writer
    x, y = job.next_place()
    job.approach((x, y))
    writer.distance(False)
    values = [job.on_grid(job.pick(0.0, 5.0)), job.on_grid(job.pick(0.0, -12.7))]
    words = [f"{letter}{writer.number(value / writer.scale)}" for letter, value in zip("XY", values, strict=True)]
    by_g92 = job.flip()
    if by_g92:
        writer.block("G92", *words)
    else:
        writer.block("G10", "L20", job.pick("P1", "P0"), *words)
    before = list(writer.origin)
    writer.origin = [x - values[0], y - values[1], before[2]]
    pocket(job)
    writer.distance(False)
    if by_g92:
        writer.block("G92.1")
    else:
        # Where the tool stands, the numbers of the old frame are known: they bring it back.
        at = [writer.position[axis] - before[axis] for axis in (0, 1)]  # type: ignore[operator]
        words = [f"{c}{writer.number((v / writer.scale).quantize(writer.grid))}" for c, v in zip("XY", at, strict=True)]
        writer.block("G10", "L20", "P1", *words)
    writer.origin = before


def homing(job: Job) -> None:
    """Up and home by G28 or G30, and on with the next part."""
    writer = job.writer
    code = job.pick("G28", "G30")
    if job.flip():
        writer.distance(True)
        writer.block(code, "Z" + writer.number(Decimal(0)))
    else:
        writer.distance(False)
        writer.block(code, "Z" + writer.number(writer.rounded(60.0, 2)))
    if job.flip():
        writer.block(code)
    writer.distance(False)
    writer.forget()


def machine_frame(job: Job) -> None:
    """G53: up to a height of the machine's own."""
    writer = job.writer
    writer.distance(False)
    writer.block(writer.code(0), "G53", "Z" + writer.number(writer.rounded(-60.0)))
    writer.motion = writer.code(0)
    zero = job.bench.setup["machine"]["zero"][2]
    scale = Decimal("25.4") if job.bench.setup["units"] == "inch" else Decimal(1)
    writer.position[2] = Decimal(str(zero)) * scale + writer.rounded(-60.0) * writer.scale


def stops(job: Job) -> None:
    """Things that happen between rapids."""
    writer = job.writer
    job.approach(job.next_place())
    kind = job.pick("M0", "M1", "G4 P0.5", "M8", "M9", "S9000", "M3 S8000", "M7", "M48", "G61", "G64")
    writer.block(*kind.split())
    job.approach(job.next_place())


def parameters(job: Job) -> None:
    """A depth in a parameter, worked out along the way."""
    writer = job.writer
    x, y = job.next_place()
    job.approach((x, y))
    writer.distance(False)
    depth = writer.rounded(job.depth(), 2)
    writer.block(f"#1={writer.number(depth)}")
    writer.block("#<half>=[#1/2]")
    job.approach((x, y))
    writer.distance(False)
    writer.block(writer.code(1), "Z[#<half>*2]", writer.feed_word(job.feed))
    writer.motion = writer.code(1)
    writer.position[2] = depth * writer.scale + writer.origin[2]
    job.retract()


EXTRAS: dict[str, Callable[[Job], None]] = {
    "subprograms": subprogram,
    "offsets": offset,
    "shifts": shifted,
    "homing": homing,
    "machine frame": machine_frame,
    "stops": stops,
    "parameters": parameters,
}


def add_extra(name: str, job: Job) -> None:
    EXTRAS[name](job)
