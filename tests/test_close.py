"""What comes inside a clearance and passes: told as `close`, with the line and the obstacle, and never for nothing.

By hand for these tests: a 6 mm cutter, an obstacle with its edge at X90 and its top at Z18, tolerance 1, clearances 3,
corner rounding 1. Inside the clearance is what comes nearer than 3 + 1 + 3 + 1 = 8 mm, lower than 18 + 1 + 3 + 1 = 23.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from gcode_guard.cli import app
from gcode_guard.totals import Totals
from tests.guarding import run, write_bench

BENCH = """
format = 1
units = "mm"
[program]
starts_in = ["G21", "G90", "G17"]
[machine]
start = [0.0, 0.0, 60.0]
rapid_path = "straight"
[[tools]]
number = 1
diameter = 6.0
[[obstacles]]
name = "clamp"
shape = "box"
center = [100.0, 0.0]
size = [20.0, 40.0]
top = 18.0
"""


def close(program: str, folder: Path, bench: str = BENCH) -> list[tuple[int, Any]]:
    """The lines and depths of what is told as close, in a program that passes unchanged."""
    came = run(program, write_bench(folder, bench))
    assert (came.exit, came.output) == (0, program.encode())
    assert all((record["kind"], record["obstacle"]) == ("close", "clamp") for record in came.records("finding"))
    return [(record["line"], record["by_mm"]) for record in came.records("finding")]


@pytest.mark.parametrize("program, found", [
    ("G0 X82 Y0\nG1 Z-1 F100\n", []),
    ("G0 X82.01 Y0\nG1 Z-1 F100\n", [(2, 24.0)]),
    ("G0 X82.01 Y0\nG1 Z23 F100\n", []),
    ("G61\nG0 X82.01 Y0\nG1 Z-1 F100\n", []),
    ("G61\nG0 X83.01 Y0\nG1 Z-1 F100\n", [(3, 23.0)]),
    ("G0 X42 Y0\nG1 Z5 F100\nG3 X42 Y0 I19.9 J0\n", []),
    ("G0 X42 Y0\nG1 Z5 F100\nG3 X42 Y0 I20.1 J0\n", [(3, pytest.approx(18.0, abs=0.02))])])
def test_a_cut_is_close_inside_the_clearance_with_the_corner_rounding_in_force(tmp_path: Path, program: str,
                                                                               found: list[tuple[int, Any]]) -> None:
    assert close(program, tmp_path) == found


def test_a_cut_into_what_is_sacrificial_passes_and_is_told(tmp_path: Path) -> None:
    bench = BENCH + "sacrificial = true\n"
    assert close("G0 X70 Y0\nG1 Z5 F100\nG1 X100\nG1 X70\n", tmp_path, bench) == [(3, 14.0), (4, 14.0)]


@pytest.mark.parametrize("program, found", [
    ("G0 X82.01 Y0\nG0 Z5\nG0 Z60\n", [(2, 18.0), (3, 18.0)]),  # 23 less 5, on the way down and on the way up
    ("G61\nG0 X83.01 Y0\nG0 Z5\nG1 Z-1 F100\n", [(3, 17.0), (4, 23.0)])])
def test_an_upright_rapid_says_how_much_too_low_it_is(tmp_path: Path, program: str,
                                                       found: list[tuple[int, Any]]) -> None:
    assert close(program, tmp_path) == found


MENDED_INSIDE = [
    ("G0 X70 Y0 Z30\nG1 X84 Z5 F100\nG0 X60\nG1 X61\n", [(2, 18.0), (3, 18.0)]),  # up out of it, in line 3
    ("G0 X70 Y0 Z5\nG1 X71 F100\nG0 X84\nG1 X71\n", [(3, 18.0), (4, 18.0)]),  # down into it, behind line 3
    ("G0 X70 Y0 Z30\nG1 X71 F100\nG0 X84 Z5\nG1 X71\n", [(3, 18.0), (4, 18.0)]),
    ("G0 X70 Y0 Z30\nG1 X71 F100\nG0 X84 Z5\nG0 Z4\nG1 X71\n", [(4, 19.0), (5, 19.0)]),  # the Z word is raised
    ("G0 X70 Y0 Z5\nG1 X71 F100\nG0 X130\nG1 X131\n", [])]


@pytest.mark.parametrize("lane", [True, False])
@pytest.mark.parametrize("program, found", MENDED_INSIDE)
def test_what_is_put_in_upright_inside_the_clearance_is_told_on_the_line_changed_for_it(
        tmp_path: Path, program: str, found: list[tuple[int, float]], lane: bool) -> None:
    """Once as a short program, and once among so many like it that they are mended in columns."""
    count = 40 if lane else 1
    height = program.count("\n") + 1
    text = (program + "G0 Z60\n") * count
    came = run(text, write_bench(tmp_path, BENCH))
    assert came.exit == 0 and came.output != text.encode()
    told = {(record["line"], record["by_mm"]) for record in came.records("finding") if record["line"] <= height * count
            and record["line"] % height}
    assert told == {(line + height * k, depth) for k in range(count) for line, depth in found}


def test_a_rise_behind_a_hole_inside_the_clearance_is_told_on_its_line(tmp_path: Path) -> None:
    came = run("G0 X70 Y0 Z22\nG98 G81 X84 Y0 Z20 R21 F100\nG80\nG0 X60\n", write_bench(tmp_path, BENCH))
    assert came.exit == 0
    assert [(record["line"], record["by_mm"]) for record in came.records("finding")][-1] == (4, 1.0)


def test_every_line_that_comes_close_has_a_record_of_its_own(tmp_path: Path) -> None:
    program = "G0 X82.01 Y0\nG1 Z-1 F100\nG1 X50\nG1 Z5 X82.01\nG1 X50\n"
    assert close(program, tmp_path) == [(2, 24.0), (3, 24.0), (4, pytest.approx(18.0, abs=0.01)), (5, 18.0)]


def test_what_is_called_once_more_is_told_once_more_only_where_it_is_deeper() -> None:
    totals = Totals()
    for depths, told in ((1.0, [1.0]), (0.5, []), (1.5, [1.5]), (1.5, [])):
        assert [found.by for found in totals.comes_close("cut", {(7, 0): depths}, ["clamp"])] == told


def test_after_very_many_the_rest_is_summed_up(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("gcode_guard.totals.MOST_CLOSE", 3)
    program = "G0 X82.01 Y0\nG1 Z-1 F100\nG1 X50\nG1 X82.01\nG1 X50\nG1 X82.01\n"
    came = run(program, write_bench(tmp_path, BENCH))
    text = 'inside the clearance of "clamp"'
    assert [(record["line"], record["text"]) for record in came.records("finding")] == [
        *((line, f"a cut comes {text} without contact") for line in (2, 3, 4)),
        (5, f"2 more cuts come {text} (lines 5, 6) without contact")]


def test_a_review_says_once_what_is_the_same_of_several_lines(tmp_path: Path) -> None:
    setup, program = write_bench(tmp_path, BENCH), tmp_path / "p.nc"
    program.write_text("G0 X82.01 Y0\nG1 Z-1 F100\n" + "G1 X50\nG1 X82.01\n" * 6)
    made = CliRunner().invoke(app, ["review", str(program), "--setup", str(setup)], catch_exceptions=False)
    assert made.exit_code == 0
    assert ('  lines 2, 3, 4, 5, 6, 7, 8, 9, 10, 11 and 3 more: a cut comes inside the clearance of "clamp" without'
            " contact\n") in made.stderr


SOFT = """[spindle]
sections = [{ diameter = 30.0, height = 60.0 }]
shoe = { diameter = 40.0, bottom = 20.0, soft = true }
"""


@pytest.mark.parametrize("program, found", [
    ("G0 X75 Y0\nG0 Z45\nG0 X75\nG0 Z45 Y0\nG0 Z60\n", []),
    ("G0 X75 Y0\nG0 Z15\nG0 X75\nG0 Z15 Y0\nG0 Z60\n", [(2, 4.0), (5, 4.0)]),
    ("G0 X35 Y0\nG1 Z15 F100\nG1 X35\nG2 X35 Y0 I19\nG0 Z60\n", [(4, pytest.approx(4.0, abs=0.01))])])
def test_bristles_brush_on_the_lines_that_lead_somewhere(tmp_path: Path, program: str,
                                                         found: list[tuple[int, Any]]) -> None:
    """The bristles hang 20 mm below the collet face, as low as the tip: at Z15 they are 4 mm below 18 + 1."""
    text = BENCH.replace("diameter = 6.0", "diameter = 6.0\nlength = 20.0") + SOFT
    assert close(program, tmp_path, text) == found
