"""Times of rapids, against numerical integration of the profile, and what a repair adds, by hand."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from gcode_guard.space.times import rapid_time
from tests.guarding import run, write_bench
from tests.repair.test_tables import AWAY, BENCH, KNOWN

RATES = "rapid_rate = [6000.0, 6000.0, 1800.0]\nacceleration = [500.0, 500.0, 200.0]\n"


def integrated(way: float, speed: float, acceleration: float, step: float = 1e-5) -> float:
    """Steps through the profile: speeds up while it could still stop in time, then slows down."""
    place = velocity = 0.0
    time = 0.0
    while place < way - 1e-9 and time < 100:
        if velocity**2 / (2 * acceleration) >= way - place:
            velocity = max(velocity - acceleration * step, acceleration * step / 2)
        else:
            velocity = min(velocity + acceleration * step, speed)
        place += velocity * step
        time += step
    return time


@pytest.mark.parametrize("seed", range(12))
def test_profile_against_integration(seed: int) -> None:
    random = np.random.default_rng(seed)
    way, speed, acceleration = random.uniform(0.5, 120), random.uniform(20, 150), random.uniform(100, 900)
    (took,) = rapid_time([[way, 0, 0]], [speed * 60] * 3, [acceleration] * 3)
    assert took == pytest.approx(integrated(way, speed, acceleration), rel=5e-3, abs=6e-3)


def test_the_slowest_axis_counts_and_no_way_takes_no_time() -> None:
    (both, slow, none) = rapid_time([[10, 0, 30], [0, 0, 30], [0, 0, 0]], [6000, 6000, 600], [500, 500, 100])
    assert both == slow > 0
    assert none == 0


def test_what_a_repair_adds(tmp_path: Path) -> None:
    """Raised from 5 to 23 mm and down again: 24 mm up instead of 6, and 18 mm down that were not there.
    30 mm/s at 200 mm/s2: ramps of 4.5 mm together, so d/30 + 30/200 s: 0.95 and 0.35 s up, 0.75 s down: 1.35 s."""
    program = AWAY + "G0 Z5\nG0 X200\nG1 Z-1\nM30\n"
    came = run(program, write_bench(tmp_path, BENCH.format(machine=KNOWN + "\n" + RATES)))
    added = {change["line"]: change["added_s"] for change in came.records("change")}
    assert added == {4: pytest.approx(0.6, abs=1e-3), 5: pytest.approx(0.75, abs=1e-3)}
    summary = came.records("summary")[0]
    assert summary["added_s"] == pytest.approx(1.35, abs=2e-3)
    # Across 200 mm at 100 mm/s and 500 mm/s2, from the start 25 mm down, and 6 mm up.
    assert summary["rapid_s"] == pytest.approx((200 / 100 + 0.2) + (25 / 30 + 0.15) + (6 / 30 + 0.15), abs=2e-3)


def test_without_rates_no_time_is_told(tmp_path: Path) -> None:
    came = run(AWAY + "G0 Z5\nG0 X200\nG1 Z-1\nM30\n", write_bench(tmp_path, BENCH.format(machine=KNOWN)))
    assert [change["added_s"] for change in came.records("change")] == [None, None]
    assert came.records("summary")[0]["added_s"] is None
