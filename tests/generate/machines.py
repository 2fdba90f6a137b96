"""Machines around the tool: benches whose Z travel is short, with shoes, undercut tools, tools of several lengths,
traverses at feed that may be lifted, ways round, and motions that the machine makes of its own.
"""

from __future__ import annotations

import copy
import tomllib
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import tomlkit
from hypothesis import assume
from hypothesis import strategies as st

from tests.referee.plain_options import options_of
from tests.referee.plain_reader import read

from .benches import GeneratedBench, Rule, free_places, jittered_grid
from .styles import STYLES, mixed_styles
from .writer import Style

Draw = Callable[[st.SearchStrategy[Any]], Any]
FEWEST_PLACES = 3
MACHINES = ("ceiling", "post", "riding shoe", "hard shoe", "soft shoe", "undercut", "lengths", "own motion")


@st.composite
def machines(draw: Draw, bench: GeneratedBench, always: frozenset[str] = frozenset()) -> GeneratedBench:
    """The bench with some of MACHINES, those of `always` among them; its free places are free all the same."""
    setup = copy.deepcopy(bench.setup)
    rule = Rule(setup["units"])
    scale = 25.4 if rule.inch else 1.0
    chosen = set(always) | {name for name in MACHINES if draw(st.integers(0, 3)) == 0}
    width, depth = (side * scale for side in setup["stock"]["size"])
    machine = setup["machine"]
    setup["repair"] = {"air_feeds": draw(st.booleans()),
                       "detour": draw(st.sampled_from(["when-needed", "when-faster"]))}
    if draw(st.booleans()):
        machine["rapid_rate"] = rule(8000.0, 8000.0, draw(st.sampled_from([600.0, 4000.0])))
        machine["acceleration"] = rule(600.0, 600.0, 200.0)
    if "ceiling" in chosen or "lengths" in chosen:
        wide = draw(st.sampled_from([60.0, 150.0]))
        machine["reach"] = {"x": rule(-wide, width + wide), "y": rule(-wide, depth + wide),
                            "z": rule(-100.0, draw(st.sampled_from([61.0, 66.0, 81.0])))}
    if "post" in chosen:
        setup["obstacles"] += posts(draw, rule, width, depth)
    shoe: dict[str, Any] | None = None
    if "riding shoe" in chosen:
        shoe = {"diameter": rule(90.0), "rides_at": rule(draw(st.sampled_from([6.0, 25.0, 45.0]))),
                "soft": draw(st.integers(0, 3)) == 0}
    elif {"hard shoe", "soft shoe"} & chosen:
        shoe = {"diameter": rule(90.0), "bottom": rule(draw(st.sampled_from([10.0, 24.0, 40.0]))),
                "soft": "soft shoe" in chosen}
    if shoe is not None:
        setup.setdefault("spindle", {"sections": [{"diameter": rule(30.0), "height": rule(60.0)}]})["shoe"] = shoe
    if "undercut" in chosen:
        setup["tools"][-1] = disc(draw, rule, setup["tools"][-1])
        if draw(st.integers(0, 3)) == 0:
            setup["table"] = {"z": round(setup["stock"]["top"] - setup["stock"]["thickness"], 4)}
            del setup["stock"]
    if "lengths" in chosen:
        setup["tools"][0]["length"] = rule(32.0)
        if len(setup["tools"]) == 1:
            setup["tools"].append({"number": 2, "diameter": rule(6.0)})
        setup["tools"][1]["length"] = rule(draw(st.sampled_from([40.0, 51.0])))
        machine["reference_tool"] = 1
    if "own motion" in chosen:
        machine["own_motion"] = {"M6": draw(st.sampled_from(["none", "z-first", "any"])),
                                 "M30": draw(st.sampled_from(["none", "z-first", "any"]))}
    grid = jittered_grid(draw, width, depth)
    plain, places, room = free_places(setup, grid, bench.deepest)
    assume(len(places) >= FEWEST_PLACES)
    text = tomlkit.dumps(setup)
    return replace(bench, text=text, setup=tomllib.loads(text), places=places, room=room, bench=plain)


def posts(draw: Draw, rule: Rule, width: float, depth: float) -> list[dict[str, Any]]:
    """One or two obstacles that no lift under a low ceiling takes a rapid over."""
    found = []
    for number in range(draw(st.integers(1, 2))):
        x, y = width * draw(st.integers(3, 7)) / 10, draw(st.sampled_from([0.0, depth / 2, depth]))
        entry: dict[str, Any] = {"name": f"post {number + 1}", "top": rule(draw(st.sampled_from([58.0, 72.0])))}
        if draw(st.booleans()):
            entry |= {"shape": "cylinder", "center": rule(x, y), "diameter": rule(20.0)}
        else:
            entry |= {"shape": "box", "center": rule(x, y), "size": rule(30.0, 18.0), "angle": 20.0}
        found.append(entry)
    return found


def disc(draw: Draw, rule: Rule, tool: dict[str, Any]) -> dict[str, Any]:
    """The tool with a disc at its tip that is wider than the arbor above it."""
    found = {name: value for name, value in tool.items() if name not in ("diameter", "sections")}
    found["sections"] = [{"diameter": rule(draw(st.sampled_from([12.0, 32.0]))), "height": rule(4.0)},
                         {"diameter": rule(8.0), "height": rule(20.0)}]
    return found


@st.composite
def machine_styles(draw: Draw) -> Style:
    """The hands that matter here: every second one writes its traverses at feed."""
    style = draw(st.one_of(st.sampled_from(list(STYLES.values())), mixed_styles()))
    return style.but(traverse="feed") if draw(st.booleans()) else style


def with_setup(bench: GeneratedBench, setup: dict[str, Any]) -> GeneratedBench:
    """The bench with other keys."""
    return replace(bench, setup=setup, text=tomlkit.dumps(setup))


def moved(bench: GeneratedBench, obstacle: int, by: np.ndarray) -> GeneratedBench:
    """The bench with one obstacle somewhere else: by (3,) mm in X, Y and of its top."""
    setup = copy.deepcopy(bench.setup)
    scale = 25.4 if setup["units"] == "inch" else 1.0
    entry = setup["obstacles"][obstacle]
    for key in ("center", "from", "to", "at"):
        if key in entry:
            entry[key] = [value + step / scale for value, step in zip(entry[key], by, strict=False)]
    if "points" in entry:
        entry["points"] = [[x + by[0] / scale, y + by[1] / scale] for x, y in entry["points"]]
    for key in ("top", "height"):
        if key in entry:
            entry[key] += by[2] / scale
    return with_setup(bench, setup)


def middle(bench: GeneratedBench, number: int) -> tuple[float, float]:
    """Somewhere in the footprint of an obstacle, mm."""
    name = bench.setup["obstacles"][number]["name"]
    solid = next(solid for solid in bench.bench.obstacles if solid.name == name)
    point = solid.core.representative_point()
    return point.x, point.y


@st.composite
def in_the_way(draw: Draw, bench: GeneratedBench, data: bytes, tool: int | None, kind: str) -> GeneratedBench:
    """The bench with one obstacle put on the way of a traverse of a program (of `kind` "rapid" or, for traverses at
    feed, "cut"), one that is lower than its top where there is any, as far from the cuts as one of these is."""
    moves = read(data, options_of(bench.setup, tool)).moves
    known = [move for move in moves if None not in (*move.start, *move.end)]
    high = (bench.setup.get("stock", {}).get("top", 0.0) + bench.setup["clearance"].get("above", 3.0)) \
        * (25.4 if bench.setup["units"] == "inch" else 1.0)
    number = draw(st.integers(0, len(bench.setup["obstacles"]) - 1))
    top = max(solid.top for solid in bench.bench.obstacles if solid.name == bench.setup["obstacles"][number]["name"])
    across = [move for move in known if move.kind == kind and move.start[:2] != move.end[:2]
              and min(float(move.start[2]), float(move.end[2])) >= high]
    across = [move for move in across if min(float(move.start[2]), float(move.end[2])) < top] or across
    low = np.array([move.end[:2] for move in known if move.kind != "rapid" and float(move.end[2]) < high], dtype=float)
    assume(across)
    middles = np.array([(np.array(move.start[:2], float) + np.array(move.end[:2], float)) / 2 for move in across])
    room = np.hypot(*(middles[:, None, :] - low[None, :, :]).T).min(axis=0) if len(low) else np.full(len(middles), 1e3)
    to = middles[int(room.argmax())] - np.array(middle(bench, number))
    return moved(bench, number, np.array([*to, 0.0]))
