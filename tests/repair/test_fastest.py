"""The fastest repair of a run, against every alternative that a plain enumeration finds, and by hand.

The bench of test_tables.py (a rapid within 8 mm of the clamp needs 23 mm) with a post that needs 45 mm and rates. Times
are worked out here once more, and what the rapids of an output are is told by the plain reader of tests/referee.
"""

from __future__ import annotations

import random
import tomllib
from itertools import pairwise
from math import inf
from pathlib import Path

import pytest
import shapely

from gcode_guard.space.times import Profile, rapid_time
from tests.guarding import Guarded, run, write_bench
from tests.referee.plain_options import options_of
from tests.referee.plain_reader import read
from tests.repair.test_tables import AWAY, BENCH, KNOWN

SPEED, FORCE = (100.0, 80.0, 30.0), (500.0, 400.0, 200.0)  # mm a second, mm a second squared
RATES = "\nrapid_rate = [6000.0, 4800.0, 1800.0]\nacceleration = [500.0, 400.0, 200.0]"
POST = '\n[[obstacles]]\nname = "post"\nshape = "cylinder"\ncenter = [300.0, 100.0]\ndiameter = 10.0\ntop = 40.0\n'
STANDS = [(shapely.box(80, 90, 120, 110), 23.0), (shapely.Point(300, 100).buffer(5, quad_segs=64), 45.0)]


def bench(path: str = "straight", more: str = "", machine: str = "") -> str:
    return BENCH.format(machine=KNOWN + RATES + f'\nrapid_path = "{path}"' + machine) + POST + more


def guard(folder: Path, program: str, text: str) -> Guarded:
    return run(program, write_bench(folder, text))


# Times, once more ---------------------------------------------------------------------------------------------------


def seconds(*way: float) -> float:
    """A rapid from rest to rest: the longest of the axes, each with a triangle or a trapezoid of speed."""
    times = [0.0]
    for length, speed, force in zip(map(abs, way), SPEED, FORCE, strict=True):
        top = min(speed, (length * force) ** 0.5)
        times.append(2 * top / force + (length - top * top / force) / top if top else 0.0)
    return max(times)


def rapid_seconds(program: bytes | str, text: str) -> float:
    data = program.encode() if isinstance(program, str) else program
    moves = read(data, options_of(tomllib.loads(text), None)).moves
    return sum(seconds(*(float(b - a) for a, b in zip(m.start, m.end, strict=True))) for m in moves
               if m.kind == "rapid")


@pytest.mark.parametrize("seed", range(20))
def test_one_rapid_takes_as_long_as_among_many(seed: int) -> None:
    dice = random.Random(seed)
    rates, force = [dice.uniform(500, 9000) for _ in range(3)], [dice.uniform(50, 2000) for _ in range(3)]
    ways = [[dice.choice([0.0, dice.uniform(-200, 200), dice.uniform(-2, 2)]) for _ in range(3)] for _ in range(50)]
    one = Profile(rates, force)
    assert [one.seconds(*way) for way in ways] == pytest.approx(rapid_time(ways, rates, force).tolist(), rel=1e-12)
    for wrong in ([0.0, 1.0, 1.0], [1.0, -1.0, 1.0]):
        with pytest.raises(ValueError):
            Profile(wrong, force)
        with pytest.raises(ValueError):
            Profile(rates, wrong)


# Every alternative --------------------------------------------------------------------------------------------------


Place = tuple[float, float, float]


def needed(a: Place, b: Place, path: str) -> float:
    way = shapely.MultiPoint([a[:2], b[:2]]).envelope if path == "unknown" else shapely.LineString([a[:2], b[:2]])
    return max((height for shape, height in STANDS if shape.distance(way) < 8 - 1e-6), default=-inf)


def clips(a: Place, b: Place, path: str) -> bool:
    """Whether a block does, level or not: by its lowest point, which is safe to say of a slanted one too."""
    return needed(a, b, path) > min(a[2], b[2])


def fastest_of_all(places: list[Place], says_z: list[bool], path: str) -> float:
    """The shortest time in which these blocks can be mended: at every place each height that the run needs and the
    program's own, with a rise before and a way down behind each block; a word is raised only as long as something
    behind it in the run must be."""
    count = len(places) - 1
    needs = [needed(a, b, path) if clips(a, b, path) else -inf for a, b in pairwise(places)]
    asked = {need for need in needs if need > -inf}
    states = {places[0][2]: 0.0}
    for k in range(count):
        (x0, y0, _), (x1, y1, own) = places[k], places[k + 1]
        least, later = needs[k], max(needs[k + 1 :], default=-inf)
        heights = {own, *asked}
        reached: dict[float, float] = {}
        for height, took in states.items():
            starts = {height} | {h for h in asked if h > height and (says_z[k] or least > height)}
            for start in starts:
                for across in heights | {height} if says_z[k] else {start}:
                    flat = (x0, y0) == (x1, y1)
                    if not flat and min(start, across) < least:
                        continue
                    for end in heights | {height, across} if says_z[k] else {across}:
                        if says_z[k] and (end < own or across < own or (end > own and max(later, least) <= own)):
                            continue
                        total = took + seconds(0, 0, start - height) + seconds(x1 - x0, y1 - y0, across - start) \
                            + seconds(0, 0, end - across)
                        reached[end] = min(total, reached.get(end, inf))
        states = reached
    return min(took + seconds(0, 0, height - places[-1][2]) for height, took in states.items())


def generated(dice: random.Random) -> tuple[str, list[Place], list[bool]]:
    """A run between two cuts: its program, its places, and whether its blocks say a height."""
    x, y, z = 0.0, 100.0, -1.0
    lines, places, says = [], [(x, y, z)], []
    for k in range(dice.randint(2, 6)):
        shape = dice.choice(["up", "across", "across", "slanted"]) if k else dice.choice(["up", "slanted", "up"])
        if shape != "up":
            x, y = dice.choice([0.0, 40.0, 200.0, 240.0, 260.0, 400.0, 410.0]), dice.choice([100.0, 100.0, 96.0, 50.0])
        if shape != "across":
            z = dice.choice([1.0, 2.0, 5.0, 10.0, 30.0, 50.0])
        words = ([f"X{x} Y{y}"] if shape != "up" else []) + ([f"Z{z}"] if shape != "across" else [])
        lines.append("G0 " + " ".join(words))
        places.append((x, y, z))
        says.append(shape != "across")
    return AWAY + "\n".join(lines) + "\nG1 Z-1\nM30\n", places, says


@pytest.mark.parametrize("path", ["straight", "unknown"])
@pytest.mark.parametrize("seed", range(30))
def test_no_alternative_is_faster(tmp_path: Path, seed: int, path: str) -> None:
    dice = random.Random(seed)
    mended = 0
    while mended < 2:
        program, places, says = generated(dice)
        if not any(clips(a, b, path) for a, b in pairwise(places)):
            continue
        mended += 1
        text = bench(path)
        came = guard(tmp_path, program, text)
        assert came.exit == 0, (program, came.records("finding"))
        output = came.output.decode()
        head = rapid_seconds(AWAY, text)
        took, best = rapid_seconds(output, text) - head, fastest_of_all(places, says, path)
        assert took <= best + 1e-3, f"{took} where {best} would do\n{program}\n{output}"
        assert guard(tmp_path, output, text).output == came.output
        summary, changes = came.records("summary")[0], came.records("change")
        adds = rapid_seconds(output, text) - rapid_seconds(program, text)
        assert summary["added_s"] == pytest.approx(adds, abs=2e-3)
        assert sum(change["added_s"] for change in changes) == pytest.approx(adds, abs=1e-3 * (1 + len(changes)))


# By hand ------------------------------------------------------------------------------------------------------------


PAIRS = {
    "it stays up between two clips: down to 2 and up again takes longer": (
        "G0 Z5\nG0 X200\nG0 Z2\nG0 X210\nG0 Z5\nG0 X0\nG1 Z-1\nM30\n",
        "G0 Z23.0\nG0 X200\nG0 Z23.0\nG0 X210\nG0 Z23.0\nG0 X0\nG0 Z5.0\nG1 Z-1\nM30\n"),
    "behind the last clip it comes down with the program": (
        "G0 Z5\nG0 X200\nG0 Z2\nG0 X210\nG0 Z5\nG0 X220\nG1 Z-1\nM30\n",
        "G0 Z23.0\nG0 X200\nG0 Z2\nG0 X210\nG0 Z5\nG0 X220\nG1 Z-1\nM30\n"),
    "up at once instead of in two steps": (
        "G0 Z5\nG0 X50\nG0 Z10\nG0 X200\nG1 Z-1\nM30\n",
        "G0 Z23.0\nG0 X50\nG0 Z23.0\nG0 X200\nG0 Z10.0\nG1 Z-1\nM30\n"),
    "no higher than needed where a slope on the way takes it down and up at no cost": (
        "G0 Z5\nG0 X200\nG0 Y20 Z2\nG0 Y100 Z5\nG0 X0\nG1 Z-1\nM30\n",
        "G0 Z23.0\nG0 X200\nG0 Y20 Z2\nG0 Y100 Z23.0\nG0 X0\nG0 Z5.0\nG1 Z-1\nM30\n"),
    "a slope downwards comes down on its way to what is needed": (
        "G1 Z30\nG0 X200 Z2\nG1 Z-1\nM30\n", "G1 Z30\nG0 X200 Z23.0\nG0 Z2\nG1 Z-1\nM30\n"),
    "a slope upwards goes up to what is needed and the rest on its way": (
        "G0 X200 Z40\nM5\nM30\n", "G0 Z23.0\nG0 X200 Z40\nM5\nM30\n"),
    "both ends of a slope are raised": (
        "G1 Z5\nG0 X200 Z2\nG1 Z-1\nM30\n", "G1 Z5\nG0 Z23.0\nG0 X200\nG0 Z2\nG1 Z-1\nM30\n"),
    "in increments": (
        "G91\nG0 Z6\nX200\nZ-3\nX10\nZ3\nX-210\nG90\nG1 Z-1\nM30\n",
        "G91\nG0 Z24.0\nX200\nZ0.0\nX10\nZ0.0\nX-210\nG0 Z-18.0\nG90\nG1 Z-1\nM30\n"),
    "words beside a slope: spindle first, stop last": (
        "G1 Z30\nN7 G0 X200 Z2 S900 M3 M0 (on)\nG1 Z-1\nM30\n",
        "G1 Z30\nN7 G0 X200 Z23.0 S900 M3 (on)\nG0 Z2 M0\nG1 Z-1\nM30\n"),
}


@pytest.mark.parametrize(("before", "after"), PAIRS.values(), ids=PAIRS.keys())
def test_pairs(tmp_path: Path, before: str, after: str) -> None:
    came = guard(tmp_path, AWAY + before, bench())
    assert came.exit == 0, came.findings
    assert came.output.decode() == AWAY + after
    assert guard(tmp_path, came.output.decode(), bench()).output == came.output
    assert all("clamp" in change["obstacles"] for change in came.records("change"))


def test_without_times_every_level_is_mended_by_itself(tmp_path: Path) -> None:
    before, _ = PAIRS["it stays up between two clips: down to 2 and up again takes longer"]
    came = guard(tmp_path, AWAY + before, bench().replace(RATES, ""))
    assert came.output.decode() == AWAY + ("G0 Z23.0\nG0 X200\nG0 Z2\nG0 X210\nG0 Z23.0\nG0 X0\nG0 Z5.0\nG1 Z-1\nM30\n")
