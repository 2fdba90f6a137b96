"""What the first look at whole batches drops meets nothing: with it and without it the rule finds the same."""

from __future__ import annotations

import random
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest

from gcode_guard.judge import Judge
from gcode_guard.program.moves import Kind, Move, table
from gcode_guard.setup import load_setup
from tests.guarding import write_bench

SETUP = """
format = 1
units = "mm"
[program]
starts_in = ["G21", "G90", "G17"]
[machine]
rapid_path = "{path}"
[spindle]
sections = [{{ diameter = 42.0, height = 30.0 }}, {{ diameter = 80.0, height = 120.0 }}]
{shoe}
[[tools]]
number = 1
diameter = 6.0
length = 32.0
[[tools]]
number = 2
sections = [{{ diameter = 40.0, height = 8.0 }}, {{ diameter = 12.0, height = 20.0 }}]
length = 40.0
"""
SHOE = "shoe = { diameter = 120.0, rides_at = 30.0 }"


def bench(rng: random.Random) -> str:
    text = SETUP.format(path=rng.choice(["straight", "unknown"]), shoe=rng.choice(["", "", SHOE]))
    for number in range(rng.choice([1, 4, 30])):
        x, y = rng.uniform(0, 600), rng.uniform(0, 400)
        text += (f'[[obstacles]]\nname = "o{number}"\nshape = "box"\ncenter = [{x:.2f}, {y:.2f}]\nsize = [30.0, 12.0]\n'
                 f"angle = {rng.uniform(0, 90):.1f}\ntop = {rng.uniform(2, 40):.2f}\n"
                 f"tolerance = {rng.uniform(0, 2):.2f}\n")
    return text


def moves(rng: random.Random, count: int) -> list[Move]:
    """A way of short and long moves: rapids, cuts, arcs in each plane and full turns, low and high."""
    made, here = [], [rng.uniform(0, 600), rng.uniform(0, 400), 10.0]
    for line in range(1, count + 1):
        far = rng.choice([2.0, 10.0, 10.0, 300.0])
        there = [here[0] + rng.uniform(-far, far), here[1] + rng.uniform(-far, far), rng.uniform(-5, 45)]
        kind = rng.choice([Kind.RAPID, Kind.RAPID, Kind.CUT, Kind.ARC_CW, Kind.ARC_CCW])
        centre, plane, full = None, 0, False
        if kind in (Kind.ARC_CW, Kind.ARC_CCW):
            plane = rng.choice([17, 17, 18, 19])
            first, second = {17: (0, 1), 18: (2, 0), 19: (1, 2)}[plane]
            hub = list(here)
            hub[first] += rng.uniform(2, far)
            full = rng.random() < 0.2
            turn, radius = rng.uniform(0, 6.2), hub[first] - here[first]
            there[first] = here[first] if full else hub[first] + radius * float(np.cos(turn))
            there[second] = here[second] if full else hub[second] + radius * float(np.sin(turn))
            centre = (hub[0], hub[1], hub[2])
        start, end = (tuple(Decimal(repr(float(v))) for v in place) for place in (here, there))
        tool, corner = rng.choice([1, 1, 2, -1]), rng.choice([0.0, 1.0])
        made.append(Move(line, kind, start, end, tool, Decimal(1), corner, centre, plane,  # type: ignore[arg-type]
                         grow=rng.choice([0.0, 0.0, 3.0]), full_turn=full, upright=start[:2] == end[:2]))
        here = there if rng.random() < 0.9 else [rng.uniform(0, 600), rng.uniform(0, 400), 10.0]
    return made


@pytest.mark.parametrize("seed", range(40))
def test_the_first_look_drops_nothing_that_meets(seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rng = random.Random(seed)
    judge = Judge(load_setup(write_bench(tmp_path, bench(rng))))
    columns = table(moves(rng, rng.choice([5, 300])))
    kept = judge._may_meet(columns)
    found = judge.examine(columns)
    monkeypatch.setattr(Judge, "_may_meet", lambda self, all_of_them: np.ones(len(all_of_them), dtype=bool))
    wanted = judge.examine(columns)
    assert np.array_equal(found.clips, wanted.clips) and np.array_equal(found.contact, wanted.contact)
    assert np.array_equal(found.needed, wanted.needed)
    assert found.clipped == wanted.clipped and found.touched == wanted.touched
    assert kept[wanted.clips | wanted.contact].all()


def test_the_first_look_drops_what_is_high_or_far_away(tmp_path: Path) -> None:
    """One that kept everything would pass the test above."""
    rng = random.Random(1)
    judge = Judge(load_setup(write_bench(tmp_path, bench(random.Random(3)))))
    for axis, by in ((2, 500.0), (0, 5000.0), (1, -5000.0)):
        columns = table(moves(rng, 300))
        assert judge._may_meet(columns).any()
        for place in (columns.low, columns.high, columns.start, columns.end, columns.centre):
            place[:, axis] += by
        if axis == 2 and judge.gantry_shoe is not None:
            continue  # the shoe stays where it is, however high the tool
        assert not judge._may_meet(columns).any()


@pytest.mark.parametrize("seed", range(20))
def test_a_place_told_clear_makes_no_contact(seed: int, tmp_path: Path) -> None:
    rng = random.Random(seed)
    judge = Judge(load_setup(write_bench(tmp_path, bench(rng))))
    clear = 0
    for _ in range(150):
        place = (rng.uniform(0, 600), rng.uniform(0, 400), rng.uniform(-5, 45))
        tool = rng.choice([1, 2, -1])
        if judge.is_clear(place, tool, 0.0):
            clear += 1
            at = tuple(Decimal(repr(value)) for value in place)
            point = Move(1, Kind.RAPID, at, at, tool, None, 0.0, upright=True)  # type: ignore[arg-type]
            assert not judge.examine(table([point])).contact.any()
    assert clear > 0 or judge.gantry_shoe is not None
