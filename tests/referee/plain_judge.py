"""Promises 1 and 2 of the contract, judged over two readings and a bench. Gives the violations as sentences."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np

from .plain_bench import Bench, Section, bench_of
from .plain_options import HIGH
from .plain_reader import Effect, Move, Reading
from .plain_rule import clip, contact, cut_sweep, numbers, rapid_sweep, upright
from .plain_state import PLANES

EQUAL = 1e-4
"""mm; the contract's own measure of sameness."""
Item = Move | Effect


def judge(
    before: Reading, after: Reading, setup: dict[str, Any], folder: Path | dict[str, str] | None = None
) -> list[str]:
    """Every way in which `after` breaks promise 1 or, against `before`, promise 2."""
    bench = bench_of(setup, folder)
    return judge_clearance(before, after, bench) + judge_sameness(before, after)


def judge_clearance(before: Reading, after: Reading, bench: Bench) -> list[str]:
    """Promise 1, and contact of cuts."""
    found = []
    for move in after.moves:
        if move.kind == "rapid":
            found += judge_rapid(move, before, bench)
        else:
            found += judge_cut(move, bench)
    return found


def judge_rapid(move: Move, before: Reading, bench: Bench) -> list[str]:
    rounding = bench.rounding if move.rounding is None else move.rounding
    sweep = rapid_sweep(move, bench.straight)
    found = []
    for sections in bench.sections(move.tool):
        sweep.grow = growth(move, sections)
        for obstacle in bench.obstacles:
            depth = contact(sweep, sections, obstacle)
            if depth:
                found.append(f"line {move.line}: a rapid meets {obstacle.name} by {depth:.4f} mm")
            else:
                depth = clip(sweep, sections, obstacle, bench, rounding)
                if depth and not may_come_close(move, before):
                    found.append(f"line {move.line}: a rapid clips {obstacle.name} by {depth:.4f} mm")
    return found


def may_come_close(move: Move, before: Reading) -> bool:
    """The exemption: upright, at a known XY, no lower than the program itself goes there."""
    if not upright(move) or any(value is None for value in (*move.start[:2], *move.end)):
        return False
    # Out of an unknown height an upright rapid is judged at its end.
    lowest = min(float(value) for value in (move.start[2], move.end[2]) if value is not None)
    own = [
        float(end[2])
        for item in before.moves
        for end in (item.start, item.end)
        if all(v is not None for v in end) and math.dist(end[:2], move.end[:2]) <= EQUAL  # type: ignore[arg-type]
    ]
    return bool(own) and lowest >= min(own) - EQUAL


def judge_cut(move: Move, bench: Bench) -> list[str]:
    if any(value is None for value in (*move.start, *move.end)):
        return [f"line {move.line}: a cut whose ends are not known"]
    sweep = cut_sweep(move)
    found = []
    for sections in bench.sections(move.tool):
        sweep.grow = growth(move, sections)
        for obstacle in bench.obstacles:
            depth = contact(sweep, sections, obstacle)
            if depth and not obstacle.sacrificial:
                found.append(f"line {move.line}: a cut meets {obstacle.name} by {depth:.4f} mm")
    return found


def growth(move: Move, sections: list[Section]) -> float:
    """Under cutter compensation the path lies a tool radius to one side of the programmed one."""
    return sections[0].radius if move.compensated else 0.0


def judge_sameness(before: Reading, after: Reading) -> list[str]:
    """Promise 2: the same cuts and effects in the same order, and no rapid lower than it was."""
    old, old_runs = part(before)
    new, new_runs = part(after)
    found = []
    for a, b in zip(old, new, strict=False):
        why = difference(a, b)
        if why:
            # What follows a first difference is out of step, and would only repeat it.
            return [f"line {a.line}, line {b.line} after: {why}"]
    if len(old) != len(new):
        return [f"{len(old)} cuts and effects before, {len(new)} after"]
    for a_run, b_run in zip(old_runs, new_runs, strict=True):
        found += lower_rapids(a_run, b_run)
    return found + state_differences(before, after)


def part(reading: Reading) -> tuple[list[Item], list[list[Move]]]:
    """Cuts and effects in order, and the rapids before, between and after them."""
    kept: list[Item] = []
    runs: list[list[Move]] = [[]]
    moving = {id(move) for move in reading.moves}
    for item in reading.sequence:
        if isinstance(item, Move) and id(item) not in moving:
            continue
        if isinstance(item, Move) and item.kind == "rapid":
            runs[-1].append(item)
        else:
            kept.append(item)
            runs.append([])
    return kept, runs


def difference(a: Item, b: Item) -> str | None:
    if isinstance(a, Move) and isinstance(b, Move):
        if a.kind != b.kind or a.plane != b.plane or a.tool != b.tool or a.compensated != b.compensated:
            return f"{a.kind} became {b.kind}, or changed its plane, tool or compensation"
        if not (same_point(a.start, b.start) and same_point(a.end, b.end)):
            return f"a {a.kind} moved from {ends(a)} to {ends(b)}"
        if a.centre is not None and not same_centre(a, b):
            return "an arc changed its centre"
        if (a.feed is None) != (b.feed is None) or (a.feed is not None and abs(a.feed - (b.feed or 0)) > EQUAL):
            return f"a feed changed from {a.feed} to {b.feed}"
        return None
    if isinstance(a, Effect) and isinstance(b, Effect):
        if a.name != b.name or not same_value(a.value, b.value):
            return f"{a.name} {a.value} became {b.name} {b.value}"
        if not effect_stays(a.position, b.position):
            return f"{a.name} moved from {numbers(a.position)} to {numbers(b.position)}"
        return None
    return f"{name_of(a)} became {name_of(b)}"


def name_of(item: Item) -> str:
    return item.kind if isinstance(item, Move) else item.name


def ends(move: Move) -> str:
    return f"{numbers(move.start)} - {numbers(move.end)}"


def same_value(a: object, b: object) -> bool:
    if isinstance(a, tuple) and isinstance(b, tuple):
        return len(a) == len(b) and all(same_value(x, y) for x, y in zip(a, b, strict=True))
    if isinstance(a, (str, type(None))) or isinstance(b, (str, type(None))):
        return a == b
    return abs(float(a) - float(b)) <= EQUAL  # type: ignore[arg-type]


def same_point(a: tuple[Any, ...], b: tuple[Any, ...]) -> bool:
    return all(same_number(x, y) for x, y in zip(a, b, strict=True))


def same_number(a: Any, b: Any) -> bool:
    if a is None or b is None or a == HIGH or b == HIGH:
        return a == b
    return abs(float(a) - float(b)) <= EQUAL


def same_centre(a: Move, b: Move) -> bool:
    axes = PLANES[a.plane or 17][:2]
    return all(same_number(a.centre[axis], b.centre[axis]) for axis in axes)  # type: ignore[index]


def effect_stays(a: tuple[Any, ...], b: tuple[Any, ...]) -> bool:
    """At the same position; a Z that was not known may become so, and may be higher where XY is not known."""
    if not same_point(a[:2], b[:2]):
        return False
    if a[2] is None or same_number(a[2], b[2]):
        return True
    if b[2] is None:
        return False
    xy_unknown = a[0] is None or a[1] is None
    return xy_unknown and a[2] != HIGH and float(b[2]) > float(a[2])


def lower_rapids(before: list[Move], after: list[Move]) -> list[str]:
    """Where the run passed before it must not pass lower, and elsewhere not below the run's lowest point."""
    heights = [value for move in before for value in (move.start[2], move.end[2])]
    if any(value is None for value in heights):
        return []
    found = []
    for move in after:
        start, end = numbers(move.start), numbers(move.end)
        if None in start or None in end or HIGH in start or HIGH in end:
            continue
        for place in np.linspace(start, end, 11):  # type: ignore[arg-type]
            floor = min((lowest_at(old, place) for old in before), default=math.inf)
            if floor == math.inf and heights:
                floor = min(float(value) for value in heights)  # type: ignore[arg-type]
            if floor != math.inf and place[2] < floor - EQUAL:
                found.append(f"line {move.line}: a rapid runs at {place[2]:.4f}, it was {floor:.4f}")
                break
    return found


def lowest_at(move: Move, place: np.ndarray) -> float:
    """The lowest height of a programmed rapid over a place in XY; inf where it does not pass there."""
    start, end = numbers(move.start), numbers(move.end)
    if None in start or None in end:
        return math.inf
    a, b = np.array(start, float), np.array(end, float)
    if upright(move):
        return min(a[2], b[2]) if np.linalg.norm(place[:2] - a[:2]) < 1e-3 else math.inf
    way = b[:2] - a[:2]
    share = float(np.clip((place[:2] - a[:2]) @ way / (way @ way), 0, 1))
    if np.linalg.norm(a[:2] + share * way - place[:2]) > 1e-3:
        return math.inf
    if HIGH in (a[2], b[2]):
        return min(a[2], b[2])
    return float(a[2] + share * (b[2] - a[2]))


def state_differences(before: Reading, after: Reading) -> list[str]:
    """What the program leaves behind must be what it left behind."""
    names = ["units", "incremental", "plane", "motion", "feed_mode", "feed", "retract_to_r", "offset", "rounding"]
    names += ["tool", "selected", "spindle", "compensation", "tip_unknown", "shift", "centres_absolute"]
    # M2 and M30 put G1 in force whatever was (NISTIR 6556, section 3.6.1).
    if after.effects and after.effects[-1].name == "end":
        names.remove("motion")
    found = []
    for name in names:
        a, b = getattr(before.state, name), getattr(after.state, name)
        if isinstance(a, list):
            a, b = tuple(a), tuple(b)
        if not (a == b or (a is not None and b is not None and same_value(a, b))):
            found.append(f"{name} was {a} at the end, and is {b}")
    if not effect_stays(tuple(before.state.position), tuple(after.state.position)):
        found.append("the program ends at another position")
    return found
