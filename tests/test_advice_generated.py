"""Advice over generated benches: an obstacle is put where a generated program cuts; moved or lowered as far as the
message says nothing is refused for it any more, by 0.1 mm less something still is."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, assume, given, settings
from hypothesis import strategies as st

from tests.generate.benches import GeneratedBench, benches
from tests.generate.machines import machines, middle, moved
from tests.generate.programs import GeneratedProgram, programs
from tests.guarding import Guarded, run, write_bench
from tests.referee.plain_options import options_of
from tests.referee.plain_reader import read

QUIET = settings(max_examples=6, deadline=None, suppress_health_check=list(HealthCheck),
                 phases=[Phase.explicit, Phase.reuse, Phase.generate])  # a failure tells its bench: no shrinking
NUMBER = r"([\d.]+) (mm|in)"


def refused_for(came: Guarded, name: str) -> list[str]:
    return [record["text"] for record in came.records("finding")
            if record["obstacle"] == name and record["kind"] not in ("close", "in-stock")]


def hold_advice(folder: Path, bench: GeneratedBench, program: GeneratedProgram, number: int) -> bool:
    """Whether there was advice; raises where it is not enough, or more than enough."""
    name = bench.setup["obstacles"][number]["name"]

    def guard(by: tuple[float, float, float]) -> Guarded:
        changed = moved(bench, number, np.array(by))
        return run(program.data, write_bench(folder, changed.text, changed.files), program.tool)

    came = guard((0.0, 0.0, 0.0))
    told = [text for text in refused_for(came, name) if "clears every move" in text]
    if not told:
        return False
    assert len({re.sub(r"^.*?; ", "", text) for text in told}) == 1, told
    told_of = f"{told}\n{bench.text}\n{program.data.decode()}\n--tool {program.tool}"
    tries = []
    push = re.search(rf"move \"{name}\" by {NUMBER} to ([+-])([XY])", told[0])
    if push:
        far = float(push[1]) * (25.4 if push[2] == "in" else 1.0)
        way = np.array([push[4] == "X", push[4] == "Y", 0.0]) * (1.0 if push[3] == "+" else -1.0)
        tries.append((far, way))
    lower = re.search(rf"lower (?:its top|the top of \"{name}\") by {NUMBER}", told[0])
    if lower and "part" not in bench.setup["obstacles"][number]:  # a part's heights stand in its library
        tries.append((float(lower[1]) * (25.4 if lower[2] == "in" else 1.0), np.array([0.0, 0.0, -1.0])))
    assert push or lower, told_of
    for far, way in tries:
        assert 0 < far <= 100.02, told_of
        still = refused_for(guard(tuple(far * way)), name)
        assert not still, f"{far} {way} {still}\n{told_of}"
        if far > 0.1:
            less = guard(tuple((far - 0.1) * way))
            others = {record["obstacle"] for record in less.records("finding")} - {name, None}
            assert refused_for(less, name) or (less.exit and others), (far, way, told_of)  # or others hide it
    return True


@pytest.mark.parametrize("machine", [None, "ceiling", "post", "riding shoe", "hard shoe", "undercut", "lengths"])
def test_as_far_as_it_says_and_no_less(tmp_path_factory: pytest.TempPathFactory, machine: str | None) -> None:
    advised = []

    @QUIET
    @given(st.data())
    def on(data: st.DataObject) -> None:
        bench = data.draw(benches(start="given"))
        if machine is not None:
            bench = data.draw(machines(bench, frozenset({machine})))
        program = data.draw(programs(bench))
        cuts = [move for move in read(program.data, options_of(bench.setup, program.tool)).moves
                if move.kind != "rapid"]
        assume(cuts)
        cut = cuts[data.draw(st.integers(0, len(cuts) - 1))]
        aside = data.draw(st.sampled_from([0.0, 4.0, -9.0]))
        number = data.draw(st.integers(0, len(bench.setup["obstacles"]) - 1))
        here = middle(bench, number)
        to = [float(cut.end[axis]) - here[axis] + aside for axis in (0, 1)]  # type: ignore[arg-type]
        assume(math.hypot(*to) < 1e5)
        in_the_way = moved(bench, number, np.array([*to, 0.0]))
        advised.append(hold_advice(tmp_path_factory.mktemp("a"), in_the_way, program, number))

    on()
    assert sum(advised) >= 0.4 * len(advised)
