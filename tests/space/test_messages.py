"""What is said of geometry that makes no sense: setup errors pass it on to the person who wrote the setup."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from gcode_guard.space.arcs import flatten
from gcode_guard.space.assembly import Assembly
from gcode_guard.space.clearance import Sweeps, encounters
from gcode_guard.space.hulls import Hull, bar, box, cylinder, outline
from gcode_guard.space.scene import Scene, SceneSolid
from gcode_guard.space.times import rapid_time
from gcode_guard.space.ways import way_round

NAN, INF = float("nan"), float("inf")
TOOL = Assembly(np.zeros(1), np.ones(1), ["cutter"])
DISC = cylinder((0, 0), 5)
SOME = [(0.0, 0.0, 0.0)]


def arc(start: tuple[float, ...] = (10, 0, 0), end: tuple[float, ...] = (0, 10, 0),
        centre: tuple[float, ...] = (0, 0, 0), plane: int = 17, sagitta: float = 0.01) -> Any:
    return flatten([start], [end], [centre], [plane], [False], sagitta)


def way(start: tuple[float, float] = (0, 0), z: float = 5.0, low: float = -100.0) -> Any:
    return way_round(Scene.build([]), TOOL, start, (50, 0), z, beside=1.0, above=1.0, corner=0.0,
                     bounds=((low, 100.0), (-100.0, 100.0)))


def solid(top: float = 5.0, tolerance: float = 1.0, hulls: list[Hull] | None = None) -> Scene:
    return Scene.build([SceneSolid(0, [DISC] if hulls is None else hulls, top, tolerance)])


FINITE_HULL = "a hull needs finite vertices and a radius that is not negative"
SECTIONS = "an assembly needs one height, one radius and one name for each of its sections"
FINITE_SECTIONS = "an assembly needs finite heights and radii that are not negative"
SHAPES = "sweeps need starts and ends of shape (n, 3)"
NO_AREA = "an outline needs an area: its points are in one line, or its sides cross"
NUMBERS = "an outline needs points of two finite numbers each"
FINITE_ARC = "an arc needs finite ends and a finite centre"
CENTRE = "the centre of an arc cannot be at one of its ends"
SAGITTA = "the sagitta must be positive"
PLANE = "an arc lies in plane 17, 18 or 19"
FINITE_TOP = "a solid needs a finite top and a tolerance that is not negative"
NEAR = "a box with a corner that is not a number is near everything or nothing"
CLEARANCES = "clearances must be finite and not negative"
WAY = "a way round needs ends, a height and bounds that are known"

SAID: list[tuple[Callable[[], Any], str]] = [
    (lambda: Hull(np.zeros(2)), "a hull needs vertices of shape (k, 2)"),
    (lambda: Hull(np.zeros((1, 3))), "a hull needs vertices of shape (k, 2)"),
    (lambda: Hull(np.zeros((0, 2))), "a hull needs vertices of shape (k, 2)"),
    (lambda: Hull(np.array([[0, NAN]])), FINITE_HULL),
    (lambda: Hull(np.array([[0, 0]]), INF), FINITE_HULL),
    (lambda: Hull(np.array([[0, 0]]), NAN), FINITE_HULL),
    (lambda: Hull(np.array([[0, 0]]), -0.5), FINITE_HULL),
    (lambda: Hull(np.array([[0, 0], [4, 0], [1, 1], [0, 4]])),
     "a hull of three or more vertices must be a convex polygon"),
    (lambda: box((0, 0), (0, 5)), "size must be positive"),
    (lambda: box((0, 0), (5, -1)), "size must be positive"),
    (lambda: box((0, 0), (5, INF)), "size must be positive"),
    (lambda: cylinder((0, 0), 0), "diameter must be positive"),
    (lambda: bar((0, 0), (1, 1), 0), "width must be positive"),
    (lambda: outline([(0, 0, 0), (1, 0, 0), (1, 1, 0)]), NUMBERS),
    (lambda: outline([(0, 0), (1, NAN), (2, 0)]), NUMBERS),
    (lambda: outline([0, 1, 2]), NUMBERS),  # type: ignore[list-item]
    (lambda: outline([(0, 0), (1, 1)]), NO_AREA),
    (lambda: outline([(0, 0), (1, 1), (2, 2)]), NO_AREA),
    (lambda: outline([(0, 0), (2, 2), (2, 0), (0, 2)]), NO_AREA),
    (lambda: Assembly([], [], []), SECTIONS),
    (lambda: Assembly([[0.0]], [[1.0]], ["cutter"]), SECTIONS),
    (lambda: Assembly([0.0, 1.0], [1.0], ["cutter", "shank"]), SECTIONS),
    (lambda: Assembly([0.0], [1.0], ["cutter", "shank"]), SECTIONS),
    (lambda: Assembly([NAN], [1.0], ["cutter"]), FINITE_SECTIONS),
    (lambda: Assembly([0.0], [INF], ["cutter"]), FINITE_SECTIONS),
    (lambda: Assembly([0.0], [-1.0], ["cutter"]), FINITE_SECTIONS),
    (lambda: Assembly([5.0, 0.0], [1.0, 2.0], ["cutter", "shank"]),
     "the sections of an assembly must be given from the tip up"),
    (lambda: Sweeps([0, 0, 0], [0, 0, 0]), SHAPES),
    (lambda: Sweeps([(0, 0)], [(0, 0)]), SHAPES),
    (lambda: Sweeps(SOME, SOME * 2), SHAPES),
    (lambda: Sweeps(SOME, [(0.0, 0.0)]), SHAPES),
    (lambda: Sweeps(SOME, SOME, [True, False]), "sweeps need one `box` for each move"),
    (lambda: Sweeps(SOME, SOME, margin=[1.0, 1.0]), "sweeps need one `margin` for each move"),
    (lambda: Sweeps(SOME, SOME, sink=[1.0, 1.0]), "sweeps need one `sink` for each move"),
    (lambda: Sweeps(SOME, SOME, grow=[1.0, 1.0]), "sweeps need one `grow` for each move"),
    (lambda: Sweeps(SOME, SOME, margin=INF), "`margin` must be finite and not negative"),
    (lambda: Sweeps(SOME, SOME, sink=-1.0), "`sink` must be finite and not negative"),
    (lambda: Sweeps(SOME, SOME, grow=NAN), "`grow` must be finite and not negative"),
    (lambda: Sweeps([(0, 0, NAN)], SOME, True), "a sweep with a coordinate that is not a number cannot be judged"),
    (lambda: Sweeps(SOME, [(0, NAN, 0)]), "a sweep with a coordinate that is not a number cannot be judged"),
    (lambda: Sweeps(SOME, [(0, 0, INF)]), "a straight sweep needs finite ends"),
    (lambda: Sweeps([(0, -INF, 0)], SOME), "a straight sweep needs finite ends"),
    (lambda: Sweeps([(INF, 0, 0)], [(INF, 0, 0)], True), "a box that lies wholly at infinity is nowhere"),
    (lambda: Sweeps([(0, -INF, 0)], [(0, -INF, 0)], True), "a box that lies wholly at infinity is nowhere"),
    (lambda: encounters(solid(), TOOL, Sweeps(SOME, SOME), -1.0, 0.0), CLEARANCES),
    (lambda: encounters(solid(), TOOL, Sweeps(SOME, SOME), 0.0, INF), CLEARANCES),
    (lambda: arc(plane=20), PLANE),
    (lambda: arc(start=(NAN, 0, 0)), FINITE_ARC),
    (lambda: arc(end=(0, INF, 0)), FINITE_ARC),
    (lambda: arc(end=(0, 10, INF)), FINITE_ARC),
    (lambda: arc(centre=(0, NAN, 0)), FINITE_ARC),
    (lambda: arc(centre=(10, 0, 0)), CENTRE),
    (lambda: arc(centre=(0, 10, 0)), CENTRE),
    (lambda: arc(sagitta=0.0), SAGITTA),
    (lambda: arc(sagitta=-1.0), SAGITTA),
    (lambda: arc(sagitta=INF), SAGITTA),
    (lambda: arc(sagitta=NAN), SAGITTA),
    (lambda: solid(hulls=[]), "a solid needs a footprint"),
    (lambda: solid(top=NAN), FINITE_TOP),
    (lambda: solid(top=-INF), FINITE_TOP),
    (lambda: solid(tolerance=INF), FINITE_TOP),
    (lambda: solid(tolerance=-0.5), FINITE_TOP),
    (lambda: solid().near(np.array([[0, NAN]]), np.ones((1, 2))), NEAR),
    (lambda: solid().near(np.zeros((1, 2)), np.array([[NAN, 1]])), NEAR),
    (lambda: rapid_time(SOME, [0, 1, 1], [1, 1, 1]), "rates and accelerations must be above zero"),
    (lambda: way(start=(0, NAN)), WAY),
    (lambda: way(start=(INF, 0)), WAY),
    (lambda: way(z=INF), WAY),
    (lambda: way(low=NAN), WAY),
]


@pytest.mark.parametrize(("call", "said"), SAID, ids=[str(number) for number in range(len(SAID))])
def test_what_makes_no_sense_is_refused_with_a_reason(call: Callable[[], Any], said: str) -> None:
    with pytest.raises(ValueError) as caught:
        call()
    assert str(caught.value) == said


def test_of_an_outline_that_crosses_itself_geos_says_where() -> None:
    with pytest.raises(ValueError, match=r"^an outline must not cross or touch itself \(Self-intersection\[2\.2"):
        outline([(0, 0), (4, 4), (4, 0), (0, 5)])


def test_what_is_at_the_edge_of_sense_is_taken() -> None:
    assert way(low=-INF) == []
    assert Assembly([0.0, 0.0], [0.0, 2.0], ["cutter", "shank"]).radius.tolist() == [0.0, 2.0]
    assert len(Sweeps(SOME, SOME, margin=0.0, sink=[0.0], grow=[2.0])) == 1
    assert len(solid(tolerance=0.0, top=-5.0)) == 1
    assert len(encounters(solid(), TOOL, Sweeps(SOME, SOME), 0.0, 0.0)) == 1
    assert len(Sweeps([(0, 0, -INF)], [(INF, 0, -INF)], True)) == 1
    assert Hull(np.array([[1, 2]]), 0).bounds == (1.0, 2.0, 1.0, 2.0)
