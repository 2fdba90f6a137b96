"""Chords of arcs against a dense walk along the true curve, from the definitions of RS274/NGC (NISTIR 6556, 3.5.3)."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from gcode_guard.space.arcs import farthest, flatten
from gcode_guard.space.assembly import Assembly
from gcode_guard.space.clearance import Sweeps, encounters
from gcode_guard.space.hulls import cylinder
from gcode_guard.space.scene import Scene, SceneSolid

# First and second axis of each plane as one looks at it from the positive end of the third.
LOOK = {17: "XYZ", 18: "ZXY", 19: "YZX"}


def true_curve(start, centre, plane: int, sweep: float, climb: float, count: int) -> np.ndarray:
    """Points (count, 3) on the helix that leaves `start` and turns by `sweep` (positive: counter-clockwise)."""
    a, b, c = ("XYZ".index(letter) for letter in LOOK[plane])
    angle = math.atan2(start[b] - centre[b], start[a] - centre[a])
    radius = math.hypot(start[b] - centre[b], start[a] - centre[a])
    points = np.empty((count, 3))
    for row, part in enumerate(np.linspace(0, 1, count)):
        points[row, a] = centre[a] + radius * math.cos(angle + part * sweep)
        points[row, b] = centre[b] + radius * math.sin(angle + part * sweep)
        points[row, c] = start[c] + part * climb
    return points


def random_arc(rng: np.random.Generator):
    plane = int(rng.choice([17, 18, 19]))
    centre, start = rng.uniform(-100, 100, 3), rng.uniform(-100, 100, 3)
    c = "XYZ".index(LOOK[plane][2])
    if rng.random() < 0.3:  # small ones too
        start = centre + rng.uniform(-0.2, 0.2, 3)
    sweep = float(rng.choice([rng.uniform(0.001, 2 * math.pi - 0.001), 2 * math.pi, math.pi / 2]))
    sweep *= float(rng.choice([-1, 1]))
    climb = float(rng.choice([0.0, rng.uniform(-30, 30)]))
    curve = true_curve(start, centre, plane, sweep, climb, 2001)
    end = curve[-1].copy()
    if abs(sweep) == 2 * math.pi:
        end = start.copy()
        end[c] = start[c] + climb
    return start, end, centre, plane, sweep < 0, curve


def distance_to_chords(points: np.ndarray, first: np.ndarray, last: np.ndarray) -> np.ndarray:
    """(p,) distance in space of each point to the nearest of the chords."""
    way = last - first
    square = np.maximum((way * way).sum(axis=1), 1e-30)
    part = np.clip(((points[:, None] - first) * way).sum(axis=2) / square, 0, 1)
    return np.linalg.norm(points[:, None] - first - part[..., None] * way, axis=2).min(axis=1)


def test_how_far_an_arc_comes_is_how_far_its_true_curve_comes() -> None:
    rng = np.random.default_rng(5)
    arcs = [random_arc(rng) for _ in range(300)]
    low, high = farthest(*(np.array([arc[column] for arc in arcs]) for column in range(5)))
    for (start, _, centre, _, _, curve), least, most in zip(arcs, low, high, strict=True):
        least, most = np.minimum(least, start), np.maximum(most, start)
        step = np.linalg.norm(start - centre) * 1e-5  # what a curve of 2000 chords misses of a circle, and more
        assert (least <= curve.min(axis=0) + 1e-9).all() and (least >= curve.min(axis=0) - step - 1e-9).all()
        assert (most >= curve.max(axis=0) - 1e-9).all() and (most <= curve.max(axis=0) + step + 1e-9).all()


@pytest.mark.parametrize("seed", range(80))
def test_the_true_curve_is_within_the_sagitta_and_the_chords_stay_by_it(seed: int) -> None:
    start, end, centre, plane, clockwise, curve = random_arc(np.random.default_rng(seed))
    owner, first, last = flatten([start], [end], [centre], [plane], [clockwise])
    assert (owner == 0).all()
    assert (first[0] == start).all() and (last[-1] == end).all() and (first[1:] == last[:-1]).all()
    assert distance_to_chords(curve, first, last).max() <= 0.01 + 1e-9
    on_chords = (first[:, None] + np.linspace(0, 1, 5)[None, :, None] * (last - first)[:, None]).reshape(-1, 3)
    step = np.linalg.norm(np.diff(curve, axis=0), axis=1).max()
    assert distance_to_chords(on_chords, curve[:-1], curve[1:]).max() <= 0.01 + step * 1e-3 + 1e-9
    # No more chords than twice those that the sagitta allows: batches of arcs stay small.
    a, b, _ = ("XYZ".index(letter) for letter in LOOK[plane])
    radius = math.hypot(start[a] - centre[a], start[b] - centre[b])
    fewest = 2 * math.pi / (2 * math.acos(1 - min(1.0, 0.01 / radius)))
    assert len(owner) <= 2 * fewest + 2


def test_quarter_turns_go_the_way_the_standard_says() -> None:
    for plane, from_, to in ((17, (10, 0, 0), (0, 10, 0)), (18, (0, 0, 10), (10, 0, 0)), (19, (0, 10, 0), (0, 0, 10))):
        _, _, short = flatten([from_], [to], [(0, 0, 0)], [plane], [False])  # G3: from the first axis to the second
        _, _, long = flatten([from_], [to], [(0, 0, 0)], [plane], [True])  # G2: the other three quarters
        middle = np.array(from_) + np.array(to)
        assert (short @ middle > 99.9).all()
        assert (long @ middle).min() < -140


@pytest.mark.parametrize("climb", [0.0, 5.0])
def test_an_arc_back_to_its_start_is_a_full_turn(climb: float) -> None:
    _, first, last = flatten([(10, 0, 0)], [(10, 0, climb)], [(0, 0, 0)], [17], [True])
    length = np.hypot(*(last - first)[:, :2].T).sum()
    assert length == pytest.approx(2 * math.pi * 10, rel=1e-3)
    assert last[-1, 2] == climb
    quarter = len(last) // 4
    assert last[quarter, 1] < 0, "clockwise from the right end goes down first"


def test_many_arcs_at_once_are_those_one_by_one() -> None:
    rng = np.random.default_rng(1)
    arcs = [random_arc(rng) for _ in range(60)]
    start, end, centre, plane, clockwise = (np.array([arc[i] for arc in arcs]) for i in range(5))
    owner, first, last = flatten(start, end, centre, plane, clockwise, 0.05)
    for number in range(60):
        one = slice(number, number + 1)
        _, a, b = flatten(start[one], end[one], centre[one], plane[one], clockwise[one], 0.05)
        assert (first[owner == number] == a).all() and (last[owner == number] == b).all()
    assert len(flatten(start[:0], end[:0], centre[:0], plane[:0], clockwise[:0])[0]) == 0


def test_radii_that_differ_a_little_are_joined_evenly() -> None:
    _, first, last = flatten([(10, 0, 0)], [(0, 10.004, 0)], [(0, 0, 0)], [17], [False])
    away = np.hypot(last[:, 0], last[:, 1])
    assert (np.diff(away) > 0).all() and away.min() > 10 and away[-1] == 10.004


@pytest.mark.parametrize("seed", range(40))
def test_an_arc_is_judged_on_the_safe_side_by_at_most_two_hundredths(seed: int) -> None:
    """The verdict on the grown chords against a dense walk: a dowel beside a G17 arc."""
    rng = np.random.default_rng(500 + seed)
    start, end, centre, plane, clockwise, curve = random_arc(rng)
    while plane != 17 or np.hypot(*(start - centre)[:2]) < 5:
        start, end, centre, plane, clockwise, curve = random_arc(rng)
    dowel = rng.uniform(-150, 150, 2)
    nearest = shapely.distance(shapely.LineString(curve[:, :2]), shapely.Point(dowel))
    _, first, last = flatten([start], [end], [centre], [plane], [clockwise])
    for gap, must_touch in ((0.0005, True), (-0.0205, False), (0.5, True)):
        reach = nearest + gap
        if reach < 0.5:
            continue
        scene = Scene.build([SceneSolid(0, [cylinder(dowel, 0.4)], 200.0, 0.0)])
        cutter = Assembly(np.zeros(1), np.array([reach - 0.2]), ["cutter"])
        found = encounters(scene, cutter, Sweeps(first, last, grow=0.01), 0.0, 0.0)
        assert bool(len(found)) == must_touch, (gap, nearest)


@pytest.mark.parametrize(
    "change",
    [
        {"start": [(math.nan, 0, 0)]},
        {"end": [(0, 10, math.inf)]},
        {"centre": [(math.nan, 0, 0)]},
        {"centre": [(10, 0, 0)]},
        {"plane": [20]},
        {"sagitta": 0.0},
    ],
)
def test_an_arc_that_makes_no_sense_is_refused(change) -> None:  # type: ignore[no-untyped-def]
    arc = {"start": [(10, 0, 0)], "end": [(0, 10, 0)], "centre": [(0, 0, 0)], "plane": [17], "clockwise": [False]}
    flatten(**arc)
    flatten(**{**arc, "centre": [(0, 0, math.nan)]})  # across the plane it does not count
    with pytest.raises(ValueError):
        flatten(**{**arc, **change})
