"""Defects seeded into the code of the guard itself: its own proof, over what it has written, catches each of them."""

from __future__ import annotations

import io
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from decimal import ROUND_FLOOR, Decimal
from pathlib import Path
from typing import Any

import pytest

from gcode_guard import guard as guarding
from gcode_guard.judge import Judge
from gcode_guard.repair import cycle, planner, surgery, write
from gcode_guard.setup import load_setup
from gcode_guard.source import Source

from .calling import MENDED, PROGRAM, Place, environment

BENCH = """format = 1
units = "mm"
[program]
starts_in = ["G21", "G90", "G17", "F100"]
[machine]
start = [0.0, 0.0, 60.0]
[[tools]]
number = 1
diameter = 6.0
[[obstacles]]
name = "clamp"
shape = "box"
center = [100.0, 100.0]
size = [20.0, 20.0]
top = 19.9
"""
# The clamp asks for 19.9 + 1 + 3 + 1 = 24.9 mm. A cycle, increments, a spindle word on the block that is taken apart.
CUTS = """S900 M3
G0 X50 Y100
G0 Z5
G1 Z-2
G0 X150 Y100 Z5 M8
G1 Z-2
G0 Z5
G91
G0 X-100
G1 Z-7
G0 Z7
G90
G0 Z10
G98 G81 X50 Y100 Z-2 R2
X150
X180
G80
G0 Z60
M5
M30
"""
Seed = Callable[[pytest.MonkeyPatch], None]
RISE, EXACTLY, EDIT = write.Pen.rise, write.Pen.exactly, guarding._Copier._copy_apart


def height_rounded_down(patch: pytest.MonkeyPatch) -> None:
    """By the last digit that is written."""
    def rise(pen: write.Pen, to: float, start: Decimal | None) -> tuple[str, Decimal]:
        base = start if pen.incremental else Decimal(0)
        assert base is not None
        height = Decimal(repr(float(to))).quantize(Decimal("0.1"), rounding=ROUND_FLOOR) - Decimal("0.001")
        return pen.word("Z", height - base), height
    patch.setattr(write.Pen, "rise", rise)


def lower_by(amount: float) -> Seed:
    """The needed heights come out lower, as where a clearance, a tolerance or a corner is forgotten."""
    def seed(patch: pytest.MonkeyPatch) -> None:
        def rise(pen: write.Pen, to: float, start: Decimal | None) -> tuple[str, Decimal]:
            return RISE(pen, to - amount, start)
        patch.setattr(write.Pen, "rise", rise)
    return seed


def obstacle_missing_from_the_index(patch: pytest.MonkeyPatch) -> None:
    """The guard's judge does not see the clamp; the proof builds its own."""
    def blind(setup: Any) -> Judge:
        return Judge(replace(setup, obstacles=()))
    patch.setattr(guarding, "Judge", blind)


def initial_level_of_a_cycle_wrong(patch: pytest.MonkeyPatch) -> None:
    level = cycle._level_to_start_from
    patch.setattr(cycle, "_level_to_start_from", lambda item: (level(item) or Decimal(0)) - 1)


def retract_mode_dropped(patch: pytest.MonkeyPatch) -> None:
    words = cycle._cycle_words
    patch.setattr(cycle, "_cycle_words", lambda plan, item: [
        word.replace("G98", "G99") for word in words(plan, item)])


def increment_off_by_one_digit(patch: pytest.MonkeyPatch) -> None:
    def exactly(pen: write.Pen, axis: int, to: Decimal, start: Decimal | None) -> str:
        return EXACTLY(pen, axis, to + (Decimal("0.001") if pen.incremental else 0), start)
    patch.setattr(write.Pen, "exactly", exactly)


def spindle_or_coolant_word_dropped(patch: pytest.MonkeyPatch) -> None:
    first = surgery.Apart.first
    patch.setattr(surgery.Apart, "first", lambda apart, words, gap: first(apart, words, gap).replace("M8", ""))


def never_down_again(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(planner.Plan, "_come_down", lambda plan: None)


def edited(change: Callable[[list[bytes]], list[bytes]]) -> Seed:
    """The edits are right, and are written wrongly."""
    def seed(patch: pytest.MonkeyPatch) -> None:
        def copy_apart(copier: Any, lines: list[int]) -> None:
            for line in lines:
                copier._edits[line] = replace(copier._edits[line], new=change(list(copier._edits[line].new)))
            EDIT(copier, lines)
        patch.setattr(guarding._Copier, "_copy_apart", copy_apart)
    return seed


SEEDS: dict[str, Seed] = {
    "a height rounded down": height_rounded_down,
    "a clearance forgotten": lower_by(3.0),
    "a tolerance forgotten": lower_by(1.0),
    "a hair too low": lower_by(0.002),
    "all of the clearance forgotten": lower_by(6.0),
    "an obstacle missing from the index": obstacle_missing_from_the_index,
    "a cycle's initial level wrong": initial_level_of_a_cycle_wrong,
    "a cycle's return changed": retract_mode_dropped,
    "an increment off by one digit": increment_off_by_one_digit,
    "a word dropped from a block that is taken apart": spindle_or_coolant_word_dropped,
    "never down again": never_down_again,
    "two blocks swapped": edited(lambda new: new[::-1]),
    "a block lost": edited(lambda new: new[:-1]),
    "the rise lost": edited(lambda new: new[1:]),
    "a block written twice": edited(lambda new: [*new, b"G91 G0 X1\n", b"G90\n"]),
}


def outcome(tmp_path: Path) -> guarding.Outcome:
    path = tmp_path / "bench.toml"
    path.write_text(BENCH)
    with Source.from_stream(io.BytesIO(CUTS.encode()), "program") as source:
        return guarding.guard(source, load_setup(path))


def test_without_a_seed_it_is_mended(tmp_path: Path) -> None:
    came = outcome(tmp_path)
    came.output.seek(0)
    text = came.output.read().decode()
    assert came.exit == 0 and came.defect == ""
    assert text.count("Z24.9") == 3 and text != CUTS


@pytest.mark.parametrize("seed", SEEDS.values(), ids=SEEDS.keys())
def test_the_proof_catches_what_is_seeded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seed: Seed) -> None:
    seed(monkeypatch)
    came = outcome(tmp_path)
    assert came.exit == 3 and came.defect, "the proof let it pass"
    assert any("this is a defect of gcode-guard" in reason.advice for reason in came.reasons)


DRIVER = """
import sys
{seed}
sys.argv = ["gcode-guard", "filter", "p.nc", "-o", "x", "--diff", "d", "--log", "l", "--setup", "bench.toml"]
from gcode_guard.__main__ import start
start()
"""


def driven(place: Place, seed: str) -> subprocess.CompletedProcess[bytes]:
    (place.folder / "kept").mkdir()
    return subprocess.run([sys.executable, "-c", DRIVER.format(seed=seed)], cwd=place.folder, capture_output=True,
                          env=environment(TMPDIR=str(place.folder / "kept")), timeout=120)


def test_both_files_of_a_failed_proof_are_kept(place: Place) -> None:
    came = driven(place, "from gcode_guard.repair import planner\nplanner.Plan._come_down = lambda plan: None")
    assert (came.returncode, came.stdout) == (3, b"")
    assert place.is_untouched() and place.names() == {"kept", "l"}
    assert b'"verdict": "refused"' in place.read("l")
    kept, = (place.folder / "kept").iterdir()
    assert str(kept).encode() in came.stderr and b"please report it with both files" in came.stderr
    assert (kept / "program.nc").read_bytes() == PROGRAM
    assert (kept / "output.nc").read_bytes() == MENDED.replace(b"G0 Z5.0\n", b"")


def test_what_nobody_expected_is_told_in_one_line_and_kept(place: Place) -> None:
    came = driven(place, "from gcode_guard.repair import planner\nplanner.Plan._come_down = lambda plan: 1 / 0")
    assert (came.returncode, came.stdout) == (4, b"")
    assert place.is_untouched() and place.names() == {"kept"}
    kept, = (place.folder / "kept").iterdir()
    assert came.stderr.count(b"\n") == 1 and b"ZeroDivisionError" in came.stderr and str(kept).encode() in came.stderr
    assert "division by zero" in kept.read_text() and "Traceback" in kept.read_text()
