"""Promises 1 to 6 of the outside, over generated benches and programs.

GEOS through shapely is the referee of clearance, a second reader (tests/referee, written from NISTIR 6556) of what
the programs do, POSIX patch of the diff.
"""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.generate.benches import GeneratedBench, benches
from tests.generate.extras import EXTRAS
from tests.generate.programs import GeneratedProgram, programs
from tests.guarding import Guarded, run, write_bench
from tests.referee.plain_judge import judge
from tests.referee.plain_options import options_of
from tests.referee.plain_reader import read

QUIET = settings(max_examples=120, deadline=None, suppress_health_check=list(HealthCheck))


def hold_promises(folder: Path, bench: GeneratedBench, program: GeneratedProgram) -> None:
    setup = write_bench(folder, bench.text, bench.files)
    came = run(program.data, setup, program.tool)
    if came.exit:
        assert came.output == b"" and came.diff == b""
        assert all(record["line"] >= 1 and record["text"] for record in came.records("finding"))
        assert not any("defect" in record["text"] for record in came.records("finding"))
        return
    options = options_of(bench.setup, program.tool)
    assert judge(read(program.data, options), read(came.output, options), bench.setup, bench.files) == []
    again = run(came.output, setup, program.tool)
    assert (again.exit, again.output, again.diff) == (0, came.output, b"")
    hold_bytes(program.data, came)
    assert apply_patch(folder, program.data, came.diff) == came.output


def hold_bytes(before: bytes, came: Guarded) -> None:
    """Promise 3: with the changed blocks taken out, what is left stands in the output in its order, byte for byte."""
    changed = {record["line"] for record in came.records("change")}
    rest = [line for number, line in enumerate(before.splitlines(keepends=True), 1) if number not in changed]
    out = iter(came.output.splitlines(keepends=True))
    assert all(line in out for line in rest)


def apply_patch(folder: Path, before: bytes, diff: bytes) -> bytes:
    """What POSIX patch makes of the program; an empty diff changes nothing."""
    place, changes = folder / "program.nc", folder / "program.diff"
    place.write_bytes(before)
    changes.write_bytes(diff)
    if diff:
        subprocess.run(["patch", "--binary", "-s", str(place), str(changes)], check=True)
    return place.read_bytes()


@QUIET
@given(st.data())
def test_plain_programs(tmp_path_factory: pytest.TempPathFactory, data: st.DataObject) -> None:
    bench = data.draw(benches())
    hold_promises(tmp_path_factory.mktemp("b"), bench, data.draw(programs(bench)))


@QUIET
@given(st.data())
def test_programs_with_subprograms_offsets_homing_and_parameters(
        tmp_path_factory: pytest.TempPathFactory, data: st.DataObject) -> None:
    bench = data.draw(benches())
    hold_promises(tmp_path_factory.mktemp("b"), bench, data.draw(programs(bench, extras=frozenset(EXTRAS))))


def test_most_generated_programs_are_mended(tmp_path: Path) -> None:
    """A guard that refused everything would keep every promise: of the generated programs most must pass, many mended."""
    verdicts = []

    @settings(max_examples=60, deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck))
    @given(st.data())
    def collect(data: st.DataObject) -> None:
        bench = data.draw(benches())
        program = data.draw(programs(bench))
        came = run(program.data, write_bench(tmp_path, bench.text, bench.files), program.tool)
        verdicts.append(came.records("summary")[0]["verdict"])

    collect()
    assert verdicts.count("refused") < 0.4 * len(verdicts)
    assert verdicts.count("repaired") > 0.2 * len(verdicts)
