"""Defects seeded into the columns: into how stretches are mended, into what they are read as, and into long outputs.

What is mended wrongly does not stand the proof, neither `filter`'s own nor `verify`. What is read wrongly the proof may
read wrongly too; there the exact reader disagrees, here as in every test of this room.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from typing import Any

import numpy as np
import pytest

from gcode_guard import guard as guarding
from gcode_guard import mend_lane
from gcode_guard.judge import Judge
from gcode_guard.lift_lane import Lifts
from gcode_guard.program import lane_offer, lane_reader
from gcode_guard.program.lane import Stretch
from gcode_guard.program.moves import Kind
from gcode_guard.program.scan import look_through
from gcode_guard.repair.raising import Texts
from gcode_guard.rules import rules_of
from gcode_guard.setup import Setup, load_setup_data
from gcode_guard.verify import Proof, verify
from tests.hostile.test_seeded import BENCH
from tests.lane.small import agree, source_of

# The clamp of BENCH, at 90 to 110 in X and Y, asks for 24.9 mm. Each row is a run that is lifted by columns alone, and
# a run that has nothing to do with the clamp.
ROW = "G0 Z5\nG0 X150\nG1 Z-2 F300\nG1 Y{}\nG0 Z5\nG0 Y60\nG0 X50\nG1 Z-3\nG1 Y100\n"
ROWS = 40
BEFORE = "S900 M3\nG0 X50 Y100\n" + "".join(ROW.format(104 + k % 9) for k in range(ROWS)) + "G0 Z60\nM5\nM30\n"
LIFTED = "G0 Z24.9\nG0 X150\nG0 Z5.0"
Seed = Callable[[pytest.MonkeyPatch], None]
RAISED, DOWN, TAKE, EDIT = Texts.raised, Texts.down, Lifts.take, Lifts._edit
INIT = mend_lane.StretchMender.__init__


@pytest.fixture
def setup() -> Setup:
    return load_setup_data(BENCH.encode(), "bench.toml")


def guarded(setup: Setup, prove: bool) -> guarding.Outcome:
    with source_of(BEFORE.encode()) as source:
        return guarding.guard(source, setup, prove=prove)


def output_of(came: guarding.Outcome) -> bytes:
    came.output.seek(0)
    return came.output.read()


def proof(after: bytes, setup: Setup, lane: bool = True) -> Proof:
    with source_of(BEFORE.encode()) as one, source_of(after) as two:
        return verify(one, two, setup, lane=lane)


# How stretches are mended -------------------------------------------------------------------------------------------


def lower_by(amount: float) -> Seed:
    """Heights come out lower, as where a clearance, a tolerance or a corner is forgotten."""
    def seed(patch: pytest.MonkeyPatch) -> None:
        def raised(texts: Texts, raw: bytes, text: str) -> bytes:
            return RAISED(texts, raw, f"Z{float(text[1:]) - amount:.4f}")
        patch.setattr(Texts, "raised", raised)
    return seed


def seen_otherwise(change: Callable[[Any], None]) -> Seed:
    """The mender of a stretch sees other verdicts than the judge gave."""
    def seed(patch: pytest.MonkeyPatch) -> None:
        def init(mender: Any, *given: Any) -> None:
            INIT(mender, *given)
            seen = mender.examined
            mender.examined = replace(seen, clips=seen.clips.copy(), needed=seen.needed.copy(),
                                      contact=seen.contact.copy())
            change(mender.examined)
        patch.setattr(mend_lane.StretchMender, "__init__", init)
    return seed


def no_clip(examined: Any) -> None:
    examined.clips[:] = False


def one_clip_lost(examined: Any) -> None:
    examined.clips[np.flatnonzero(examined.clips)[-1:]] = False


def needed_of_its_neighbour(examined: Any) -> None:
    examined.needed[:] = np.where(np.isfinite(examined.needed), examined.needed - 4.0, examined.needed)


def down_by_a_digit(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(Texts, "down", lambda texts, z, like: DOWN(texts, z - Decimal("0.001"), like))


def never_down_again(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(Lifts, "_descents_of", lambda lifts: {})


def a_run_forgotten(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(Lifts, "take", lambda lifts, run: None if run == 20 else TAKE(lifts, run))


def edits(shift: int = 0, new: Callable[[list[bytes]], list[bytes]] = list) -> Seed:
    """What is written is right, and goes to another line, or is written wrongly, in one run of many."""
    def seed(patch: pytest.MonkeyPatch) -> None:
        def edit(lifts: Lifts, change: Any, lines: list[bytes], *rest: Any) -> None:
            if 200 < change.number < 211:
                change = replace(change, number=change.number + shift)
                lines = new(lines)
            EDIT(lifts, change, lines, *rest)
        patch.setattr(Lifts, "_edit", edit)
    return seed


MENDING: dict[str, Seed] = {
    "a height rounded down": lower_by(0.001),
    "a clearance forgotten": lower_by(3.0),
    "a tolerance forgotten": lower_by(1.0),
    "all of the clearance forgotten": lower_by(6.0),
    "no clip seen": seen_otherwise(no_clip),
    "one clip not seen": seen_otherwise(one_clip_lost),
    "a height too low for all": seen_otherwise(needed_of_its_neighbour),
    "a way down off by its last digit": down_by_a_digit,
    "never down again": never_down_again,
    "a run forgotten": a_run_forgotten,
    "an edit on the next line": edits(1),
    "an edit on the line before": edits(-1),
    "two blocks swapped": edits(new=lambda lines: lines[::-1]),
    "a block lost": edits(new=lambda lines: lines[:-1]),
    "a block written twice": edits(new=lambda lines: [*lines, b"G91 G0 X1\n", b"G90\n"]),
}


def test_without_a_seed_it_is_mended_by_columns(setup: Setup, monkeypatch: pytest.MonkeyPatch) -> None:
    taken: list[int] = []
    monkeypatch.setattr(Lifts, "take", lambda lifts, run: (taken.append(run), TAKE(lifts, run)))
    came = guarded(setup, prove=True)
    assert came.exit == 0 and output_of(came).decode() == BEFORE.replace("G0 Z5\nG0 X150", LIFTED)
    assert len(taken) >= ROWS - 1
    assert proof(output_of(came), setup).holds


@pytest.mark.parametrize("seed", MENDING.values(), ids=MENDING.keys())
@pytest.mark.parametrize("smallest", [1, lane_offer.SMALLEST])
def test_what_is_mended_wrongly_is_caught(setup: Setup, monkeypatch: pytest.MonkeyPatch, seed: Seed,
                                          smallest: int) -> None:
    """By filter's own proof, whatever it keeps in mind of its first reading, and by `verify` in both its ways."""
    with monkeypatch.context() as patch:
        patch.setattr(lane_offer, "SMALLEST", smallest)
        seed(patch)
        came = guarded(setup, prove=True)
        after = output_of(came)
    assert came.exit == 3 and came.defect, "the guard's own proof let it pass"
    found = proof(after, setup)
    assert not found.holds and found.understood, "verify let it pass"
    assert found == proof(after, setup, lane=False)


def test_an_obstacle_that_the_guard_does_not_see(setup: Setup, monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(guarding, "Judge", lambda setup: Judge(replace(setup, obstacles=())))
        came = guarded(setup, prove=True)
        assert came.exit == 3 and came.defect
    assert not proof(BEFORE.encode(), setup).holds


# What they are read as ----------------------------------------------------------------------------------------------


READ = lane_reader.LaneReader._stretch
MISREAD: dict[str, Callable[[Stretch], None]] = {
    "a coordinate off by its last digit": lambda stretch: _shift(stretch, 0, 1),
    "a height that came out higher": lambda stretch: _shift(stretch, 2, 10**6),
    "a place of the line before": lambda stretch: _from_before(stretch),
    "a cut taken for a rapid": lambda stretch: _as_rapid(stretch),
    "a line lost": lambda stretch: stretch.rows.__setitem__(slice(7, None), stretch.rows[7:] + 1),
}


def _shift(stretch: Stretch, axis: int, by: int) -> None:
    stretch.places[axis, 8] += by


def _from_before(stretch: Stretch) -> None:
    line = stretch.rows[5]
    stretch.places[:, line + 1] = stretch.places[:, line]


def _as_rapid(stretch: Stretch) -> None:
    stretch.motions[np.flatnonzero(stretch.motions)[3]] = Kind.RAPID


@pytest.mark.parametrize("damage", MISREAD.values(), ids=MISREAD.keys())
def test_what_is_read_wrongly_the_exact_reader_reads_otherwise(setup: Setup, monkeypatch: pytest.MonkeyPatch,
                                                               damage: Callable[[Stretch], None]) -> None:
    """By the moves of both readers, which agree without the damage, and by the outcome with the lane and without."""
    data = BEFORE.encode()
    with source_of(data) as source:
        facts = look_through(source, False)
    rules = rules_of(setup, facts, None)
    assert agree(data, rules, facts) > 300

    def read(reader: Any, tape: Any) -> Stretch | None:
        stretch = READ(reader, tape)
        if stretch is not None:
            damage(stretch)
        return stretch
    monkeypatch.setattr(lane_reader.LaneReader, "_stretch", read)
    with pytest.raises((AssertionError, IndexError, ValueError)):
        agree(data, rules, facts)


# Long outputs -------------------------------------------------------------------------------------------------------

# What is put in place of what, in the row in the middle of the mended program.
DAMAGES = {
    "height rounded down": ("G0 Z24.9\n", "G0 Z24.89\n"),
    "clearance forgotten": ("G0 Z24.9\n", "G0 Z21.9\n"),
    "obstacle forgotten": ("G0 Z24.9\nG0 X150\nG0 Z5.0\n", "G0 Z5\nG0 X150\n"),
    "not down again": ("G0 X150\nG0 Z5.0\n", "G0 X150\n"),
    "down too far": ("G0 X150\nG0 Z5.0\n", "G0 X150\nG0 Z4.999\n"),
    "down in the wrong place": ("G0 X150\nG0 Z5.0\n", "G0 Z5\nG0 X150\n"),
    "two blocks swapped": ("G1 Z-2 F300\nG1 Y108\n", "G1 Y108 F300\nG1 Z-2\n"),
    "a cut lost": ("G1 Y108\n", ""),
    "a cut twice": ("G1 Y108\n", "G1 Y108\nG1 Y109\n"),
    "a cut made a rapid": ("G1 Y108\n", "G0 Y108\n"),
    "a cut off by its last digit": ("G1 Y108\n", "G1 Y108.001\n"),
    "a depth changed": ("G1 Z-3\n", "G1 Z-3.01\n"),
    "a feed changed": ("F300\nG1 Y108", "F3000\nG1 Y108"),
    "a feed dropped and another left": ("G1 Z-2 F300\nG1 Y108\n", "G1 Z-2 F30\nG1 Y108\n"),
    "a spindle word put in": ("G1 Y108\n", "G1 Y108\nM5\n"),
    "a rapid lower with nothing near": ("G0 Z5\nG0 Y60\n", "G0 Z4\nG0 Y60\n"),
    "a rapid elsewhere": ("G0 Y60\n", "G0 Y60.001\n"),
    "increments left on": ("G1 Y108\n", "G1 Y108\nG91\n"),
    "inches left on": ("G1 Y108\n", "G1 Y108\nG20\n"),
    "another plane": ("G1 Y108\n", "G1 Y108\nG18\n"),
}


@pytest.mark.parametrize("name", DAMAGES)
def test_a_damaged_row_among_many_is_caught(setup: Setup, name: str) -> None:
    mended = BEFORE.replace("G0 Z5\nG0 X150", LIFTED)
    rows = mended.split("G1 Y100\n")
    old, new = DAMAGES[name]
    middle = next(k for k in range(ROWS // 2, ROWS) if "Y108" in rows[k])
    assert rows[middle].count(old) == 1
    rows[middle] = rows[middle].replace(old, new)
    after = "G1 Y100\n".join(rows).encode()
    found = proof(after, setup)
    assert not found.holds and found.understood
    assert found == proof(after, setup, lane=False)
