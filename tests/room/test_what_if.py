"""`review --set`: what if, without touching the setup."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from gcode_guard.setup import load_setup
from gcode_guard.whatif import read_changes, with_changes
from tests.guarding import write_bench
from tests.room.calling import Said, call

BENCH = """# Measured on Monday.
format = 1
units = "mm"
[table]
z = -19.0
[machine]
start = [0.0, 0.0, 60.0]
[[tools]]
number = 1
diameter = 6.0
[[obstacles]]
name = "left clamp"
shape = "box"
center = [50.0, 0.0]
size = [20.0, 20.0]
height = 27.0                     # Z 8
[[obstacles]]
name = "no. 2"
shape = "cylinder"
center = [50.0, 200.0]
diameter = 10.0
top = 2.0
"""
# Along Y = 0 at Z 20 over the clamp, which needs 8 + 1 + 3 + 1 = 13; then a cut well away from everything.
PROGRAM = "G21 G90 G17\nG0 Z20\nG0 X100\nG0 Y100\nG1 Z-1 F500\nX90\nG0 Z60\nM30\n"


def review(folder: Path, *words: str) -> Said:
    path = write_bench(folder, BENCH)
    (folder / "program.nc").write_text(PROGRAM)
    said = call(folder, "review", "program.nc", "--setup", "bench.toml", *words)
    assert path.read_text() == BENCH
    return said


def test_a_taller_clamp_has_the_traverse_lifted(tmp_path: Path) -> None:
    """Top 16 needs 16 + 1 + 3 + 1 = 21; the height of the setup gives way to it."""
    said = review(tmp_path, "--set", "left clamp.top=16")
    assert said.returncode == 1
    assert "+" in said.stdout and "Z21" in said.stdout
    tail = said.stderr[said.stderr.index("What if") :].splitlines()
    assert tail[0] == "What if left clamp.top = 16:"
    assert tail[1] == "  the program is repaired (cutter only), and safe as it is with the setup as it is"
    assert tail[2].startswith("  line 2 is changed to Z 21 mm") or tail[2].startswith("  line 3 is changed to Z 21 mm")
    assert "Next:" not in said.stderr  # what comes next would be for the setup as it is


def test_what_makes_no_difference(tmp_path: Path) -> None:
    said = review(tmp_path, "--set", "left clamp.top=15")
    assert (said.returncode, said.stdout) == (0, "")
    assert said.stderr.endswith("What if left clamp.top = 15:\n  nothing changes against the setup as it is\n")


def test_several_at_once_and_names_with_points(tmp_path: Path) -> None:
    """The second one comes to stand under the cut."""
    said = review(tmp_path, "--set", "no. 2.center=[95, 100]", "--set", "left clamp.size = [5, 5]")
    assert said.returncode == 3 and said.stdout == ""
    assert "What if no. 2.center = [95, 100]; left clamp.size = [5, 5]:" in said.stderr
    assert "  the program is refused (cutter only), and safe as it is with the setup as it is" in said.stderr
    assert not re.search(r"^  line \d+ (is changed|stays)", said.stderr, re.MULTILINE)  # what is refused is not changed
    assert "  new: line 5: " in said.stderr and 'into "no. 2"' in said.stderr


def test_a_name_may_stand_in_quotes(tmp_path: Path) -> None:
    said = review(tmp_path, "--set", '"left clamp".top=16')
    assert said.returncode == 1 and "What if left clamp.top = 16:" in said.stderr


@pytest.mark.parametrize(("text", "complaint"), [
    ("right clamp.top=3", "begins with no obstacle's name"),
    ("left clamp.top", "write NAME.key=value"),
    ("left clamp.top=", "no TOML value"),
    ("left clamp.top=3\nformat = 2", "more than one value"),
    ("left clamp.tops=3", "unknown key"),
    ("left clamp.center=[1]", "exactly 2 numbers"),
    ("left clamp.top=-30", "not above the table"),
])
def test_wrong_changes(tmp_path: Path, text: str, complaint: str) -> None:
    said = review(tmp_path, "--set", text)
    assert said.returncode == 2 and said.stdout == ""
    assert complaint in said.stderr and said.stderr.startswith("gcode-guard: --set ")


def test_a_page_is_of_the_bench_as_it_is(tmp_path: Path) -> None:
    said = review(tmp_path, "--set", "left clamp.top=16", "--page", str(tmp_path / "page.html"))
    assert said.returncode == 2 and not (tmp_path / "page.html").exists()


def test_keys_are_set_as_if_they_stood_in_the_file(tmp_path: Path) -> None:
    setup = load_setup(write_bench(tmp_path, BENCH))
    changed = with_changes(setup, read_changes(["left clamp.angle=90", "left clamp.height=30", "no. 2.tolerance=0.25"],
                                               [obstacle.name for obstacle in setup.obstacles]))
    assert [obstacle.top for obstacle in changed.obstacles] == [11.0, 2.0]
    assert [obstacle.solids[0].tolerance for obstacle in changed.obstacles] == [1.0, 0.25]
    assert changed.sha256 != setup.sha256
