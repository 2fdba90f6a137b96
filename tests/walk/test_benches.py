"""Walks over random benches, judged by GEOS through shapely: never nearer than clearance and tolerance, everything
visited, Z never above the reach; and `filter` passes them unchanged, `verify` holds them."""

from __future__ import annotations

import io
import itertools
import re
from dataclasses import dataclass, replace
from math import cos, pi, sin
from pathlib import Path

import pytest
import shapely
import tomlkit
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from gcode_guard.setup import load_setup
from gcode_guard.source import Source
from gcode_guard.verify import verify
from gcode_guard.walk.program import CannotWalk, walk
from gcode_guard.walk.tour import best_order, round_trip, trip_length, within
from tests.generate.benches import GeneratedBench, benches
from tests.guarding import run, write_bench
from tests.referee.plain_bench import Obstacle
from tests.referee.plain_rule import clip, needed_height, straight

Place = tuple[float, float, float]
QUIET = settings(max_examples=28, deadline=None, derandomize=True, database=None, phases=[Phase.generate],
                 suppress_health_check=list(HealthCheck))


@dataclass
class Plain:
    """The walk as a reader of three words sees it: ways in mm, and where it stops, with what is said there."""

    ways: list[tuple[Place, Place]]
    stops: list[tuple[Place, str]]


def read_plainly(text: str) -> Plain:
    """Only G0 and G1 with X, Y, Z and F, M0 with a comment, and codes that stand alone."""
    scale = 25.4 if "\nG20\n" in text else 1.0
    here: dict[str, float] = {}
    plain = Plain([], [])
    for line in text.splitlines():
        words, _, said = line.partition("(")
        codes = re.findall(r"[GMT]\d+", words)
        assert len(codes) <= 1 and said.count("(") == 0 and line.isascii() and len(line) < 256
        if words.startswith(("G0 ", "G1 ")):
            before = dict(here)
            axes = dict(re.findall(r"([XYZ])(-?\d+\.\d+)", words))
            assert axes and ("Z" in axes) != ("X" in axes and "Y" in axes)
            here |= {axis: float(value) * scale for axis, value in axes.items()}
            if len(before) == 3:
                ends = [(place["X"], place["Y"], place["Z"]) for place in (before, here)]
                plain.ways.append((ends[0], ends[1]))
            assert words.startswith("G0") or len(before) == 3
        elif codes == ["M0"] and len(here) == 3:
            plain.stops.append(((here["X"], here["Y"], here["Z"]), said))
    return plain


def hold_walk(folder: Path, bench: GeneratedBench, tool: int) -> bool:
    path = write_bench(folder, bench.text, bench.files)
    setup = load_setup(path)
    reach = setup.machine.reach
    try:
        made = walk(setup, tool)
    except CannotWalk as error:
        assert "reach ends" in str(error) and reach is not None
        return False
    plain = read_plainly(made.text.decode())
    sections = bench.bench.assemblies[tool]
    stock = setup.stock
    assert stock is not None
    # What the tool may cut it must not walk into either; a shoe that stays with the gantry rides over it as it may.
    blank = Obstacle("stock", shapely.box(0.0, 0.0, *stock.size), 0.0, stock.top, setup.clearance.tolerance)
    standing = [*bench.bench.obstacles, blank]
    for start, end in plain.ways:
        for obstacle in standing:
            assert clip(straight(start, end), sections, obstacle, bench.bench, 0.0) == 0.0
    for place, _ in plain.stops:  # and no higher than it must be, to the next round number
        lowest = needed_height(shapely.Point(place[:2]), sections, replace(bench.bench, obstacles=standing), 0.0)
        assert place[2] <= max(lowest, reach["z"][0] if reach is not None else lowest) + 0.13
    assert reach is None or all(way[1][2] <= reach["z"][1] + 1e-9 for way in plain.ways)
    assert max(way[1][2] for way in plain.ways) == plain.ways[0][0][2]  # it starts up high
    assert not made.missed
    for obstacle in bench.bench.obstacles:
        over = [said for place, said in plain.stops
                if shapely.distance(shapely.Point(place[:2]), obstacle.core) <= obstacle.radius + 0.02]
        assert any(f": {obstacle.name}, " in said for said in over)
    corners = itertools.product((0.0, stock.size[0]), (0.0, stock.size[1]))
    assert all(any(abs(place[0] - x) + abs(place[1] - y) < 0.1 and "stock, corner" in said
                   for place, said in plain.stops) for x, y in corners)
    came = run(made.text, path)
    assert (came.exit, came.output, came.diff) == (0, made.text, b"")
    with Source.from_stream(io.BytesIO(made.text), "walk.nc") as one, \
            Source.from_stream(io.BytesIO(came.output), "walk.nc") as two:
        assert verify(one, two, setup).holds
    return True


def test_walks_over_random_benches(tmp_path: Path) -> None:
    walked = []

    @QUIET
    @given(st.data())
    def hold(data: st.DataObject) -> None:
        bench = data.draw(benches())
        walked.append(hold_walk(tmp_path, bench, data.draw(st.sampled_from(bench.tools))))

    hold()
    assert walked.count(True) > 0.8 * len(walked)


def test_the_reach_is_never_left_however_low_the_ceiling(tmp_path: Path) -> None:
    """With ceilings down to a few millimetres above the stock, each walk stays below or is refused with the figure."""
    walked = []

    @QUIET
    @given(st.data(), st.integers(5, 70))
    def hold(data: st.DataObject, ceiling: int) -> None:
        bench = data.draw(benches())
        scale = 25.4 if bench.setup["units"] == "inch" else 1.0
        reach = {"x": [-500.0 / scale, 1000.0 / scale], "y": [-500.0 / scale, 1000.0 / scale],
                 "z": [-100.0 / scale, ceiling / scale]}
        machine = {**bench.setup["machine"], "reach": reach}
        machine.pop("start", None)
        bench.text = tomlkit.dumps({**bench.setup, "machine": machine})
        walked.append(hold_walk(tmp_path, bench, bench.tools[0]))

    hold()
    assert True in walked and False in walked


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.lists(st.tuples(st.integers(0, 300), st.integers(0, 300)), min_size=1, max_size=7), st.booleans())
def test_the_round_trip_is_the_shortest(places: list[tuple[float, float]], started: bool) -> None:
    """Against every order there is."""
    start = (0.0, 0.0) if started else None
    order = round_trip(start, places)
    assert sorted(order) == list(range(len(places)))
    best = min(trip_length(start, [places[k] for k in tried]) for tried in itertools.permutations(range(len(places))))
    assert trip_length(start, [places[k] for k in order]) == pytest.approx(best)


Things = list[list[tuple[float, float]]]
PLACES = st.lists(st.tuples(st.integers(0, 90), st.integers(0, 90)), min_size=1, max_size=4, unique=True)


def whole_length(start: tuple[float, float] | None, things: Things) -> float:
    return trip_length(start, [place for thing in things for place in thing])


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.lists(PLACES, min_size=1, max_size=4), st.booleans())
def test_the_way_over_all_stops_is_the_shortest(things: Things, started: bool) -> None:
    """Against every order of things, and of the places of each behind its first one."""
    start = (0.0, 0.0) if started else None
    order = best_order(start, things)
    assert sorted(order) == list(range(len(things)))
    walked = []
    for k, number in enumerate(order):
        following = things[order[k + 1]][0] if k + 1 < len(order) else start or things[order[0]][0]
        walked.append([things[number][place] for place in within(things[number], following)])
    rests = [[[thing[0], *rest] for rest in itertools.permutations(thing[1:])] for thing in things]
    best = min(whole_length(start, [rests[k][way] for k, way in zip(tried, ways, strict=True)])
               for tried in itertools.permutations(range(len(things)))
               for ways in itertools.product(*(range(len(rests[k])) for k in tried)))
    assert whole_length(start, walked) == pytest.approx(best)


def test_a_long_round_trip_is_near_the_shortest() -> None:
    """Places on a circle, given out of order: the shortest round trip goes round once."""
    count = 40
    angles = [(k * 17) % count * 2 * pi / count for k in range(count)]
    places = [(300 * cos(angle), 300 * sin(angle)) for angle in angles]
    order = round_trip(None, places)
    once = trip_length(None, [places[k] for k in sorted(range(count), key=lambda k: angles[k])])
    assert trip_length(None, [places[k] for k in order]) == pytest.approx(once)
