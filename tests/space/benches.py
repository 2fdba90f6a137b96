"""Random obstacles, assemblies and moves for the geometry tests, each obstacle with its footprint as shapely has it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from gcode_guard.space.assembly import Assembly
from gcode_guard.space.hulls import Hull, bar, box, cylinder, outline
from gcode_guard.space.scene import Scene, SceneSolid

PARTS = ("cutter", "shank", "collet nut/spindle", "shoe")


@dataclass(frozen=True)
class Bench:
    """A scene, and for each of its solids the footprint as GEOS sees it: a core and the radius that it is grown by."""

    solids: list[SceneSolid]
    cores: list[shapely.Geometry]
    radii: list[float]

    @property
    def scene(self) -> Scene:
        return Scene.build(self.solids)


def star(rng: np.random.Generator, centre: np.ndarray, size: float) -> np.ndarray:
    """A simple polygon, seldom convex: corners round a centre, each at its own distance."""
    corners = int(rng.integers(3, 10))
    angles = (np.arange(corners) + rng.uniform(0.05, 0.95, corners)) * (2 * np.pi / corners)
    away = size * rng.uniform(0.15, 1.0, corners)
    return centre + away[:, None] * np.column_stack((np.cos(angles), np.sin(angles)))


def footprint(rng: np.random.Generator, span: float) -> tuple[list[Hull], shapely.Geometry, float]:
    """A random footprint: its hulls, and the same as a core of GEOS and a radius."""
    centre = rng.uniform(0, span, 2)
    shape = rng.integers(0, 4)
    if shape == 0:
        size, angle = rng.uniform(2, 60, 2), float(rng.choice([0.0, 90.0, rng.uniform(-180, 360)]))
        core = shapely.affinity.rotate(shapely.box(*(centre - size / 2), *(centre + size / 2)), angle, origin="center")
        return [box(centre, size, angle)], core, 0.0
    if shape == 1:
        diameter = float(rng.uniform(2, 40))
        return [cylinder(centre, diameter)], shapely.Point(centre), diameter / 2
    if shape == 2:
        end, width = centre + rng.uniform(-80, 80, 2), float(rng.uniform(1, 20))
        return [bar(centre, end, width)], shapely.LineString([centre, end]), width / 2
    while True:
        points = star(rng, centre, float(rng.uniform(5, 50)))
        core = shapely.Polygon(points)
        if core.is_valid:
            return outline(points), core, 0.0


def random_bench(rng: np.random.Generator, count: int, span: float = 300.0) -> Bench:
    solids, cores, radii = [], [], []
    for number in range(count):
        hulls, core, radius = footprint(rng, span)
        top, tolerance = float(rng.uniform(0, 40)), float(rng.choice([0.0, 0.5, 1.0, rng.uniform(0, 3)]))
        solids.append(SceneSolid(number, hulls, top, tolerance))
        cores.append(core)
        radii.append(radius)
    return Bench(solids, cores, radii)


def random_assembly(rng: np.random.Generator, sections: int | None = None) -> Assembly:
    count = int(rng.integers(1, 5)) if sections is None else sections
    heights = np.concatenate(([0.0], np.sort(rng.uniform(1, 60, count - 1))))
    return Assembly(heights, rng.uniform(0.5, 40, count), PARTS[:count])


def random_ends(rng: np.random.Generator, count: int, span: float = 300.0) -> tuple[np.ndarray, np.ndarray]:
    """Starts and ends (n, 3) of moves: long and short, level, upright, along an axis, and slanted ones."""
    start = np.column_stack((rng.uniform(-50, span + 50, (count, 2)), rng.uniform(-10, 60, count)))
    end = np.column_stack((rng.uniform(-50, span + 50, (count, 2)), rng.uniform(-10, 60, count)))
    kind = rng.integers(0, 6, count)
    short = kind == 0
    end[short] = start[short] + rng.uniform(-5, 5, (int(short.sum()), 3))
    end[kind == 1, 2] = start[kind == 1, 2]
    end[kind == 2, :2] = start[kind == 2, :2]
    end[kind == 3, 0] = start[kind == 3, 0]
    return start, end
