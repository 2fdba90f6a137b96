"""What a small program must not wait for: libraries that a plain `filter` has no use for (docs/speed.md)."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from tests.bench import make

NEEDLESS = ("pydantic", "pygcode", "numpy.ma", "rtree", "shapely", "networkx", "rich", "jinja2", "tomlkit",
            "watchfiles", "gcode_guard.lift_lane", "gcode_guard.repair.planner")
CODE = f"""
import sys
from gcode_guard.cli import main
try:
    main()
finally:
    print([name for name in {NEEDLESS!r} if name in sys.modules])
"""


def test_a_plain_filter_starts_nothing_that_it_does_not_need(tmp_path: Path) -> None:
    program, setup, out = tmp_path / "five.nc", tmp_path / "bench.toml", tmp_path / "out.nc"
    program.write_text("G21 G90\nG0 Z5.\nG0 X10. Y10.\nG1 Z-1. F300\nG0 Z5.\n")
    setup.write_text(make.bench(12))
    done = subprocess.run([sys.executable, "-c", CODE, "filter", str(program), "--setup", str(setup), "-o", str(out)],
                          capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, done.stderr
    assert out.read_bytes() == program.read_bytes()
    assert done.stdout.strip() == "[]"
