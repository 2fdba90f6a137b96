"""The map is on the safe side: what a cell says holds for every point in it, and no cell is needlessly low."""

from __future__ import annotations

import csv
import io
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from gcode_guard.judge import Judge
from gcode_guard.room.grid import Mapper, RoomMap, write_csv
from gcode_guard.room.limits import Footprint, Measure
from gcode_guard.room.reading import Programs
from gcode_guard.setup import Setup, load_setup
from gcode_guard.source import Source
from gcode_guard.space.hulls import Hull, box
from tests.generate.benches import benches
from tests.generate.programs import programs
from tests.guarding import run, write_bench
from tests.room.places import without_obstacles, write
from tests.room.trials import cannot_be_written

QUIET = settings(max_examples=22, deadline=None, derandomize=True, database=None, phases=[Phase.generate],
                 suppress_health_check=list(HealthCheck))
ROUNDED = 0.0006  # mm, by which a value of a map may be lower through its floats


def exact_tops(programs: Programs, hulls: list[Hull]) -> tuple[np.ndarray, np.ndarray]:
    tolerance = programs.judge.setup.clearance.tolerance
    return Measure(programs.judge, [Footprint((hull,), tolerance) for hull in hulls]).take_all(programs.ways()).tops()


def cell_of(found: RoomMap, point: np.ndarray) -> tuple[int, int]:
    return int(np.searchsorted(found.ys, point[1]) - 1), int(np.searchsorted(found.xs, point[0]) - 1)


def hold_map(found: RoomMap, programs: Programs, rng: np.random.Generator, step: float) -> int:
    low, high = np.array([found.xs[0], found.ys[0]]), np.array([found.xs[-1], found.ys[-1]])
    points = rng.uniform(low, high, (600, 2))
    cells = [cell_of(found, point) for point in points]
    for tops, mapped in zip(exact_tops(programs, [Hull(point[None]) for point in points]), (found.hard, found.easy),
                            strict=True):
        assert (np.array([mapped[cell] for cell in cells]) <= tops + 1e-6).all()
    wide = [box((float(found.xs[x]) + step / 2, float(found.ys[y]) + step / 2), (3 * step, 3 * step)) for y, x in cells]
    limited = 0
    for tops, mapped in zip(exact_tops(programs, wide), (found.hard, found.easy), strict=True):
        values = np.array([mapped[cell] for cell in cells])
        assert (values >= tops - ROUNDED).all()  # no lower than for the cell and its neighbours together
        limited += int(np.isfinite(values).sum())
    return limited


def test_every_cell_against_the_exact_heights(tmp_path: Path) -> None:
    limited = []

    @QUIET
    @given(st.data(), st.integers(0, 2**32), st.sampled_from([1.5, 4.0, 10.0]))
    def hold(data: st.DataObject, seed: int, step: float) -> None:
        bench = data.draw(benches())
        program = data.draw(programs(bench))
        path = write(tmp_path, without_obstacles(bench), bench.files)
        if run(program.data, path, program.tool, prove=False).exit:
            return
        judge = Judge(load_setup(path))
        with Source.from_stream(io.BytesIO(program.data), "program.nc") as source:
            asked = Programs(judge, [source], program.tool)
            found = Mapper(judge, (-40.0, -40.0, 320.0, 220.0), step).take_all(asked.ways()).map()
            limited.append(hold_map(found, asked, np.random.default_rng(seed), step))

    hold()
    assert sum(limited) > 1500


def test_what_is_as_tall_as_its_cell_says_is_passed_by_the_filter(tmp_path: Path) -> None:
    """Pins anywhere in their cells, at their edges too, all at once: hard ones pass, easy ones change nothing."""
    held: Counter[str] = Counter()

    @settings(QUIET, max_examples=7)
    @given(st.data(), st.integers(0, 2**32), st.sampled_from([1.0, 2.5, 7.0]))
    def hold(data: st.DataObject, seed: int, step: float) -> None:
        bench = data.draw(benches(spindle=True))
        program = data.draw(programs(bench))
        setup = without_obstacles(bench)
        setup["machine"].pop("reach", None)
        path = write(tmp_path, setup, bench.files)
        base = run(program.data, path, program.tool, prove=False)
        if base.exit:
            return
        with Source.from_stream(io.BytesIO(program.data), "program.nc") as source:
            asked = Programs(Judge(load_setup(path)), [source], program.tool)
            found = Mapper(asked.judge, (-60.0, -60.0, 500.0, 300.0), step).take_all(asked.ways()).map()
        for which, tops in (("hard", found.hard), ("easy", found.easy)):
            pins = some_pins(found, tops, np.random.default_rng(seed), 25.4 if setup["units"] == "inch" else 1.0)
            came = run(program.data, write(tmp_path / "tried", setup | {"obstacles": pins}, bench.files), program.tool,
                       prove=False)
            assert came.exit == 0 or (which == "hard" and cannot_be_written(came)), came.records("finding")
            assert which == "hard" or came.output == base.output
            held[which] += len(pins)

    hold()
    assert min(held["hard"], held["easy"]) > 200, held


def some_pins(found: RoomMap, tops: np.ndarray, rng: np.random.Generator, scale: float) -> list[dict[str, Any]]:
    """Thin pins as tall as the values of their cells, where these are between the stock's bottom and 120 mm."""
    rows, columns = np.nonzero((tops > -11) & (tops < 120))
    pins = []
    for number, k in enumerate(rng.integers(0, len(rows), 100) if len(rows) else ()):
        row, column, across = rows[k], columns[k], rng.choice([0.02, 0.98, rng.uniform()], 2)
        x, y = (float(edges[at] + share * (edges[at + 1] - edges[at])) / scale for edges, at, share in
                ((found.xs, column, across[0]), (found.ys, row, across[1])))
        pins.append({"name": f"pin {number}", "shape": "cylinder", "center": [x, y], "diameter": 0.001,
                     "top": (float(tops[row, column]) - 0.001) / scale})
    return pins


BENCH = """format = 1
units = "inch"
[program]
starts_in = ["G21", "G90", "G17"]
[clearance]
above = 0.1
beside = 0.1
tolerance = 0.05
[machine]
start = "high"
rapid_path = "straight"
corner_rounding = 0.0
[[tools]]
number = 1
diameter = 0.25
"""


def inch_setup(folder: Path) -> Setup:
    return load_setup(write_bench(folder, BENCH))


def test_the_file_is_in_the_units_of_the_setup(tmp_path: Path) -> None:
    """One cut along Y = 0 from X 0 to X 1 inch at Z -0.2: within 0.175 in of it a top may be -0.25 in."""
    judge = Judge(inch_setup(tmp_path))
    program = b"G20 G90\nG0 X0 Y0\nG0 Z1\nG1 Z-0.2 F20\nX1\nG0 Z2\nM30\n"
    with Source.from_stream(io.BytesIO(program), "program.nc") as source:
        found = Mapper(judge, (0.0, 0.0, 25.4, 12.7), 2.54).take_all(Programs(judge, [source]).ways()).map()
    out = io.BytesIO()
    write_csv(out, found, judge.setup)
    rows = list(csv.reader(io.StringIO(out.getvalue().decode())))
    assert rows[0] == ["x0_inch", "y0_inch", "x1_inch", "y1_inch", "hard_inch", "easy_inch"]
    assert len(rows) == 1 + 10 * 5
    assert rows[1] == ["0", "0", "0.1", "0.1", "-0.2500", "-0.2500"]
    assert [row[4] for row in rows[1:] if row[0] == "0.5"] == ["-0.2500", "-0.2500", "inf", "inf", "inf"]
    assert rows[-1][:4] == ["0.9", "0.4", "1", "0.5"]


def test_a_cell_counts_what_touches_the_farthest_edge_of_a_finer_one(tmp_path: Path) -> None:
    """In cells of 1 mm: the cutter, 0.125 in radius and 0.05 of tolerance, reaches 4.445 mm from Y 0.6, which is to
    5.045: just into the cell from 5 to 6."""
    judge = Judge(inch_setup(tmp_path))
    program = b"G21 G90\nG0 X0 Y0.6\nG0 Z20\nG1 Z-2 F20\nX30\nG0 Z50\nM30\n"
    with Source.from_stream(io.BytesIO(program), "program.nc") as source:
        found = Mapper(judge, (-10.0, -10.0, 40.0, 10.0), 1.0).take_all(Programs(judge, [source]).ways()).map()
    column = found.hard[:, 25]
    top = -2 - 0.05 * 25.4
    rows = {float(y): float(value) for y, value in zip(found.ys[:-1], column, strict=True)}
    assert all(rows[y] <= top + 1e-9 for y in range(-4, 6))
    assert rows[7.0] == rows[-6.0] == np.inf
    ends = {float(x): float(value) for x, value in zip(found.xs[:-1], found.hard[10], strict=True)}
    assert ends[34.0] <= top + 1e-9 and ends[-5.0] <= top + 1e-9
    assert ends[36.0] == ends[-7.0] == np.inf
