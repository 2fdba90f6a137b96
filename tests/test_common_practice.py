"""Checks from the shop floor. Common practice, no source: a 3 1/8 in form cutter, a traverse gap of 0.2 in over the
stock, clamps that stand well over it, a parking height of 0.8 in."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.guarding import run, write_bench

BENCH = """
format = 1
units = "inch"
[program]
starts_in = ["G20", "G90", "G17"]
[stock]
corner = [0.0, 0.0]
size = [24.0, 8.0]
top = 0.0
[clearance]
above = 0.125
beside = 0.125
tolerance = 0.0625
[machine]
start = [2.0, 2.0, 0.8]
corner_rounding = 0.0
[[tools]]
number = 1
name = "form cutter"
diameter = 3.125
[[obstacles]]
name = "clamp"
shape = "box"
center = [8.0, {y}]
size = [1.0, 2.0]
top = 1.25
"""
PROGRAM = "G0 Z0.2\nG1 Z-0.25 F60\nG0 Z0.2\nG0 X14\nG1 Z-0.25\nG0 Z0.2\nG0 Z0.8\nM30\n"


def test_form_cutter_over_a_clamp_midway(tmp_path: Path) -> None:
    """Two holes 12 in apart with a clamp 1.25 in high midway between them. Lifted to
    1.25 + 0.0625 (tolerance) + 0.125 (above) + 0 (rounding) = 1.4375 in, that is 1.2375 in over the programmed gap."""
    came = run(PROGRAM, write_bench(tmp_path, BENCH.format(y=2.0)))
    assert came.exit == 0
    assert came.output.decode() == PROGRAM.replace("G0 Z0.2\nG0 X14\n", "G0 Z1.4375\nG0 X14\nG0 Z0.2\n", 1)
    across = next(change for change in came.records("change") if change["line"] == 4)
    assert across["needed_z_mm"] == pytest.approx(1.4375 * 25.4, abs=1e-6)
    assert across["programmed_z_mm"] == pytest.approx(0.2 * 25.4, abs=1e-6)


def test_form_cutter_beside_the_clamp(tmp_path: Path) -> None:
    """The clamp's edge 1.5625 (radius) + 0.0625 + 0.125 = 1.75 in from the way is just far enough, 0.001 in less is
    not: the clamp reaches 1 in from its middle, so its middle may stand 2.75 in away."""
    assert run(PROGRAM, write_bench(tmp_path / "a", BENCH.format(y=2.0 + 2.75))).output.decode() == PROGRAM
    assert run(PROGRAM, write_bench(tmp_path / "b", BENCH.format(y=2.0 + 2.749))).records("change")
