"""Ways home and blocks in machine coordinates within a run: what the search for the fastest repair is told of them, by
hand. The machine's zero lies at X-10 Y-20 Z-50, home at X200 Y100 above everything; the wall is that of wall.py."""

from __future__ import annotations

from math import inf
from typing import Any

import pytest

from gcode_guard.mend import stand
from gcode_guard.repair.run import Item, Runs
from gcode_guard.repair.whole import keeps_height, need_of, seconds_of
from tests.language.reading import read
from tests.repair.wall import HOME, ONE, STORED, ZERO, judged

FROM = "G0 X0 Y100 Z5\n"


def weighed(x: float, y: float, z: float) -> float:
    """Tells the ways along the three axes apart."""
    return abs(x) + 1000 * abs(y) + 1_000_000 * abs(z)


def station(program: str, **rules: Any) -> Item:
    """The way home, or by machine coordinates, of a program that comes from X0 Y100 Z5."""
    runs = Runs()
    for step in read(FROM + program + "\n", (0, 0, 30), **(HOME | ZERO | rules)).steps:
        stand(step)
        runs.add(step, [judged(move, False, ONE) for move in step.moves])
    runs.close()
    (item,) = (item for run in runs.closed for item in run.items if item.kind in ("home", "machine"))
    return item


# The block, the height before it, and how far it goes in all along X, Y and Z.
SECONDS = {
    "across": ("G53 G0 X210", 23, (200, 0, 0)),
    "across both": ("G53 G0 X210 Y220", 23, (200, 100, 0)),
    "up to a height of its own": ("G53 G0 Z80", 5, (0, 0, 25)),
    "from higher up": ("G53 G0 Z80", 23, (0, 0, 7)),
    "down to it": ("G53 G0 Z53", 23, (0, 0, 20)),
    "on a slope": ("G53 G0 X40 Z80", 5, (30, 0, 25)),
    "home along X": ("G91 G28 X0", 23, (200, 0, 0)),
    "home by way of a point beside it": ("G91 G28 X50", 23, (200, 0, 0)),
    "home and back on the way": ("G91 G28 X-50", 23, (300, 0, 0)),
    "home by way of a height of its own": ("G28 X50 Z40", 5, (200, 0, 35)),
    "home by way of it from higher up": ("G28 X50 Z40", 23, (200, 0, 17)),
    "home by way of a point that is lower by an increment": ("G91 G28 X50 Z-4", 27, (200, 0, 4)),
    "Z home, which is at no known height": ("G91 G28 Z0", 23, (0, 0, 0)),
    "out of a height above everything": ("G53 G0 X210", inf, (200, 0, 0)),
}


@pytest.mark.parametrize(("block", "level", "ways"), SECONDS.values(), ids=SECONDS.keys())
def test_how_long_it_takes(block: str, level: float, ways: tuple[float, float, float]) -> None:
    assert seconds_of(station(block), level, weighed) == pytest.approx(weighed(*ways))


def test_what_comes_down_too_early_goes_across_first() -> None:
    """Then both ways are timed for themselves, and not the longer one alone."""
    def longest(*way: float) -> float:
        return max(map(abs, way))

    assert seconds_of(station("G53 G0 X210 Z53"), 23, longest) == 200 + 20
    assert seconds_of(station("G53 G0 X40 Z53"), 23, longest) == 30
    assert seconds_of(station("G28 X150 Z8"), 23, longest) == 150 + 50


@pytest.mark.parametrize(("block", "rules", "keeps"), [
    ("G53 G0 X210", {}, True), ("G53 G0 Z80", {}, False), ("G53 G0 X210 Z80", {}, False), ("G91 G28 X0", {}, True),
    ("G91 G28 Z0", {}, False), ("G28 X50 Z40", {}, False), ("G91 G28 X0", STORED, True), ("G91 G28 Z0", STORED, False),
    ("G28", {}, False), ("G28", STORED, False)])
def test_whether_it_leaves_the_tool_at_the_height_at_which_it_finds_it(block: str, rules: dict[str, Any],
                                                                       keeps: bool) -> None:
    assert keeps_height(station(block, **rules)) is keeps


@pytest.mark.parametrize(("block", "need"), [
    ("G53 G0 X210", 23.0), ("G53 G0 X40", -inf), ("G53 G0 X210 Z80", 23.0), ("G53 G0 Z80", -inf),
    ("G91 G28 X0", 23.0), ("G91 G28 X0 Z-4", 27.0), ("G91 G28 X0 Z4", 23.0),
    ("G28 X150 Z40", 23.0), ("G28 X150 Z5", 23.0)])
def test_what_height_it_needs_before_it(block: str, need: float) -> None:
    assert need_of(station(block)) == need


def test_a_point_of_nothing_but_a_height_is_raised_itself() -> None:
    """All axes go home then, over the wall; nothing is needed before it."""
    assert need_of(station("G28 Z5", home_axes="all")) == -inf
    assert need_of(station("G91 G28 Z-4", home_axes="all")) == 27.0
