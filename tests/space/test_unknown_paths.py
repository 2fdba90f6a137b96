"""Rapids whose axes run on their own stay inside what an unknown path covers, whatever rates, ramps and overrides."""

from __future__ import annotations

import numpy as np
import pytest

from gcode_guard.space.assembly import Assembly
from gcode_guard.space.clearance import Sweeps, encounters
from gcode_guard.space.hulls import box, cylinder
from gcode_guard.space.scene import Scene, SceneSolid

STEP = 0.002  # s


def simulated(start: np.ndarray, end: np.ndarray, random: np.random.Generator) -> np.ndarray:
    """(ticks, n, 3) places of n rapids, integrated over time: each axis speeds up and slows down at its own rates,
    under an override that an operator turns up and down, or to zero, on the way; axes may wait before they start."""
    way, sign = np.abs(end - start), np.sign(end - start)
    rate, ramp = random.uniform(20, 200, way.shape), random.uniform(100, 3000, way.shape)
    wait = random.choice([0.0, 0.1, 0.4], way.shape)
    travelled, speed = np.zeros(way.shape), np.zeros(way.shape)
    places, override = [start.copy()], np.ones((len(way), 1))
    for tick in range(40_000):
        if tick % 50 == 0:
            override = random.choice([0.0, 0.25, 0.5, 1.0, 1.0], (len(way), 1))
        stopping = speed**2 / (2 * ramp) >= way - travelled
        target = np.where(stopping | (tick * STEP < wait), 0.0, rate * override)
        speed = np.clip(target, speed - ramp * STEP, speed + ramp * STEP).clip(0.0)
        creeping = stopping & (speed < 1.0) & (travelled < way) & (tick * STEP >= wait)
        speed = np.where(creeping, 1.0, speed)
        travelled = np.minimum(travelled + speed * STEP, way)
        places.append(start + sign * travelled)
        if (travelled >= way).all():
            break
    assert (travelled >= way - 1e-6).all()
    return np.array(places)


@pytest.mark.parametrize("seed", range(60))
def test_no_place_of_a_simulated_rapid_clips_unseen(seed: int) -> None:
    random = np.random.default_rng(seed)
    scene = Scene.build([
        SceneSolid(0, [box(random.uniform(20, 80, 2), random.uniform(5, 30, 2), float(random.uniform(0, 90)))],
                   float(random.uniform(5, 30)), 0.5),
        SceneSolid(1, [cylinder(random.uniform(20, 80, 2), 12.0)], float(random.uniform(5, 30)), 0.5)])
    tool = Assembly(np.array([0.0, 20.0]), np.array([3.0, 20.0]), ["cutter", "spindle"])
    start, end = (random.uniform([0, 0, 0], [100, 100, 40], (50, 3)) for _ in range(2))
    places = simulated(start, end, random)
    assert (places >= np.minimum(start, end) - 1e-9).all() and (places <= np.maximum(start, end) + 1e-9).all()
    each = places.reshape(-1, 3)
    met = set((encounters(scene, tool, Sweeps(each, each), 2.0, 2.0).move % len(start)).tolist())
    said = set(encounters(scene, tool, Sweeps(start, end, True), 2.0, 2.0).move.tolist())
    assert met <= said
    assert met
