"""From which lines a program may be started again, and from which not."""

from __future__ import annotations

import io
import random
from pathlib import Path

import pytest

from gcode_guard.guard import guard
from gcode_guard.setup import load_setup
from gcode_guard.setup.model import Setup
from gcode_guard.source import Source
from gcode_guard.trace import trace
from tests.page import pages

STATED = "G21 G90 G17\nS16000 M3\nG0 X300 Y250\nG0 Z5\nG1 Z-2 F600\nG1 X320\n"
FIRST = "G21 G90 G17\nS16000 M3\nG0 Z100\nG0 X200 Y250\nG0 Z5\nG1 Z-2 F600\nG1 X220\nG0 Z100\n"
# The clamp's top 25, its tolerance 1, above 3, corner 1: the tip is above everything from 30 on.
HIGH = 30.0
OFFSETS = "[offsets]\nG54 = [0.0, 0.0, 0.0]\nG55 = [10.0, 0.0, 0.0]\n"


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


def test_a_way_down_before_the_place_is_given_again_is_no_start(tmp_path: Path) -> None:
    """After a stop the tool stands anywhere: neither a plunge nor half a place may come first."""
    plunge = "G21 G90 G17\nS16000 M3\nG0 Z5\nG1 Z-2 F600\n"
    assert _lines(tmp_path / "plunge", FIRST + plunge) == []
    assert _lines(tmp_path / "x alone", FIRST + STATED.replace(" Y250", "")) == []
    assert _lines(tmp_path / "slanted", FIRST + STATED.replace("Y250\nG0 Z5", "Y250 Z5")) == []
    assert _lines(tmp_path / "no height", FIRST + STATED.replace("G0 Z5\nG1 Z-2 F600\nG1 X320", "G1 X320 F600")) == []
    one_by_one = STATED.replace("G0 X300 Y250", "G0 X300\nG0 Y250")
    assert _lines(tmp_path / "one by one", FIRST + one_by_one) == [(9, HIGH)]
    between = STATED.replace("G0 X300 Y250\nG0 Z5", "G0 X300\nG0 Z5\nG0 Y250")
    assert _lines(tmp_path / "between", FIRST + between) == []


@pytest.mark.parametrize("mode, again", [
    ("G99", "G98"), ("G55", "G54"), ("G64", "G64"), ("G90.1", "G91.1"), ("M8", "M8")])
def test_a_mode_that_the_program_changes_anywhere_is_said_again(tmp_path: Path, mode: str, again: str) -> None:
    """The stop may have come after the line, with another mode in force."""
    bench = pages.HEAD + OFFSETS + pages.CLAMP
    end = f"G0 Z100\n{mode}\nG0 X200 Y250\nG1 Z-1\nG0 Z100\n"

    def lines(program: str) -> list[int]:
        return [restart.line for restart in pages.model(tmp_path, program, bench).restarts]

    assert lines(FIRST + STATED) == [9]
    assert lines(FIRST + STATED + end) == []
    assert 9 in lines(FIRST + STATED.replace("G17\n", f"G17 {again}\n") + end)


def test_a_tool_length_offset_is_said_again_before_the_tool_comes_down(tmp_path: Path) -> None:
    bench = pages.HEAD.replace("start =", 'after_tool_change = "high"\nstart =') + pages.CLAMP
    first = "G21 G90 G17\nT1 M6\nS9000 M3\nG0 X200 Y250\nG43 H1 Z60\nG0 Z5\nG1 Z-2 F600\nG0 Z60\n"

    def lines(program: str) -> list[int]:
        return [restart.line for restart in pages.model(tmp_path, program, bench).restarts]

    assert lines(first + STATED) == []
    assert lines(first + STATED.replace("G0 Z5", "G43 H1 Z50\nG0 Z5")) == [9]
    assert lines(first + STATED.replace("G0 Z5", "G43 H1 Z5")) == [9]


def test_started_again_it_makes_the_same_cuts_and_meets_nothing(tmp_path: Path) -> None:
    """Each line that is listed is tried: the rest of the program, begun in wrong modes with the tool high anywhere."""
    draw, tried = random.Random(8), 0
    stands = pages.HEAD + OFFSETS + pages.CLAMP
    setup = load_setup(pages.bench(tmp_path, stands))
    anywhere = load_setup(pages.bench(tmp_path / "high", stands.replace("[0.0, 0.0, 100.0]", '"high"')))
    for _ in range(60):
        modes = draw.choice(([], [], ["G54", "G55"], ["G98", "G99"], ["G54"]))
        program = FIRST + "".join(_section(draw, modes) for _ in range(5)) + "G0 Z100\nM30\n"
        exit_, output, _ = _guarded(program, setup)
        with_places = pages.model(tmp_path / "page", output, stands)
        if exit_ or with_places.summary.changes:
            continue
        cuts = _cuts(output, setup)
        for restart in with_places.restarts:
            rest = "".join(output.splitlines(keepends=True)[restart.line - 1 :])
            wrong = "G20 G91 G18" + "".join(f" {code}" for code in ("G55", "G99") if code in output) + "\n"
            assert _guarded(wrong + rest, anywhere)[:2] == (0, wrong + rest)
            again = _cuts(wrong + rest, anywhere)
            assert again and again == cuts[-len(again) :]
            tried += 1
    assert tried > 15


def _section(draw: random.Random, modes: list[str]) -> str:
    """Some blocks of a job as a program may write it: said again or not, led over the table high or low."""
    x, y = draw.randrange(10, 390, 20), draw.choice((30, 250, 150))
    said = ["G21", "G90", "G17", *draw.sample(modes, min(1, len(modes)))]
    if draw.random() < 0.2:
        del said[draw.randrange(len(said))]
    way = draw.choice((f"G0 X{x} Y{y}\nG0 Z5\n", f"G0 X{x} Y{y}\nZ5\n", f"G0 X{x}\nG0 Y{y}\nG0 Z5\n", "G0 Z5\n",
                       f"G0 X{x}\nG0 Z5\n", f"G0 Z60\nG0 X{x} Y{y} Z5\n", f"G0 X{x} Y{y} Z5\n"))
    cut = draw.choice(("G1 Z-2 F600\nG1 X300\n", "G1 Z-2\nG1 Y240 F500\n", "G81 X200 Y250 Z-4 R2 F300\nX220\nG80\n",
                       "G1 Z-1 F600\n"))
    up = draw.choice(("G0 Z100\n", "G0 Z60\n", "G0 Z100\n", "G0 Z20\n"))
    return f"{' '.join(said)}\n{draw.choice(('S9000 M3', 'S9000 M3', 'M3', 'S8000'))}\n{way}{cut}{up}"


def _guarded(program: str, setup: Setup) -> tuple[int, str, int]:
    with Source.from_stream(io.BytesIO(program.encode()), "part.nc") as source:
        outcome = guard(source, setup)
        try:
            outcome.output.seek(0)
            return outcome.exit, outcome.output.read().decode(), outcome.summary.changes
        finally:
            outcome.close()


def _cuts(program: str, setup: Setup) -> list[str]:
    """The cuts that a program makes, as `trace` prints them, without their lines."""
    with Source.from_stream(io.BytesIO(program.encode()), "part.nc") as source:
        out = io.BytesIO()
        assert trace(source, setup, None, out) == []
    rows = [row.split(",", 1)[1] for row in out.getvalue().decode().splitlines()[1:]]
    return [row for row in rows if not row.startswith("rapid")]
