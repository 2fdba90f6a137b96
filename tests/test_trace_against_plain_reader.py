"""`trace` against the plain reader of tests/referee, on generated programs over the accepted language."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from gcode_guard.cli import app
from tests.generate.benches import GeneratedBench, benches
from tests.generate.extras import EXTRAS
from tests.generate.programs import GeneratedProgram, programs
from tests.referee.plain_options import options_of
from tests.referee.plain_reader import NotUnderstood, read
from tests.referee.plain_trace import first_difference, rows_of_csv, rows_of_reading

QUIET = [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much]


def trace(program: bytes, setup: Path | None, tool: int | None, folder: Path) -> tuple[int, str, str]:
    path = folder / "program.nc"
    path.write_bytes(program)
    call = ["trace", str(path)]
    if setup is not None:
        call += ["--setup", str(setup)]
    if tool is not None:
        call += ["--tool", str(tool)]
    result = CliRunner().invoke(app, call)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout, result.stderr


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("trace")


@st.composite
def jobs(draw: Any, extras: frozenset[str]) -> tuple[GeneratedBench, GeneratedProgram]:
    bench = draw(benches())
    return bench, draw(programs(bench, extras=extras))


def compare(bench: GeneratedBench, program: GeneratedProgram, folder: Path) -> None:
    reading = read(program.data, options_of(bench.setup, program.tool))
    status, out, err = trace(program.data, bench.write(folder), program.tool, folder)
    text = program.data.decode()
    assert status == 0, f"{err}\n{text}"
    difference = first_difference(rows_of_csv(out), rows_of_reading(reading))
    assert difference is None, f"{difference}\n{text}"


@settings(max_examples=120, deadline=None, suppress_health_check=QUIET)
@given(job=jobs(frozenset()))
def test_same_moves_in_every_hand(job: tuple[GeneratedBench, GeneratedProgram], folder: Path) -> None:
    compare(*job, folder)


@settings(max_examples=200, deadline=None, suppress_health_check=QUIET)
@given(job=jobs(frozenset(EXTRAS)))
def test_same_moves_over_the_whole_language(job: tuple[GeneratedBench, GeneratedProgram], folder: Path) -> None:
    compare(*job, folder)


WORDS = """G0 G1 G2 G3 G4 G17 G18 G19 G20 G21 G28 G40 G41 G43 G49 G53 G54 G55 G80 G81 G83 G90 G91 G92 G98 G99 G61 G64
 G10 G38.2 M0 M3 M5 M6 M8 M30 T1 T2 H1 D1 S9000 F200 P1 L2 Q2 R5 R-5 X10 X0 X-3.5 Y10 Y4 Z5 Z-2 Z40 I5 J5 J-5 K2 N7
 #1=4 X#1 Z[#1*2] X[1+2*3]""".split()


@settings(max_examples=400, deadline=None, suppress_health_check=QUIET)
@given(
    lines=st.lists(st.lists(st.sampled_from(WORDS), min_size=1, max_size=4).map(" ".join), min_size=1, max_size=8),
    start=st.booleans(),
)
def test_loose_words_never_pass_with_other_moves(lines: list[str], start: bool, folder: Path) -> None:
    """Whatever `trace` accepts, the plain reader accepts with the same moves: nothing passes on a guess."""
    head = ["G90 G21 G17 F100", "G0 X0 Y0", "Z30"] if start else []
    program = "\n".join(head + lines).encode()
    status, out, _ = trace(program, None, None, folder)
    assert status in (0, 4)
    if status == 0:
        try:
            reading = read(program)
        except NotUnderstood as why:
            raise AssertionError(f"accepted, but {why}\n{program.decode()}") from None
        difference = first_difference(rows_of_csv(out), rows_of_reading(reading))
        assert difference is None, f"{difference}\n{program.decode()}"
