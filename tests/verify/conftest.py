"""A bench with one clamp, and the proof over two programs written as text."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from gcode_guard.setup import Setup, load_setup
from gcode_guard.verify import Proof, verify

# A clamp from X90 Y90 to X110 Y110, up to Z20. With the tolerance of 1, 3 mm of clearance and 1 mm of corner
# rounding a rapid over it must be at Z25; beside it, with the 6 mm mill, 8 mm away, and contact begins at 4 mm.
CLAMP = """
[[obstacles]]
name = "clamp"
shape = "box"
center = [100.0, 100.0]
size = [20.0, 20.0]
top = 20.0
"""
HEAD = """
format = 1
units = "mm"
[program]
starts_in = ["G21", "G90", "G17"]
block_delete = "run"
harmless = ["M101"]
[offsets]
G54 = [0.0, 0.0, 0.0]
G55 = [10.0, 0.0, 0.0]
"""
MACHINE = """
[machine]
start = [0.0, 0.0, 60.0]
reach = { x = [-50.0, 500.0], y = [-50.0, 500.0], z = [-60.0, 80.0] }
home = [0.0, 0.0, 80.0]
"""
TOOL = """
[[tools]]
number = 1
name = "6 mm end mill"
diameter = 6.0
"""
BENCH = HEAD + MACHINE + TOOL + CLAMP
NOWHERE = BENCH.replace("start = [0.0, 0.0, 60.0]\n", "")

Prove = Callable[..., Proof]


@pytest.fixture
def setup_of(tmp_path: Path) -> Callable[[str], Setup]:
    def load(text: str) -> Setup:
        file = tmp_path / "bench.toml"
        file.write_text(text, encoding="utf-8")
        return load_setup(file)

    return load


@pytest.fixture
def prove(setup_of: Callable[[str], Setup]) -> Prove:
    """Proves `after` against `before`; blocks may be written one after the other with a comma between them."""

    def run(before: str, after: str, bench: str = BENCH, tool: int | None = None) -> Proof:
        return verify(lambda: lines_of(before), lambda: lines_of(after), setup_of(bench), tool)

    return run


def lines_of(text: str) -> list[bytes]:
    return [f"{block.strip()}\n".encode() for block in text.split(",")]
