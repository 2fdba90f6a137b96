"""On the boundary and at the edges of what can be asked: touching is allowed, what is not known is never clear."""

from __future__ import annotations

import numpy as np
import pytest

from gcode_guard.space.assembly import Assembly
from gcode_guard.space.clearance import Sweeps, encounters, needed_heights
from gcode_guard.space.hulls import Hull, bar, box, cylinder
from gcode_guard.space.scene import Scene, SceneSolid

CUTTER = Assembly(np.array([0.0]), np.array([3.0]), ["cutter"])
NAN, INF = float("nan"), float("inf")


def scene(hull: Hull, top: float = 18.0, tolerance: float = 0.5) -> Scene:
    return Scene.build([SceneSolid(0, [hull], top, tolerance)])


CLAMP = box((40.0, 215.0), (60.0, 25.0))  # x 10 to 70, y 202.5 to 227.5
# Cutter 3 + tolerance 0.5 + beside 3 = 6.5 mm from the clamp; top 18 + 0.5 + above 3 = 21.5.


@pytest.mark.parametrize(
    ("start", "end", "clips"),
    [
        ((0, 196.0, 5), (100, 196.0, 5), False),  # passes at exactly 6.5
        ((0, 196.001, 5), (100, 196.001, 5), True),
        ((0, 215, 21.5), (100, 215, 21.5), False),  # over it at exactly 21.5
        ((0, 215, 21.499), (100, 215, 21.499), True),
        ((3.5, 215, 60), (3.5, 215, -10), False),  # straight down beside it, at exactly 6.5
        ((3.501, 215, 60), (3.501, 215, -10), True),
        ((40, 215, 60), (40, 215, 21.5), False),  # straight down onto it, as far as is allowed
        ((40, 215, 60), (40, 215, 21.499), True),
        ((40, 215, 5), (40, 215, 5), True),  # a move of no length, inside
        ((-50, 215, 5), (3.5, 215, 5), False),  # ends as it touches
        ((-50, 215, 5), (3.501, 215, 5), True),
        ((3.5, 215, 21.5), (-50, 215, 5), False),  # comes down on the way out, low where it is free
        ((3.6, 215, 21.5), (-50, 215, 5), True),
    ],
)
def test_touching_a_clamp_is_allowed(start: tuple[float, ...], end: tuple[float, ...], clips: bool) -> None:
    assert bool(len(encounters(scene(CLAMP), CUTTER, Sweeps([start], [end]), 3.0, 3.0))) == clips
    assert bool(len(encounters(scene(CLAMP), CUTTER, Sweeps([end], [start]), 3.0, 3.0))) == clips


@pytest.mark.parametrize(
    ("hull", "touching"),
    [
        (cylinder((0, 0), 12.0), 6 + 6.5),
        (bar((-20, 0), (20, 0), 20.0), 10 + 6.5),
        (Hull([[-5.0, 0.0], [5.0, 0.0], [0.0, 0.0001]]), 0.0001 + 6.5),
    ],
)
def test_touching_round_and_thin_footprints_is_allowed(hull: Hull, touching: float) -> None:
    for y, clips in ((touching, False), (touching - 1e-4, True), (touching + 1e-4, False)):
        across, upright = Sweeps([(-90, y, 0)], [(90, y, 0)]), Sweeps([(0, y, 50)], [(0, y, 0)])
        for sweeps in (across, upright, Sweeps([(-90, y, 0)], [(90, y + 5, 3)], box=True)):
            assert bool(len(encounters(scene(hull), CUTTER, sweeps, 3.0, 3.0))) == clips


def test_margins_reach_sideways_and_up_and_what_sinks_comes_lower() -> None:
    def clips(y: float, z: float, **extra: float) -> bool:
        return len(encounters(scene(CLAMP), CUTTER, Sweeps([(0, y, z)], [(100, y, z)], **extra), 3.0, 3.0)) > 0

    assert not clips(195.9, 5) and clips(195.9, 5, margin=0.2) and clips(195.9, 5, grow=0.2)
    assert not clips(195.9, 5, sink=0.2)
    assert not clips(215, 21.6) and clips(215, 21.6, margin=0.2) and clips(215, 21.6, sink=0.2)
    assert not clips(215, 21.6, grow=0.2)


def test_an_encounter_says_how_deep_with_what_and_where() -> None:
    nut = Assembly(np.array([0.0, 20.0]), np.array([3.0, 21.0]), ["cutter", "collet nut/spindle"])
    # Rises from 0 to 2 over 200 mm, 20 mm away from the clamp: the cutter is clear, the nut reaches 21 + 0.5 + 3.
    found = encounters(scene(CLAMP), nut, Sweeps([(-60, 182.5, 0)], [(140, 182.5, 2)]), 3.0, 3.0)
    assert [nut.part[k] for k in found.section] == ["collet nut/spindle"]
    assert found.needed == pytest.approx([21.5 - 20.0])
    # 24.5 mm from the corner at x = 10, of which 20 mm are aside.
    entry = 10 - np.sqrt(24.5**2 - 20**2)
    assert found.at[0] == pytest.approx([entry, 182.5])
    assert found.lowest == pytest.approx([(60 + entry) / 100])
    assert found.depth == pytest.approx(found.needed - found.lowest)


@pytest.mark.parametrize(
    ("start", "end", "box_"),
    [
        ((NAN, 0, 0), (1, 1, 1), False),
        ((0, 0, 0), (1, 1, NAN), True),
        ((0, NAN, 0), (0, NAN, 0), True),
        ((0, 0, 0), (INF, 1, 1), False),
        ((0, 0, -INF), (1, 1, 1), False),
        ((INF, 0, 0), (INF, 1, 1), True),
        ((0, -INF, 0), (0, -INF, 1), True),
    ],
)
def test_a_move_that_is_nowhere_is_refused(start: tuple[float, ...], end: tuple[float, ...], box_: bool) -> None:
    with pytest.raises(ValueError):
        Sweeps([(0, 0, 0), start], [(1, 1, 1), end], [False, box_])


@pytest.mark.parametrize("extra", [{"margin": NAN}, {"margin": -1.0}, {"sink": INF}, {"grow": [NAN]}])
def test_a_margin_that_makes_no_sense_is_refused(extra: dict[str, float]) -> None:
    with pytest.raises(ValueError):
        Sweeps([(0, 0, 0)], [(1, 1, 1)], **extra)


@pytest.mark.parametrize("clearance", [NAN, -1.0, INF])
def test_a_clearance_that_makes_no_sense_is_refused(clearance: float) -> None:
    sweeps = Sweeps([(0, 0, 0)], [(1, 1, 1)])
    for beside, above in ((clearance, 3.0), (3.0, clearance)):
        with pytest.raises(ValueError):
            encounters(scene(CLAMP), CUTTER, sweeps, beside, above)
        with pytest.raises(ValueError):
            needed_heights(scene(CLAMP), CUTTER, sweeps, beside, above)


def test_what_is_anywhere_must_clear_everything_and_what_is_high_does() -> None:
    everything = Scene.build([SceneSolid(0, [CLAMP], 18.0, 0.5), SceneSolid(1, [cylinder((500, 10), 8.0)], 9.0, 1.0)])
    anywhere = Sweeps([(-INF, -INF, 10.0)], [(INF, INF, 60.0)], box=True)
    assert needed_heights(everything, CUTTER, anywhere, 3.0, 3.0) == pytest.approx([21.5])
    assert encounters(everything, CUTTER, anywhere, 3.0, 3.0).obstacle.tolist() == [0, 1]
    unknown_depth = Sweeps([(500, 10, -INF)], [(500, 10, 60.0)], box=True)
    assert encounters(everything, CUTTER, unknown_depth, 3.0, 3.0).depth.tolist() == [INF]
    high = Sweeps([(-INF, -INF, INF)], [(INF, INF, INF)], box=True)
    assert len(encounters(everything, CUTTER, high, 3.0, 3.0)) == 0


def test_an_empty_table_and_an_empty_batch_are_clear() -> None:
    sweeps = Sweeps([(0, 0, 0)], [(1, 1, 1)])
    assert len(encounters(Scene.build([]), CUTTER, sweeps, 3.0, 3.0)) == 0
    assert needed_heights(Scene.build([]), CUTTER, sweeps, 3.0, 3.0).tolist() == [-INF]
    assert len(encounters(scene(CLAMP), CUTTER, Sweeps(np.empty((0, 3)), np.empty((0, 3))), 3.0, 3.0)) == 0


def test_numbers_beyond_all_measure_are_not_clear() -> None:
    """Where arithmetic overflows the answer is an encounter, or an error, never a clear way."""
    with np.errstate(all="ignore"):
        found = encounters(scene(CLAMP), CUTTER, Sweeps([(40, 215, 0)], [(1e300, 1e300, 0)]), 3.0, 3.0)
    assert len(found)
