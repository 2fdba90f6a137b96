"""Benches: setup files of a small shop's routers, as text and as the table that tomllib reads from it.

Numbers are rounded as a person would write them. Every bench comes with places where a tool may go down to
`deepest` without coming inside any clearance, so that most programs over it can be mended.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import shapely
import tomlkit
from hypothesis import strategies as st

from tests.referee.plain_bench import Bench, bench_of

Draw = Callable[[st.SearchStrategy[Any]], Any]
ENOUGH_PLACES = 6
LIBRARY = """format = 1
units = "mm"

[[parts]]
name = "step clamp"
[[parts.solids]]
shape = "box"
center = [0.0, 0.0]
size = [60.0, 22.0]
height = 27.0
[[parts.solids]]
shape = "cylinder"
center = [5.0, 0.0]
diameter = 12.0
height = 42.0

[[parts]]
name = "toe clamp"
[[parts.solids]]
shape = "bar"
from = [-15.0, 0.0]
to = [15.0, 4.0]
width = 18.0
height = 24.0
"""


@dataclass
class GeneratedBench:
    """`places` (n, 2) mm are free down to `deepest`; `room` (n,) mm more sideways before a cut makes contact."""

    text: str
    setup: dict[str, Any] = field(repr=False)
    files: dict[str, str] = field(repr=False)
    places: list[tuple[float, float]] = field(repr=False)
    room: list[float] = field(repr=False)
    deepest: float
    bench: Bench = field(repr=False)

    def write(self, folder: Path) -> Path:
        """Put the setup file and its parts libraries into a folder."""
        for name, text in self.files.items():
            (folder / name).write_text(text)
        path = folder / "bench.toml"
        path.write_text(self.text)
        return path

    @property
    def start(self) -> Any:
        return self.setup.get("machine", {}).get("start")

    @property
    def tools(self) -> list[int]:
        return [tool["number"] for tool in self.setup["tools"]]


class Rule:
    """Writes lengths in the file's units, rounded as on paper."""

    def __init__(self, units: str) -> None:
        self.inch = units == "inch"

    def __call__(self, *millimetres: float) -> Any:
        values = [round(value / 25.4, 3) if self.inch else round(value, 2) for value in millimetres]
        return values[0] if len(values) == 1 else values


@st.composite
def benches(
    draw: Draw,
    units: str | None = None,
    rapid_path: str | None = None,
    start: str | None = None,
    spindle: bool | None = None,
    most_obstacles: int = 5,
) -> GeneratedBench:
    """A bench with stock and some obstacles. `start` is "unknown", "high" or "given"."""
    units = units or draw(st.sampled_from(["mm", "inch"]))
    rule = Rule(units)
    width, depth = draw(st.integers(20, 60)) * 10, draw(st.integers(12, 30)) * 10
    thickness = draw(st.sampled_from([12.0, 19.0, 38.0]))
    setup: dict[str, Any] = {"format": 1, "units": units, "program": {"starts_in": ["G21", "G90", "G17", "G94"]}}
    setup["stock"] = {
        "corner": [0.0, 0.0],
        "size": rule(width, depth),
        "top": 0.0,
        "thickness": rule(thickness),
    }
    if draw(st.integers(0, 3)) == 0:
        setup["stock"]["thickness_tolerance"] = rule(0.5)
    setup["clearance"] = draw_clearance(draw, rule)
    setup["machine"] = draw_machine(draw, rule, rapid_path, start, width, depth)
    setup["offsets"] = draw_offsets(draw, rule)
    setup["tools"] = draw_tools(draw, rule)
    if spindle if spindle is not None else draw(st.booleans()):
        setup["spindle"] = draw_spindle(draw, rule)
    obstacles = [draw_obstacle(draw, rule, i, width, depth) for i in range(draw(st.integers(1, most_obstacles)))]
    if any("part" in obstacle for obstacle in obstacles):
        setup["parts"] = {"files": ["clamps.toml"]}
    deepest = -draw(st.sampled_from([2.0, 5.0, 9.0]))
    grid = jittered_grid(draw, width, depth)
    while True:
        setup["obstacles"] = obstacles
        bench, places, room = free_places(setup, grid, deepest)
        if len(places) >= ENOUGH_PLACES or not obstacles:
            break
        obstacles = obstacles[:-1]
    text = tomlkit.dumps(setup)
    return GeneratedBench(text, tomllib.loads(text), {"clamps.toml": LIBRARY}, places, room, deepest, bench)


def draw_clearance(draw: Draw, rule: Rule) -> dict[str, Any]:
    chosen = {}
    for name, values in (("above", (1.0, 3.0, 5.0)), ("beside", (1.0, 3.0, 6.0)), ("tolerance", (0.2, 1.0))):
        if draw(st.booleans()):
            chosen[name] = rule(draw(st.sampled_from(values)))
    return chosen


def draw_machine(
    draw: Draw, rule: Rule, rapid_path: str | None, start: str | None, width: float, depth: float
) -> dict[str, Any]:
    machine: dict[str, Any] = {"rapid_path": rapid_path or draw(st.sampled_from(["straight", "unknown"]))}
    start = start or draw(st.sampled_from(["unknown", "high", "given"]))
    if start == "high":
        machine["start"] = "high"
    elif start == "given":
        machine["start"] = rule(draw(st.sampled_from([0.0, -10.0])), 0.0, draw(st.sampled_from([60.0, 80.0])))
    if draw(st.booleans()):
        machine["corner_rounding"] = rule(draw(st.sampled_from([0.0, 0.5, 2.0])))
    machine["after_tool_change"] = draw(st.sampled_from(["unknown", "high", "same"]))
    machine["home_axes"] = draw(st.sampled_from(["named", "all", "unknown"]))
    machine["home"] = rule(-20.0, -20.0, 150.0)
    machine["home2"] = rule(-20.0, depth + 20.0, 150.0)
    # The origins of [offsets] are given in the machine's own frame, where the bench's zero is at 100, 80, -150.
    machine["zero"] = rule(-100.0, -80.0, 150.0)
    if draw(st.integers(0, 3)) == 0:
        machine["reach"] = {"x": rule(-150.0, width + 150.0), "y": rule(-150.0, depth + 150.0)}
        machine["reach"]["z"] = rule(-60.0, 200.0)
    return machine


def draw_offsets(draw: Draw, rule: Rule) -> dict[str, Any]:
    return {
        "bench": "G54",
        "G54": rule(100.0, 80.0, -150.0),
        "G55": rule(100.0 + draw(st.sampled_from([0.0, 25.4, -12.0])), 92.7, -150.0),
        "G59.1": rule(100.0, 80.0, -150.0 + draw(st.sampled_from([0.0, 5.08]))),
    }


def draw_tools(draw: Draw, rule: Rule) -> list[dict[str, Any]]:
    tools = []
    for number in range(1, 1 + draw(st.integers(1, 2))):
        tool: dict[str, Any] = {"number": number, "diameter": rule(draw(st.sampled_from([3.175, 6.0, 12.7])))}
        if draw(st.integers(0, 4)):
            tool["length"] = rule(draw(st.sampled_from([32.0, 45.0, 60.0])))
        if draw(st.integers(0, 5)) == 0:
            cutter = tool.pop("diameter")
            shank = rule(6.35)
            tool["sections"] = [
                {"diameter": min(cutter, shank), "height": rule(10.0)},
                {"diameter": max(cutter, shank), "height": rule(15.0)},
            ]
        tools.append(tool)
    return tools


def draw_spindle(draw: Draw, rule: Rule) -> dict[str, Any]:
    spindle: dict[str, Any] = {
        "sections": [
            {"diameter": rule(draw(st.sampled_from([30.0, 42.0]))), "height": rule(30.0)},
            {"diameter": rule(80.0), "height": rule(120.0)},
        ]
    }
    if draw(st.integers(0, 3)) == 0:
        spindle["shoe"] = {"diameter": rule(100.0), "bottom": rule(15.0), "soft": draw(st.booleans())}
    return spindle


def draw_obstacle(draw: Draw, rule: Rule, number: int, width: float, depth: float) -> dict[str, Any]:
    """Something that holds the stock: mostly on its rim, now and then within it or beside it."""
    share = draw(st.integers(0, 20)) / 20
    rim = [(share * width, 0.0), (share * width, depth), (0.0, share * depth), (width, share * depth)]
    x, y = draw(st.sampled_from([*rim, (share * width, depth / 2)]))
    entry: dict[str, Any] = {"name": f"clamp {number + 1}"}
    kind = draw(st.sampled_from(["box", "cylinder", "bar", "outline", "part"]))
    if kind == "part":
        entry |= {"part": draw(st.sampled_from(["step clamp", "toe clamp"])), "at": rule(x, y)}
        entry["angle"] = draw(st.sampled_from([0.0, 30.0, 90.0]))
        return entry
    entry["shape"] = kind
    if kind == "box":
        entry["center"] = rule(x, y)
        entry["size"] = rule(draw(st.sampled_from([25.0, 60.0])), 22.0)
        entry["angle"] = draw(st.sampled_from([0.0, 15.0, 90.0, -40.0]))
    elif kind == "cylinder":
        entry |= {"center": rule(x, y), "diameter": rule(draw(st.sampled_from([6.0, 12.0, 30.0])))}
    elif kind == "bar":
        entry |= {"from": rule(x - 20, y - 4), "to": rule(x + 20, y + 6), "width": rule(15.0)}
    else:
        corners = [(-20, -15), (25, -15), (25, 15), (4, -2), (-20, 12)]
        entry["points"] = [rule(x + dx, y + dy) for dx, dy in corners]
    if draw(st.booleans()):
        entry["top"] = rule(draw(st.sampled_from([3.0, 8.0, 18.0, 30.0])))
    else:
        entry["height"] = rule(40.0 + draw(st.integers(0, 20)))
    if draw(st.booleans()):
        entry["tolerance"] = rule(draw(st.sampled_from([0.0, 0.5, 1.5])))
    return entry


def jittered_grid(draw: Draw, width: float, depth: float) -> np.ndarray:
    """(n, 2) mm: where a tool might go down, never all on one line."""
    shift = draw(st.integers(0, 9))
    columns, rows = 9, 6
    return np.array(
        [
            (
                round((i + 0.5) * width / columns + (i * 7 + j * 3 + shift) % 5, 1),
                round((j + 0.5) * depth / rows + (i * 5 + j + shift) % 7 - 3, 1),
            )
            for i in range(columns)
            for j in range(rows)
        ]
    )


def free_places(
    setup: dict[str, Any], grid: np.ndarray, deepest: float
) -> tuple[Bench, list[tuple[float, float]], list[float]]:
    """The grid points that are free of clips at `deepest` with every tool, and their room sideways."""
    bench = bench_of(setup, {"clamps.toml": LIBRARY})
    points = shapely.points(grid)
    free = np.ones(len(grid), bool)
    room = np.full(len(grid), 30.0)
    for obstacle in bench.obstacles:
        distance = shapely.distance(points, obstacle.core) - obstacle.radius
        for sections in bench.assemblies.values():
            for section in sections:
                below = obstacle.top + obstacle.tolerance - section.bottom(deepest)
                if below + bench.above + bench.rounding > 0:
                    reach = section.radius + obstacle.tolerance
                    free &= distance > reach + bench.beside + bench.rounding
                    if below > 0:
                        room = np.minimum(room, distance - reach)
    return bench, [tuple(point) for point in grid[free].tolist()], room[free].tolist()
