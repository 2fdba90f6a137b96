"""The clearance rule against GEOS, through shapely: distances of lines and boxes to polygons that we did not write."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from gcode_guard.space.assembly import Assembly
from gcode_guard.space.clearance import Encounters, Sweeps, distances, encounters, needed_heights
from gcode_guard.space.hulls import box
from gcode_guard.space.scene import Scene, SceneSolid

from .benches import Bench, random_assembly, random_bench, random_ends

# Nearer than this (mm) to a boundary the two may differ by rounding; test_clearance_boundary.py looks at boundaries.
FUZZ = 1e-6


def below(start: np.ndarray, end: np.ndarray, height: np.ndarray) -> np.ndarray:
    """The XY line (p) of the part of each move that is lower than `height`, (p,); an empty one where there is none."""
    rise = end[:, 2] - start[:, 2]
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        crossing = np.clip((height - start[:, 2]) / rise, 0, 1)
    first, last = np.where((rise < 0), crossing, 0.0), np.where((rise > 0), crossing, 1.0)
    none = np.minimum(start[:, 2], end[:, 2]) >= height
    first, last = np.nan_to_num(first), np.nan_to_num(last, nan=1.0)
    way = (end - start)[:, :2]
    lines = shapely.linestrings(np.stack([start[:, :2] + part[:, None] * way for part in (first, last)], axis=1))
    lines[none] = shapely.from_wkt("LINESTRING EMPTY")
    return lines


def worst(found: Encounters, moves: int, solids: int, sections: int, column: np.ndarray) -> np.ndarray:
    """(moves, solids, sections): the greatest of a column over the hulls of each solid, -inf where there is none."""
    table = np.full((moves, solids, sections), -np.inf)
    np.maximum.at(table, (found.move, found.obstacle, found.section), column)
    return table


def by_geos(bench: Bench, assembly: Assembly, s: Sweeps, beside: float, above: float) -> tuple[np.ndarray, np.ndarray]:
    """(moves, solids, sections): by how much (mm) the axis comes nearer than it may while it is too low (negative: it
    does not), and the needed height."""
    excess = np.full((len(s), len(bench.solids), len(assembly)), -np.inf)
    needed = np.empty_like(excess)
    for h, solid in enumerate(bench.solids):
        for k in range(len(assembly)):
            reach = assembly.radius[k] + solid.tolerance + beside + s.margin + s.grow + bench.radii[h]
            needed[:, h, k] = solid.top + solid.tolerance + above + s.margin - assembly.from_[k]
            lines = below(s.start, s.end, needed[:, h, k] + s.sink)
            with np.errstate(divide="ignore"):  # GEOS itself divides by the length of a line of no length
                apart = shapely.distance(lines, bench.cores[h])
            excess[:, h, k] = np.where(np.isnan(apart), -np.inf, reach - apart)
    return excess, needed


@pytest.mark.parametrize("seed", range(12))
def test_straight_moves_clip_exactly_where_geos_says(seed: int) -> None:
    rng = np.random.default_rng(seed)
    bench, assembly = random_bench(rng, 8), random_assembly(rng)
    start, end = random_ends(rng, 300)
    beside, above = (float(x) for x in rng.choice([0.0, 3.0, 7.5], 2))
    sweeps = Sweeps(start, end, margin=rng.choice([0.0, 1.0], 300), sink=rng.choice([0.0, 0.01], 300), grow=0.25)
    found = encounters(bench.scene, assembly, sweeps, beside, above)
    clipped = worst(found, 300, 8, len(assembly), found.depth) > 0
    excess, needed = by_geos(bench, assembly, sweeps, beside, above)
    clear_cut = np.abs(excess) > FUZZ
    assert clear_cut.mean() > 0.999
    assert (clipped == (excess > 0))[clear_cut].all()
    assert 50 < clipped.sum() < clipped.size / 2, "the benches should hold both answers"
    assert np.allclose(found.needed, needed[found.move, found.obstacle, found.section], atol=1e-9, rtol=0)


@pytest.mark.parametrize("seed", range(8))
def test_the_lowest_height_within_reach_is_geos_own(seed: int) -> None:
    rng = np.random.default_rng(100 + seed)
    bench, assembly = random_bench(rng, 6), random_assembly(rng)
    start, end = random_ends(rng, 200)
    found = encounters(bench.scene, assembly, Sweeps(start, end), 3.0, 3.0, clipping_only=False)
    lowest = -worst(found, 200, 6, len(assembly), -found.lowest)
    met = np.argwhere(np.isfinite(lowest))
    assert len(met) > 100
    move, solid, section = met.T
    cores, radii = np.array(bench.cores)[solid], np.array(bench.radii)[solid]
    reach = assembly.radius[section] + np.array([s.tolerance for s in bench.solids])[solid] + 3.0 + radii
    height = lowest[move, solid, section]
    lower = shapely.distance(below(start[move], end[move], height - 1e-5), cores)
    higher = shapely.distance(below(start[move], end[move], height + 1e-5), cores)
    assert not (lower < reach - FUZZ).any(), "the tip is lower within reach than was said"
    assert (higher < reach + FUZZ).all(), "the tip never gets as low within reach as was said"
    at = shapely.distance(shapely.points(found.at), np.array(bench.cores)[found.obstacle])
    limit = np.array(bench.radii)[found.obstacle] + assembly.radius[found.section] + 3.0
    limit += np.array([s.tolerance for s in bench.solids])[found.obstacle]
    assert (at < limit + FUZZ).all(), "the place of the lowest point lies outside the reach"


@pytest.mark.parametrize("seed", range(8))
def test_boxes_clip_exactly_where_geos_says(seed: int) -> None:
    rng = np.random.default_rng(200 + seed)
    bench, assembly = random_bench(rng, 8), random_assembly(rng)
    start, end = random_ends(rng, 300)
    open_side = rng.integers(0, 12, 300)
    for axis in (0, 1):
        end[open_side == axis, axis] = np.inf
        start[open_side == 2 + axis, axis] = -np.inf
        start[open_side == 4 + axis, axis], end[open_side == 4 + axis, axis] = -np.inf, np.inf
    end[open_side == 6, 2] = -np.inf
    start[open_side == 7, 2] = end[open_side == 7, 2] = np.inf
    sweeps = Sweeps(start, end, box=True, margin=1.0)
    found = encounters(bench.scene, assembly, sweeps, 3.0, 3.0)
    clipped = worst(found, 300, 8, len(assembly), found.depth) > 0
    far = np.clip(np.stack((start, end)), -1e5, 1e5)
    boxes = shapely.box(*far[..., :2].min(axis=0).T, *far[..., :2].max(axis=0).T)
    lowest = np.minimum(start[:, 2], end[:, 2])
    for h, solid in enumerate(bench.solids):
        apart = shapely.distance(boxes, bench.cores[h])
        for k in range(len(assembly)):
            reach = assembly.radius[k] + solid.tolerance + 3.0 + 1.0 + bench.radii[h]
            low = lowest < solid.top + solid.tolerance + 3.0 + 1.0 - assembly.from_[k]
            clear_cut = np.abs(apart - reach) > FUZZ
            assert (clipped[:, h, k] == (low & (apart < reach)))[clear_cut].all()
    assert not clipped[open_side == 7].any()
    assert clipped.any()


@pytest.mark.parametrize("seed", range(8))
def test_needed_height_is_the_lowest_at_which_geos_finds_the_path_free(seed: int) -> None:
    rng = np.random.default_rng(300 + seed)
    bench, assembly = random_bench(rng, 6), random_assembly(rng)
    start, end = random_ends(rng, 250)
    sweeps = Sweeps(start, end, margin=rng.choice([0.0, 1.0], 250))
    height = needed_heights(bench.scene, assembly, sweeps, 3.0, 3.0)
    lines = shapely.linestrings(np.stack((start[:, :2], end[:, :2]), axis=1))

    def free(level: np.ndarray, slack: float) -> np.ndarray:
        result = np.ones(len(level), dtype=bool)
        for solid, core, radius in zip(bench.solids, bench.cores, bench.radii, strict=True):
            apart = shapely.distance(lines, core) - radius
            for r, foot in zip(assembly.radius, assembly.from_, strict=True):
                beside = apart < r + solid.tolerance + 3.0 + sweeps.margin - slack
                result &= ~(beside & (level + foot < solid.top + solid.tolerance + 3.0 + sweeps.margin - 1e-9))
        return result

    finite = np.isfinite(height)
    assert 10 < finite.sum() < 250
    assert free(height, FUZZ).all()
    assert not free(height - 1e-6, -FUZZ)[finite].any()
    assert free(np.full(250, -1e6), FUZZ)[~finite].all()


@pytest.mark.parametrize("seed", range(4))
def test_sideways_distances_are_geos_own(seed: int) -> None:
    rng = np.random.default_rng(400 + seed)
    bench = random_bench(rng, 10)
    start, end = random_ends(rng, 200)
    is_box = rng.random(200) < 0.3
    scene = bench.scene
    move, hull = (grid.ravel() for grid in np.meshgrid(np.arange(200), np.arange(len(scene)), indexing="ij"))
    ours = np.full((200, 10), np.inf)
    np.minimum.at(ours, (move, scene.obstacle[hull]), distances(scene, Sweeps(start, end, is_box), move, hull))
    covered = shapely.linestrings(np.stack((start[:, :2], end[:, :2]), axis=1))
    least, most = np.minimum(start, end), np.maximum(start, end)
    covered[is_box] = shapely.box(*least[is_box, :2].T, *most[is_box, :2].T)
    theirs = shapely.distance(covered[:, None], np.array(bench.cores)[None]) - np.array(bench.radii)
    assert np.allclose(ours, np.maximum(theirs, 0), atol=1e-7, rtol=0)


near = st.floats(-40, 60, allow_nan=False)
point = st.tuples(near, near, st.floats(-5, 40, allow_nan=False))


@settings(max_examples=300, deadline=None)
@given(
    start=point, end=point, size=st.tuples(st.floats(1e-3, 50), st.floats(1e-3, 50)),
    angle=st.floats(-360, 360), radius=st.floats(0.05, 30),
)
def test_any_move_against_any_box(
    start: tuple[float, ...], end: tuple[float, ...], size: tuple[float, float], angle: float, radius: float
) -> None:
    """Hypothesis seeks the odd cases: paths of almost no length, needles, near-parallel sides."""
    hull = box((10.0, 10.0), size, angle)
    bench = Bench([SceneSolid(0, [hull], 20.0, 0.5)], [shapely.Polygon(hull.vertices)], [0.0])
    assembly = Assembly(np.zeros(1), np.array([radius]), ["cutter"])
    sweeps = Sweeps([start], [end])
    excess, _ = by_geos(bench, assembly, sweeps, 3.0, 3.0)
    clipped = len(encounters(Scene.build(bench.solids), assembly, sweeps, 3.0, 3.0)) > 0
    assume(abs(excess[0, 0, 0]) > FUZZ)
    assert clipped == (excess[0, 0, 0] > 0)
