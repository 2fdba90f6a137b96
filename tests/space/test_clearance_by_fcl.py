"""Contact against FCL, through python-fcl: the assembly as stacked cylinders, obstacles as solid bodies in space."""

from __future__ import annotations

import fcl
import numpy as np
import pytest

from gcode_guard.space.assembly import Assembly
from gcode_guard.space.clearance import Sweeps, encounters
from gcode_guard.space.hulls import bar, box, cylinder
from gcode_guard.space.scene import Scene, SceneSolid

from .benches import random_assembly, random_ends

FLOOR = -200.0  # obstacles reach down to here, below every tip; assemblies reach up by as much as SKY
SKY = 400.0
# FCL's answers on curved bodies are iterated: nearer than this (mm) to touching it may say either. GJK tolerance 1e-6.
FUZZ = 1e-3

Body = fcl.CollisionObject


def turned(angle: float) -> np.ndarray:
    cos, sin = np.cos(angle), np.sin(angle)
    return np.array([[cos, -sin, 0], [sin, cos, 0], [0, 0, 1]])


def upright_cylinder(x: float, y: float, radius: float, bottom: float, top: float) -> Body:
    place = fcl.Transform(np.eye(3), np.array([x, y, (bottom + top) / 2]))
    return fcl.CollisionObject(fcl.Cylinder(radius, top - bottom), place)


def upright_block(x: float, y: float, size: tuple[float, float], angle: float, bottom: float, top: float) -> Body:
    place = fcl.Transform(turned(angle), np.array([x, y, (bottom + top) / 2]))
    return fcl.CollisionObject(fcl.Box(size[0], size[1], top - bottom), place)


def stadium(start: np.ndarray, end: np.ndarray, radius: float, bottom: float, top: float) -> list[Body]:
    """All that an upright cylinder passes over on a level way: one at each end and a block between."""
    bodies = [upright_cylinder(*place, radius, bottom, top) for place in (start, end)]
    way = end - start
    if (length := float(np.hypot(*way))) > 0:
        angle = float(np.arctan2(way[1], way[0]))
        bodies.append(upright_block(*((start + end) / 2), (length, 2 * radius), angle, bottom, top))
    return bodies


def touch(one: list[Body], two: list[Body]) -> bool:
    request = fcl.CollisionRequest()
    return any(fcl.collide(a, b, request, fcl.CollisionResult()) > 0 for a in one for b in two)


class Obstacle:
    """A random block, cylinder or bar: as a solid of the scene, and as bodies of FCL, grown or shrunk by a hair."""

    def __init__(self, rng: np.random.Generator, number: int) -> None:
        self.centre, self.angle = rng.uniform(0, 200, 2), float(rng.uniform(-180, 180))
        self.size, self.shape = rng.uniform(4, 60, 2), int(rng.integers(0, 3))
        self.top = float(rng.uniform(0, 40))
        along = np.array([np.cos(np.radians(self.angle)), np.sin(np.radians(self.angle))]) * self.size[0] / 2
        self.ends = self.centre - along, self.centre + along
        hull = (
            box(self.centre, self.size, self.angle),
            cylinder(self.centre, self.size[0]),
            bar(*self.ends, self.size[1]),
        )[self.shape]
        self.solid = SceneSolid(number, [hull], self.top, 0.0)

    def bodies(self, hair: float) -> list[Body]:
        top = self.top + hair
        if self.shape == 0:
            size = (self.size[0] + 2 * hair, self.size[1] + 2 * hair)
            return [upright_block(*self.centre, size, np.radians(self.angle), FLOOR, top)]
        if self.shape == 1:
            return [upright_cylinder(*self.centre, self.size[0] / 2 + hair, FLOOR, top)]
        return stadium(*self.ends, self.size[1] / 2 + hair, FLOOR, top)


def assembly_at(assembly: Assembly, start: np.ndarray, end: np.ndarray) -> list[Body]:
    """Every section over the level way from start to end, (3,) each, at the height of the start."""
    z = start[2]
    return [
        body
        for foot, radius in zip(assembly.from_, assembly.radius, strict=True)
        for body in stadium(start[:2], end[:2], radius, z + foot, z + SKY)
    ]


@pytest.mark.parametrize("seed", range(10))
def test_level_moves_and_points_touch_exactly_where_fcl_says(seed: int) -> None:
    rng = np.random.default_rng(seed)
    obstacles, assembly = [Obstacle(rng, n) for n in range(6)], random_assembly(rng)
    start, end = random_ends(rng, 50, 200.0)
    end[:, 2] = start[:, 2]
    found = encounters(Scene.build([o.solid for o in obstacles]), assembly, Sweeps(start, end), 0.0, 0.0)
    ours = np.zeros((50, 6), dtype=bool)
    ours[found.move, found.obstacle] = True
    ways = [assembly_at(assembly, s, e) for s, e in zip(start, end, strict=True)]
    grown = np.array([[touch(way, o.bodies(FUZZ)) for o in obstacles] for way in ways])
    shrunk = np.array([[touch(way, o.bodies(-FUZZ)) for o in obstacles] for way in ways])
    assert (grown == shrunk).mean() > 0.98
    assert not (shrunk & ~ours).any(), "called clear what touches"
    assert not (ours & ~grown).any(), "called touching what is clear"
    assert ours.any() and not ours.all()


@pytest.mark.parametrize("seed", range(6))
def test_slanted_moves_are_never_clear_where_a_pose_touches(seed: int) -> None:
    rng = np.random.default_rng(50 + seed)
    obstacles, assembly = [Obstacle(rng, n) for n in range(4)], random_assembly(rng)
    start, end = random_ends(rng, 20, 200.0)
    found = encounters(Scene.build([o.solid for o in obstacles]), assembly, Sweeps(start, end), 0.0, 0.0)
    ours = np.zeros((20, 4), dtype=bool)
    ours[found.move, found.obstacle] = True
    posed = np.zeros_like(ours)
    shrunk, grown = ([o.bodies(hair) for o in obstacles] for hair in (-FUZZ, FUZZ))
    for m in range(20):
        for part in np.linspace(0, 1, 40):
            tip = start[m] + part * (end[m] - start[m])
            pose = assembly_at(assembly, tip, tip)
            posed[m] |= [touch(pose, body) for body in shrunk]
    assert not (posed & ~ours).any(), "called clear what touches"
    for row in range(len(found)):
        tip = np.append(found.at[row], found.lowest[row])
        assert touch(assembly_at(assembly, tip, tip), grown[found.obstacle[row]]), "nothing touches at the place named"
    assert len(found)
