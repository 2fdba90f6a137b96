"""What is left out early is never missed: batches answer as their moves one by one, the index as brute force."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest

from gcode_guard.space import scene as scene_module
from gcode_guard.space.assembly import Assembly
from gcode_guard.space.clearance import Encounters, Sweeps, encounters, needed_heights
from gcode_guard.space.scene import Scene

from .benches import random_assembly, random_bench, random_ends


def rows(found: Encounters) -> list[tuple[float, ...]]:
    columns = (found.move, found.hull, found.obstacle, found.section, found.needed, found.lowest, *found.at.T)
    return list(zip(*(column.tolist() for column in columns), strict=True))


def mixed_sweeps(rng: np.random.Generator, count: int) -> Sweeps:
    """Moves of a program: long stretches that stay together, and far jumps; some as boxes."""
    start, end = random_ends(rng, count)
    together = np.cumsum(rng.uniform(-1, 1, (count, 3)), axis=0) + (150, 150, 20)
    near = np.repeat(rng.random(count // 50 + 1) < 0.7, 50)[:count]
    start[near], end[near] = together[near], together[near] + rng.uniform(-1, 1, (int(near.sum()), 3))
    margins = (rng.choice(choice, count) for choice in ([0.0, 1.0], [0.0, 0.01], [0.0, 0.5, 5.0]))
    return Sweeps(start, end, rng.random(count) < 0.2, *margins)


@pytest.mark.parametrize("clipping_only", [True, False])
@pytest.mark.parametrize("seed", range(3))
def test_a_batch_answers_as_its_moves_do_one_by_one(seed: int, clipping_only: bool) -> None:
    rng = np.random.default_rng(seed)
    scene, assembly = random_bench(rng, 12).scene, random_assembly(rng, 3)
    sweeps = mixed_sweeps(rng, 700)
    together = rows(encounters(scene, assembly, sweeps, 3.0, 2.0, clipping_only=clipping_only))
    apart = []
    for m in range(len(sweeps)):
        one = encounters(scene, assembly, sweeps.take(slice(m, m + 1)), 3.0, 2.0, clipping_only=clipping_only)
        apart += [(m, *row[1:]) for row in rows(one)]
    assert len(apart) > 100
    assert together == apart
    heights = needed_heights(scene, assembly, sweeps, 3.0, 2.0)
    singly = [needed_heights(scene, assembly, sweeps.take(slice(m, m + 1)), 3.0, 2.0)[0] for m in range(len(sweeps))]
    assert heights.tolist() == singly


@pytest.mark.parametrize("seed", range(3))
def test_the_index_answers_as_brute_force(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(10 + seed)
    bench, assembly = random_bench(rng, 150, 1000.0), random_assembly(rng, 3)
    start, end = random_ends(rng, 400, 1000.0)
    boxed = rng.random(400) < 0.3
    start[boxed, 0] = np.where(rng.random(boxed.sum()) < 0.1, -np.inf, start[boxed, 0])
    end[boxed, 1] = np.where(rng.random(boxed.sum()) < 0.1, np.inf, end[boxed, 1])
    sweeps = Sweeps(start, end, boxed, margin=1.0)
    plain = rows(encounters(bench.scene, assembly, sweeps, 3.0, 3.0))
    plain_heights = needed_heights(bench.scene, assembly, sweeps, 3.0, 3.0).tolist()
    monkeypatch.setattr(scene_module, "BRUTE_FORCE_HULLS", 0)
    monkeypatch.setattr(scene_module, "BRUTE_FORCE_PAIRS", 0)
    monkeypatch.setattr(Scene, "_near_by_comparison", None)
    assert rows(encounters(bench.scene, assembly, sweeps, 3.0, 3.0)) == plain
    assert needed_heights(bench.scene, assembly, sweeps, 3.0, 3.0).tolist() == plain_heights
    assert len(plain) > 1000


def test_boxes_that_touch_bounds_are_near_them_and_none_is_near_nothing() -> None:
    rng = np.random.default_rng(3)
    scene = random_bench(rng, 5).scene
    low, high = scene.bounds[:, :2], scene.bounds[:, 2:]
    for touching, apart in ((low - 7, high + 7), (high, low)):
        box, hull = scene.near(np.minimum(touching, apart), np.maximum(touching, apart))
        assert set(zip(range(5), range(5), strict=True)) <= set(zip(box.tolist(), hull.tolist(), strict=True))
    corner = np.nextafter(high[:1], np.inf)
    assert 0 not in scene.near(corner, corner)[1]
    assert scene.near(high[:1], high[:1])[1].tolist().count(0) == 1
    with pytest.raises(ValueError):
        scene.near(np.array([[0.0, np.nan]]), np.ones((1, 2)))


def test_memory_is_bounded_where_every_move_meets_everything() -> None:
    rng = np.random.default_rng(4)
    scene, assembly = random_bench(rng, 12).scene, Assembly([0.0, 10.0, 20.0], [3.0, 20.0, 40.0], ["cutter"] * 3)
    ends = rng.uniform(-50, 350, (100_000, 3))
    sweeps = Sweeps(ends, ends[::-1])
    tracemalloc.start()
    needed_heights(scene, assembly, sweeps, 3.0, 3.0)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 50e6


@pytest.mark.parametrize("seed", range(3))
def test_reducing_an_assembly_changes_no_answer(seed: int) -> None:
    rng = np.random.default_rng(20 + seed)
    scene, sweeps = random_bench(rng, 8).scene, mixed_sweeps(rng, 200)
    dropped = 0
    for _ in range(10):
        whole = random_assembly(rng, 4)
        reduced = whole.reduce()
        dropped += len(whole) - len(reduced)
        assert (np.diff(reduced.radius) > 0).all() and reduced.undercut == whole.undercut
        heights = [needed_heights(scene, assembly, sweeps, 3.0, 3.0).tolist() for assembly in (whole, reduced)]
        assert heights[0] == heights[1]
        clipped = [set(encounters(scene, assembly, sweeps, 3.0, 3.0).move.tolist()) for assembly in (whole, reduced)]
        assert clipped[0] == clipped[1]
    assert dropped
