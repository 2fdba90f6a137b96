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
    """(m, 3) places of a rapid, integrated over time: each axis speeds up and slows down at its own rates, under an
    override that an operator turns up and down, or to zero, on the way; axes may wait before they start."""
    way, sign = np.abs(end - start), np.sign(end - start)
    rate, ramp = random.uniform(20, 200, 3), random.uniform(100, 3000, 3)
    wait = random.choice([0.0, 0.1, 0.4], 3)
    travelled, speed = np.zeros(3), np.zeros(3)
    places, override = [start.copy()], 1.0
    for tick in range(40_000):
        if tick % 50 == 0:
            override = float(random.choice([0.0, 0.25, 0.5, 1.0, 1.0]))
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
    for _ in range(50):
        start, end = random.uniform([0, 0, 0], [100, 100, 40]), random.uniform([0, 0, 0], [100, 100, 40])
        places = simulated(start, end, random)
        low, high = np.minimum(start, end) - 1e-9, np.maximum(start, end) + 1e-9
        assert ((places >= low) & (places <= high)).all()
        met = len(encounters(scene, tool, Sweeps(places, places), 2.0, 2.0).move) > 0
        said = len(encounters(scene, tool, Sweeps([start], [end], True), 2.0, 2.0).move) > 0
        assert said or not met
