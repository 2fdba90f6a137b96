"""The clearance rule against GEOS and FCL on 100,000 cases and more each, and what pruning costs, as ratios.

Not part of the test run: python -m pytest tests/bench/test_space_referee.py
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from gcode_guard.space.clearance import Sweeps, encounters
from gcode_guard.space.scene import Scene
from tests.space import test_clearance_by_fcl as fcl_rule
from tests.space import test_clearance_by_geos as geos_rule
from tests.space.benches import random_assembly, random_bench, random_ends

CASES = 100_000


def test_straight_moves_against_geos() -> None:
    cases, seed = 0, 10_000
    while cases < CASES:
        rng = np.random.default_rng(seed)
        bench, assembly = random_bench(rng, 10), random_assembly(rng)
        start, end = random_ends(rng, 500)
        beside, above = (float(x) for x in rng.choice([0.0, 3.0, rng.uniform(0, 10)], 2))
        sweeps = Sweeps(start, end, margin=rng.choice([0.0, 1.0], 500), grow=rng.choice([0.0, 0.01], 500))
        found = encounters(bench.scene, assembly, sweeps, beside, above)
        clipped = geos_rule.worst(found, 500, 10, len(assembly), found.depth) > 0
        excess, _ = geos_rule.by_geos(bench, assembly, sweeps, beside, above)
        clear_cut = np.abs(excess) > geos_rule.FUZZ
        assert (clipped == (excess > 0))[clear_cut].all(), seed
        cases += int(clear_cut.sum())
        seed += 1


def test_level_moves_against_fcl() -> None:
    cases, seed = 0, 20_000
    while cases < CASES:
        rng = np.random.default_rng(seed)
        obstacles, assembly = [fcl_rule.Obstacle(rng, n) for n in range(10)], random_assembly(rng)
        start, end = random_ends(rng, 100, 200.0)
        end[:, 2] = start[:, 2]
        found = encounters(Scene.build([o.solid for o in obstacles]), assembly, Sweeps(start, end), 0.0, 0.0)
        ours = np.zeros((100, 10), dtype=bool)
        ours[found.move, found.obstacle] = True
        grown, shrunk = ([o.bodies(hair) for o in obstacles] for hair in (fcl_rule.FUZZ, -fcl_rule.FUZZ))
        for m in range(100):
            way = fcl_rule.assembly_at(assembly, start[m], end[m])
            for h in range(10):
                if ours[m, h]:
                    assert fcl_rule.touch(way, grown[h]), ("called touching what is clear", seed, m, h)
                else:
                    assert not fcl_rule.touch(way, shrunk[h]), ("called clear what touches", seed, m, h)
        cases += 1000
        seed += 1


def fastest(action: Callable[[], object], rounds: int = 15) -> float:
    times = []
    for _ in range(rounds):
        begin = time.perf_counter()
        action()
        times.append(time.perf_counter() - begin)
    return min(times)


def test_a_batch_high_above_costs_next_to_nothing() -> None:
    """100,000 moves, 12 obstacles, 3 sections: no more than a few passes over the two arrays of coordinates."""
    rng = np.random.default_rng(1)
    scene, assembly = random_bench(rng, 12).scene, random_assembly(rng, 3)
    ends = np.cumsum(rng.uniform(-1, 1, (100_001, 3)), axis=0)
    ends[:, 2] = 100 + ends[:, 2] % 10
    start, end = ends[:-1].copy(), ends[1:].copy()
    judged = fastest(lambda: encounters(scene, assembly, Sweeps(start, end, margin=1.0), 3.0, 3.0))
    one_pass = fastest(lambda: np.minimum(start, end))
    print(f"judging a batch that is high takes {judged / one_pass:.1f} passes over its coordinates")
    assert judged < 20 * one_pass


def test_a_relief_beside_its_clamps_costs_next_to_nothing() -> None:
    """Low, but out of reach: the box of each block of moves tells."""
    rng = np.random.default_rng(2)
    bench, assembly = random_bench(rng, 12, 100.0), random_assembly(rng, 3)
    t = np.arange(100_001)
    ends = np.column_stack((400 + np.abs(t % 2000 - 1000) / 5, 300 + t // 1000 * 0.5, rng.uniform(-5, 0, len(t))))
    start, end = ends[:-1].copy(), ends[1:].copy()
    judged = fastest(lambda: encounters(bench.scene, assembly, Sweeps(start, end), 0.0, 0.0))
    one_pass = fastest(lambda: np.minimum(start, end))
    print(f"judging a relief out of reach takes {judged / one_pass:.1f} passes over its coordinates")
    assert judged < 40 * one_pass
