"""The answer about one place: both heights, the lines that set them, what is left; every figure worked out by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.guarding import run, write_bench
from tests.room.calling import Said, call

PARTS = """format = 1
units = "mm"
[[parts]]
name = "strap"
solids = [
    { shape = "box", center = [0.0, 0.0], size = [40.0, 12.0], height = 24.0 },
    { shape = "cylinder", center = [0.0, 0.0], diameter = 10.0, height = 32.0 },
]
"""
BENCH = """format = 1
units = "mm"
[stock]
corner = [0.0, 0.0]
size = [200.0, 100.0]
top = 0.0
thickness = 19.0
[clearance]
above = 3.0
beside = 3.0
tolerance = 1.0
[machine]
start = [0.0, 0.0, 60.0]
corner_rounding = 1.0
[[tools]]
number = 1
diameter = 6.0
length = 30.0
[spindle]
sections = [{ diameter = 40.0, height = 100.0 }]
[parts]
files = ["parts.toml"]
"""
FIRST = "G21 G90\nG0 Z50\nG0 X50 Y50\nG0 Z5\nG1 Z-4 F500\nX150\nG0 Z50\nM30\n"
SECOND = "G21 G90\nG0 Z50\nG0 X-60 Y-40\nG0 Z12\nG0 X-60 Y60\nG0 Z50\nM30\n"


def room(folder: Path, *words: str, bench: str = BENCH) -> Said:
    write_bench(folder, bench, {"parts.toml": PARTS})
    (folder / "first.nc").write_text(FIRST)
    (folder / "second.nc").write_text(SECOND)
    return call(folder, "room", "first.nc", "second.nc", "--setup", "bench.toml", *words)


def test_a_point_under_the_collet_nut(tmp_path: Path) -> None:
    """10 mm beside the groove at Z -4: the nut, 30 above the tip, touches from 30 - 4 - 1 = 25 on. The plunge from Z 5
    down is upright and does not count until it touches; the rapid up is no lower. The table is at -19."""
    said = room(tmp_path, "--at", "100,60")
    assert said.returncode == 0, said.stderr
    assert said.stdout == ("at 100, 60: hard Z 25.000 (line 6 of first.nc, collet nut of tool 1); easy Z 25.000 (line 6"
                           " of first.nc, collet nut of tool 1); height above the table: 44.000 mm hard, 44.000 mm"
                           " easy\n")


def test_a_point_beside_a_traverse_of_another_program(tmp_path: Path) -> None:
    """4 mm beside the traverse at Z 12, which no lift would be needed over up to 12 - 1 - 3 - 1 = 7."""
    said = room(tmp_path, "--at", "-56,0")
    assert said.stdout.startswith("at -56, 0: hard any height (no move is near); easy Z 7.000 (line 5 of second.nc,"
                                  " cutter of tool 1);")


def test_a_point_that_no_move_comes_near(tmp_path: Path) -> None:
    said = room(tmp_path, "--at", "400,400")
    assert said.stdout == ("at 400, 400: hard any height (no move is near); easy any height (no move is near); height"
                           " above the table: any hard, any easy\n")


def test_a_box_reaches_as_far_as_it_is_turned(tmp_path: Path) -> None:
    """A box of 40 x 4 at Y 73, upright in Y, ends at Y 53, 3 mm from the groove: the cutter, 3 in radius and 1 of
    tolerance, touches it above -4 - 1. Along X it ends at Y 71, beyond cutter and nut."""
    turned = room(tmp_path, "--at", "100,73", "--size", "40,4", "--angle", "90")
    assert turned.stdout.startswith("40 x 4 at 100, 73 turned 90: hard Z -5.000 (line 6 of first.nc, cutter of tool 1)")
    along = room(tmp_path, "--at", "100,73", "--size", "40,4")
    assert along.stdout.startswith("40 x 4 at 100, 73: hard any height")


def test_what_is_left_for_a_part(tmp_path: Path) -> None:
    """The bolt, of radius 5, is 14 from the groove: the nut comes over it, from Z 25 on; it ends at 32 - 19 = 13. So
    does the strap: it ends at 24 - 19 = 5. The bolt has 12 left; the strap has 20."""
    said = room(tmp_path, "--part", "strap", "--at", "100,69")
    assert said.stdout == ("strap at 100, 69: hard Z 25.000 (line 6 of first.nc, collet nut of tool 1); easy Z 25.000"
                           " (line 6 of first.nc, collet nut of tool 1); it is 32 mm high, 12.000 mm are left before a"
                           " cut touches it; rapids stay as they are\n")
    assert "rapids would be lifted over it" in room(tmp_path, "--part", "strap", "--at", "-56,0").stdout
    tall = room(tmp_path, "--part", "strap", "--at", "100,55")  # under the cutter, at Z -4: from -5 on
    assert "too tall by 18.000 mm: a cut would touch it" in tall.stdout  # the bolt, which ends at 13


def test_a_stock_of_doubtful_thickness_leaves_less_above_the_table(tmp_path: Path) -> None:
    """The top may be at Z 25 where it was measured as such; something measured from the table may be 0.5 more wrong."""
    said = room(tmp_path, "--at", "100,60", bench=BENCH.replace("thickness = 19.0", "thickness = 19.0\n"
                                                                "thickness_tolerance = 0.5"))
    assert "hard Z 25.000" in said.stdout and "43.500 mm hard" in said.stdout


def test_a_low_ceiling_is_told(tmp_path: Path) -> None:
    """Up to Z 60 a rapid is lifted over what ends at 60 - 1 - 3 - 1 = 55. The first rapid that may come near is that of
    line 3, which may run anywhere between its ends."""
    bench = BENCH.replace("[machine]", "[machine]\nreach = { z = [-30.0, 60.0] }")
    said = room(tmp_path, "--at", "-56,0", bench=bench)
    assert "; over Z 55.000 the ceiling is too low for a lift (line 3 of second.nc, cutter of tool 1);" in said.stdout
    for top, status in ((54.99, 0), (55.05, 3)):
        post = '[[obstacles]]\nname = "post"\nshape = "cylinder"\ncenter = [-56.0, 0.0]\n' \
               f"diameter = 0.001\ntop = {top}\n"
        assert run(SECOND, write_bench(tmp_path / "tried", bench + post, {"parts.toml": PARTS})).exit == status


def test_out_of_an_unknown_height_nothing_is_easy(tmp_path: Path) -> None:
    """The rapid across of a program's first line may be at any height: it is lifted whatever stands there."""
    bench = BENCH.replace("start = [0.0, 0.0, 60.0]\n", "")
    write_bench(tmp_path, bench, {"parts.toml": PARTS})
    (tmp_path / "third.nc").write_text("G21 G90\nG0 X10 Y10\nG0 Z50\nG1 X20 F100\nG0 Z50\nM30\n")
    said = call(tmp_path, "room", "third.nc", "--setup", "bench.toml", "--at", "900,900")
    assert "easy nothing (line 2 of third.nc" in said.stdout


@pytest.mark.parametrize(("line", "status"), [("M777", 4), ("G1 X5", 0)])
def test_a_program_that_is_not_understood_has_no_answer(tmp_path: Path, line: str, status: int) -> None:
    write_bench(tmp_path, BENCH, {"parts.toml": PARTS})
    (tmp_path / "fourth.nc").write_text(f"G21 G90\nG0 Z50\nF100\n{line}\nM30\n")
    said = call(tmp_path, "room", "fourth.nc", "--setup", "bench.toml", "--at", "900,900")
    assert said.returncode == status
    assert (said.stdout == "") == (status == 4)
    if status:
        assert said.stderr.startswith("fourth.nc: line 4: M777 is not known")


def test_a_look_down_and_up_again_is_easy_until_it_touches(tmp_path: Path) -> None:
    """Upright, down to Z 5 and up: inside the clearance it is left as it is; from 5 - 1 on it would touch."""
    write_bench(tmp_path, BENCH, {"parts.toml": PARTS})
    (tmp_path / "fifth.nc").write_text("G21 G90\nG0 Z50\nG0 X-90 Y-90\nG0 Z5\nG0 Z50\nG0 X0 Y0\nM30\n")
    said = call(tmp_path, "room", "fifth.nc", "--setup", "bench.toml", "--at", "-92,-90")
    assert said.stdout.startswith("at -92, -90: hard any height (no move is near); easy Z 4.000 (line 4 of fifth.nc")


def test_where_a_run_ends_counts_even_where_its_last_block_leads_nowhere(tmp_path: Path) -> None:
    """The tool stands at Z 5 when M9 ends the run, and no lift helps: what is nearer than 3 + 1 may end at 5 - 1."""
    write_bench(tmp_path, BENCH, {"parts.toml": PARTS})
    (tmp_path / "sixth.nc").write_text("G21 G90\nG0 Z50\nG0 X-90 Y-90\nG0 Z5\nG0 Z5\nM9\nG0 Z50\nG0 X0 Y0\nM30\n")
    said = call(tmp_path, "room", "sixth.nc", "--setup", "bench.toml", "--at", "-92,-90")
    assert said.stdout.startswith("at -92, -90: hard Z 4.000 (line 5 of sixth.nc, cutter of tool 1)")
