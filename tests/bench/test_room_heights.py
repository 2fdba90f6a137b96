"""What `room` says of thousands of places, held against the filter with its proof: programs with subprograms, offsets,
homing and parameters, benches with shoes, motions of the machine's own, and traverses at feed that may be lifted.

    python -m pytest -s tests/bench/test_room_heights.py

A quarter of an hour. The figures that it prints stand in docs/room.md.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from tests.generate.benches import benches
from tests.generate.extras import EXTRAS
from tests.generate.programs import programs
from tests.room.places import without_obstacles
from tests.room.trials import Trial

BENCHES = 150
PLACES = 100  # on each


def test_thousands_of_places(tmp_path: Path) -> None:
    held: Counter[str] = Counter()

    @settings(max_examples=BENCHES, deadline=None, derandomize=True, database=None, phases=[Phase.generate],
              suppress_health_check=list(HealthCheck))
    @given(st.data(), st.integers(0, 2**32))
    def hold(data: st.DataObject, seed: int) -> None:
        bench = data.draw(benches(spindle=data.draw(st.sampled_from([True, True, None]))))
        program = data.draw(programs(bench, extras=frozenset(EXTRAS if data.draw(st.booleans()) else ())))
        setup = with_more(without_obstacles(bench), np.random.default_rng(seed))
        Trial(tmp_path, bench, program, held, setup, prove=True).hold(seed, PLACES)

    hold()
    print(dict(held))
    assert min(held["under hard"], held["over hard"], held["under easy"], held["over easy"]) > 1000, held


def with_more(setup: dict[str, Any], rng: np.random.Generator) -> dict[str, Any]:
    """The bench with a shoe, with traverses at feed that may be lifted, with a machine that moves of its own."""
    scale = 25.4 if setup["units"] == "inch" else 1.0

    def rule(millimetres: float) -> float:
        return round(millimetres / scale, 3)

    if rng.integers(3) == 0:
        setup["repair"] = {"air_feeds": True}
    if rng.integers(4) == 0:
        setup["machine"]["own_motion"] = {"M6": str(rng.choice(["none", "z-first", "any"]))}
    kind = rng.integers(6)
    if kind < 3:
        spindle = setup.setdefault("spindle", {"sections": [{"diameter": rule(30.0), "height": rule(60.0)}]})
        low = {"rides_at": rule(float(rng.choice([8.0, 25.0, 45.0])))} if kind == 0 else \
            {"bottom": rule(float(rng.choice([10.0, 24.0])))}
        spindle["shoe"] = {"diameter": rule(90.0), "soft": bool(kind == 2), **low}
    return setup
