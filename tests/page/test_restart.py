"""From which lines a program may be started again, and from which not."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.page import pages

STATED = "G21 G90 G17\nS16000 M3\nG0 X300 Y250\nG0 Z5\nG1 Z-2 F600\nG1 X320\n"
FIRST = "G21 G90 G17\nS16000 M3\nG0 Z100\nG0 X200 Y250\nG0 Z5\nG1 Z-2 F600\nG1 X220\nG0 Z100\n"
# The clamp's top 25, its tolerance 1, above 3, corner 1: the tip is above everything from 30 on.
HIGH = 30.0


def _lines(folder: Path, program: str) -> list[tuple[int, float]]:
    return [(r.line, r.height) for r in pages.model(folder, program).restarts]


def test_a_line_that_says_everything_again_with_the_tool_high(tmp_path: Path) -> None:
    assert _lines(tmp_path, FIRST + STATED) == [(9, HIGH)]


@pytest.mark.parametrize("missing", [
    ("G21 G90 G17\n", "G90 G17\n"), ("G21 G90 G17\n", "G21 G17\n"), ("G21 G90 G17\n", "G21 G90\n"),
    ("S16000 M3\n", "S16000\n"), ("S16000 M3\n", "M3\n"), (" F600", ""), ("G0 X300", "X300")])
def test_one_thing_that_is_not_said_again_is_enough_to_leave_it_out(tmp_path: Path, missing: tuple[str, str]) -> None:
    assert _lines(tmp_path, FIRST + STATED.replace(*missing)) == []


def test_a_tool_that_is_not_high_there(tmp_path: Path) -> None:
    low = FIRST.replace("G1 X220\nG0 Z100\n", "G1 X220\nG0 Z20\n")
    assert _lines(tmp_path, low + STATED) == []


def test_the_beginning_is_not_listed(tmp_path: Path) -> None:
    assert _lines(tmp_path, FIRST) == []


def test_parameters_are_not_said_again_by_a_line(tmp_path: Path) -> None:
    assert _lines(tmp_path, "#1=5\n" + FIRST + STATED) == []


def test_the_line_is_told_in_both_programs(tmp_path: Path) -> None:
    # The first part crosses the clamp at Z 5, and gets lines put in; the second one can be started again.
    crossing = "G21 G90 G17\nS16000 M3\nG0 X20 Y150\nG0 Z5\nG1 Z-2 F600\nG0 Z5\nG0 X200 Y150\nG1 Z-2\nG0 Z100\n"
    model = pages.model(tmp_path, crossing + STATED)
    (restart,) = model.restarts
    assert restart.original == 10
    assert restart.line == 10 + (model.mended_lines or 0) - len((crossing + STATED).splitlines())
    assert (model.mended_lines or 0) > len((crossing + STATED).splitlines())
