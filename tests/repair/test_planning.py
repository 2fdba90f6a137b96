"""How a run is planned, in more programs before and after: Z words of its own, increments, homes, cycles, ways round.

The bench of test_tables.py: within 8 mm of the clamp (X72 to 128, Y82 to 118) a rapid must stay above 23 mm, and
nearer than 4 mm (X76 to 124, Y86 to 114) nothing may be lower than 19.
"""

from __future__ import annotations

from pathlib import Path

import pytest
import shapely

from tests.guarding import Guarded, run, write_bench
from tests.repair.test_tables import AWAY, BENCH, KNOWN, guard

NAMED = KNOWN + '\nhome_axes = "named"\nhome = [0.0, 100.0, 60.0]'
# Beyond the clamp and low, with the home on the other side.
BEYOND = 'start = [200.0, 100.0, 5.0]\nhome_axes = "named"\nhome = [0.0, 100.0, 60.0]'
REACH = '\nreach = {{ x = [-20.0, 620.0], y = [-20.0, 220.0], z = [-20.0, {}] }}'
NARROW = '\nreach = {{ x = [-20.0, 620.0], y = [88.0, 112.0], z = [-20.0, {}] }}'

CLAMP = shapely.box(80, 90, 120, 110)


def became(folder: Path, before: str, machine: str = KNOWN) -> str:
    """What a program becomes; it must be mended, and come through a second time as it is."""
    came = guard(folder, before, machine)
    assert came.exit == 0, came.records("finding")
    after = came.output.decode()
    assert guard(folder, after, machine).output.decode() == after
    return after


WORDS = {
    "a Z word that goes across in the clear is raised for what follows": (
        "G0 X0 Y60 Z5\nG0 Y100\nG0 X200\nG1 Z-1 F100\nM30\n",
        "G0 X0 Y60 Z23.0\nG0 Y100\nG0 X200\nG0 Z5.0\nG1 Z-1 F100\nM30\n"),
    "one that itself comes too near, and what follows too: up first, and down at the end of all": (
        AWAY + "G0 X200 Z5\nG0 X0\nG1 Z-1\nM30\n",
        AWAY + "G0 Z23.0\nG0 X200\nG0 X0\nG0 Z5.0\nG1 Z-1\nM30\n"),
    "one that comes down too early from high enough is raised where it stands": (
        "G0 X200 Z2\nX0\nG1 Z-1 F100\nM30\n",
        "G0 X200 Z23.0\nX0\nG0 Z2.0\nG1 Z-1 F100\nM30\n"),
    "two retracts: the second, lower one is raised as well": (
        AWAY + "G0 Z30\nG0 X50\nG0 Z10\nG0 X200\nG1 Z-1\nM30\n",
        AWAY + "G0 Z30\nG0 X50\nG0 Z23.0\nG0 X200\nG0 Z10.0\nG1 Z-1\nM30\n"),
    "a retract that is high enough stays, a traverse that comes too late for it does not": (
        AWAY + "G0 Z24\nG0 X200\nG0 Z5\nG0 X0\nG1 Z-1\nM30\n",
        AWAY + "G0 Z24\nG0 X200\nG0 Z23.0\nG0 X0\nG0 Z5.0\nG1 Z-1\nM30\n"),
    "a height in an expression is left, and the rise stands behind it": (
        AWAY + "#1=5\nG0 Z[#1]\nG0 X200\nG1 Z-1\nM30\n",
        AWAY + "#1=5\nG0 Z[#1]\nG0 Z23.0\nG0 X200\nG0 Z5.0\nG1 Z-1\nM30\n"),
    "M0 at the end of the run stands behind the way down": (
        AWAY + "G0 Z5\nG0 X200\nG0 X300 M0\nG1 Z-1\nM30\n",
        AWAY + "G0 Z23.0\nG0 X200\nG0 X300\nG0 Z5.0 M0\nG1 Z-1\nM30\n"),
    "a parameter set in the block is set behind all of its pieces": (
        "#7=5\n" + AWAY + "G1 Z5\nG0 X200 Z#7 #7=-1 M1\nG1 Z#7\nM30\n",
        "#7=5\n" + AWAY + "G1 Z5\nG0 Z23.0\nG0 X200\nG0 Z#7 #7=-1 M1\nG1 Z#7\nM30\n"),
    "a speed begins a run of its own, and stands on the first piece": (
        AWAY + "G0 Z5\nG0 X200 S900\nG1 Z-1\nM30\n",
        AWAY + "G0 Z5\nG0 Z23.0 S900\nG0 X200\nG0 Z5.0\nG1 Z-1\nM30\n"),
    "Y before X and no G0 of its own": (
        AWAY + "G0 Z5 F200\nY90 X200\nG1 Z-1\nM30\n",
        AWAY + "G0 Z23.0 F200\nY90 X200\nG0 Z5.0\nG1 Z-1\nM30\n"),
    "increments: a slanting one is taken apart, its end is the programmed one": (
        AWAY + "G91\nG0 X200 Z6\nG1 Z-6\nG90\nM30\n",
        AWAY + "G91\nG0 Z24.0\nG0 X200\nG0 Z-18.0\nG1 Z-6\nG90\nM30\n"),
    "increments: a slanting one that leads high enough goes up with its own word": (
        AWAY + "G91\nG0 X200 Z40\nM5\nG90\nM30\n",
        AWAY + "G91\nG0 Z40\nG0 X200\nM5\nG90\nM30\n"),
    "increments: a slanting one downwards from high enough goes across first": (
        "G91\nG0 X200 Z-28\nG1 Z-3 F100\nG90\nM30\n",
        "G91\nG0 X200\nG0 Z-28.0\nG1 Z-3 F100\nG90\nM30\n"),
    "increments: what the tool stands higher by goes into the next word": (
        AWAY + "G0 Z5\nG0 X200\nG91\nG0 Z2\nG0 X50\nG1 Z-8\nG90\nM30\n",
        AWAY + "G0 Z23.0\nG0 X200\nG91\nG0 Z-16.0\nG0 X50\nG1 Z-8\nG90\nM30\n"),
    "an increment in an expression is led to from its own height": (
        AWAY + "#1=-4\nG0 Z5\nG0 X200\nG0 X220\nG91\nG0 Z[#1]\nG1 Z-2\nG90\nM30\n",
        AWAY + "#1=-4\nG0 Z23.0\nG0 X200\nG0 X220\nG0 Z5.0\nG91\nG0 Z[#1]\nG1 Z-2\nG90\nM30\n"),
    "a run without a block end at its last line": (
        AWAY + "G0 Z5\nG0 X200",
        AWAY + "G0 Z23.0\nG0 X200\nG0 Z5.0"),
}


@pytest.mark.parametrize(("before", "after"), WORDS.values(), ids=WORDS.keys())
def test_words(tmp_path: Path, before: str, after: str) -> None:
    assert became(tmp_path, before) == after


def test_a_height_of_nothing_is_a_height(tmp_path: Path) -> None:
    """A clamp whose top lies 5 mm below zero is passed at -5 + 1 + 3 + 1 = 0."""
    setup = write_bench(tmp_path, BENCH.format(machine=KNOWN).replace("top = 18.0", "top = -5.0"))
    down = AWAY + "G1 Z-10\n"
    came = run(down + "G0 X200 Z-6\nG0 X0\nG1 Z-11\nM30\n", setup)
    assert came.exit == 0, came.records("finding")
    assert came.output.decode() == down + "G0 Z0.0\nG0 X200\nG0 X0\nG0 Z-6.0\nG1 Z-11\nM30\n"


HOMES = {
    "a rise before a way home, and the way down behind it, in increments": (
        BEYOND, "G91 G28 X0 Y0\nG90\nG1 Z-1 F100\nM30\n",
        "G0 Z23.0\nG91 G28 X0 Y0\nG0 Z-18.0\nG90\nG1 Z-1 F100\nM30\n"),
    "the G80 that was in force stays in force": (
        BEYOND, "G80\nG91 G28 X0 Y0\nG90\nG1 Z-1 F100\nM30\n",
        "G80\nG0 Z23.0\nG80\nG91 G28 X0 Y0\nG0 Z-18.0\nG80\nG90\nG1 Z-1 F100\nM30\n"),
    "of a block that carries the slash too": (
        BEYOND, "G80\n/G91 G28 X0 Y0\nG90\nG1 Z-1 F100\nM30\n",
        "G80\n/G0 Z23.0\n/G80\n/G91 G28 X0 Y0\n/G0 Z-18.0\n/G80\nG90\nG1 Z-1 F100\nM30\n"),
    "a G1 in force, and the next motion says its own": (
        BEYOND, "G1 Z4 F100\nG91 G28 X0 Y0\nG90\nG1 X10\nM30\n",
        "G1 Z4 F100\nG0 Z23.0\nG91 G28 X0 Y0\nG0 Z-19.0\nG90\nG1 X10\nM30\n"),
    "by way of a place that is said, with Z: the rise comes before, home is where it was": (
        BEYOND, "G90 G28 X200 Y100 Z30\nM30\n", "G90 G28 X200 Y100 Z30\nM30\n"),
    "a way home of Z alone is above everything": (
        BEYOND, "G91 G28 Z0\nG28 X0 Y0\nG90\nM30\n", "G91 G28 Z0\nG28 X0 Y0\nG90\nM30\n"),
    "G30 is like G28": (
        BEYOND.replace("home =", "home2 ="), "G91 G30 X0 Y0\nG90\nG1 Z-1 F100\nM30\n",
        "G0 Z23.0\nG91 G30 X0 Y0\nG0 Z-18.0\nG90\nG1 Z-1 F100\nM30\n"),
    "G53 across: the rise before it, the way down behind it": (
        KNOWN + "\nzero = [-10.0, -20.0, -50.0]", AWAY + "G0 Z5\nG53 G0 X210\nG1 Z-1\nM30\n",
        AWAY + "G0 Z23.0\nG53 G0 X210\nG0 Z5.0\nG1 Z-1\nM30\n"),
}


@pytest.mark.parametrize(("machine", "before", "after"), HOMES.values(), ids=HOMES.keys())
def test_homes(tmp_path: Path, machine: str, before: str, after: str) -> None:
    assert became(tmp_path, before, machine) == after


CYCLES = {
    "dwell and peck are stated again": (
        "G0 Z5\nG98 G82 X20 Y100 Z-5 R2 P0.5 F100\nX200\nG80\nM30\n",
        "G0 Z5\nG98 G82 X20 Y100 Z-5 R2 P0.5 F100\nG0 Z23.0\nG0 X200.0 Y100.0\nG0 Z5.0\n"
        "G98 G82 X200.0 Y100.0 Z-5.0 R2.0 P0.5\nG80\nM30\n"),
    "chips are broken as before": (
        "G0 Z5\nG98 G73 X20 Y100 Z-5 R2 Q1.5 F100\nX200\nG80\nM30\n",
        "G0 Z5\nG98 G73 X20 Y100 Z-5 R2 Q1.5 F100\nG0 Z23.0\nG0 X200.0 Y100.0\nG0 Z5.0\n"
        "G98 G73 X200.0 Y100.0 Z-5.0 R2.0 Q1.5\nG80\nM30\n"),
    "no return level where the program said none, and a stop stays with its hole": (
        "G0 Z5\nG81 X20 Y100 Z-5 R2 F100\nX200 M0\nX0\nG80\nM30\n",
        "G0 Z5\nG81 X20 Y100 Z-5 R2 F100\nG0 Z23.0\nG0 X200.0 Y100.0\nG0 Z5.0\n"
        "G81 X200.0 Y100.0 Z-5.0 R2.0 M0\nG0 Z23.0\nG0 X0.0 Y100.0\nG0 Z5.0\nG81 X0.0 Y100.0 Z-5.0 R2.0\nG80\nM30\n"),
    "what the first block says besides stands on the first piece": (
        "G0 Z5\nN5 G90 G54 S1000 M3 T1 G98 G81 X200 Y100 Z-5 R2 F100 (first)\nG80\nM30\n",
        "G0 Z5\nG0 G90 G54 S1000 M3 T1 F100 Z23.0\nG0 X200.0 Y100.0\nG0 Z5.0\n"
        "N5 G98 G81 X200.0 Y100.0 Z-5.0 R2.0 (first)\nG80\nM30\n"),
    "slashes stay on every piece": (
        "G0 Z5\n/G98 G81 X200 Y100 Z-5 R2 F100\nG80\nM30\n",
        "G0 Z23.0\n/G0 F100 X200.0 Y100.0\n/G0 Z5.0\n/G98 G81 X200.0 Y100.0 Z-5.0 R2.0\nG80\nM30\n"),
    "from below R back to R, which is where the cycle itself goes": (
        "G0 Z2\nG98 G81 X20 Y100 Z-5 R5 F100\nX200\nG80\nM30\n",
        "G0 Z2\nG98 G81 X20 Y100 Z-5 R5 F100\nG0 Z23.0\nG0 X200.0 Y100.0\nG0 Z5.0\n"
        "G98 G81 X200.0 Y100.0 Z-5.0 R5.0\nG80\nM30\n"),
    "repeats in absolute distances are drilled where they were": (
        "G0 Z5\nG98 G81 X200 Y100 Z-5 R2 L2 F100\nG80\nM30\n",
        "G0 Z23.0\nG0 F100 X200.0 Y100.0\nG0 Z5.0\nG98 G81 X200.0 Y100.0 Z-5.0 R2.0 L2\nG80\nM30\n"),
    "repeats in increments: hole by hole from the first, R from the same height": (
        "G0 Z5\nG91 G98 G81 X65 Y0 Z-7 R-3 F100 L4\nG80\nG90\nM30\n",
        "G0 Z5\nG91 G98 G81 X65 Y0 Z-7 R-3 F100\nG0 Z18.0\nG0 X65.0 Y0.0\nG0 Z-18.0\n"
        "G98 G81 X0.0 Y0.0 Z-7.0 R-3.0\nX65.0 Y0.0\nX65.0 Y0.0\nG80\nG90\nM30\n"),
    "and with the slash, the number and the stop on the block's own piece": (
        "G0 Z5\n/N3 G91 G98 G81 X65 Y0 Z-7 R-3 F100 L3\nG80\nG90\nM30\n",
        "G0 Z5\n/N3 G91 G98 G81 X65 Y0 Z-7 R-3 F100\n/G0 Z18.0\n/G0 X65.0 Y0.0\n/G0 Z-18.0\n"
        "/G98 G81 X0.0 Y0.0 Z-7.0 R-3.0\n/X65.0 Y0.0\nG80\nG90\nM30\n"),
    "neither G98 nor G99: the height is said again, since the tool may stand at R as well": (
        "G0 Z25\nG81 X20 Y100 Z-5 R2 F100\nX200\nG80\nM30\n",
        "G0 Z25\nG81 X20 Y100 Z-5 R2 F100\nG0 Z25.0\nG0 X200.0 Y100.0\nG81 X200.0 Y100.0 Z-5.0 R2.0\nG80\nM30\n"),
    "G99 from high above comes back to where the cycles began": (
        "G0 Z25\nG99 G81 X20 Y100 Z-5 R2 F100\nX200\nG80\nM30\n",
        "G0 Z25\nG99 G81 X20 Y100 Z-5 R2 F100\nG0 Z23.0\nG0 X200.0 Y100.0\nG0 Z25.0\n"
        "G99 G81 X200.0 Y100.0 Z-5.0 R2.0\nG80\nM30\n"),
    "feed and speed go before the hole": (
        "G0 Z5\nG98 G81 X20 Y100 Z-5 R2 F100\nX200 F200 S500\nG80\nM30\n",
        "G0 Z5\nG98 G81 X20 Y100 Z-5 R2 F100\nG0 F200 S500 Z23.0\nG0 X200.0 Y100.0\nG0 Z5.0\n"
        "G98 G81 X200.0 Y100.0 Z-5.0 R2.0\nG80\nM30\n"),
    "increments that begin at R": (
        "G0 X0 Y100 Z5\nG91 G98 G81 X200 Y0 Z-7 R0 F100\nG80\nG90\nM30\n",
        "G0 X0 Y100 Z23.0\nG0 G91 F100 X200.0 Y0.0\nG0 Z-18.0\nG98 G81 X0.0 Y0.0 Z-7.0 R0.0\nG80\nG90\nM30\n"),
    "increments are stated anew even where the block says nothing else": (
        "G0 Z5 F100\nG91\nG98 G81 X200 Y0 Z-7 R-3\nG80\nG90\nM30\n",
        "G0 Z23.0 F100\nG91\nG0 X200.0 Y0.0\nG0 Z-18.0\nG98 G81 X0.0 Y0.0 Z-7.0 R-3.0\nG80\nG90\nM30\n"),
    "a stop comes behind the last of the repeats, the comment stays with the first": (
        "G0 X65 Z5\nG91 G98 G81 X65 Y0 Z-7 R-3 F100 L2 M0 (both)\nG80\nG90\nM30\n",
        "G0 X65 Z23.0\nG0 G91 F100 X65.0 Y0.0\nG0 Z-18.0\nG98 G81 X0.0 Y0.0 Z-7.0 R-3.0 (both)\nX65.0 Y0.0 M0\n"
        "G80\nG90\nM30\n"),
    "and where only a later way needs a lift": (
        "G0 Z5\nG91 G98 G81 X65 Y0 Z-7 R-3 F100 M1 L3\nG80\nG90\nM30\n",
        "G0 Z5\nG91 G98 G81 X65 Y0 Z-7 R-3 F100\nG0 Z18.0\nG0 X65.0 Y0.0\nG0 Z-18.0\n"
        "G98 G81 X0.0 Y0.0 Z-7.0 R-3.0\nX65.0 Y0.0 M1\nG80\nG90\nM30\n"),
    "behind cutter compensation, with X and Y named": (
        "G0 X-30 Z5\nG41\nG1 X-20 F100\nG40\nG1 Z6\nG99 G81 X-10 Z-1 R5\nX200 Y100\nG80\nG0 Z50\nM30\n",
        "G0 X-30 Z5\nG41\nG1 X-20 F100\nG40\nG1 Z6\nG99 G81 X-10 Z-1 R5\nG0 Z23.0\nG0 X200.0 Y100.0\nG0 Z6.0\n"
        "G99 G81 X200.0 Y100.0 Z-1.0 R5.0\nG80\nG0 Z50\nM30\n"),
    "two of the repeats' ways need a lift": (
        "G0 X-65 Z5\nG91 G98 G81 X130 Y0 Z-7 R-3 F100 L2\nX-130\nG80\nG90\nM30\n",
        "G0 X-65 Z5\nG91 G98 G81 X130 Y0 Z-7 R-3 F100\nG0 Z18.0\nG0 X130.0 Y0.0\nG0 Z-18.0\n"
        "G98 G81 X0.0 Y0.0 Z-7.0 R-3.0\nG0 Z18.0\nG0 X-130.0 Y0.0\nG0 Z-18.0\nG98 G81 X0.0 Y0.0 Z-7.0 R-3.0\n"
        "G80\nG90\nM30\n"),
}


@pytest.mark.parametrize(("before", "after"), CYCLES.values(), ids=CYCLES.keys())
def test_cycles(tmp_path: Path, before: str, after: str) -> None:
    assert became(tmp_path, before) == after


@pytest.mark.parametrize("stop", ["M0", "M1", "M2", "M30"])
def test_a_stop_in_the_block_of_a_hole_comes_behind_the_hole(tmp_path: Path, stop: str) -> None:
    for hole, before in ((f"G98 G81 X200 Y100 Z-5 R2 F100 {stop}\n", "G0 Z23.0\nG0 F100 X200.0 Y100.0\nG0 Z5.0\n"),
                         (f"G81 G99 X200 Y100 Z-5 R2 F100 {stop}\n", "G0 Z23.0\nG0 F100 X200.0 Y100.0\nG0 Z5.0\n")):
        after = became(tmp_path, "G0 Z5\n" + hole + ("" if stop in ("M2", "M30") else "G80\nM30\n"))
        assert after.startswith(before)
        drilled = after.splitlines()[3]
        assert drilled.endswith(f"G81 X200.0 Y100.0 Z-5.0 R2.0 {stop}")
        assert drilled.startswith("G99" if "G99" in hole else "G98")


# What the log says of changed blocks: (line, kind, programmed height, needed height, written height), by hand.
TOLD = {
    "a word and the way down behind": (
        AWAY + "G0 Z5\nG0 X200\nG1 Z-1\nM30\n", [(4, "lift", 5.0, None, 23.0), (5, "split", 5.0, 23.0, 23.0)]),
    "taken apart": (AWAY + "G1 Z5\nN10 G0 X200 S900\nG1 Z-1\nM30\n", [(5, "split", 5.0, 23.0, 23.0)]),
    "a slope down": (
        "G0 X200 Z2\nX0\nG1 Z-1 F100\nM30\n", [(1, "lift", 2.0, 23.0, 23.0), (2, "split", 2.0, 23.0, 23.0)]),
    "out of nowhere": (
        "G0 Z5\nG0 X0 Y0\nG1 Z-1 F100\nM30\n", [(1, "lift", 5.0, 23.0, 23.0), (2, "split", 5.0, 23.0, 23.0)]),
    "a way into a hole": (
        "G0 Z5\nG98 G81 X20 Y100 Z-5 R2 F100\nX200\nG80\nM30\n", [(3, "split", 5.0, 23.0, 23.0)]),
    "a way home": (
        "G0 Z5\nG28 X200\nG1 Z-1 F100\nM30\n", [(1, "lift", 5.0, None, 23.0), (2, "split", 5.0, 23.0, 23.0)]),
}


@pytest.mark.parametrize("name", TOLD)
def test_what_is_told_of_changed_blocks(tmp_path: Path, name: str) -> None:
    program, told = TOLD[name]
    machine = {"out of nowhere": "", "a way home": NAMED}.get(name, KNOWN)
    changes = guard(tmp_path, program, machine).records("change")
    assert [(c["line"], c["kind"], c["programmed_z_mm"], c["needed_z_mm"], c["written_z_mm"]) for c in changes] == told
    assert all(c["obstacles"] == ["clamp"] for c in changes)


def holds(came: Guarded, *after: str) -> list[tuple[float, float]]:
    """Asserts that the lines stand in the output in this order; returns the places in X and Y that it leads to."""
    assert came.exit == 0, came.records("finding")
    lines = iter(came.output.decode().splitlines())
    assert all(line in lines for line in after), came.output.decode()
    places = [(0.0, 100.0)]
    for line in came.output.decode().splitlines():
        words = {word[0]: float(word[1:]) for word in line.split() if word[0] in "XY"}
        if words:
            places.append((words.get("X", places[-1][0]), words.get("Y", places[-1][1])))
    return places


# The machine ends at 20 mm, and places to turn at lie 8.01 mm from the clamp: X71.99 Y81.99 and so on, on one side
# of it or the other (Y118.01). The way down at the end is 15 mm, from 20 to 5.
def test_round_in_absolute_distances(tmp_path: Path) -> None:
    came = guard(tmp_path, "G0 X0 Y100 Z5\nX200\nG1 Z-1 F100\nM30\n", KNOWN + REACH.format(20.0))
    assert came.exit == 0
    first, *rest = came.output.decode().splitlines()
    assert first == "G0 X0 Y100 Z20.0"
    assert rest[0] in ("X71.99 Y81.99", "X71.99 Y118.01")
    assert rest[1] in ("G0 X128.01 Y81.99", "G0 X128.01 Y118.01")
    assert rest[2:] == ["G0 X200.0 Y100.0", "G0 Z5.0", "G1 Z-1 F100", "M30"]


def test_round_in_increments(tmp_path: Path) -> None:
    came = guard(tmp_path, "G0 X0 Y100 Z5\nG91 X200 Z2\nG90 G1 Z-1 F100\nM30\n", KNOWN + REACH.format(20.0))
    assert came.exit == 0, came.records("finding")
    first, second, *rest = came.output.decode().splitlines()
    assert first == "G0 X0 Y100 Z20.0"
    assert second in ("G91 X71.99 Y-18.01", "G91 X71.99 Y18.01")
    back = "-18.01" if second.endswith(" Y18.01") else "18.01"
    # 71.99 + 56.02 + 71.99 = 200; down from 20 to 7.
    assert rest == ["G0 X56.02 Y0.0", f"G0 X71.99 Y{back}", "G0 Z-13.0", "G90 G1 Z-1 F100", "M30"]


def test_round_with_a_way_down_of_its_own(tmp_path: Path) -> None:
    came = guard(tmp_path, "G0 X0 Y100 Z5\nX200 Y100 Z2\nG1 Z-1 F100\nM30\n", KNOWN + REACH.format(20.0))
    assert came.exit == 0
    lines = came.output.decode().splitlines()
    assert lines[0] == "G0 X0 Y100 Z20.0"
    assert lines[-4:] == ["G0 X200 Y100", "G0 Z2", "G1 Z-1 F100", "M30"]
    (change,) = [change for change in came.records("change") if change["kind"] == "detour"]
    assert change["written_z_mm"] == 20.0


def test_round_from_where_the_tool_already_is_as_high_as_it_can(tmp_path: Path) -> None:
    came = guard(tmp_path, "G0 X0 Y100 Z20\nX200\nG1 Z-1 F100\nM30\n", KNOWN + REACH.format(20.0))
    assert came.exit == 0
    assert "Z" not in "".join(came.output.decode().splitlines()[1:-2])
    assert came.output.startswith(b"G0 X0 Y100 Z20\nX71.99 Y")


def test_round_with_a_rise_of_its_own_and_the_words_that_belong_to_the_block(tmp_path: Path) -> None:
    came = guard(tmp_path, AWAY + "G1 Z5\nN7 G0 X200 M3 S10 M0\nG1 Z-1\nM30\n", KNOWN + REACH.format(20.0))
    places = holds(came, "G1 Z5", "N7 G0 Z20.0 M3 S10", "G0 X200.0 Y100.0", "G0 Z5.0 M0", "G1 Z-1")
    assert [x for x, _ in places] == [0.0, 0.0, 71.99, 128.01, 200.0]


def test_round_in_inches_under_a_ceiling_in_millimetres(tmp_path: Path) -> None:
    """20 mm are 0.78740 inch: the tool goes as high as four decimals let it, and no higher."""
    program = "G20\nG0 X0 Y4 Z.2\nG0 X8\nG1 Z-.1 F10\nM30\n"
    places = holds(guard(tmp_path, program, KNOWN + REACH.format(20.0)), "G0 X0 Y4 Z0.7874", "G0 Z0.2", "G1 Z-.1 F10")
    way = shapely.LineString([(x * 25.4, y * 25.4) for x, y in places[1:]])
    assert way.distance(CLAMP) >= 8 - 1e-3
    assert way.coords[-1] == pytest.approx((8 * 25.4, 4 * 25.4))


def test_round_where_a_way_may_lead_anywhere_between_its_ends(tmp_path: Path) -> None:
    machine = KNOWN + '\nrapid_path = "unknown"' + REACH.format(20.0)
    came = guard(tmp_path, "G0 X0 Y100 Z5\nX200\nG1 Z-1 F100\nM30\n", machine)
    places = holds(came, "G0 X0 Y100 Z20.0", "G0 X200.0 Y100.0", "G0 Z5.0")
    ways = [shapely.MultiPoint(ends).envelope for ends in zip(places, places[1:], strict=False)]
    assert all(way.distance(CLAMP) >= 8 - 1e-3 for way in ways)


# What is refused: (program, machine, exit status, line, what the finding says) -----------------------------------

WHERE = ('say where the tool stands: machine.start, or after_tool_change = "high" where M6 leaves it above'
         " everything")
REFUSED = {
    "no height over it and no reach for a way round": (
        "G0 X0 Y100 Z5\nX200\nM30\n", KNOWN + "\nreach = { z = [-20.0, 20.0] }",
        3, 2, "it needs a height of 23 mm, and the machine ends at 20 mm; lower or move the obstacle;"
        " with [stock] and"
        " machine.reach given, a way round is looked for"),
    "no height over it and no way round": (
        "G0 X0 Y100 Z5\nX200\nM30\n", KNOWN + NARROW.format(20.0),
        3, 2, "it needs a height of 23 mm, the machine ends at 20 mm, and there is no way round; lower"
        " or move the"
        " obstacle"),
    "between the holes of a cycle": (
        "G0 Z5\nG98 G81 X20 Y100 Z-5 R2 F100\nX200\nG80\nM30\n", KNOWN + NARROW.format(22.999),
        3, 3, "it needs a height of 23 mm, the machine ends at 22.999 mm, and there is no way round; lower"
        " or move the"
        " obstacle"),
    "a bad height in an expression out of nowhere": (
        "#1=5\nG0 Z[#1]\nM30\n", "", 3, 2, "its Z word is not a plain number; write the height as a number"),
    "an increment out of nowhere": (
        "G91 G0 Z5\nM30\n", "", 4, 1, "under G91 no height can be written out of one that is not known; " + WHERE),
    "a way home with a word besides": (
        "G1 Z4 F100\nM5 G91 G28 X0 Y0\nG90\nM30\n", BEYOND,
        3, 2, "its block carries more than its move and must not be taken apart; put the spindle, tool and stop"
        " words on a"
        " line of their own"),
    "a way home by way of a place that is too low": (
        "G90 G28 X0 Y0 Z[5]\nM30\n", BEYOND.replace("5.0]", "30.0]"),
        3, 1, "its way comes down too early, and its block must not be taken apart; put the Z move on a line of"
        " its own,"
        " after the move in X and Y"),
    "a motion that does not state itself behind a rise that was put in": (
        "G1 Z4 F100\nG91 G28 X0 Y0\nG90\nX10\nM30\n", BEYOND, 3, 2, "a rise put in before this block would"
        " change the motion of line 4, which does not state its own; write G1 (or"
        " what it is) on line 4"),
    "an increment in an expression behind a rapid that makes contact": (
        AWAY + "#1=-4\nG0 Z5\nG91\nG0 X200\nG0 Z[#1]\nG90\nM30\n", KNOWN, 3, 8, "its increment cannot be"
        " changed; write it as absolute distances (G90)"),
    "a cycle in another plane": (
        "G0 Z5\nG18\nG98 G81 X200 Z5 Y50 R120 F100\nG80\nM30\n", KNOWN, 3, 3, "a way within this cycle comes"
        " too near, and the cycle cannot be stated anew; write the holes as plain moves"),
    "repeats in increments under G99": (
        "G0 Z5\nG91 G99 G81 X65 Y0 Z-7 R-3 F100 L4\nG80\nG90\nM30\n", KNOWN,
        3, 2, "an incremental cycle with repeats under G99 cannot be stated anew; export the holes in absolute"
        " distances (G90)"),
    "an incremental cycle from below its R level": (
        "G0 X0 Y100 Z1\nG91 G98 G81 X180 Y0 Z-7 R4 F100\nG80\nG90\nM30\n", KNOWN,
        3, 2, "an incremental cycle that starts below its R level cannot be stated anew; start it from above"
        " its R level"),
    "a cycle that began at an unknown height above everything, and now stands at R": (
        "G99 G81 X20 Y100 Z-5 R2 F100\nX200\nG80\nM30\n", 'start = "high"',
        3, 2, "the cycle began at the top, which is a height that cannot be written; put a G0 Z before the cycle"),
    "behind cutter compensation, with X alone named": (
        "G0 Z5\nG41\nG1 X-10 F100\nG40\nG1 Z6\nG99 G81 X200 Z-1 R5\nG80\nG0 Z50\nM30\n", KNOWN,
        3, 6, "the tool may still stand beside its path (G40), where the cycle cannot be stated anew; name both X and Y"
        " (G90) in a block of G0 before the cycle"),
    "repeats of which nothing says at which level they go on": (
        "G0 Z25\nG91 G81 X65 Y0 Z-7 R-23 F100 L4\nG80\nG90\nM30\n", KNOWN,
        3, 2, "nothing says whether the cycle returns to its initial level or to its R level, and under G91 no height"
        " can be written out of one that is not known; write G98 or G99 before the cycle"),
    "an incremental cycle between its levels": (
        "G0 X0 Y100 Z1\nG91 G98 G81 X20 Y0 Z-7 R4 F100\nX180\nG80\nG90\nM30\n", KNOWN,
        3, 3, "an incremental cycle between its R level and its initial level cannot be stated anew; export the"
        " holes in"
        " absolute distances (G90)"),
    "a rapid within a cycle": (
        "G0 X50 Y100 Z30\nM3 S100\nG98 G87 X68 Y100 Z-5 R2 I15 J0 K0 F100\nG80\nM30\n", KNOWN,
        3, 3, "a rapid within its cycle comes too near; write the hole as plain moves"),
    "a block with a code that goes with its move": (
        "G0 G43 H1 X200 Z5\nM30\n", KNOWN.replace("30.0]", "5.0]"),
        3, 1, "its block (G0, G43) must not be taken apart; put the move on a line of its own"),
    "a cycle in doubt, in increments": (
        "G0 Z25\nG91 G81 X20 Y0 Z-7 R-23 F100\nX180\nG80\nG90\nM30\n", KNOWN,
        3, 3, "nothing says whether the cycle returns to its initial level or to its R level, and under G91 no"
        " height can"
        " be written out of one that is not known; write G98 or G99 before the cycle"),
    "a back bore": (
        "G0 Z5\nM3 S10\nG98 G87 X200 Y100 Z-5 R2 I15 J0 K0 F100\nG80\nM30\n", KNOWN,
        3, 3, "a way within this cycle comes too near, and the cycle cannot be stated anew; write the holes as"
        " plain moves"),
    "G53 with a Z that leads down, and a word that starts the spindle": (
        "M3 S1 G53 G0 X210 Z-45\nG1 Z-1 F100\nM30\n", KNOWN + "\nzero = [-10.0, -20.0, -50.0]",
        3, 1, "its way comes down too early, and its block must not be taken apart; put the Z move on a line of"
        " its own,"
        " after the move in X and Y"),
    "compensation": (
        AWAY + "G41 D1\nG1 X10\nG1 Z5\nG0 X200\nG40\nG0 Z30\nM30\n", KNOWN,
        3, 7, "it runs under cutter compensation, where nothing may be put in; raise the traverse in the"
        " program, or move the"
        " obstacle"),
}


@pytest.mark.parametrize(("program", "machine", "status", "line", "said"), REFUSED.values(), ids=REFUSED.keys())
def test_refused(tmp_path: Path, program: str, machine: str, status: int, line: int, said: str) -> None:
    came = guard(tmp_path, program, machine)
    assert came.exit == status
    told = [(record["line"], record["obstacle"]) for record in came.records("finding")
            if record["text"].endswith(": " + said)]
    assert told and told[0][0] == line, came.records("finding")
