"""Damaged programs: nothing passes whose moves are not what a control that follows the report makes of it.

The second opinion is the plain reader of tests/referee, written from the report; GEOS judges clearance.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from gcode_guard.setup import load_setup
from gcode_guard.source import Source
from gcode_guard.trace import trace
from tests.generate.benches import GeneratedBench, benches
from tests.generate.extras import EXTRAS
from tests.generate.programs import GeneratedProgram, programs
from tests.guarding import run, write_bench
from tests.referee.plain_judge import judge
from tests.referee.plain_options import options_of
from tests.referee.plain_reader import NotUnderstood, read
from tests.referee.plain_trace import first_difference, rows_of_csv, rows_of_reading

Draw = Callable[[st.SearchStrategy[Any]], Any]
QUIET = settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
UNKNOWN = ("G77", "G123", "G54.7", "G84.2", "G1.5", "G36", "M12", "M77", "M200", "M3.5", "G999", "G00.7")

# What the plain reader refuses and the program follows, each with the reason why nothing is lost by it.
TOLERATED = {
    # A dwell moves nothing, whichever code a control makes of the word.
    "P without a code that reads it": "a P beside a cycle",
    # Behind M2 or M30 a control reads nothing; before them the program refuses such a line itself.
    "% within a block": "text after the end",
}

COMMENTS = re.compile(rb"\([^)\n]*\)|;[^\n]*")
CODE = re.compile(rb"[GM]\d+(?:\.\d+)?", re.IGNORECASE)
NUMBER = re.compile(rb"(?<=[A-Z])[-+]?(?:\d+\.?\d*|\.\d+)", re.IGNORECASE)


@st.composite
def jobs(draw: Draw) -> tuple[GeneratedBench, GeneratedProgram]:
    bench = draw(benches())
    return bench, draw(programs(bench, extras=frozenset(EXTRAS), most_features=3))


def places(data: bytes, pattern: re.Pattern[bytes]) -> list[tuple[int, int]]:
    """Where a pattern stands outside comments."""
    bare = COMMENTS.sub(lambda found: b" " * len(found[0]), data)
    return [found.span() for found in pattern.finditer(bare)]


def spoil(text: str, how: int, at: int) -> str:
    """A number as a slip of the finger or of a transmission leaves it."""
    at %= len(text)
    return (
        text[:at] + text[at + 1 :],                       # a character is lost
        text[:at] + text[at] + text[at:],                 # or comes twice
        text[:at] + "." + text[at:],                      # a point more
        text.replace(".", "", 1),                         # a point less
        text.replace(".", ",", 1),
        text.replace("0", "O", 1),
        "-" + text,
        text.lstrip("-"),
        text[:at] + "9" + text[at + 1 :],
        text[:at] + " " + text[at:],
        text + "e1",
        "",
    )[how % 12]


def nothing_passes_on_a_guess(folder: Path, bench: GeneratedBench, data: bytes, tool: int | None) -> int:
    """Guards a damaged program. Where it passes, the plain reader finds the same moves, and the output is clear."""
    setup = write_bench(folder, bench.text, bench.files)
    came = run(data, setup, tool)
    if came.exit:
        assert came.output == b"" and came.diff == b""
        assert all(record["line"] >= 1 and record["text"] for record in came.records("finding"))
        defects = [record for record in came.records("finding") if "defect" in record["text"]]
        assert defects == [], data.decode("latin-1")
        return came.exit
    options = options_of(bench.setup, tool)
    try:
        reading = read(data, options)
    except NotUnderstood as why:
        assert any(text in why.why for text in TOLERATED), f"passed, but {why}\n{data.decode('latin-1')}"
        return 0
    rows = io.BytesIO()
    with Source.from_stream(io.BytesIO(data), "program") as source:
        assert trace(source, load_setup(setup), tool, rows) == []
    difference = first_difference(rows_of_csv(rows.getvalue().decode()), rows_of_reading(reading))
    assert difference is None, f"{difference}\n{data.decode('latin-1')}"
    assert judge(reading, read(came.output, options), bench.setup, bench.files) == []
    return 0


@QUIET
@given(job=jobs(), data=st.data())
def test_one_code_replaced_by_an_unknown_one(tmp_path_factory: pytest.TempPathFactory, job: Any, data: Any) -> None:
    bench, program = job
    # Without its M99 a body is none, and what then is wrong is the line that calls it.
    found = [span for span in places(program.data, CODE) if b"99" not in program.data[slice(*span)]]
    assume(found)
    begin, end = data.draw(st.sampled_from(found))
    code = data.draw(st.sampled_from(UNKNOWN))
    damaged = program.data[:begin] + code.encode() + program.data[end:]
    came = run(damaged, write_bench(tmp_path_factory.mktemp("d"), bench.text, bench.files), program.tool)
    assert (came.exit, came.output, came.diff) == (4, b"", b"")
    line = damaged[:begin].count(b"\n") + 1
    shown = code.replace("G00.", "G0.")
    assert any(record["line"] == line and shown in record["text"] for record in came.records("finding")), damaged


@QUIET
@given(job=jobs(), data=st.data())
def test_one_number_damaged(tmp_path_factory: pytest.TempPathFactory, job: Any, data: Any) -> None:
    bench, program = job
    found = places(program.data, NUMBER)
    assume(found)
    begin, end = data.draw(st.sampled_from(found))
    spoiled = spoil(program.data[begin:end].decode(), data.draw(st.integers(0, 11)), data.draw(st.integers(0, 12)))
    damaged = program.data[:begin] + spoiled.encode() + program.data[end:]
    assume(damaged != program.data)
    nothing_passes_on_a_guess(tmp_path_factory.mktemp("d"), bench, damaged, program.tool)


@QUIET
@given(job=jobs(), data=st.data())
def test_one_line_cut_short(tmp_path_factory: pytest.TempPathFactory, job: Any, data: Any) -> None:
    bench, program = job
    lines = program.data.splitlines(keepends=True)
    number = data.draw(st.integers(0, len(lines) - 1))
    text = lines[number].rstrip(b"\r\n")
    kept = data.draw(st.integers(0, max(0, len(text) - 1)))
    lines[number] = text[:kept] + lines[number][len(text) :]
    nothing_passes_on_a_guess(tmp_path_factory.mktemp("d"), bench, b"".join(lines), program.tool)


@QUIET
@given(job=jobs(), data=st.data())
def test_two_lines_run_together(tmp_path_factory: pytest.TempPathFactory, job: Any, data: Any) -> None:
    bench, program = job
    lines = program.data.splitlines(keepends=True)
    assume(len(lines) > 1)
    number = data.draw(st.integers(0, len(lines) - 2))
    lines[number] = lines[number].rstrip(b"\r\n") + data.draw(st.sampled_from([b"", b" "]))
    nothing_passes_on_a_guess(tmp_path_factory.mktemp("d"), bench, b"".join(lines), program.tool)


@QUIET
@given(job=jobs(), data=st.data())
def test_one_line_lost_or_twice(tmp_path_factory: pytest.TempPathFactory, job: Any, data: Any) -> None:
    bench, program = job
    lines = program.data.splitlines(keepends=True)
    number = data.draw(st.integers(0, len(lines) - 1))
    lines[number : number + 1] = data.draw(st.sampled_from([[], [lines[number]] * 2]))
    nothing_passes_on_a_guess(tmp_path_factory.mktemp("d"), bench, b"".join(lines), program.tool)


def test_damage_is_neither_always_refused_nor_never(tmp_path: Path) -> None:
    """A guard that refused everything would pass the tests above."""
    statuses = []

    @settings(max_examples=40, deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck))
    @given(job=jobs(), data=st.data())
    def collect(job: Any, data: Any) -> None:
        bench, program = job
        lines = program.data.splitlines(keepends=True)
        number = data.draw(st.integers(0, len(lines) - 1))
        damaged = b"".join(lines[:number] + lines[number + 1 :])
        statuses.append(nothing_passes_on_a_guess(tmp_path, bench, damaged, program.tool))

    collect()
    assert statuses.count(0) > 5 and statuses.count(4) > 2
