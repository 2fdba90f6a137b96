"""A top 0.01 mm under the hard height passes `filter`, one 0.05 mm over it is refused; under the easy height nothing
changes, over it a rapid is lifted. Boxes, cylinders, bars, outlines and parts, many on one bench at once: what is
refused or changed names the obstacles, and must name each. tests/bench/test_room_heights.py does it for thousands."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import numpy as np
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from tests.generate.benches import benches
from tests.generate.programs import programs
from tests.guarding import run
from tests.room.places import part_heights, without_obstacles, write
from tests.room.trials import OVER, TALLEST, UNDER, Trial, cannot_be_written


def test_tops_against_what_the_filter_does(tmp_path: Path) -> None:
    held: Counter[str] = Counter()

    @settings(max_examples=10, deadline=None, derandomize=True, database=None, phases=[Phase.generate],
              suppress_health_check=list(HealthCheck))
    @given(st.data(), st.integers(0, 2**32))
    def hold(data: st.DataObject, seed: int) -> None:
        bench = data.draw(benches(spindle=data.draw(st.sampled_from([True, True, None]))))
        Trial(tmp_path, bench, data.draw(programs(bench)), held).hold(seed, 130)

    hold()
    assert min(held["under hard"], held["over hard"], held["under easy"], held["over easy"]) > 150, held


def test_parts_as_wholes(tmp_path: Path) -> None:
    """A part whose solids are all raised or lowered together, up to what is left, passes; over it, it is refused."""
    held: Counter[str] = Counter()

    @settings(max_examples=36, deadline=None, derandomize=True, database=None, phases=[Phase.generate],
              suppress_health_check=list(HealthCheck))
    @given(st.data(), st.integers(0, 2**32))
    def hold(data: st.DataObject, seed: int) -> None:
        bench = data.draw(benches(units="mm", spindle=True))
        program = data.draw(programs(bench))
        setup = without_obstacles(bench)
        setup["machine"].pop("reach", None)
        bare = write(tmp_path, setup, bench.files)
        if run(program.data, bare, program.tool, prove=False).exit:
            return
        rng = np.random.default_rng(seed)
        for _ in range(4):
            at = tuple((np.array(bench.places[rng.integers(len(bench.places))]) + rng.normal(0, 25, 2)).round(2))
            angle = float(rng.choice([0.0, 90.0, 33.0]))
            hard, _ = part_heights(bare, program.data, program.tool, "step clamp", at, angle)
            table = -setup["stock"]["thickness"]
            lowest = table + 0.1 + 15.0  # the lower solid of the part is 15 mm lower than the other
            if not lowest < hard.top < TALLEST:
                continue
            for name, top, status in (("under", hard.top - UNDER, 0), ("over", hard.top + OVER, 3)):
                raised = top - (table + 42.0)
                files = {"clamps.toml": bench.files["clamps.toml"].replace("42.0", f"{42.0 + raised:.6f}")
                         .replace("27.0", f"{27.0 + raised:.6f}")}
                entry = {"name": "clamp", "part": "step clamp", "at": [float(v) for v in at], "angle": angle}
                came = run(program.data, write(tmp_path, setup | {"obstacles": [entry]}, files), program.tool,
                           prove=False)
                assert came.exit == status or (name == "under" and cannot_be_written(came)), (name, came.log)
                held[name] += came.exit == status

    hold()
    assert held["under"] > 15 and held["over"] > 15, held
