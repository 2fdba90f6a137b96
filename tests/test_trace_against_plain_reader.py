"""`trace` against the plain reader of tests/referee, on generated programs over the accepted language."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from typer.testing import CliRunner

from gcode_guard.cli import app
from tests.generate.benches import GeneratedBench, benches
from tests.generate.extras import EXTRAS
from tests.generate.loose import loose_programs
from tests.generate.programs import GeneratedProgram, programs
from tests.referee.plain_options import Options, options_of
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


LOOSE_SETUP = """format = 1
units = "mm"
[program]
starts_in = ["G21", "G90", "G17"]
block_delete = "BLOCK_DELETE"
harmless = ["M101"]
[machine]
start = [0.0, 0.0, 40.0]
home = [-10.0, -10.0, 75.0]
home2 = [-10.0, 400.0, 75.0]
home_axes = "HOME_AXES"
zero = [-100.0, -80.0, 150.0]
after_tool_change = "AFTER"
reference_tool = 1
[offsets]
G54 = [100.0, 80.0, -150.0]
G55 = [130.0, 80.0, -150.0]
"G59.1" = [100.0, 92.7, -148.0]
[[tools]]
number = 1
diameter = 6.0
length = 30.0
[[tools]]
number = 2
diameter = 6.0
length = 42.5
"""
MACHINES = [("run", "named", "high"), ("skip", "all", "same"), ("run", "unknown", "unknown")]


def loose_setup(machine: int) -> str:
    text = LOOSE_SETUP
    for name, value in zip(("BLOCK_DELETE", "HOME_AXES", "AFTER"), MACHINES[machine], strict=True):
        text = text.replace(name, value)
    return text


def understood(program: str, options: Options | None) -> bool:
    try:
        read(program.encode(), options)
    except NotUnderstood:
        return False
    return True


@st.composite
def loose_jobs(draw: Any) -> tuple[str | None, int | None, str]:
    """A setup or none, a tool or none, and a program of which most blocks are understood."""
    machine = draw(st.sampled_from([0, 1, 2, None]))
    text = None if machine is None else loose_setup(machine)
    tool = None if text is None else draw(st.sampled_from([None, 1, 2]))
    options = None if text is None else options_of(tomllib.loads(text), tool)
    picky = draw(st.integers(0, 5)) > 0
    return text, tool, draw(loose_programs((lambda program: understood(program, options)) if picky else None))


@settings(max_examples=100, deadline=None, suppress_health_check=QUIET)
@given(job=loose_jobs())
def test_nothing_passes_on_a_guess(job: tuple[str | None, int | None, str], folder: Path) -> None:
    """Whatever `trace` accepts, the plain reader accepts, with the same moves."""
    text, tool, program = job
    path = None
    options = None
    if text is not None:
        path = folder / "loose.toml"
        path.write_text(text)
        options = options_of(tomllib.loads(text), tool)
    status, out, err = trace(program.encode(), path, tool, folder)
    assert status in (0, 4)
    if status == 4:
        assert "line " in err
        return
    try:
        reading = read(program.encode(), options)
    except NotUnderstood as why:
        raise AssertionError(f"accepted, but {why}\n{program}") from None
    difference = first_difference(rows_of_csv(out), rows_of_reading(reading))
    assert difference is None, f"{difference}\n{program}"
