"""With the columnar reader and without it: the same status, output, diff and log, and the same proof."""

from __future__ import annotations

import dataclasses
import io
import random
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gcode_guard.guard import guard
from gcode_guard.judge import Judge
from gcode_guard.program import lane_offer, lane_reader
from gcode_guard.program.lane import Stretch
from gcode_guard.program.lane_offer import Known
from gcode_guard.program.lane_reader import LaneReader
from gcode_guard.program.scan import look_through
from gcode_guard.rules import rules_of
from gcode_guard.setup import Setup, load_setup
from gcode_guard.verdicts import Verdicts
from gcode_guard.verify import verify
from tests.generate.benches import benches
from tests.generate.extras import EXTRAS
from tests.generate.programs import programs
from tests.guarding import write_bench
from tests.lane.small import in_batches, source_of

ROOT = Path(__file__).parent.parent.parent
SOME = settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
BENCHES = [*sorted((ROOT / "fixtures/benches").glob("*.toml")), ROOT / "gcode_guard/example/bench.toml"]
PROGRAMS = [*sorted((ROOT / "fixtures/programs").iterdir()), ROOT / "gcode_guard/example/door-panel.nc"]


def outcome(data: bytes, setup: Setup, tool: int | None, lane: bool) -> tuple[int, bytes, bytes, bytes]:
    """Status, output, diff and log."""
    with source_of(data) as source:
        came = guard(source, setup, tool=tool, lane=lane)
        try:
            log = io.BytesIO()
            came.log.write_to(log, came.run, came.summary)
            came.output.seek(0)
            came.diff.seek(0)
            return came.exit, came.output.read(), came.diff.read(), log.getvalue()
        finally:
            came.close()


def damaged(rng: random.Random, data: bytes) -> bytes:
    """A program with one line left out, twice, or with another number in it."""
    lines = data.split(b"\n")
    place = rng.randrange(len(lines))
    kind = rng.randrange(4)
    if kind == 0:
        del lines[place]
    elif kind == 1:
        lines.insert(place, lines[place])
    elif kind == 2:
        lines.insert(place, rng.choice([b"G0 Z1", b"G1 X5", b"M8", b"(note)", b"X", b"G0 X60 Y60", b"G91"]))
    else:
        lines[place] = lines[place].replace(b"1", b"2", 1).replace(b"5", b"4", 1)
    return b"\n".join(lines)


def otherwise_meant(rng: random.Random, data: bytes) -> bytes:
    """A program of which all lines stay, and from one on mean something else."""
    lines = data.split(b"\n")
    words = b"F777|G91|G20|G92 X0.5|G61|G95 F1|G18|G90.1|G1 X1 F5|G41 D0".split(b"|")
    word = rng.choice(words)
    lines.insert(rng.randrange(5, len(lines) - 1), word)
    return b"\n".join(lines)


def known_of(data: bytes, setup: Setup, tool: int | None) -> Known:
    """What the guard keeps in mind of a program for its proof."""
    with source_of(data) as source:
        facts = look_through(source, setup.program.block_delete == "skip")
        known = Known(facts)
        if facts.calls:
            return known
        judge = Judge(setup)
        for item in LaneReader(source, rules_of(setup, facts, tool), facts):
            if isinstance(item, Stretch):
                known.add(item, bool(Verdicts(judge, item.moves).wrong.any()))
    return known


def hold(data: bytes, setup: Setup, tool: int | None, seed: int) -> None:
    """Holds both ways against each other, in small batches and with the shortest stretches; with times of rapids."""
    rng = random.Random(seed)
    rates = {"rapid_rate": (5000.0, 4000.0, 1500.0), "acceleration": (400.0, 300.0, 200.0)}
    machine = dataclasses.replace(setup.machine, **rates)
    agree_on(data, dataclasses.replace(setup, machine=machine), tool, rng)


def agree_on(data: bytes, setup: Setup, tool: int | None, rng: random.Random) -> None:
    """Holds both ways against each other on this bench."""
    slow = outcome(data, setup, tool, lane=False)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lane_reader, "SHORTEST", 1)
        patch.setattr(lane_offer, "SMALLEST", rng.choice([1, 1, 500]))
        in_batches(patch, rng.choice([80, 400, 3000, 1 << 18]))
        assert outcome(data, setup, tool, lane=True) == slow
        after = slow[1] or data
        for other in (after, damaged(rng, after), damaged(rng, after)):
            with source_of(data) as one, source_of(other) as two:
                proof = verify(one, two, setup, tool, lane=False)
                assert verify(one, two, setup, tool) == proof
                assert verify(one, two, setup, tool, known=known_of(data, setup, tool)) == proof


@SOME
@given(st.data(), st.integers(0, 2**32))
def test_generated_programs(tmp_path_factory: pytest.TempPathFactory, data: st.DataObject, seed: int) -> None:
    bench = data.draw(benches())
    program = data.draw(programs(bench, extras=frozenset(EXTRAS) if seed % 2 else frozenset()))
    setup = load_setup(write_bench(tmp_path_factory.mktemp("b"), bench.text, bench.files))
    hold(program.data, setup, program.tool, seed)


@pytest.mark.parametrize("bench", BENCHES, ids=lambda path: path.stem)
@pytest.mark.parametrize("path", PROGRAMS, ids=lambda path: path.stem)
def test_fixtures(path: Path, bench: Path) -> None:
    setup = load_setup(bench)
    hold(path.read_bytes(), setup, None, len(path.name))
    hold(path.read_bytes(), setup, min(setup.tools), len(path.name) + 1)


def relief(folder: Path, blocks: int) -> bytes:
    path = folder / "relief.nc"
    call = [sys.executable, ROOT / "fixtures/make_relief.py", "--blocks", str(blocks), "--output", path]
    subprocess.run(call, check=True)
    return path.read_bytes()


@pytest.mark.parametrize("change", [
    lambda text: text,
    lambda text: text.replace(b"G0 Z5.000", b"G0 Z0.500"),  # traverses within the stock, past the bar at every row
    lambda text: text.replace(b"X140.000", b"X152.000"),  # cuts into the bar
    lambda text: text.replace(b"G0 X170.000", b"G0 X170.000 Z-60.000"),  # outside the reach
    lambda text: text.replace(b"G1 ", b"G1").replace(b"\n", b"\r\n"),
    lambda text: text.replace(b" F2400", b" F2400 (feed)").replace(b"(ROW DONE)", b"; row (done"),
])
def test_reliefs(change, tmp_path: Path) -> None:
    hold(change(relief(tmp_path, 1200)), load_setup(BENCHES[0]), 1, 3)


@pytest.mark.parametrize("seed", range(12))
def test_what_is_known_of_a_program_proves_no_other_one(seed: int, tmp_path: Path) -> None:
    """Clean rows, all of them known: each damage must show as it does to who reads every block."""
    rng = random.Random(seed)
    setup, data = load_setup(BENCHES[0]), b"\n".join(relief(tmp_path, 1200).split(b"\n")[:500]) + b"\nG0 Z5.\nM30\n"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(lane_offer, "SMALLEST", 1)
        in_batches(patch, rng.choice([500, 4000]))
        known = known_of(data, setup, 1)
        for number in range(8):
            other = damaged(rng, data) if number % 2 else otherwise_meant(rng, data)
            with source_of(data) as one, source_of(other) as two:
                assert verify(one, two, setup, 1, known=known) == verify(one, two, setup, 1, lane=False)


def test_a_relief_that_clips_at_every_row(tmp_path: Path) -> None:
    """Rows that go on from one panel to the other, so that every traverse runs through the bar between them."""
    text = relief(tmp_path, 1200).split(b"\n")
    begins = [number for number, line in enumerate(text) if line.startswith((b"G0 X5.", b"G0 X170."))]
    rows = [text[begin : text.index(b"(ROW DONE)", begin) + 1] for begin in begins]
    half = len(rows) // 2
    mixed = [line for pair in zip(rows[:half], rows[half:], strict=True) for row in pair for line in row]
    data = b"\n".join([*text[: begins[0]], *mixed, *text[-5:]])
    status, output, _, log = outcome(data, load_setup(BENCHES[0]), 1, lane=True)
    assert status == 0 and log.count(b'"record": "change"') == len(rows) and output != data
    hold(data, load_setup(BENCHES[0]), 1, 4)
