"""Ways round under a hard shoe that stays with the gantry, before and after.

The bench of test_tables.py under a shoe 80 mm wide that rides at 10 mm: nothing taller than 10 - 1 (tolerance) - 3
(above) - 1 (corner rounding) = 5 mm comes nearer to its axis than 40 + 1 + 3 + 1 = 45 mm, whatever the tip's height.
The clamp (X80 to 120, Y90 to 110, 18 mm high) keeps it out of X35 to 165 and Y45 to 155; places to turn at lie 0.01 mm
farther.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest
import shapely

from tests.guarding import Guarded, run, write_bench
from tests.repair.test_tables import AWAY, BENCH, KNOWN

SHOE = "\n[spindle]\nsections = [{ diameter = 10.0, height = 100.0 }]\nshoe = { diameter = 80.0, rides_at = 10.0 }\n"
REACH = KNOWN + "\nreach = { x = [-20.0, 620.0], y = [-20.0, 220.0] }"
ROUND = "G0 X34.99 Y44.99\nG0 X165.01 Y44.99\nG0 X200.0 Y100.0\n"
# Low enough for the shoe, and in the tool's way round below the clamp.
LEDGE = '\n[[obstacles]]\nname = "ledge"\nshape = "box"\ncenter = [100.0, 50.0]\nsize = [20.0, 30.0]\ntop = 4.0\n'


def guard(folder: Path, program: str, machine: str = REACH, more: str = "") -> Guarded:
    return run(program, write_bench(folder, BENCH.format(machine=machine) + SHOE + more))


PAIRS = {
    "at its own height": (
        AWAY + "G0 Z5\nG0 X200\nG0 Z1\nG1 Z-1\nM30\n", "", AWAY + "G0 Z5\n" + ROUND + "G0 Z1\nG1 Z-1\nM30\n"),
    "over the stock no lower than the clearance": (
        AWAY + "G0 Z2\nG0 X200\nG1 Z-1\nM30\n", "", AWAY + "G0 Z2\nG0 Z3.0\n" + ROUND + "G0 Z2.0\nG1 Z-1\nM30\n"),
    "over what the tool alone must pass over, 4 + 1 + 3 + 1 mm": (
        AWAY + "G0 Z2\nG0 X200\nG1 Z-1\nM30\n", LEDGE, AWAY + "G0 Z2\nG0 Z9.0\n" + ROUND + "G0 Z2.0\nG1 Z-1\nM30\n"),
    "a slanted block downwards, round first": (
        "G0 X200 Z5\nG1 Z-1 F100\nM30\n", "", ROUND + "G0 Z5\nG1 Z-1 F100\nM30\n"),
    "a slanted block upwards, up first": (
        "G0 X200 Z50\nG0 Z5\nG1 Z-1 F100\nM30\n", "", "G0 Z50\n" + ROUND + "G0 Z5\nG1 Z-1 F100\nM30\n"),
    "increments": (
        "G0 Z5\nG91\nG0 X200\nG90\nG1 Z-1 F100\nM30\n", "",
        "G0 Z5\nG91\nG0 X34.99 Y-55.01\nG0 X130.02 Y0.0\nG0 X34.99 Y55.01\nG90\nG1 Z-1 F100\nM30\n"),
    "to a hole": (
        "G0 Z5\nG98 G81 X200 Y100 Z-2 R3 F100\nG80\nM30\n", "",
        "G0 Z5\n" + ROUND.replace("G0", "G0 F100", 1) + "G98 G81 X200.0 Y100.0 Z-2.0 R3.0\nG80\nM30\n"),
    "to a hole from below its R level: no lower than R": (
        "F100\nG0 Z1\nG98 G81 X200 Y100 Z-2 R5\nG80\nM30\n", "",
        "F100\nG0 Z1\nG0 Z5.0\n" + ROUND + "G98 G81 X200 Y100 Z-2 R5\nG80\nM30\n"),
}


@pytest.mark.parametrize(("before", "more", "after"), PAIRS.values(), ids=PAIRS.keys())
def test_pairs(tmp_path: Path, before: str, more: str, after: str) -> None:
    came = guard(tmp_path, before, more=more)
    assert came.exit == 0, came.findings
    # The block's own words where they say both axes, else both are written out.
    assert came.output.decode().replace("X200 Y100\n", "X200.0 Y100.0\n") == after
    assert guard(tmp_path, came.output.decode(), more=more).output == came.output
    assert "detour" in [change["kind"] for change in came.records("change")]
    assert all(change["obstacles"] == ["clamp"] for change in came.records("change"))


def test_along_boxes_where_paths_are_unknown(tmp_path: Path) -> None:
    machine = REACH + '\nrapid_path = "unknown"'
    came = guard(tmp_path, AWAY + "G0 Z5\nG0 X200\nG0 Z1\nG1 Z-1\nM30\n", machine)
    assert came.exit == 0, came.findings
    places, x, y = [(0.0, 100.0)], 0.0, 100.0
    for line in came.output.decode().splitlines()[3:]:
        words = {word[0]: float(word[1:]) for word in line.split() if word[0] in "XY"}
        x, y = words.get("X", x), words.get("Y", y)
        places.append((x, y))
    clamp = shapely.box(80, 90, 120, 110)
    assert places[-1] == (200.0, 100.0)
    assert all(shapely.MultiPoint(pair).envelope.distance(clamp) >= 45 - 1e-3 for pair in pairwise(places))


WALL = ('\n[[obstacles]]\nname = "wall"\nshape = "bar"\nfrom = [60.0, -30.0]\nto = [60.0, 230.0]\n'
        'width = 10.0\ntop = 6.0\n')
REFUSED = {
    "no way at all": (AWAY + "G0 Z5\nG0 X200\nG1 Z-1\nM30\n", REACH, WALL, 5, "and there is no way round"),
    "without a reach": (AWAY + "G0 Z5\nG0 X200\nG1 Z-1\nM30\n", KNOWN, "", 5, "with [stock] and machine.reach given"),
    "a stop inside": (AWAY + "G0 Z5\nG0 X160\nG0 X200\nG1 Z-1\nM30\n", REACH, "", 5, "there is no way round"),
    "home": ("G0 Z5\nG28 X0 Y0\nM30\n", REACH.replace("[0.0, 1", "[200.0, 1")
             + '\nhome = [0.0, 100.0, 60.0]\nhome_axes = "named"', "", 2,
             "go round it with G0 X Y in blocks before this one"),
    "the machine's own coordinates": (
        AWAY + "G0 Z5\nG53 G0 X210\nG1 Z-1\nM30\n", REACH + "\nzero = [-10.0, -20.0, -50.0]", "", 5,
        "go round it with G0 X Y in blocks before this one"),
}


@pytest.mark.parametrize(("program", "machine", "more", "line", "said"), REFUSED.values(), ids=REFUSED.keys())
def test_refused(tmp_path: Path, program: str, machine: str, more: str, line: int, said: str) -> None:
    came = guard(tmp_path, program, machine, more)
    assert came.exit == 3
    assert any(found["line"] == line and said in found["text"] and found["obstacle"] for found in
               came.records("finding")), came.records("finding")
