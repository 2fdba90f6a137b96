"""The fixtures against the table of fixtures/README.md, which was made by hand from the positions on each bench."""

import csv
import io
import re
import subprocess
import sys
from pathlib import Path

import pytest

from gcode_guard.guard import guard
from gcode_guard.setup import load_setup
from gcode_guard.setup.model import Setup
from gcode_guard.source import Source
from gcode_guard.trace import trace

ROOT = Path(__file__).parent.parent
ROW = re.compile(
    r"^\| `(?P<program>[^`]+)` \| `(?P<bench>[^`]+)` \| [^|]+ \| (?P<status>\d) \| (?P<raised>[^|]+) \|", re.M
)
ROWS = [row.groupdict() for row in ROW.finditer((ROOT / "fixtures/README.md").read_text("utf-8"))]
RELIEF_BENCH = ROOT / "fixtures/benches/carved-panels.toml"


def filtered(program: Path, setup: Setup) -> tuple[int, bytes]:
    """The exit status, and what was written."""
    with Source.from_path(program) as source:
        outcome = guard(source, setup)
        try:
            outcome.output.seek(0)
            return outcome.exit, outcome.output.read()
        finally:
            outcome.close()


def sideways_rapids(program: Path, setup: Setup) -> list[dict[str, str]]:
    """The rows of the trace, without those that go straight up or down and those that cut."""
    out = io.BytesIO()
    with Source.from_path(program) as source:
        assert trace(source, setup, None, out) == []
    rows = csv.DictReader(io.StringIO(out.getvalue().decode("ascii")))
    return [row for row in rows if row["kind"] == "rapid" and (row["x0"], row["y0"]) != (row["x1"], row["y1"])]


def raised_lines(program: Path, after: bytes, setup: Setup, scratch: Path) -> set[int]:
    """The lines of `program` whose sideways rapids end higher in `after`; all others must end where they did."""
    mended = scratch / "after.nc"
    mended.write_bytes(after)
    one, other = sideways_rapids(program, setup), sideways_rapids(mended, setup)
    assert [(row["x1"], row["y1"]) for row in one] == [(row["x1"], row["y1"]) for row in other]
    raised = set()
    for before, now in zip(one, other, strict=True):
        if before["z1"] != now["z1"]:
            assert float(now["z1"]) > float(before["z1"])
            raised.add(int(before["line"]))
    return raised


def test_the_table_names_every_program():
    named = {row["program"] for row in ROWS}
    there = {str(path.relative_to(ROOT)) for path in (ROOT / "fixtures/programs").iterdir()}
    assert there | {"gcode_guard/example/door-panel.nc"} == named


@pytest.mark.parametrize("row", ROWS, ids=lambda row: Path(row["program"]).stem)
def test_a_fixture_ends_as_the_table_says(row, tmp_path):
    program, setup = ROOT / row["program"], load_setup(ROOT / row["bench"])
    status, after = filtered(program, setup)
    assert status == int(row["status"])
    if status:
        assert after == b""
        return
    raised = set() if row["raised"] == "none" else {int(line) for line in row["raised"].split()}
    assert raised_lines(program, after, setup, tmp_path) == raised
    if not raised:
        assert after == program.read_bytes()


def test_the_relief_is_raised_over_the_bar_alone(tmp_path):
    program = tmp_path / "relief.nc"
    subprocess.run([sys.executable, ROOT / "fixtures/make_relief.py", "--output", program], check=True)
    blocks = program.read_text("ascii").splitlines()
    assert len(blocks) == 20_000
    setup = load_setup(RELIEF_BENCH)
    status, after = filtered(program, setup)
    assert status == 0
    over_the_bar = {blocks.index("G0 X170.000 Y10.000") + 1, blocks.index("G0 X0.000 Y0.000") + 1}
    assert raised_lines(program, after, setup, tmp_path) == over_the_bar


def test_the_benches_say_what_their_comments_say():
    """Sizes of the parts library by hand: a bolt of 52 mm on 19 mm stock stands 33 mm over it, on 25 mm stock 27."""
    door = load_setup(ROOT / "gcode_guard/example/bench.toml")
    assert max(solid.top for solid in door.obstacles[0].solids) == pytest.approx(33.0)
    chair = load_setup(ROOT / "fixtures/benches/chair-parts.toml")
    assert max(solid.top for solid in chair.obstacles[0].solids) == pytest.approx(27.0)
    shelf = load_setup(ROOT / "fixtures/benches/shelf-sides-inch.toml")
    assert shelf.units == "inch" and shelf.stock is not None
    assert shelf.stock.size == pytest.approx((762.0, 304.8))
    assert max(solid.top for solid in shelf.obstacles[0].solids) == pytest.approx(52.0 - 0.75 * 25.4)
    assert len(load_setup(RELIEF_BENCH).obstacles) == 3
