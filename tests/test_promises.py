"""Promises 1 to 6 of the outside, over generated benches and programs.

GEOS through shapely is the referee of clearance, FCL through python-fcl a second one for straight ways; a second reader
(tests/referee, written from NISTIR 6556) is that of what the programs do, POSIX patch that of the diff.
"""

from __future__ import annotations

import dataclasses
import subprocess
from pathlib import Path

import pytest
import tomlkit
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from tests.generate.benches import GeneratedBench, benches
from tests.generate.extras import EXTRAS
from tests.generate.programs import GeneratedProgram, programs
from tests.guarding import Guarded, run, write_bench
from tests.referee.plain_bench import bench_of
from tests.referee.plain_judge import judge
from tests.referee.plain_options import options_of
from tests.referee.plain_reader import read
from tests.referee.plain_solids import judge_by_solids

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
    before, after = read(program.data, options), read(came.output, options)
    assert judge(before, after, bench.setup, bench.files) == []
    assert judge_by_solids(before, after, bench_of(bench.setup, bench.files)) == []
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
    """A guard that refused everything would keep every promise: most of the programs must pass, many of them mended."""
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


def test_the_second_referee_sees_what_the_first_sees() -> None:
    """Neither may be blind: over straight rapids both find fault with the same programs, as they were written."""
    verdicts = []

    @settings(max_examples=60, deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck))
    @given(st.data())
    def collect(data: st.DataObject) -> None:
        bench = data.draw(benches(rapid_path="straight", start="given"))
        program = data.draw(programs(bench))
        reading = read(program.data, options_of(bench.setup, program.tool))
        known = [move for move in reading.moves if None not in (*move.start, *move.end)]
        assume(len(known) == len(reading.moves))
        verdicts.append((any(" a rapid " in said for said in judge(reading, reading, bench.setup, bench.files)),
                         bool(judge_by_solids(reading, reading, bench_of(bench.setup, bench.files)))))

    collect()
    assert all(first == second for first, second in verdicts)
    assert sum(second for _, second in verdicts) > 0.1 * len(verdicts)


def with_low_ceiling(bench: GeneratedBench, ceiling: float, air_feeds: bool, detour: str) -> GeneratedBench:
    """The bench with so little travel in Z that lifts may not be enough, and the repairs that [repair] allows."""
    scale = 25.4 if bench.setup["units"] == "inch" else 1.0
    reach = {"x": [-200.0 / scale, 900.0 / scale], "y": [-200.0 / scale, 600.0 / scale],
             "z": [-100.0 / scale, ceiling / scale]}
    setup = {**bench.setup, "repair": {"air_feeds": air_feeds, "detour": detour},
             "machine": {**bench.setup["machine"], "reach": reach, "rapid_rate": [8000.0 / scale] * 3,
                         "acceleration": [600.0 / scale] * 3}}
    return dataclasses.replace(bench, setup=setup, text=tomlkit.dumps(setup))


@QUIET
@given(st.data())
def test_low_ceilings_ways_round_and_traverses_at_feed(
        tmp_path_factory: pytest.TempPathFactory, data: st.DataObject) -> None:
    bench = with_low_ceiling(data.draw(benches()), data.draw(st.sampled_from([61.0, 66.0, 81.0])),
                             data.draw(st.booleans()), data.draw(st.sampled_from(["when-needed", "when-faster"])))
    hold_promises(tmp_path_factory.mktemp("b"), bench, data.draw(programs(bench)))
