"""What the contract asks of an output beyond promises 1 and 2: the reach, undercut tools, ways that the program did
not take, motions of the machine's own, and traverses at feed that were lifted. Gives the violations as sentences."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import shapely

from .plain_bench import DEFAULT_CLEARANCE, Bench, Section, assembly_of, bench_of
from .plain_judge import EQUAL, difference, judge_clearance, judge_sameness, part, same_number
from .plain_options import HIGH, UNITS
from .plain_reader import Effect, Move, Reading
from .plain_rule import SURE, Sweep, clip, numbers, rapid_sweep, reaches, upright

AXES = "XYZ"


def judge_machine(before: Reading, after: Reading, setup: dict[str, Any], files: dict[str, str]) -> list[str]:
    """Every way in which `after` breaks what issue and contract say of the machine, promises 1 and 2 among them."""
    bench = bench_of(setup, files)
    plain, lifted = without_lifted_feeds(before, after, setup)
    found = judge_clearance(before, after, bench) + judge_sameness(before, plain)
    for move in lifted:
        found += lifted_feed_clips(move, bench)
    found += leaves_reach(after, setup)
    found += raised_in_material(before, after, setup)
    found += new_ways_over_stock(before, after, setup, bench)
    found += moves_of_its_own(after, setup, bench)
    return found


def scale_of(setup: dict[str, Any]) -> float:
    return float(UNITS[setup["units"]])


def floor_over_stock(setup: dict[str, Any]) -> float:
    """stock.top + above, mm; inf without a stock."""
    clearance, scale = setup.get("clearance", {}), scale_of(setup)
    above = clearance["above"] * scale if "above" in clearance else DEFAULT_CLEARANCE
    return setup["stock"]["top"] * scale + above if "stock" in setup else math.inf


# Traverses at feed ---------------------------------------------------------------------------------------------


def without_lifted_feeds(before: Reading, after: Reading, setup: dict[str, Any]) -> tuple[Reading, list[Move]]:
    """`after` with each lifted traverse at feed put back as it was, and the ways across at the new height."""
    if not setup.get("repair", {}).get("air_feeds", False):
        return after, []
    floor = floor_over_stock(setup)
    old, _ = part(before)
    sequence: list[Move | Effect] = []
    lifted: list[Move] = []
    items = list(after.sequence)
    kept = [item for item in items if not (isinstance(item, Move) and (item.kind == "rapid" or idle(item)))]
    place = {id(item): k for k, item in enumerate(kept)}
    skip = 0
    surplus = 0
    for item in items:
        if skip and id(item) in place:
            skip -= 1
            continue
        index = place.get(id(item), -1) - surplus
        if 0 <= index < len(old) and isinstance(item, Move):
            was = old[index]
            three = kept[index + surplus : index + surplus + 3]
            if isinstance(was, Move) and difference(was, item) and is_lift_of(was, three, floor):
                sequence.append(was)
                lifted.append(three[1])  # type: ignore[arg-type]
                skip, surplus = 2, surplus + 2
                continue
        sequence.append(item)
    return Reading(sequence, after.state), lifted


def idle(move: Move) -> bool:
    return move.start == move.end and move.centre is None


def is_lift_of(was: Move, three: list[Move | Effect], floor: float) -> bool:
    """Straight up, across as programmed and straight down, at the programmed feed, from a level at or over `floor`."""
    if len(three) < 3 or was.kind != "cut" or not same_number(was.start[2], was.end[2]):
        return False
    if float(was.start[2]) < floor - EQUAL:  # type: ignore[arg-type]
        return False
    height = three[0].end[2] if isinstance(three[0], Move) else None
    if height is None or float(height) <= float(was.start[2]):  # type: ignore[arg-type]
        return False
    corners = [was.start, (*was.start[:2], height), (*was.end[:2], height), was.end]
    for item, start, end in zip(three, corners, corners[1:], strict=False):
        if difference(replace(was, start=start, end=end), item):
            return False
    return True


def lifted_feed_clips(move: Move, bench: Bench) -> list[str]:
    """A lifted traverse is lifted like a rapid: its way across keeps the clearance of one."""
    sweep = rapid_sweep(replace(move, kind="rapid"), bench.straight)
    rounding = bench.rounding if move.rounding is None else move.rounding
    return [f"line {move.line}: a lifted traverse at feed clips {obstacle.name}"
            for sections in bench.sections(move.tool) for obstacle in bench.obstacles
            if clip(sweep, sections, obstacle, bench, rounding)]


# Reach ---------------------------------------------------------------------------------------------------------


def leaves_reach(after: Reading, setup: dict[str, Any]) -> list[str]:
    """Ends of moves outside the travel of the tool that makes them; homing goes by way of HIGH or is within it."""
    reach = setup["machine"].get("reach", {})
    found = []
    for move in after.moves:
        for axis, name in enumerate("xyz"):
            value = move.end[axis]
            if name not in reach or value is None or value == HIGH or value == move.start[axis]:
                continue
            low, high = (limit * scale_of(setup) for limit in reach[name])
            if axis == 2:
                drops = drop_of(setup, move.tool)
                low, high = low - min(drops), high - max(drops)
            if not low - 1e-5 <= float(value) <= high + 1e-5:
                found.append(f"line {move.line}: {AXES[axis]} goes to {float(value):.4f}, outside {low} to {high}")
    return found


def drop_of(setup: dict[str, Any], tool: int | None) -> list[float]:
    """By how much the tip of a tool hangs lower than that of the reference tool, for each tool that it may be."""
    lengths = {entry["number"]: entry.get("length") for entry in setup["tools"]}
    reference = lengths.get(setup["machine"].get("reference_tool"))
    numbers = list(lengths) if tool is None else [tool]
    if reference is None:
        return [0.0]
    return [0.0 if lengths[n] is None else (lengths[n] - reference) * scale_of(setup) for n in numbers]


# Undercut tools ------------------------------------------------------------------------------------------------


def raised_in_material(before: Reading, after: Reading, setup: dict[str, Any]) -> list[str]:
    """Rapids of AFTER alone that raise an undercut tool out of where it may be under an edge of the material."""
    undercut = {tool["number"] for tool in setup["tools"] if is_undercut(tool)}
    top = setup["stock"]["top"] * scale_of(setup) if "stock" in setup else math.inf
    own = {(move.start, move.end) for move in before.moves}
    found = []
    for move in after.moves:
        tools = undercut if move.tool is None else undercut & {move.tool}
        start, end = numbers(move.start), numbers(move.end)
        if move.kind != "rapid" or not tools or start[2] is None or end[2] is None or (move.start, move.end) in own:
            continue
        if start[2] < top - EQUAL and end[2] > start[2] + EQUAL:
            found.append(f"line {move.line}: an undercut tool is raised from {start[2]:.3f} to {end[2]:.3f}")
    return found


def is_undercut(tool: dict[str, Any]) -> bool:
    widths = [section["diameter"] for section in tool.get("sections", [])]
    return any(lower > upper for k, lower in enumerate(widths) for upper in widths[k + 1 :])


# Ways that the program did not take ------------------------------------------------------------------------------


def new_ways_over_stock(before: Reading, after: Reading, setup: dict[str, Any], bench: Bench) -> list[str]:
    """Ways across that the program did not take: over the stock nothing of the tool comes below its top + above."""
    own = {way_of(move) for move in before.moves if move.kind == "rapid" and not upright(move)}
    found = []
    for move in after.moves:
        if move.kind != "rapid" or upright(move) or way_of(move) in own or None in (*move.start, *move.end):
            continue
        if "stock" not in setup:
            if not leads_as_before(move, before):
                found.append(f"line {move.line}: a way round without a stock")
            continue
        if leads_as_before(move, before):
            continue
        corner, size = ([v * scale_of(setup) for v in setup["stock"][key]] for key in ("corner", "size"))
        stock = shapely.box(corner[0], corner[1], corner[0] + size[0], corner[1] + size[1])
        sweep = rapid_sweep(move, bench.straight)
        floor = floor_over_stock(setup)
        for entry in setup["tools"]:
            if move.tool in (None, entry["number"]) and over(sweep, assembly_of(entry, None, scale_of(setup)), stock,
                                                             floor):
                found.append(f"line {move.line}: a way that the program did not take runs low over the stock")
    return found


def over(sweep: Sweep, sections: list[Section], stock: shapely.Geometry, floor: float) -> bool:
    """Whether the sweep brings a section below `floor` over the stock."""
    for section in sections:
        near = shapely.distance(sweep.places, stock) < section.radius - SURE
        if near.any() and section.bottom(float(sweep.lowest[near].min())) < floor - 1e-5:
            return True
    return False


def way_of(move: Move) -> tuple[float, ...]:
    return tuple(round(float(v), 3) if v is not None else math.nan for v in (*move.start[:2], *move.end[:2]))


def leads_as_before(move: Move, before: Reading) -> bool:
    """Whether some rapid of the program goes the same way in XY: from and to the same places within 0.0002 mm."""
    for old in before.moves:
        if old.kind == "rapid" and None not in (*old.start[:2], *old.end[:2]):
            ends = zip((*old.start[:2], *old.end[:2]), (*move.start[:2], *move.end[:2]), strict=True)
            if all(abs(float(a) - float(b)) < 2 * EQUAL for a, b in ends):  # type: ignore[arg-type]
                return True
    return False


# Motions of the machine's own --------------------------------------------------------------------------------------


def moves_of_its_own(after: Reading, setup: dict[str, Any], bench: Bench) -> list[str]:
    """M6 and M30 where the machine may then go anywhere over the table: nothing may reach as high as the tool is."""
    modes = {"M6": "z-first", **setup["machine"].get("own_motion", {})}
    found = []
    tool: int | None = next((item.tool for item in after.sequence if isinstance(item, Move)), None)
    for item in after.sequence:
        if isinstance(item, Move):
            tool = item.tool
            continue
        name = {"tool change": "M6", "end": f"M{item.value}"}.get(item.name)
        if modes.get(name or "") == "any":
            height = numbers(item.position)[2]
            everywhere = np.array([shapely.box(-1e6, -1e6, 1e6, 1e6)])
            sweep = Sweep(everywhere, np.array([-math.inf if height is None else height]))
            for sections in bench.sections(tool):
                for obstacle in bench.obstacles:
                    if reaches(sweep, sections, obstacle, bench.beside, bench.above):
                        found.append(f"line {item.line}: {name} may move the tool into {obstacle.name}")
        if item.name == "tool change":
            tool = item.value  # type: ignore[assignment]
    return found

