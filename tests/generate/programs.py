"""Programs that cut cabinet parts on a generated bench: lines, pockets, arcs, holes, in one hand, at the free places.

The rapids between the places run low, so that they often clip something; the cuts do not.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from hypothesis import strategies as st

from .benches import GeneratedBench
from .extras import EXTRAS, add_extra
from .features import FEATURES, Job
from .styles import styles
from .writer import Style, Writer

Draw = Callable[[st.SearchStrategy[Any]], Any]


@dataclass
class GeneratedProgram:
    """`tool` must be given as --tool where it is not None."""

    data: bytes
    style: Style
    tool: int | None
    features: list[str]


@st.composite
def programs(
    draw: Draw,
    bench: GeneratedBench,
    style: Style | None = None,
    extras: frozenset[str] = frozenset(),
    most_features: int = 5,
) -> GeneratedProgram:
    """A program for the bench. `extras` of EXTRAS: what goes beyond the plain style list."""
    style = style or draw(styles())
    if style.tool_change and len(bench.tools) < 2:
        style = style.but(tool_change=False, tool_length=False)
    if not style.tool_change:
        style = style.but(tool_length=False)
    start = bench.start
    known = isinstance(start, list)
    scale = Decimal("25.4") if bench.setup["units"] == "inch" else Decimal(1)
    position = tuple(Decimal(str(v)) * scale for v in start) if known else (None, None, None)
    writer = Writer(style, position)  # type: ignore[arg-type]
    gap = draw(st.sampled_from([1.0, 3.0, 5.0, 12.0]))
    job = Job(draw, writer, bench, gap, draw(st.sampled_from([gap, 20.0, 45.0])))
    tool = write_heading(draw, job)
    features = []
    count = draw(st.integers(1, most_features))
    change_before = draw(st.integers(1, count)) if style.tool_change and count > 1 else -1
    for number in range(count):
        if number == change_before:
            change_tool(job, bench.tools[1])
        names = [name for name in FEATURES if name != "holes" or style.cycles]
        if number and extras and draw(st.booleans()):
            name = draw(st.sampled_from(sorted(extras)))
            assert name in EXTRAS
            add_extra(name, job)
        else:
            name = draw(st.sampled_from(names + (["holes"] * 3 if style.cycles else [])))
            FEATURES[name](job)
        features.append(name)
    write_ending(draw, job, homing="homing" in extras)
    if job.bodies and not style.ending.startswith(("M30", "M2")):
        writer.block("M30")
    for body in job.bodies:
        writer.lines += body
    return GeneratedProgram(writer.data(), style, tool, features)


def write_heading(draw: Draw, job: Job) -> int | None:
    """The first blocks: modes, tool, spindle. Gives what --tool must say."""
    writer, style = job.writer, job.writer.style
    writer.block(comment=draw(st.sampled_from(["door panel", "seat of a chair - ash", "T2"])))
    modes = ["G20" if style.inch else "G21", "G90"]
    modes += draw(st.sampled_from([[], ["G17"], ["G17", "G40", "G80"], ["G17", "G40", "G80", "G94"], ["G40", "G17"]]))
    if draw(st.booleans()):
        modes.append("G54")
    if style.arcs == "absolute":
        modes.append("G90.1")
    if draw(st.integers(0, 4)) == 0:
        modes.append(draw(st.sampled_from(["G61", "G64"])))
    if draw(st.booleans()):
        writer.block(*modes)
    else:
        for mode in modes:
            writer.block(mode)
    tool = None
    if style.tool_change:
        change_tool(job, job.bench.tools[0])
    elif len(job.bench.tools) > 1:
        tool = draw(st.sampled_from(job.bench.tools))
        if draw(st.booleans()):
            writer.block(f"T{tool}")
            tool = None
    speed = draw(st.sampled_from(["S12000", "S18000"]))
    if style.first_block_full and not style.tool_length:
        place = job.next_place()
        writer.rapid(place[0], place[1], job.high, speed, "M3")
        return tool
    if draw(st.booleans()):
        writer.block(speed, "M3")
    else:
        writer.block(speed)
        writer.block("M3")
    if draw(st.integers(0, 3)) == 0:
        writer.block("M8")
    if draw(st.booleans()):
        writer.block("G4", "P2" if not style.tight else "P1.5")
    return tool


def change_tool(job: Job, number: int) -> None:
    """M6 as posts write it: the tool goes up, is changed, and comes to the next place."""
    writer = job.writer
    writer.distance(False)
    if writer.position[2] is not None:
        writer.rapid(None, None, job.high)
    writer.block(f"T{number}", "M6") if job.flip() else writer.block(f"M6 T{number}")
    job.tool = number
    after = job.bench.setup["machine"]["after_tool_change"]
    writer.forget(keep_xy=after == "same")
    writer.motion = None
    if writer.style.tool_length:
        height = writer.number(writer.rounded(90.0))
        writer.block(writer.code(0), "G43", f"H{number}", f"Z{height}")
        writer.motion = writer.code(0)
        writer.forget(writer.rounded(90.0) * writer.scale, keep_xy=after == "same")
    if job.flip():
        writer.block("M3")


def write_ending(draw: Draw, job: Job, homing: bool) -> None:
    writer, style = job.writer, job.writer.style
    if homing:
        if job.flip():
            writer.distance(True)
            writer.block("G28", "Z" + writer.number(Decimal(0)))
        else:
            writer.distance(False)
            writer.block("G28", "Z" + writer.number(writer.rounded(60.0, 2)))
        if job.flip():
            writer.block("G28")
    else:
        writer.rapid(None, None, draw(st.sampled_from([job.high, 60.0])))
        if job.flip():
            writer.distance(False)
            writer.rapid(0.0, 0.0, None)
    writer.block("M5")
    if style.ending:
        writer.block(style.ending)
