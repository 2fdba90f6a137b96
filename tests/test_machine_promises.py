"""The promises over generated benches with low ceilings, posts that no lift takes a rapid over, shoes that hang or
ride, undercut tools, tools of several lengths, traverses at feed and motions of the machine's own, under straight and
unknown paths; judged by the referees of tests/referee.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from tests.generate.benches import GeneratedBench, benches
from tests.generate.machines import MACHINES, in_the_way, machine_styles, machines, with_setup
from tests.generate.programs import GeneratedProgram, programs
from tests.guarding import Guarded, run, write_bench
from tests.referee.plain_bench import Section, bench_of
from tests.referee.plain_machine import judge_machine, scale_of
from tests.referee.plain_options import options_of
from tests.referee.plain_reader import Reading, read
from tests.referee.plain_rule import contact, cut_sweep, rapid_sweep
from tests.test_promises import apply_patch, hold_bytes

QUIET = settings(max_examples=8, deadline=None, suppress_health_check=list(HealthCheck),
                 phases=[Phase.explicit, Phase.reuse, Phase.generate])  # a failure tells its bench: no shrinking


def hold(folder: Path, bench: GeneratedBench, program: GeneratedProgram) -> Guarded:
    """Holds all promises of one program on one machine; gives what came of it."""
    setup = write_bench(folder, bench.text, bench.files)
    came = run(program.data, setup, program.tool)
    told = f"{bench.text}\n{program.data.decode()}\n--tool {program.tool}"
    assert came.exit in (0, 3), f"{came.records('finding')}\n{told}"
    assert not any("defect" in record["text"] for record in came.records("finding")), f"{came.log}\n{told}"
    options = options_of(bench.setup, program.tool)
    before = read(program.data, options)
    hold_bristles(before, came, bench)
    if came.exit:
        assert came.output == b"" and came.diff == b""
        return came
    after = read(came.output, options)
    wrong = judge_machine(before, after, bench.setup, bench.files)
    assert wrong == [], f"{wrong}\n{told}\n{came.output.decode()}"
    again = run(came.output, setup, program.tool)
    assert (again.exit, again.output, again.diff) == (0, came.output, b""), f"{told}\n{came.output.decode()}"
    hold_bytes(program.data, came)
    assert apply_patch(folder, program.data, came.diff) == came.output
    return came


def hold_bristles(before: Reading, came: Guarded, bench: GeneratedBench) -> None:
    """A soft shoe that the program brings down on an obstacle is reported, each obstacle by name, and no other."""
    shoe = bench.setup.get("spindle", {}).get("shoe", {})
    told = {record["obstacle"] for record in came.records("finding") if "bristles" in record["text"]}
    if not shoe.get("soft"):
        assert not told
        return
    if any(None in (*move.start, *move.end) for move in before.moves):
        return
    plain, scale, expected = bench_of(bench.setup, bench.files), scale_of(bench.setup), set()
    lengths = {tool["number"]: tool.get("length") for tool in bench.setup["tools"]}
    for move in before.moves:
        sweep = rapid_sweep(move, plain.straight) if move.kind == "rapid" else cut_sweep(move)
        for number in lengths if move.tool is None else [move.tool]:
            for obstacle in plain.obstacles:
                for section in bristles(shoe, lengths[number], scale):
                    if contact(sweep, [section], obstacle):
                        expected.add(obstacle.name)
    assert expected <= told


def bristles(shoe: dict[str, Any], length: float | None, scale: float) -> list[Section]:
    if "rides_at" in shoe:
        return [Section(shoe["diameter"] * scale / 2, 0.0, shoe["rides_at"] * scale)]
    return [] if length is None else [Section(shoe["diameter"] * scale / 2, (length - shoe["bottom"]) * scale)]


@pytest.mark.parametrize("path", ["straight", "unknown"])
@pytest.mark.parametrize("machine", MACHINES)
def test_promises_on_every_machine(tmp_path_factory: pytest.TempPathFactory, machine: str, path: str) -> None:
    came: Counter[str] = Counter()

    @QUIET
    @given(st.data())
    def on(data: st.DataObject) -> None:
        bench = data.draw(machines(data.draw(benches(rapid_path=path, start="given")), frozenset({machine})))
        program = data.draw(programs(bench, data.draw(machine_styles())))
        outcome = hold(tmp_path_factory.mktemp("m"), bench, program)
        came[outcome.records("summary")[0]["verdict"]] += 1

    on()
    if machine != "riding shoe":  # which no lift takes over anything
        assert came["refused"] < sum(came.values())


STEADY = settings(QUIET, max_examples=3, derandomize=True)  # the same benches each time, since repairs are counted
TOGETHER = [frozenset({name}) for name in MACHINES] + [
    frozenset({"ceiling", "post"}), frozenset({"ceiling", "post", "hard shoe"}), frozenset({"ceiling", "undercut"}),
    frozenset({"ceiling", "own motion", "lengths"})]


@pytest.mark.parametrize("path", ["straight", "unknown"])
def test_promises_with_something_in_the_way(tmp_path_factory: pytest.TempPathFactory, path: str) -> None:
    """An obstacle on a traverse of each program, whatever the machine: every kind of repair is met, and refusals."""
    came: Counter[str] = Counter()

    def take(outcome: Guarded) -> None:
        came[outcome.records("summary")[0]["verdict"]] += 1
        if outcome.exit == 0:
            came.update({change["kind"] for change in outcome.records("change")})
            came["traverse at feed"] += any("air_feeds" in record["text"] for record in outcome.records("assumption"))

    def on_machines_with(chosen: frozenset[str]) -> None:
        @STEADY
        @given(st.data())
        def on(data: st.DataObject) -> None:
            bench = data.draw(machines(data.draw(benches(rapid_path=path, start="given")), chosen))
            program = data.draw(programs(bench, data.draw(machine_styles())))
            blocked = data.draw(in_the_way(bench, program.data, program.tool, "rapid"))
            take(hold(tmp_path_factory.mktemp("m"), blocked, program))

        on()

    for chosen in TOGETHER:
        on_machines_with(chosen)

    @settings(STEADY, max_examples=8)
    @given(st.data())
    def at_feed(data: st.DataObject) -> None:
        bench = data.draw(benches(rapid_path=path, start="given"))
        bench = with_setup(bench, {**bench.setup, "repair": {"air_feeds": True}})
        program = data.draw(programs(bench, data.draw(machine_styles()).but(traverse="feed")))
        blocked = data.draw(in_the_way(bench, program.data, program.tool, "cut"))
        take(hold(tmp_path_factory.mktemp("m"), blocked, program))

    at_feed()
    assert came["lift"] >= 3 and came["split"] >= 3 and came["detour"] >= 1, came
    assert came["traverse at feed"] >= 1 and came["refused"] >= 3, came
