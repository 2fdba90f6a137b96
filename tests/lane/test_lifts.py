"""Programs of which nearly every run must be lifted: mended and proven in columns as block by block."""

from __future__ import annotations

import dataclasses
import random
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import pytest

from gcode_guard import abreast, guard
from gcode_guard.program.interpreter import Interpreter
from gcode_guard.repair import raising, write
from gcode_guard.setup import Setup, load_setup
from gcode_guard.verify import Proof, verify
from tests.lane import lifted
from tests.lane.small import in_batches, source_of
from tests.lane.test_outcome import agree_on, outcome

BENCH = """format = 1
units = "mm"
[program]
starts_in = ["G21", "G90", "G17", "F300"]
[machine]
start = [0.0, 0.0, 50.0]
[[tools]]
number = 1
diameter = 4.0
[[obstacles]]
name = "bar"
shape = "bar"
from = [60.0, -30.0]
to = [60.0, 130.0]
width = 8.0
top = 9.0
"""


@pytest.fixture
def setup(tmp_path: Path) -> Setup:
    return set_up(tmp_path, BENCH)


def set_up(folder: Path, text: str) -> Setup:
    path = folder / "bench.toml"
    path.write_text(text)
    return load_setup(path)


def pockets(count: int, ways: str = "G0 Z5.\nG0 X{x} Y{y:.2f}\nG0 Z1.\n") -> bytes:
    """So many pockets, in turns on either side of the bar. The way to each runs into it and must be at 14 mm."""
    blocks = ["G21 G90", "G0 Z50.", "G0 X10. Y10.", "G1 Z-1. F300"]
    for number in range(count):
        x, y = 10 if number % 2 else 110, 10 + number / 4
        blocks += ways.format(x=x, y=y).splitlines()
        blocks += [f"G1 Z-{1 + number % 3}.", f"G1 X{x + 2} F{300 + number % 2 * 100}", f"G2 X{x + 2} Y{y:.2f} I-1 J0",
                   f"G1 Y{y - 2:.2f}"]
    return "\n".join([*blocks, "G0 Z50.", "M30", ""]).encode()


@pytest.mark.parametrize("seed", range(40))
def test_generated_programs(seed: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rng = random.Random(seed)
    setup = set_up(tmp_path, lifted.bench(rng))
    monkeypatch.setattr(abreast, "FEW", rng.choice([0, 0, 3]))
    agree_on(lifted.program(rng, rng.choice([4, 12, 25])), setup, 1, rng)


def test_ordinary_runs_are_not_read_block_by_block(setup: Setup, monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither by the mender nor by the proof, but for the first ones."""
    data, read = pockets(400), []
    execute = Interpreter.execute
    monkeypatch.setattr(Interpreter, "execute", lambda self, *given: read.append(given) or execute(self, *given))
    status, output, diff, log = outcome(data, setup, 1, lane=True)
    assert status == 0 and output.count(b"G0 Z14.00") == 400 and log.count(b'"record": "change"') == 400
    assert diff.count(b"\n-G0 Z5.\n+G0 Z14.00\n") == 400
    assert len(read) < 60 < 0.05 * len(data.splitlines())


# The proof ----------------------------------------------------------------------------------------------------


def proofs(before: bytes, after: bytes, setup: Setup, size: int = 1 << 18) -> tuple[Proof, Proof]:
    """The proof in columns, from the first run on, and block by block."""
    with pytest.MonkeyPatch.context() as patch, source_of(before) as one, source_of(after) as two:
        patch.setattr(abreast, "FEW", 0)
        in_batches(patch, size)
        return verify(one, two, setup, 1), verify(one, two, setup, 1, lane=False)


DAMAGES: dict[str, tuple[bytes, bytes]] = {
    "a rise a digit too low": (b"G0 Z14.00", b"G0 Z13.99"),
    "a rise lost": (b"G0 Z14.00\n", b""),
    "a rise that is none": (b"G0 Z14.00", b"G0 Z5."),
    "the way across leads elsewhere": (b"G0 X110 Y57.50\n", b"G0 X110 Y57.501\n"),
    "the way across leads elsewhere in X": (b"G0 X10 Y57.25\n", b"G0 X10.001 Y57.25\n"),
    "a dip before the way across": (b"G0 Z14.00\nG0", b"G0 Z14.00\nG0 Z-4.\nG0 Z14.00\nG0"),
    "a dip behind the way across": (b"\nG0 Z1.\n", b"\nG0 Z-3.\nG0 Z1.\n"),
    "a dip on the way": (b"G0 X10 Y57.25\n", b"G0 X50 Y57.25 Z0\nG0 X10 Y57.25 Z14\n"),
    "another way down": (b"\nG0 Z1.\n", b"\nG0 Z0.9\n"),
    "not as far down": (b"\nG0 Z1.\n", b"\nG0 Z1.1\n"),
    "a slope across": (b"G0 X10 Y57.25\nG0 Z1.\n", b"G0 X10 Y57.25 Z1.\n"),
    "a cut at another depth": (b"G1 Z-2.", b"G1 Z-2.001"),
    "a cut to another place": (b"G1 Y55.25", b"G1 Y55.252"),
    "a cut lost": (b"G1 Y55.25\n", b""),
    "a cut twice": (b"G1 Y55.25\n", b"G1 Y55.25\nG1 Y197\nG1 Y55.25\n"),
    "a feed changed": (b"F400\nG2 X12 Y57.25", b"F401\nG2 X12 Y57.25"),
    "a feed said in a rapid": (b"G0 X10 Y57.25\n", b"G0 X10 Y57.25 F222\n"),
    "a feed lost": (b"F400\n", b"\n"),
    "an arc the other way": (b"G2 X12 Y57.25", b"G3 X12 Y57.25"),
    "an arc about another centre": (b"Y57.25 I-1 J0", b"Y57.25 I-1.5 J0"),
    "an arc that is a cut": (b"G2 X12 Y57.25 I-1 J0", b"G1 X12 Y57.25"),
    "a cut made rapidly": (b"G1 Y55.25", b"G0 Y55.25"),
    "a rapid made a cut": (b"G0 X10 Y57.25", b"G1 X10 Y57.25"),
}


@pytest.mark.parametrize("damage", DAMAGES.values(), ids=DAMAGES.keys())
def test_the_proof_in_columns_sees_what_the_proof_block_by_block_sees(
        damage: tuple[bytes, bytes], setup: Setup, monkeypatch: pytest.MonkeyPatch) -> None:
    before = pockets(300)
    status, after, _, _ = outcome(before, setup, 1, lane=True)
    begin = after.index(b"Y54.75\n")
    place = after.index(damage[0], begin)
    damaged = after[:place] + damage[1] + after[place + len(damage[0]) :]
    passed = counted(monkeypatch)
    for size in (1 << 18, 2000):
        intact, same = proofs(before, after, setup, size)
        assert intact == same == Proof(True)
        proof, other = proofs(before, damaged, setup, size)
        assert not proof.holds and proof == other
    assert len(passed) > 4


def counted(monkeypatch: pytest.MonkeyPatch) -> list[object]:
    """Notes each time that something was passed over in columns."""
    passed: list[object] = []
    pass_over = abreast.Columns.pass_over

    def noted(columns: abreast.Columns, *given: object) -> object:
        found = pass_over(columns, *given)  # type: ignore[arg-type]
        passed.extend([found] if found else [])
        return found

    monkeypatch.setattr(abreast.Columns, "pass_over", noted)
    return passed


@pytest.mark.parametrize("seed", range(40))
def test_the_proof_in_columns_says_what_the_proof_block_by_block_says(
        seed: int, tmp_path: Path) -> None:
    """Over mended programs with a number or a line of theirs changed at random."""
    rng = random.Random(seed)
    setup = set_up(tmp_path, lifted.bench(rng))
    before = lifted.program(rng, 20)
    after = outcome(before, setup, 1, lane=True)[1] or before
    for _ in range(10):
        lines = after.split(b"\n")
        place = rng.randrange(4, len(lines))
        for change in rng.choice([[nudged], [doubled], [dropped], [swapped], [nudged, nudged]]):
            change(rng, lines, place)
        proof, other = proofs(before, b"\n".join(lines), setup, rng.choice([200, 2000, 1 << 18]))
        assert proof == other


def nudged(rng: random.Random, lines: list[bytes], place: int) -> None:
    digits = [k for k, c in enumerate(lines[place]) if c in b"0123456789"]
    if digits:
        at = rng.choice(digits)
        lines[place] = lines[place][:at] + b"%d" % rng.randrange(10) + lines[place][at + 1 :]


def doubled(rng: random.Random, lines: list[bytes], place: int) -> None:
    lines.insert(place, lines[place - rng.randrange(4)])


def dropped(rng: random.Random, lines: list[bytes], place: int) -> None:
    del lines[place]


def swapped(rng: random.Random, lines: list[bytes], place: int) -> None:
    lines[place - 1 : place + 1] = lines[place - 1 : place + 1][::-1]


# Defects of the guard -----------------------------------------------------------------------------------------


def lower(patch: pytest.MonkeyPatch) -> None:
    rise = write.Pen.rise
    patch.setattr(write.Pen, "rise", lambda pen, to, start: (rise(pen, to - 0.002, start)[0], Decimal(repr(to))))


def another_obstacle(patch: pytest.MonkeyPatch) -> None:
    blind = guard.Judge
    patch.setattr(guard, "Judge", lambda setup: blind(dataclasses.replace(setup, obstacles=setup.obstacles[:0])))


SEEDS: dict[str, Callable[[pytest.MonkeyPatch], None]] = {
    "a hair too low": lower,
    "never down again": lambda patch: patch.setattr(raising.Texts, "down", lambda self, z, like: b"(down)\n"),
    "down too far": lambda patch: patch.setattr(
        raising.Texts, "down", lambda self, z, like: b"G0 Z%d.0\n" % (z - 1)),
    "nothing raised": lambda patch: patch.setattr(raising.Texts, "raised", lambda self, raw, text: raw),
    "a line lost": lambda patch: patch.setattr(raising.Texts, "raised", lambda self, raw, text: b"(up)\n"),
    "an obstacle missing": another_obstacle,
}


@pytest.mark.parametrize("seed", SEEDS.values(), ids=SEEDS.keys())
def test_the_proof_catches_what_is_seeded(
        setup: Setup, monkeypatch: pytest.MonkeyPatch, seed: Callable[[pytest.MonkeyPatch], None]) -> None:
    monkeypatch.setattr(abreast, "FEW", 0)
    data = pockets(40, "G0 Z5.\nG0 X{x} Y{y:.2f}\n")
    assert outcome(data, setup, 1, lane=True)[0] == 0
    seed(monkeypatch)
    with source_of(data) as source:
        came = guard.guard(source, setup, tool=1)
        came.close()
    assert came.exit == 3 and came.defect, "the proof let it pass"
