"""The backdrop may be thinned, but what it says of itself is true. Distances are measured by GEOS, through shapely."""

from __future__ import annotations

import math
import random

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from gcode_guard.picture.thin import Thinner

Chain = list[tuple[float, float]]
places = st.tuples(st.floats(-500, 500, width=32), st.floats(-500, 500, width=32))


def _thin(chain: Chain, budget: int, coarsest: float) -> tuple[Thinner, list[Chain]]:
    thinner = Thinner(budget, coarsest)
    for start, end in zip(chain, chain[1:], strict=False):
        thinner.add([start, end])
    return thinner, thinner.polylines()


def _shape(chain: Chain) -> shapely.Geometry:
    return shapely.LineString(chain) if len(set(chain)) > 1 else shapely.Point(chain[0])


@settings(max_examples=60, deadline=None)
@given(st.lists(places, min_size=2, max_size=60), st.integers(4, 40), st.sampled_from([0.1, 1.0, 20.0]))
def test_nothing_drawn_or_run_is_farther_off_than_said(chain: Chain, budget: int, coarsest: float) -> None:
    thinner, lines = _thin(chain, budget, coarsest)
    true, drawn = _shape(chain), shapely.union_all([_shape(line) for line in lines])
    for line in lines:
        assert all(true.distance(shapely.Point(p)) <= thinner.off_by + 1e-3 for p in line)
    if thinner.left_out:
        return
    for (x0, y0), (x1, y1) in zip(chain, chain[1:], strict=False):
        for k in range(9):
            step = shapely.Point(x0 + (x1 - x0) * k / 8, y0 + (y1 - y0) * k / 8)
            assert drawn.distance(step) <= thinner.off_by + 1e-3


def test_a_program_of_ordinary_size_is_drawn_as_it_is() -> None:
    chain = [(30 * math.cos(k / 20), 30 * math.sin(k / 20)) for k in range(2000)]
    thinner, lines = _thin(chain, 20_000, 2.0)
    assert thinner.off_by < 0.05 and thinner.left_out == 0 and thinner.count == 1999
    assert all(abs(math.hypot(*p) - 30) < 0.1 for line in lines for p in line)


def test_a_relief_of_many_moves_needs_few_lines() -> None:
    chain = [(x if row % 2 == 0 else 100 - x, row * 0.5) for row in range(200) for x in range(101)]
    thinner, lines = _thin([(float(x), y) for x, y in chain], 20_000, 2.0)
    assert thinner.count == 200 * 101 - 1 and thinner.left_out == 0
    assert thinner.drawn < 1000


def test_what_cannot_be_drawn_is_counted() -> None:
    draw = random.Random(5)
    chain = [(draw.uniform(0, 600), draw.uniform(0, 400)) for _ in range(20_000)]
    thinner = Thinner(500, 2.0)
    for start, end in zip(chain, chain[1:], strict=False):
        thinner.add([start, end])
    lines = thinner.polylines()
    # The last chain taken may go beyond the budget once.
    assert thinner.drawn <= 500 + 4001
    assert thinner.left_out > 10_000
    assert thinner.left_out < thinner.count
    assert sum(len(line) - 1 for line in lines) == thinner.drawn


def test_a_hole_is_a_dot() -> None:
    thinner = Thinner(100, 1.0)
    thinner.add([(5.0, 6.0), (5.0, 6.0)])
    ((line),) = thinner.polylines()
    assert line == [(5.0, 6.0), (5.0, 6.0)]


def test_a_long_wandering_cut_keeps_to_the_budget() -> None:
    draw = random.Random(7)
    thinner = Thinner(2_000, 2.0)
    x = y = 0.0
    for _ in range(200_000):
        nx, ny = x + draw.uniform(-0.5, 0.5), y + draw.uniform(-0.5, 0.5)
        thinner.add([(x, y), (nx, ny)])
        x, y = nx, ny
    thinner.polylines()
    assert thinner.drawn <= 2_000 + 4001 and thinner.count == 200_000
    assert thinner.off_by == pytest.approx(1.7072 * (2 * thinner.step - 0.02))
