"""The first look at whole batches, against the rule written out for one box, one hull and one section at a time."""

from __future__ import annotations

import math
from dataclasses import fields

import numpy as np
import pytest

from gcode_guard.space import coarse
from gcode_guard.space import scene as scene_module
from gcode_guard.space.assembly import Assembly
from gcode_guard.space.clearance import Sweeps, encounters
from gcode_guard.space.coarse import may_meet, point_may_meet
from gcode_guard.space.hulls import box, cylinder
from gcode_guard.space.scene import Scene, SceneSolid

from .benches import random_assembly, random_bench, random_ends

# x 10 to 70, y 200 to 230, up to 18 and wrong by 0.5 at most.
CLAMP = SceneSolid(0, [box((40.0, 215.0), (60.0, 30.0))], 18.0, 0.5)
# Centre (300, 100), radius 6, up to 40, measured exactly.
DOWEL = SceneSolid(1, [cylinder((300.0, 100.0), 12.0)], 40.0, 0.0)
# A cutter of radius 3 and, 20 mm above the tip, a nut of radius 21.
TOOL = Assembly(np.array([0.0, 20.0]), np.array([3.0, 21.0]), ["cutter", "collet nut/spindle"])
BESIDE, ABOVE = 3.0, 3.5
FAR = -1000.0
INF = math.inf


def plainly(scene: Scene, tool: Assembly, low: np.ndarray, high: np.ndarray, sideways: float, upward: float) -> bool:
    """Whether one box of the tip touches what a section reaches round the bounds of a hull, lower than it may be."""
    for hull in range(len(scene)):
        x0, y0, x1, y1 = scene.bounds[hull]
        tolerance = scene.tolerance[hull]
        for foot, radius in zip(tool.from_, tool.radius, strict=True):
            reach = radius + tolerance + sideways
            beside = low[0] > x1 + reach or high[0] < x0 - reach or low[1] > y1 + reach or high[1] < y0 - reach
            if not beside and low[2] < scene.top[hull] + tolerance + upward - foot:
                return True
    return False


@pytest.mark.parametrize("at_once", [None, 40])
@pytest.mark.parametrize("seed", range(4))
def test_a_batch_is_told_apart_as_box_by_box(seed: int, at_once: int | None, monkeypatch: pytest.MonkeyPatch) -> None:
    """In blocks of 64 moves; and in blocks of 4, ten of them at once, so that every piece of a batch is cut further."""
    if at_once:
        monkeypatch.setattr(coarse, "NUMBERS_AT_ONCE", at_once)
        monkeypatch.setattr(coarse, "BLOCK", 4)
    rng = np.random.default_rng(seed)
    scene, tool = random_bench(rng, 7).scene, random_assembly(rng, 3)
    for count in (1, 3, 63, 64, 65, 200):
        start, end = random_ends(rng, count)
        end = start + (end - start) * rng.uniform(0, 0.2, (count, 1))
        low, high = np.minimum(start, end), np.maximum(start, end)
        expected = [plainly(scene, tool, low[i], high[i], BESIDE, ABOVE) for i in range(count)]
        assert may_meet(scene, tool, low, high, BESIDE, ABOVE).tolist() == expected
        points = [plainly(scene, tool, place, place, BESIDE, ABOVE) for place in start]
        assert [point_may_meet(scene, tool, *place, BESIDE, ABOVE) for place in start.tolist()] == points
        met = encounters(scene, tool, Sweeps(start, end), BESIDE, ABOVE).move
        assert np.array(expected)[met].all()


# For the clamp the cutter reaches 3 + 0.5 + 3 = 6.5 and must be above 18 + 0.5 + 3.5 = 22; the nut reaches 24.5 and
# its tip must be above 2. For the dowel the cutter reaches 6, its own radius 6 included 12, and must be above 43.5; the
# nut reaches 24 (30 from the middle), above 23.5.
@pytest.mark.parametrize(
    ("place", "near"),
    [
        ((40.0, 215.0, 21.9), True), ((40.0, 215.0, 22.0), False),
        ((3.5, 215.0, 5.0), True), ((3.4, 215.0, 5.0), False),
        ((76.5, 215.0, 5.0), True), ((76.6, 215.0, 5.0), False),
        ((40.0, 193.5, 5.0), True), ((40.0, 193.4, 5.0), False),
        ((40.0, 236.5, 5.0), True), ((40.0, 236.6, 5.0), False),
        ((-14.5, 215.0, 1.9), True), ((-14.6, 215.0, 1.9), False), ((-14.5, 215.0, 2.0), False),
        ((94.5, 215.0, 1.9), True), ((94.6, 215.0, 1.9), False),
        ((40.0, 175.5, 1.9), True), ((40.0, 175.4, 1.9), False),
        ((40.0, 254.5, 1.9), True), ((40.0, 254.6, 1.9), False),
        ((300.0, 100.0, 43.4), True), ((300.0, 100.0, 43.5), False),
        ((312.0, 100.0, 43.4), True), ((312.1, 100.0, 43.4), False), ((330.0, 100.0, 23.4), True),
        ((330.0, 100.0, 23.5), False), ((330.1, 100.0, 23.4), False),
    ],
)
def test_a_place_by_hand(place: tuple[float, float, float], near: bool) -> None:
    scene = Scene.build([CLAMP, DOWEL])
    assert point_may_meet(scene, TOOL, *place, BESIDE, ABOVE) == near
    one = np.array([place])
    assert may_meet(scene, TOOL, one, one, BESIDE, ABOVE).tolist() == [near]


def test_each_move_of_a_block_is_told_apart_from_its_neighbours() -> None:
    scene = Scene.build([CLAMP])
    low = np.full((200, 3), FAR)
    low[70] = 40.0, 215.0, 5.0
    low[199] = 40.0, 215.0, 21.0
    assert np.flatnonzero(may_meet(scene, TOOL, low, low, BESIDE, ABOVE)).tolist() == [70, 199]


def test_what_is_not_known_may_be_anywhere() -> None:
    scene = Scene.build([CLAMP, DOWEL])
    anywhere = (np.array([[-math.inf, -math.inf, -math.inf]]), np.array([[math.inf, math.inf, 5.0]]))
    assert may_meet(scene, TOOL, *anywhere, BESIDE, ABOVE).tolist() == [True]
    high = np.array([[-math.inf, -math.inf, 43.5]]), np.array([[math.inf, math.inf, math.inf]])
    assert may_meet(scene, TOOL, *high, BESIDE, ABOVE).tolist() == [False]
    along_x = np.array([[-math.inf, 150.0, 25.0]]), np.array([[math.inf, 160.0, 25.0]])
    assert may_meet(scene, TOOL, *along_x, BESIDE, ABOVE).tolist() == [False]


def test_on_an_empty_table_and_of_no_moves_nothing_is_near() -> None:
    empty, some = Scene.build([]), np.zeros((2, 3))
    assert may_meet(empty, TOOL, some, some, BESIDE, ABOVE).tolist() == [False, False]
    assert may_meet(Scene.build([CLAMP]), TOOL, some[:0], some[:0], BESIDE, ABOVE).tolist() == []
    assert not point_may_meet(empty, TOOL, 0.0, 0.0, FAR, BESIDE, ABOVE)


@pytest.mark.parametrize(
    ("place", "near"),
    [
        ((-40.0, -215.0, 21.9), True), ((-40.0, -215.0, 22.0), False), ((-40.0, -193.5, 5.0), True),
        ((-40.0, -193.4, 5.0), False), ((-3.5, -215.0, 5.0), True), ((-3.4, -215.0, 5.0), False),
        ((-40.0, -236.5, 5.0), True), ((-40.0, -236.6, 5.0), False), ((-76.5, -215.0, 5.0), True),
        ((-76.6, -215.0, 5.0), False),
    ],
)
def test_on_the_other_side_of_zero_it_is_the_same(place: tuple[float, float, float], near: bool) -> None:
    scene = Scene.build([SceneSolid(0, [box((-40.0, -215.0), (60.0, 30.0))], 18.0, 0.5)])
    cutter = Assembly(np.zeros(1), np.array([3.0]), ["cutter"])
    assert point_may_meet(scene, cutter, *place, BESIDE, ABOVE) == near
    many = np.repeat([place], 130, axis=0)
    assert may_meet(scene, cutter, many, many, BESIDE, ABOVE).tolist() == [near] * 130


def test_a_shoe_that_hangs_below_the_tip_counts_from_where_it_hangs() -> None:
    scene = Scene.build([CLAMP])
    shoe = Assembly(np.array([-5.0]), np.array([3.0]), ["shoe"])
    for z, near in ((26.9, True), (27.0, False)):
        place = np.array([[40.0, 215.0, z]])
        assert point_may_meet(scene, shoe, 40.0, 215.0, z, BESIDE, ABOVE) == near
        assert may_meet(scene, shoe, place, place, BESIDE, ABOVE).tolist() == [near]


# The index of the scene -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("how", ["compared", "compared in pieces", "looked up"])
@pytest.mark.parametrize("shift", [0.0, -1000.0])
def test_hulls_near_boxes_are_those_whose_bounds_touch(how: str, shift: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """Upright blocks in a row and a column, against boxes that overlap, touch or miss them, and endless ones."""
    if how == "compared in pieces":
        monkeypatch.setattr(scene_module, "PAIRS_AT_ONCE", 30)
    if how == "looked up":
        monkeypatch.setattr(scene_module, "BRUTE_FORCE_HULLS", 0)
        monkeypatch.setattr(scene_module, "BRUTE_FORCE_PAIRS", 0)
        monkeypatch.setattr(Scene, "_near_by_comparison", None)
    else:
        monkeypatch.setattr(Scene, "_near_by_index", None)
    blocks = [(float(x), 0.0) for x in range(0, 100, 20)] + [(0.0, float(y)) for y in range(20, 300, 40)]
    scene = Scene.build([SceneSolid(k, [box((x + shift, y + shift), (8, 6))], 5.0, 0.0)
                         for k, (x, y) in enumerate(blocks)])
    edges = [-INF, -500, -7.0, -4.0, -3.0, 0.0, 4.0, 7.0, 12.0, 16.0, 63.0, 77.0, 84.0, 85.0, 257.0, 263.0, 500, INF]
    boxes = [(x0, y0, x1, y1) for x0, x1 in zip(edges, edges[2:], strict=False)
             for y0, y1 in zip(edges, edges[3:], strict=False)]
    low, high = np.array(boxes)[:, :2] + shift, np.array(boxes)[:, 2:] + shift
    expected = [(row, k) for row in range(len(boxes)) for k, (x, y) in enumerate(blocks)
                if low[row, 0] <= x + 4 + shift and high[row, 0] >= x - 4 + shift
                and low[row, 1] <= y + 3 + shift and high[row, 1] >= y - 3 + shift]
    box_, hull = scene.near(low, high)
    assert list(zip(box_.tolist(), hull.tolist(), strict=True)) == expected
    assert 100 < len(expected) < len(boxes) * 6


def test_many_hulls_and_many_boxes_are_looked_up_and_few_compared(monkeypatch: pytest.MonkeyPatch) -> None:
    few, many = 500, 501  # measured: up to 500 hulls, or 200,000 pairs, comparing all is faster
    monkeypatch.setattr(Scene, "_near_by_index", lambda self, low, high: "looked up")
    monkeypatch.setattr(Scene, "_near_by_comparison", lambda self, low, high: "compared")
    for hulls, boxes, how in ((few, 1000, "compared"), (many, 399, "compared"), (many, 400, "looked up")):
        scene = Scene.build([SceneSolid(0, [cylinder((0, 0), 1)] * hulls, 5.0, 0.0)])
        assert scene.near(np.zeros((boxes, 2)), np.ones((boxes, 2))) == how


def test_the_columns_of_a_scene_are_of_one_kind_however_few_there_are() -> None:
    some = Scene.build([CLAMP, SceneSolid(7, [cylinder((0, 0), 1)], 5, 1)])  # whole numbers are lengths too
    for scene, tops in ((some, [18.0, 5.0]), (some.take([1, 0]), [5.0, 18.0]), (some.take([1]), [5.0]),
                        (some.take([]), []), (Scene.build([]), [])):
        columns = {field.name: getattr(scene, field.name) for field in fields(scene) if field.name != "highest"}
        assert {name for name, column in columns.items() if column.dtype == np.int64} == {"count", "obstacle"}
        assert {column.dtype for column in columns.values()} == {np.dtype(np.int64), np.dtype(np.float64)}
        assert {len(column) for column in columns.values()} == {len(tops)}
        assert scene.vertices.shape[2] == 2 and scene.bounds.shape[1] == 4
        assert scene.top.tolist() == tops
        assert scene.highest == {18.0: 18.5, 5.0: 6.0, -np.inf: -np.inf}[max(tops, default=-np.inf)]
        assert scene.obstacle.tolist() == [{18.0: 0, 5.0: 7}[top] for top in tops]
