"""Pairs of programs, before and after; and programs that must come out untouched.

The bench: one clamp from X80 to X120 and Y90 to Y110, 18 mm high in the bench frame, measured to 1 mm; a 6 mm cutter
alone. By the deciding rule a rapid must stay above 18 + 1 (tolerance) + 3 (above) + 1 (corner rounding) = 23 mm
wherever it comes nearer than 3 (radius) + 1 + 3 (beside) + 1 = 8 mm to the clamp.
"""

from __future__ import annotations

from pathlib import Path

import pytest
import shapely

from tests.guarding import Guarded, run, write_bench

BENCH = """
format = 1
units = "mm"
[program]
starts_in = ["G21", "G90", "G17"]
block_delete = "run"
[stock]
corner = [0.0, 0.0]
size = [600.0, 200.0]
top = 0.0
thickness = 19.0
[machine]
{machine}
[[tools]]
number = 1
diameter = 6.0
length = 40.0
[[obstacles]]
name = "clamp"
shape = "box"
center = [100.0, 100.0]
size = [40.0, 20.0]
top = 18.0
"""
KNOWN = "start = [0.0, 100.0, 30.0]"
AWAY = "G0 X0 Y100\nG0 Z5\nG1 Z-1 F100\n"


def guard(folder: Path, program: str, machine: str = KNOWN) -> Guarded:
    return run(program, write_bench(folder, BENCH.format(machine=machine)))


PAIRS = {
    "out of a hole that may return to its R level, up to where it was taken to stand": (
        "G0 Z25\nG81 X20 Y100 Z-5 R2 F100\nG80\nM5\nG0 X200\nX300\nG0 Z5\nM30\n",
        "G0 Z25\nG81 X20 Y100 Z-5 R2 F100\nG80\nM5\nG0 Z25.0\nG0 X200\nX300\nG0 Z5\nM30\n"),
    "the same on to another hole": (
        "G0 Z25\nG81 X20 Y100 Z-5 R2 F100\nG80\nG82 X200 Y100 Z-5 R3 P1\nG80\nM30\n",
        "G0 Z25\nG81 X20 Y100 Z-5 R2 F100\nG80\nG0 Z25.0\nG0 X200.0 Y100.0\nG82 X200 Y100 Z-5 R3 P1\nG80\nM30\n"),
    "a stop on the way whose height is worked out, over the clamp, is passed over": (
        "#1=5\nG0 X100 Y100 Z[#1+0]\nX200\nZ1\nG1 Z-1 F100\nM30\n",
        "#1=5\nG0 X100 Y100\nX200\nZ1\nG1 Z-1 F100\nM30\n"),
    "the program's own retract is raised, and comes down again where the program never did": (
        AWAY + "G0 Z5\nG0 X200\nG1 Z-1\nM30\n",
        AWAY + "G0 Z23.0\nG0 X200\nG0 Z5.0\nG1 Z-1\nM30\n"),
    "nothing is put in where the program retracts and comes down by itself": (
        AWAY + "G0 Z5\nG0 X200\nG0 Z1\nG1 Z-1\nM30\n",
        AWAY + "G0 Z23.0\nG0 X200\nG0 Z1\nG1 Z-1\nM30\n"),
    "without a retract of its own: up, across, down": (
        AWAY + "G1 Z5\nG0 X200\nG1 Z-1\nM30\n",
        AWAY + "G1 Z5\nG0 Z23.0\nG0 X200\nG0 Z5.0\nG1 Z-1\nM30\n"),
    "a slanting rapid downwards goes across first": (
        "G0 Z30\nG0 X0 Y100\nM3\nG0 X200 Z2\nG1 Z-1 F100\nM30\n",
        "G0 Z30\nG0 X0 Y100\nM3\nG0 X200\nG0 Z2\nG1 Z-1 F100\nM30\n"),
    "a slanting rapid upwards goes up first": (
        AWAY + "G0 X200 Z40\nM5\nM30\n",
        AWAY + "G0 Z40\nG0 X200\nM5\nM30\n"),
    "a stop at the end of a run that only comes close is reached from above": (
        AWAY + "G0 Z5\nG0 X74 Y100\nG1 Z-1\nG0 Z30\nM30\n",
        AWAY + "G0 Z23.0\nG0 X74 Y100\nG0 Z5.0\nG1 Z-1\nG0 Z30\nM30\n"),
    "S, T and M3 stand on the first piece, M0 on the last, the number on the first alone": (
        "G0 Z5\nG0 X0 Y100\nN10 G0 X200 S12000 M3 M0 (over)\nG1 Z-1 F100\nM30\n",
        "G0 Z5\nG0 X0 Y100\nN10 G0 Z23.0 S12000 M3 (over)\nG0 X200\nG0 Z5.0 M0\nG1 Z-1 F100\nM30\n"),
    "incremental: what is put in adds up to the programmed end": (
        AWAY + "G0 Z5\nG91\nG0 X200\nG1 Z-6\nG90\nM30\n",
        AWAY + "G0 Z23.0\nG91\nG0 X200\nG0 Z-18.0\nG1 Z-6\nG90\nM30\n"),
    "incremental retract and plunge of the program's own are changed, nothing is put in": (
        AWAY + "G91\nG0 Z6\nX200\nZ-4\nG1 Z-2\nG90\nM30\n",
        AWAY + "G91\nG0 Z24.0\nX200\nZ-22.0\nG1 Z-2\nG90\nM30\n"),
    "inches are rounded up to four decimals: 23 mm is 0.90552 in": (
        "G20\nG0 Z.2\nG0 X0 Y4\nG1 Z-.1 F10\nG0 Z.2\nG0 X8\nG1 Z-.1\nM30\n",
        "G20\nG0 Z.2\nG0 X0 Y4\nG1 Z-.1 F10\nG0 Z0.9056\nG0 X8\nG0 Z0.2\nG1 Z-.1\nM30\n"),
    "the program's spelling: lower case, tight, two digits": (
        "g00x0y100\ng00z5\ng01z-1f100\ng00z5\ng00x200\ng01z-1\nm30\n",
        "g00x0y100\ng00z5\ng01z-1f100\ng00z23.0\ng00x200\ng00z5.0\ng01z-1\nm30\n"),
    "the program's decimals and line ends": (
        "G0 X0. Y100.\r\nG0 Z5.000\r\nG1 Z-1.000 F100\r\nG0 Z5.000\r\nG0 X200.000\r\nG1 Z-1.000\r\nM30",
        "G0 X0. Y100.\r\nG0 Z5.000\r\nG1 Z-1.000 F100\r\nG0 Z23.000\r\nG0 X200.000\r\nG0 Z5.000\r\nG1 Z-1.000\r\nM30"),
    "blocks put in beside a slash block carry the slash": (
        AWAY + "G1 Z5\n/G0 X200\nG1 Z-1\nM30\n",
        AWAY + "G1 Z5\n/G0 Z23.0\n/G0 X200\n/G0 Z5.0\nG1 Z-1\nM30\n"),
    "an expression stays one, only what is put in is a number": (
        AWAY + "#1=5\nG0 Z[#1]\nG0 X200 Z[#1-3]\nG1 Z-1\nM30\n",
        AWAY + "#1=5\nG0 Z[#1]\nG0 Z23.0\nG0 X200\nG0 Z[#1-3]\nG1 Z-1\nM30\n"),
    "between two holes of a cycle under G98": (
        AWAY + "G0 Z5\nG98 G81 X20 Y100 Z-5 R2\nX200\nX300\nG80\nM30\n",
        AWAY + "G0 Z5\nG98 G81 X20 Y100 Z-5 R2\nG0 Z23.0\nG0 X200.0 Y100.0\nG0 Z5.0\n"
        "G98 G81 X200.0 Y100.0 Z-5.0 R2.0\nX300\nG80\nM30\n"),
    "between two holes of a cycle under G99, back to the old initial level": (
        AWAY + "G0 Z5\nG99 G83 X20 Y100 Z-5 R2 Q2\nN7 X200 (far)\nX300\nG80\nM30\n",
        AWAY + "G0 Z5\nG99 G83 X20 Y100 Z-5 R2 Q2\nG0 Z23.0\nG0 X200.0 Y100.0\nG0 Z5.0\n"
        "N7 G99 G83 X200.0 Y100.0 Z-5.0 R2.0 Q2.0 (far)\nX300\nG80\nM30\n"),
    "to the first hole of a cycle: the tool is led there before it": (
        AWAY + "G0 Z5\nG98 G81 X200 Y100 Z-5 R2\nG80\nM30\n",
        AWAY + "G0 Z23.0\nG0 X200.0 Y100.0\nG0 Z5.0\nG98 G81 X200 Y100 Z-5 R2\nG80\nM30\n"),
    "two neighbouring clips are passed at one height, without bobbing": (
        AWAY + "G0 Z5\nG0 X200\nG0 X0\nG0 X200 Y95\nG0 Z1\nG1 Z-1\nM30\n",
        AWAY + "G0 Z23.0\nG0 X200\nG0 X0\nG0 X200 Y95\nG0 Z1\nG1 Z-1\nM30\n"),
}


@pytest.mark.parametrize(("before", "after"), PAIRS.values(), ids=PAIRS.keys())
def test_pairs(tmp_path: Path, before: str, after: str) -> None:
    came = guard(tmp_path, before)
    assert came.exit == 0, came.findings
    assert came.output.decode() == after
    assert guard(tmp_path, after).output.decode() == after


START_PAIRS = {
    "at an unknown place the first Z clears the whole table; the way down comes at a known one": (
        "", "G0 Z5\nM3 S1000\nG0 X0 Y0\nG1 Z-1 F100\nM30\n",
        "G0 Z23.0\nM3 S1000\nG0 X0 Y0\nG0 Z5.0\nG1 Z-1 F100\nM30\n"),
    "an upright rapid is put before a first one that is none": (
        "", "G0 X0 Y0\nG0 Z5\nM30\n", "G0 Z23.0\nG0 X0 Y0\nG0 Z5\nM30\n"),
    "a first block with everything on it is taken apart": (
        "", "N1 G90 G54 G0 X0 Y0 Z5 S900 M3\nG1 Z-1 F100\nM30\n",
        "N1 G90 G54 G0 Z23.0 S900 M3\nG0 X0 Y0\nG0 Z5\nG1 Z-1 F100\nM30\n"),
    "high: goes across as it is, and down": (
        'start = "high"', "G0 X0 Y0 Z5\nG1 Z-1 F100\nM30\n", "G0 X0 Y0\nG0 Z5\nG1 Z-1 F100\nM30\n"),
    "sent home along with axes that nobody named": (
        'home = [0.0, 0.0, 60.0]\nstart = [200.0, 100.0, 5.0]', "G91 G28 Z0\nG28 X0 Y0\nM30\n",
        "G0 Z23.0\nG91 G28 Z0\nG28 X0 Y0\nM30\n"),
}


@pytest.mark.parametrize(("machine", "before", "after"), START_PAIRS.values(), ids=START_PAIRS.keys())
def test_starts(tmp_path: Path, machine: str, before: str, after: str) -> None:
    came = guard(tmp_path, before, machine)
    assert came.exit == 0, came.findings
    assert came.output.decode() == after
    assert guard(tmp_path, after, machine).output.decode() == after


UNTOUCHED = {
    "high above everything": AWAY + "G0 Z23\nG0 X200\nG1 Z-1\nM30\n",
    "beside it by exactly the clearance": "G0 Z5\nG0 X0 Y82\nG0 X200\nG1 Z-1 F100\nM30\n",
    "straight down and up beside it, inside the clearance": "G0 X75 Y100\nG0 Z1\nG1 Z-1 F100\nG0 Z30\nM30\n",
    "odd spacing, comments and case": "( a )\n  g 0  x 0 y1 00 (b) ; c\n\nG0Z2 3.\n%\n",
    "text after the end": "G0 Z30\nM30\nanything goes here $$$\n",
    "an empty program": "",
    "no final newline": "G0 Z30\nM30",
    "a cycle from high above": "G0 X200 Y100\nG98 G81 Z-5 R2 F100\nX0\nG80\nM30\n",
    "home by the named axes, the Z first": "G0 X200 Y100\nG91 G28 Z0\nG28 X0 Y0\nM30\n",
}


@pytest.mark.parametrize("program", UNTOUCHED.values(), ids=UNTOUCHED.keys())
def test_untouched(tmp_path: Path, program: str) -> None:
    came = guard(tmp_path, program, KNOWN + '\nhome_axes = "named"\nhome = [0.0, 0.0, 60.0]')
    assert came.exit == 0, came.findings
    assert came.output == program.encode()
    assert came.diff == b""
    assert not came.records("change")


REFUSED = {
    "a cut into the clamp": (AWAY + "G1 X200\nM30\n", 3, (4, "cut-contact")),
    "a hole under the clamp": ("G0 Z30\nG98 G81 X100 Y100 Z-5 R25 F100\nM30\n", 3, (2, "cut-contact")),
    "a run that ends in the clamp": ("G0 X100 Y100\nG0 Z5\nM30\n", 3, (2, "rapid-contact")),
    "an unknown code": ("G0 Z30\nG777\nM30\n", 4, (2, "not-understood")),
    "an unknown tool": ("T9 M6\nM30\n", 4, (1, "not-understood")),
    "a cut from nowhere": ("G28 X0 Y0\nG1 X10 F100\nM30\n", 4, (2, "not-understood")),
    "an offset that is not given": ("G55\nG0 X0\nM30\n", 4, (1, "not-understood")),
    "a number that does not parse": ("G0 X1.2.3\nM30\n", 4, (1, "not-understood")),
    "a cut without a feed": ("G1 X10\nM30\n", 4, (1, "not-understood")),
    "nothing may be put in under cutter compensation": (
        AWAY + "G41 D1\nG1 X10\nG1 Z5\nG0 X200\nG40\nG0 Z30\nM30\n", 3, (7, "rapid-contact")),
}


@pytest.mark.parametrize(("program", "status", "finding"), REFUSED.values(), ids=REFUSED.keys())
def test_refused(tmp_path: Path, program: str, status: int, finding: tuple[int, str]) -> None:
    came = guard(tmp_path, program)
    assert came.exit == status
    assert finding in came.findings
    assert came.output == b"" and came.diff == b""
    assert came.records("summary")[0]["verdict"] == "refused"


AIR = AWAY + "G1 Z5\nG1 X200 F900\nG1 Z-1\nM30\n"


def test_traverse_at_feed_is_lifted_where_the_setup_allows_it(tmp_path: Path) -> None:
    allowed = BENCH.format(machine=KNOWN) + "\n[repair]\nair_feeds = true\n"
    came = run(AIR, write_bench(tmp_path, allowed))
    assert came.exit == 0, came.findings
    assert came.output.decode() == AIR.replace("G1 X200 F900\n", "G1 Z23.0 F900\nG1 X200 F900\nG1 Z5.0\n")
    assert any("at its own feed of 900 mm a minute (air_feeds)" in record["text"]
               for record in came.records("assumption"))
    assert "G1 X200 F900" in came.records("change")[0]["after"]
    carried = run(AIR.replace("G1 Z5", "G1 Z5 F900").replace("X200 F900", "X200"), write_bench(tmp_path, allowed))
    assert b"-G1 X200\n+G1 Z23.0\n+G1 X200 F900\n+G1 Z5.0\n" in carried.diff
    assert any("at its own feed of 900 mm a minute" in record["text"] for record in carried.records("assumption"))
    assert run(came.output, write_bench(tmp_path, allowed)).output == came.output


def test_traverse_at_feed_is_refused_with_the_name_of_the_option_and_the_level(tmp_path: Path) -> None:
    came = guard(tmp_path, AIR)
    assert came.exit == 3
    (text,) = [record["text"] for record in came.records("finding") if record["kind"] == "cut-contact"]
    assert "air_feeds" in text and "passes is 19 mm, and 23 mm keeps the clearance" in text
    for level, status in ((19.0, 0), (18.9, 3)):
        assert guard(tmp_path, AIR.replace("Z5", f"Z{level}")).exit == status


def test_a_cut_in_the_material_is_never_lifted(tmp_path: Path) -> None:
    allowed = BENCH.format(machine=KNOWN) + "\n[repair]\nair_feeds = true\n"
    assert run(AWAY + "G1 X200\nM30\n", write_bench(tmp_path, allowed)).exit == 3


LOW = KNOWN + "\nreach = {{ x = [-20.0, 620.0], y = [-20.0, 220.0], z = [-20.0, {top}] }}"


def across(output: bytes) -> list[tuple[float, float]]:
    """The places in X and Y that the rapids of an output lead to, bare words taken over."""
    places, x, y = [], 0.0, 100.0
    for line in output.decode().splitlines():
        words = {word[0]: float(word[1:]) for word in line.split() if word[0] in "XY"}
        if line.startswith("G0") and words:
            x, y = words.get("X", x), words.get("Y", y)
            places.append((x, y))
    return places


@pytest.mark.parametrize("program, programmed", [
    (AWAY + "G0 Z5\nG0 X200\nG1 Z-1\nM30\n", 5.0),  # a retract out of the cut: it is programmed to 5
    (AWAY + "G1 Z2\nG0 X200 Z5\nG1 Z-1\nM30\n", 2.0),  # a slanted way: its lowest point
    (AWAY + "G1 Z5\nG0 X200 Z2\nG1 Z-1\nM30\n", 2.0),
])
def test_the_height_that_a_changed_block_was_programmed_to(
        tmp_path: Path, program: str, programmed: float) -> None:
    """What a person who reads `programmed 5, written 23` looks for in the block: not where the cut before it ended."""
    came = guard(tmp_path, program)
    assert came.exit == 0, came.log
    assert came.records("change")[0]["programmed_z_mm"] == programmed


def test_a_block_that_only_comes_down_again_names_what_the_run_was_raised_over(tmp_path: Path) -> None:
    came = guard(tmp_path, AWAY + "G1 Z5\nG0 X200\nG0 Y80\nG1 Z-1\nM30\n")
    assert came.output.decode() == AWAY + "G1 Z5\nG0 Z23.0\nG0 X200\nG0 Y80\nG0 Z5.0\nG1 Z-1\nM30\n"
    assert [(change["after"], change["obstacles"]) for change in came.records("change")] == [
        (["G0 Z23.0", "G0 X200"], ["clamp"]), (["G0 Y80", "G0 Z5.0"], ["clamp"])]


@pytest.mark.parametrize("path", ["straight", "unknown"])
def test_a_way_round_where_the_ceiling_is_too_low(tmp_path: Path, path: str) -> None:
    """The clamp needs 23 mm and the machine ends at 20: round it, at 20 mm, at least 3 + 1 + 3 + 1 = 8 mm away."""
    program = AWAY + "G1 Z5\nG0 X200\nG1 Z-1\nM30\n"
    machine = LOW.format(top=20.0) + f'\nrapid_path = "{path}"'
    setup = write_bench(tmp_path, BENCH.format(machine=machine))
    came = run(program, setup)
    assert came.exit == 0, came.log
    (change,) = came.records("change")
    assert change["kind"] == "detour" and change["obstacles"] == ["clamp"]
    assert "G0 Z20.0\n" in came.output.decode() and "\nG0 Z5.0\nG1 Z-1\n" in came.output.decode()
    places = [(0.0, 100.0), *across(came.output)]
    assert places[-1] == (200.0, 100.0) and len(places) <= 7
    clamp = shapely.box(80, 90, 120, 110)
    for a, b in zip(places, places[1:], strict=False):
        way = shapely.LineString([a, b]) if path == "straight" else shapely.MultiPoint([a, b]).envelope
        assert way.distance(clamp) >= 8 - 1e-3
    assert run(came.output, setup).output == came.output


def test_no_way_round_names_what_blocks(tmp_path: Path) -> None:
    machine = LOW.format(top=20.0).replace("-20.0, 220.0]", "88.0, 112.0]")
    came = run(AWAY + "G1 Z5\nG0 X200\nG1 Z-1\nM30\n", write_bench(tmp_path, BENCH.format(machine=machine)))
    assert came.exit == 3
    assert any(record["obstacle"] == "clamp" and "no way round" in record["text"] for record in came.records("finding"))


def test_without_stock_there_is_no_way_round(tmp_path: Path) -> None:
    text = BENCH.format(machine=LOW.format(top=20.0)).replace("[stock]", "[table]\nz = -19.0\n[stock]")
    text = text[: text.index("[stock]")] + text[text.index("[machine]"):]
    assert run(AWAY + "G1 Z5\nG0 X200\nG1 Z-1\nM30\n", write_bench(tmp_path, text)).exit == 3


def test_the_programs_own_moves_outside_the_reach_are_refused(tmp_path: Path) -> None:
    came = guard(tmp_path, "G0 Z30\nG0 X700\nM30\n", LOW.format(top=40.0))
    assert came.exit == 3 and (2, "out-of-reach") in came.findings


def test_a_way_round_where_it_is_faster(tmp_path: Path) -> None:
    slow_z = "\nrapid_rate = [20000.0, 20000.0, 100.0]\nacceleration = [3000.0, 3000.0, 50.0]"
    text = BENCH.format(machine=LOW.format(top=60.0) + slow_z)
    program = AWAY + "G1 Z5\nG0 X200\nG1 Z-1\nM30\n"
    assert run(program, write_bench(tmp_path, text)).records("change")[0]["kind"] == "split"
    text += '\n[repair]\ndetour = "when-faster"\n'
    came = run(program, write_bench(tmp_path, text))
    assert [change["kind"] for change in came.records("change")] == ["detour"]
    assert "Z" not in "".join(came.records("change")[0]["after"])
