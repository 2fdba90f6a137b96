"""The fastest repair where ways round are in play, where the machine ends too low, and where a run goes home.

Every run is held against a plain enumeration that shares no code with the package: at each block each height worth
having, a rise before and a way down behind it, and round instead of over. What a way round is, is worked out here once
more from its definition: the shortest chain of places to turn at, every one a stop that must save 0.1 mm, and a place
outside a rounded corner stands for 30 degrees of it, 0.01 mm off. It is the shortest, not the fastest: the ideal way
along the arc itself is a little shorter and has no corners that one could stop at.
"""

from __future__ import annotations

import math
import random
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from itertools import combinations, pairwise, product
from math import inf
from pathlib import Path

import networkx
import pytest
import shapely

from tests.guarding import run, write_bench
from tests.referee.plain_options import options_of
from tests.referee.plain_reader import read
from tests.repair.test_fastest import POST, RATES, seconds
from tests.repair.test_tables import AWAY, BENCH, KNOWN

Place = tuple[float, float, float]
KEEP = 8.0  # how far the tool's axis keeps from an obstacle that is taller: see test_tables.py
STANDS = [(shapely.box(80, 90, 120, 110), 0.0, 23.0), (shapely.Point(300, 100), 5.0, 45.0),
          (shapely.box(220, 70, 230, 130), 0.0, 12.0)]  # footprint, its radius, the height needed over it
RAIL = '\n[[obstacles]]\nname = "rail"\nshape = "box"\ncenter = [225.0, 100.0]\nsize = [10.0, 60.0]\ntop = 7.0\n'
FLOOR = 3.0  # the stock's top and `above`: a way that the program did not take is no lower over the stock
LOW, HIGH = (-50.0, -60.0), (700.0, 260.0)
MACHINE = RATES + """
home = [20.0, 50.0, 60.0]
home_axes = "named"
zero = [-10.0, -20.0, -5.0]
rapid_path = "{path}"
reach = {{ x = [-50.0, 700.0], y = [-60.0, 260.0], z = [-20.0, {ceiling}] }}
"""


def bench(path: str, ceiling: float, detour: str) -> str:
    machine = KNOWN + MACHINE.format(path=path, ceiling=ceiling)
    return BENCH.format(machine=machine) + POST + RAIL + f'\n[repair]\ndetour = "{detour}"\n'


def rapid_seconds(program: bytes | str, text: str) -> float:
    """As the log tells times: an axis counts whose ends are both known."""
    data = program.encode() if isinstance(program, str) else program
    total = 0.0
    for move in read(data, options_of(tomllib.loads(text), None)).moves:
        if move.kind == "rapid":
            total += seconds(*(float(b - a) if is_number(a) and is_number(b) else 0.0
                               for a, b in zip(move.start, move.end, strict=True)))
    return total


def is_number(value: object) -> bool:
    return value is not None and not isinstance(value, str) and abs(float(value)) < inf  # type: ignore[arg-type]


# Ways across and round ----------------------------------------------------------------------------------------------


def covered(a: tuple[float, float], b: tuple[float, float], path: str) -> shapely.Geometry:
    return shapely.MultiPoint([a, b]).envelope if path == "unknown" else shapely.LineString([a, b])


@cache
def needed(a: tuple[float, float], b: tuple[float, float], path: str) -> tuple[float, ...]:
    """The heights that the obstacles on a way ask for."""
    way = covered(a, b, path)
    return tuple(need for shape, radius, need in STANDS if shape.distance(way) < KEEP + radius - 1e-6)


def turning_places(level: float, path: str) -> list[tuple[float, float]]:
    """Where a way may turn: outside of what is taller than this height."""
    places = []
    for shape, radius, need in STANDS:
        if need <= level + 1e-9:
            continue
        x0, y0, x1, y1 = shape.bounds
        far = KEEP + radius + 0.01
        if path == "unknown":
            places += list(product((x0 - far, x1 + far), (y0 - far, y1 + far)))
            continue
        for k in range(40):  # 15, 45, 75 degrees and so on: three to each corner of a box, twelve round a post
            angle = math.radians(15 + 30 * k)
            x, y = x1 if math.cos(angle) > 0 else x0, y1 if math.sin(angle) > 0 else y0
            far_out = far / math.cos(math.radians(15))
            places.append((x + far_out * math.cos(angle), y + far_out * math.sin(angle)))
    return [(round(x, 3), round(y, 3)) for x, y in places]


@cache
def way_round(a: tuple[float, float], b: tuple[float, float], level: float, path: str) -> tuple[
        tuple[float, float], ...] | None:
    if level < FLOOR:
        return None
    places = [a, b, *turning_places(level, path)]
    if path == "unknown":  # boxes fit where lines through corners cross, too
        places += list(product({x for x, _ in places}, {y for _, y in places}))
    places = [p for p in dict.fromkeys(places) if all(
        low <= x <= high for low, x, high in zip(LOW, p, HIGH, strict=True))]
    graph = networkx.Graph()
    graph.add_nodes_from([a, b])
    for p, q in combinations(places, 2):
        if not any(need > level + 1e-9 for need in needed(p, q, path)):
            graph.add_edge(p, q, weight=math.dist(p, q) + 0.1)
    try:
        return tuple(networkx.dijkstra_path(graph, a, b))
    except networkx.NetworkXNoPath:
        return None


@pytest.mark.parametrize("level", [5.0, 12.0, 23.0])
@pytest.mark.parametrize("ends", [((0, 100), (200, 100)), ((0, 50), (400, 105)), ((260, 96), (410, 100))])
def test_a_way_round_is_little_longer_than_the_ideal_one(ends: tuple[tuple[float, float], ...], level: float) -> None:
    """The ideal way hugs the grown footprints. A place stands for at most 30 degrees of an arc: tan(15)/15 = 1.024."""
    grown = [shape.buffer(KEEP + radius, quad_segs=32) for shape, radius, need in STANDS if need > level]
    area = shapely.union_all(grown)
    places = [*ends, *(p for shape in grown for p in shape.exterior.coords[:-1])]
    graph = networkx.Graph()
    shrunk = area.buffer(-1e-6)
    shapely.prepare(shrunk)
    pairs = list(combinations(places, 2))
    lines = shapely.linestrings([[p, q] for p, q in pairs])
    for (p, q), blocked in zip(pairs, shapely.intersects(lines, shrunk), strict=True):
        if not blocked:
            graph.add_edge(p, q, weight=math.dist(p, q))
    ideal = networkx.dijkstra_path_length(graph, *ends)
    way = way_round(*ends, level, "straight")
    assert way is not None
    length = sum(math.dist(p, q) for p, q in pairwise(way))
    assert ideal - 1e-3 <= length <= ideal + 1.0 * len(grown)


# Every alternative --------------------------------------------------------------------------------------------------


@dataclass
class Block:
    """One block of a run: its text, the places that it leads by, and what it says. `fixed`: it ends at a height of its
    own whatever came before (G53 Z, a Z that is sent home: inf). `whole`: it is not led round or raised itself. `hole`:
    the way to the first hole of a cycle that begins at height `z`."""

    text: str
    places: list[tuple[float, float]]
    z: float | None = None
    fixed: bool = False
    whole: bool = False
    hole: bool = False

    @property
    def flat(self) -> bool:
        return len(set(self.places)) == 1

    def ways(self) -> Iterator[tuple[tuple[float, float], tuple[float, float]]]:
        return pairwise(self.places)


@dataclass
class Search:
    """The shortest time in which the blocks of a run can be mended."""

    blocks: list[Block]
    path: str
    ceiling: float
    faster: bool

    def needs(self) -> list[tuple[float, ...]]:
        """What each block needs where it clips, obstacle by obstacle; nothing for the others."""
        heights, z = [], -1.0
        for block in self.blocks:
            to = z if block.z is None else block.z
            heights.append(() if block.flat else tuple(h for way in block.ways() for h in self.clips(*way, z, to)))
            z = to
        return heights

    def clips(self, a: tuple[float, float], b: tuple[float, float], z0: float, z1: float) -> Iterator[float]:
        """What those ask for that a way comes near too low; a slope along a straight way is told by the part of it."""
        way = covered(a, b, self.path)
        for shape, radius, need in STANDS:
            near = way.intersection(shape.buffer(KEEP + radius - 1e-4, quad_segs=256))
            if near.is_empty:
                continue
            low = min(z0, z1)
            if self.path == "straight" and max(z0, z1) < inf:
                along = [way.project(shapely.Point(p), normalized=True) for p in near.coords]
                low = min(z0 + t * (z1 - z0) for t in along)
            if low < need - 1e-3:
                yield need

    def worth(self, needs: list[tuple[float, ...]]) -> set[float]:
        asked = {need if need <= self.ceiling else self.ceiling for found in needs for need in
                 (found if self.faster else (max(found),) if found else ())}
        return asked | ({FLOOR} if self.faster else set())

    def best(self) -> float:
        needs = self.needs()
        states = {-1.0: 0.0}
        asked = self.worth(needs)
        for k, block in enumerate(self.blocks):
            least = max(needs[k], default=-inf)
            later = -inf
            for j in range(k + 1, len(self.blocks)):
                later = max(later, min(max(needs[j], default=-inf), self.ceiling))
                if self.blocks[j].fixed:
                    break
            reached: dict[float, float] = {}
            for height, took in states.items():
                for end, more in self.ways(block, height, least, later, asked):
                    reached[end] = min(took + more, reached.get(end, inf))
            states = reached
        last = next((block.z for block in reversed(self.blocks) if block.z is not None), -1.0)
        return min((took + up(height, last) for height, took in states.items()), default=inf)

    def ways(self, block: Block, height: float, least: float, later: float,
             asked: set[float]) -> Iterator[tuple[float, float]]:
        """The heights at which a block can leave the tool, and the seconds for each."""
        if block.hole:
            yield from self.to_a_hole(block, height, least, asked)
            return
        says = block.z is not None and not block.fixed
        own = block.z if block.z is not None else height
        starts = {height} | {h for h in asked if h > height and (says or least > height)}
        for start in starts:
            before = up(height, start)
            if block.fixed:
                if start >= least:
                    across = [seconds(b[0] - a[0], b[1] - a[1], 0) for a, b in block.ways()]
                    x, y = (block.places[-1][axis] - block.places[0][axis] for axis in range(2))
                    yield own, before + sum(across) + up(start, own)
                    if own >= least:
                        yield own, before + seconds(x, y, apart(start, own))
                continue
            ends = {own, start, *asked} if says else {start}
            ends = {e for e in ends if e == own or not says or (e > own and max(later, least) > own and e < inf)}
            for end in ends:
                for across in {own, start, end, *asked} if says else {start}:
                    if (across < own and says) or (not block.flat and min(start, across) < least):
                        continue
                    took = sum(seconds(b[0] - a[0], b[1] - a[1], apart(start, across)) for a, b in block.ways())
                    yield end, before + took + up(across, end)
                if least > height and not block.whole:
                    yield from self.round(block, start, before, least, end, own)

    def to_a_hole(self, block: Block, height: float, least: float, asked: set[float]) -> Iterator[tuple[float, float]]:
        """The cycle begins at its own height: at the hole after a lift, or where the tool comes from."""
        begin, (a, b) = block.z or 0.0, block.places
        if least == -inf:
            yield begin, up(height, begin) + seconds(b[0] - a[0], b[1] - a[1], 0)
        for start in {height} | {h for h in asked if h > height}:
            if -inf < least <= start:
                yield begin, up(height, start) + seconds(b[0] - a[0], b[1] - a[1], 0) + up(start, begin)
        way = way_round(a, b, self.ceiling, self.path) if self.ceiling < least < inf else None
        if way is not None:
            took = sum(seconds(q[0] - p[0], q[1] - p[1], 0) for p, q in pairwise(way))
            yield begin, up(height, self.ceiling) + took + up(self.ceiling, begin)

    def round(self, block: Block, start: float, before: float, least: float, end: float,
              own: float) -> Iterator[tuple[float, float]]:
        level = max(start, own)
        if level >= least or not (self.faster or (least > self.ceiling and level == self.ceiling)) or level == inf:
            return
        way = way_round(block.places[0], block.places[-1], level, self.path)
        if way is None:
            return
        took = before + up(start, level) + sum(seconds(b[0] - a[0], b[1] - a[1], 0) for a, b in pairwise(way))
        end = end if block.z is not None else level
        if end <= level:
            yield end, took + up(level, end)


def apart(a: float, b: float) -> float:
    return abs(b - a) if abs(a) < inf and abs(b) < inf else 0.0


def up(a: float, b: float) -> float:
    return seconds(0, 0, apart(a, b))


# Runs ---------------------------------------------------------------------------------------------------------------


def generated(dice: random.Random, stations: bool, least: float, incremental: bool = False) -> list[Block]:
    """A run between two cuts, from X0 Y100 Z-1, that ends at a known height. An increment of nothing says no height."""
    x, y, z = 0.0, 100.0, -1.0
    blocks: list[Block] = []
    for k in range(dice.randint(2, 6)):
        kind = dice.choice(["up", "slanted", "up"] if not k else ["up", "across", "across", "slanted"])
        if stations and k and dice.random() < 0.35:
            kind = dice.choice(["machine", "home", "lift", "machine slope", "high"])
        came = (x, y)
        if kind in ("across", "slanted", "machine", "machine slope"):
            x, y = dice.choice([0.0, 40.0, 200.0, 240.0, 260.0, 400.0, 410.0]), dice.choice([100.0, 100.0, 96.0, 50.0])
        height = dice.choice([h for h in (1.0, 2.0, 5.0, 10.0, 20.0, 28.0) if h >= least])
        if kind == "home":
            x, y, via = 20.0, 50.0, dice.choice([0.0, 200.0, 400.0])
            blocks.append(Block(f"G28 X{via} Y100", [came, (via, 100.0), (x, y)], whole=True))
        elif kind == "high":
            z = inf
            blocks += [Block("G91 G28 Z0\nG90", [came, came], inf, True, True)]
        elif kind == "machine":
            blocks.append(Block(f"G53 G0 X{x + 10} Y{y + 20}", [came, (x, y)], whole=True))
        elif kind in ("lift", "machine slope"):
            z = height
            words = f"X{x + 10} Y{y + 20} " if kind != "lift" else ""
            blocks.append(Block(f"G53 G0 {words}Z{z + 5}", [came, (x, y)], z, True, True))
        else:
            kind = "across" if incremental and height == z and kind == "slanted" else kind
            z = z if kind == "across" else height
            words = ([f"X{x} Y{y}"] if kind != "up" else []) + ([f"Z{z}"] if kind != "across" else [])
            blocks.append(Block("G0 " + " ".join(words), [came, (x, y)], None if kind == "across" else z))
    if z == inf:
        blocks.append(Block("G0 Z5.0", [(x, y), (x, y)], 5.0))
    return blocks


def written(blocks: list[Block], incremental: bool) -> str:
    """The blocks as a program; in increments where there is nothing but G0 among them."""
    if not incremental:
        return AWAY + "\n".join(block.text for block in blocks) + "\nG1 Z-1\nM30\n"
    lines, z = [], -1.0
    for block in blocks:
        words = [f"{letter}{block.places[-1][axis] - block.places[0][axis]:.4f}" for axis, letter in enumerate("XY")
                 if letter in block.text]
        if block.z is not None:
            words.append(f"Z{block.z - z:.4f}")
            z = block.z
        lines.append("G0 " + " ".join(words))
    return AWAY + "G91\n" + "\n".join(lines) + "\nG90\nG1 Z-1\nM30\n"


SCENES = {  # (do runs go home, the ceiling, ways round, how low the program's heights are)
    "home": (True, 80.0, "when-needed", 1.0),
    "low ceiling": (False, 30.0, "when-needed", 1.0),
    "home and low ceiling": (True, 30.0, "when-needed", 1.0),
    "when faster": (False, 80.0, "when-faster", 5.0),
    "when faster, from low over the stock": (False, 80.0, "when-faster", 1.0),
    "when faster, home and low ceiling": (True, 30.0, "when-faster", 5.0),
}


@pytest.mark.parametrize("path", ["straight", "unknown"])
@pytest.mark.parametrize("seed", range(16))
@pytest.mark.parametrize("scene", SCENES)
def test_no_alternative_is_faster(tmp_path: Path, scene: str, seed: int, path: str) -> None:
    stations, ceiling, detour, least = SCENES[scene]
    dice = random.Random(f"{scene} {seed} {path}")
    text = bench(path, ceiling, detour)
    mended = 0
    while mended < 2:
        incremental = not stations and dice.random() < 0.3
        blocks = generated(dice, stations, least, incremental)
        search = Search(blocks, path, ceiling, detour == "when-faster")
        clipping = [found for found in search.needs() if found]
        if not clipping or len(clipping) > 2:  # within the ways round that are looked for in a run
            continue
        program = written(blocks, incremental)
        best = search.best()
        came = run(program, write_bench(tmp_path, text))
        if best == inf or came.exit:
            assert best == inf and came.exit == 3, (best, came.records("finding"), program)
            continue
        mended += 1
        output = came.output.decode()
        took = rapid_seconds(output, text) - rapid_seconds(AWAY, text)
        assert took <= best + 1e-3, f"{took} where {best} would do\n{program}\n{output}"
        again = run(output, write_bench(tmp_path, text))
        assert again.exit == 0 and rapid_seconds(again.output, text) <= rapid_seconds(output, text) + 1e-6


@pytest.mark.parametrize("path", ["straight", "unknown"])
@pytest.mark.parametrize("seed", range(15))
def test_where_one_way_alone_is_taken_no_other_is_faster(tmp_path: Path, seed: int, path: str) -> None:
    """One level, set by the first block or by none, and everything that clips at it: nothing is searched for there."""
    dice = random.Random(f"one level {seed} {path}")
    text = bench(path, 80.0, "when-needed")
    mended = 0
    while mended < 3:
        x, y, z = 0.0, 100.0, dice.choice([-1.0, 1.0, 5.0, 10.0, 20.0])
        blocks = [Block(f"G0 Z{z}", [(x, y), (x, y)], z)] if z > 0 else []
        for _ in range(dice.randint(1, 4)):
            came = (x, y)
            x, y = dice.choice([0.0, 40.0, 200.0, 240.0, 400.0]), dice.choice([100.0, 96.0, 50.0])
            blocks.append(Block(f"G0 X{x} Y{y}", [came, (x, y)]))
        if dice.random() < 0.7:
            low = dice.choice([1.0, 2.0, 28.0])
            blocks.append(Block(f"G0 Z{low}", [(x, y), (x, y)], low))
        search = Search(blocks, path, 80.0, False)
        if not any(search.needs()):
            continue
        mended += 1
        program = written(blocks, incremental=dice.random() < 0.3)
        came_out = run(program, write_bench(tmp_path, text))
        assert came_out.exit == 0, (came_out.records("finding"), program)
        took, best = rapid_seconds(came_out.output, text) - rapid_seconds(AWAY, text), search.best()
        assert took <= best + 1e-3, f"{took} where {best} would do\n{program}\n{came_out.output.decode()}"


@pytest.mark.parametrize("path", ["straight", "unknown"])
@pytest.mark.parametrize("ceiling", [30.0, 80.0])
@pytest.mark.parametrize("seed", range(10))
def test_on_to_a_hole_no_alternative_is_faster(tmp_path: Path, seed: int, ceiling: float, path: str) -> None:
    dice = random.Random(f"hole {seed} {ceiling} {path}")
    text = bench(path, ceiling, "when-needed")
    mended = 0
    while mended < 2:
        blocks = generated(dice, dice.random() < 0.3, 5.0)
        x, y = blocks[-1].places[-1]
        z = next((block.z for block in reversed(blocks) if block.z is not None), -1.0)
        to = dice.choice([0.0, 200.0, 400.0]), dice.choice([100.0, 50.0])
        if z < 3.0 or to == (x, y):
            continue
        hole = Block(f"G98 G81 X{to[0]} Y{to[1]} Z-2 R3 F100\nG80", [(x, y), to], z, hole=True)
        search = Search([*blocks, hole], path, ceiling, False)
        best = search.best()
        if not any(search.needs()) or best == inf:
            continue
        mended += 1
        program = written([*blocks, hole], False)
        cycle = rapid_seconds(f"G0 X{to[0]} Y{to[1]} Z{z}\n{hole.text}\nM30\n", text) \
            - rapid_seconds(f"G0 X{to[0]} Y{to[1]} Z{z}\nM30\n", text)
        came = run(program, write_bench(tmp_path, text))
        assert came.exit == 0, (came.records("finding"), program)
        took = rapid_seconds(came.output, text) - rapid_seconds(AWAY, text) - cycle
        assert took <= best + 1e-3, f"{took} where {best} would do\n{program}\n{came.output.decode()}"


# By hand: (ceiling, ways round, before, after) ----------------------------------------------------------------------

# Round the post at (300, 100), 5 + 8 + 0.01 mm out: places to turn stand at 75 and 105 degrees and so on, 13.01 mm to
# the side and 13.01 * tan(15) = 3.486 mm along.

PAIRS = {
    "it stays up between two clips, the second on its way by the machine's coordinates": (
        80.0, "when-needed", "G0 Z5\nG0 X200\nG0 Z2\nG0 X210\nG0 Z5\nG53 G0 X10\nG1 Z-1\nM30\n",
        "G0 Z23.0\nG0 X200\nG0 Z23.0\nG0 X210\nG0 Z23.0\nG53 G0 X10\nG0 Z5.0\nG1 Z-1\nM30\n"),
    "up at once before it goes home, where it comes down by itself": (
        80.0, "when-needed", "G0 Z5\nG0 Z10\nG0 X200\nG53 G0 Z10\nG1 Z-1\nM30\n",
        "G0 Z23.0\nG0 Z23.0\nG0 X200\nG53 G0 Z10\nG1 Z-1\nM30\n"),
    "nothing is raised before a way home for what comes behind it": (
        80.0, "when-needed", "G0 Z5\nG91 G28 Z0\nG90\nG0 X200 Z2\nG1 Z-1\nM30\n",
        "G0 Z5\nG91 G28 Z0\nG90\nG0 X200\nG0 Z2\nG1 Z-1\nM30\n"),
    "out of a height above everything it goes across first, however low the machine ends": (
        30.0, "when-needed", "G0 Z5\nG91 G28 Z0\nG90\nG0 X400 Z2\nG0 X410\nG1 Z-1\nM30\n",
        "G0 Z5\nG91 G28 Z0\nG90\nG0 X400\nG0 Z2\nG0 X410\nG1 Z-1\nM30\n"),
    "it stays at the ceiling between two ways round": (
        30.0, "when-needed", "G0 Z20\nG0 X400\nG0 Z18\nG0 X410\nG0 Z20\nG0 X250\nG1 Z-1\nM30\n",
        "G0 Z30.0\nG0 X296.514 Y86.99\nG0 X303.486 Y86.99\nG0 X400.0 Y100.0\nG0 Z30.0\nG0 X410\nG0 Z30.0\n"
        "G0 X303.486 Y86.99\nG0 X296.514 Y86.99\nG0 X250.0 Y100.0\nG0 Z20.0\nG1 Z-1\nM30\n"),
    "it comes down between them where nothing is gained by staying up": (
        30.0, "when-needed", "G0 Z5\nG0 X400\nG0 Y20 Z2\nG0 Y100 Z5\nG0 X250\nG1 Z-1\nM30\n",
        "G0 Z30.0\nG0 X296.514 Y86.99\nG0 X303.486 Y86.99\nG0 X400.0 Y100.0\nG0 Y20 Z2\nG0 Y100 Z30.0\n"
        "G0 X303.486 Y86.99\nG0 X296.514 Y86.99\nG0 X250.0 Y100.0\nG0 Z5.0\nG1 Z-1\nM30\n"),
}


@pytest.mark.parametrize(("ceiling", "detour", "before", "after"), PAIRS.values(), ids=PAIRS.keys())
def test_pairs(tmp_path: Path, ceiling: float, detour: str, before: str, after: str) -> None:
    text = bench("straight", ceiling, detour)
    came = run(AWAY + before, write_bench(tmp_path, text))
    assert came.exit == 0, came.records("finding")
    assert came.output.decode() == AWAY + after
    assert run(came.output, write_bench(tmp_path, text)).output == came.output


SHOE = "[spindle]\nsections = [{ diameter = 8.0, height = 90.0 }]\nshoe = { diameter = 24.0, rides_at = 15.0 }\n"


@pytest.mark.parametrize("end", ["G0 X240.0 Y100.0 Z28.0\n", "G0 X240.0 Y100.0\nG0 Z28.0\n"], ids=["slope", "level"])
@pytest.mark.parametrize("path", ["straight", "unknown"])
def test_round_under_a_shoe_with_z_sent_home(tmp_path: Path, path: str, end: str) -> None:
    """How high the tool is there is not known, so nobody knows how the machine runs: each leg's box is kept clear."""
    text = bench(path, 80.0, "when-needed") + SHOE
    came = run(AWAY + "G0 Z28\nG0 Y200\nG0 X410\nG0 Y100\nG91 G28 Z0\nG90\n" + end + "G1 Z-1\nM30\n",
               write_bench(tmp_path, text))
    assert came.exit == 0, came.records("finding")
    moves = read(came.output, options_of(tomllib.loads(text), None)).moves
    high = [move for move in moves if move.kind == "rapid" and not is_number(move.start[2])]
    legs = [[tuple(map(float, place[:2])) for place in (move.start, move.end)] for move in high]
    assert len([a for a, b in legs if a != b]) > 1
    for a, b in legs:
        # 5 mm of the post, 12 of the shoe, and 1 + 3 + 1 of tolerance, clearance and the rounding of corners.
        assert shapely.MultiPoint([a, b]).envelope.distance(shapely.Point(300, 100)) >= 22.0 - 1e-6
