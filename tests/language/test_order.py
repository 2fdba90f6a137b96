"""The order of execution within a block: NISTIR 6556, section 3.8 and table 8, from memory."""

from __future__ import annotations

import random

from gcode_guard.program.moves import Step
from tests.language.reading import point, read, refused


def order(step: Step) -> list[str]:
    """The effects of a block in their order, "move" where its moves come."""
    found: list[str] = []
    for number in range(len(step.moves) + 1):
        found += [effect.what for effect in step.effects if effect.after_move == number]
        found += ["move"] if number < len(step.moves) else []
    return found


def last_step(program: str) -> Step:
    return read(program).steps[-1]


def test_however_the_words_stand_they_are_done_in_the_order_of_the_table() -> None:
    words = ["G1", "X5", "F200", "S8000", "T1", "M6", "M3", "M8", "M1"]
    expected = ["S8000", "T1", "M6", "M3", "M8", "move", "M1"]
    dice = random.Random(6556)
    for _ in range(40):
        dice.shuffle(words)
        # At G0, since after M6 the tool's place is not known and a cut cannot begin there.
        block = " ".join(words).replace("G1", "G0")
        assert order(last_step(block + "\n")) == expected, block


def test_steps_2_and_3_the_feed_counts_for_the_move_of_its_own_block() -> None:
    (move,) = last_step("G1 X5 F200\n").moves
    assert move.feed == 200
    (move,) = last_step("G94 F100\nX5 F2 G1 G93\n").moves
    assert move.feed == 2
    refused("G1 X5\nG93 X9\n", "its own F")


def test_step_6_the_tool_changes_before_the_move() -> None:
    (move,) = last_step("G0 Z60 T4 M6\n").moves
    assert move.tool == 4


def test_step_7_the_spindle_stops_before_the_move() -> None:
    assert order(last_step("G1 X5 M5\n")) == ["M5", "move"]


def test_step_10_the_dwell_comes_after_spindle_and_coolant_and_before_offsets() -> None:
    step = read("G4 P1.5 G55 M8 M3 S500\n", shifts={"G55": point(1, 0, 0)}).steps[-1]
    assert order(step) == ["S500", "M3", "M8", "dwell 1.5", "G55"]


def test_step_11_the_plane_counts_for_the_arc_of_its_own_block() -> None:
    # Seen along Y from its positive end, Z turns to X counter-clockwise: G3 in G18 goes from +Z over to +X.
    (move,) = last_step("G0 X0 Z10\nG3 X10 Z0 I0 K-10 G18\n").moves
    assert move.plane == 18 and move.centre == (0, 0, 0)


def test_step_12_the_units_count_for_the_coordinates_before_them() -> None:
    assert read("X1 Y-2 G0 G20\n").end == (25.4, -50.8, 50)


def test_step_14_the_length_offset_counts_for_the_z_of_its_own_block() -> None:
    assert read("G43 H2 T2 M6\nG0 Z30\n", first_tool=2).end[2] == 30
    assert read("T2 M6\nG0 Z30 G43 H2\n").end[2] == 30
    assert read("T2 M6\nG0 Z30\nG43 H2\n").end[2] is None


def test_step_15_the_work_offset_counts_for_the_coordinates_before_it() -> None:
    assert read("G0 X10 G55\n", shifts={"G55": point(300, 0, 0)}).end == (310, 0, 50)


def test_step_17_the_distance_mode_counts_for_the_coordinates_before_it() -> None:
    assert read("G0 X10\nX10 G91\nX10 G90 Y1\n").path == [
        ("rapid", (10, 0, 50)), ("rapid", (20, 0, 50)), ("rapid", (10, 1, 50))]


def test_step_18_the_return_level_counts_for_the_cycle_of_its_own_block() -> None:
    assert read("G98\nG81 X5 Y5 Z-5 R2 G99\n").end[2] == 2
    assert read("G99\nG81 X5 Y5 Z-5 R2 G98\n").end[2] == 50


def test_step_19_comes_after_the_distance_mode_and_the_offsets() -> None:
    found = read("G0 X10\nG92 X0 G55\nX5\n", shifts={"G55": point(100, 0, 0)})
    assert found.end[0] == 15
    # G28 by way of a point that is an increment, with G91 behind it in the block.
    found = read("G0 Z40\nG28 Z7 G91\n", home_axes="named", home=point(0, 0, 0))
    assert found.path[1] == ("rapid", (0, 0, 47))


def test_step_20_g53_takes_no_offset_and_no_shift() -> None:
    found = read("G0 X10 Z0\nG92 X0\nG53 X7 G0\nX7\n", zero=point(-100, 0, 0))
    assert [end[0] for _, end in found.path] == [10, -93, 17]


def test_step_21_stops_and_ends_come_after_the_move() -> None:
    for code in ("M0", "M1", "M2", "M30"):
        assert order(last_step(f"{code} G1 X5\n")) == ["move", code]
    assert read("M2 G1 X5\nX9\n").end[0] == 5


def test_a_parameter_is_set_when_the_block_is_done() -> None:
    # Section 3.3.3, the report's example: with parameter 3 at 10, "#3=6 G1 x#3" goes to 10; then the parameter is 6.
    found = read("#3=10\n#3=6 G1 x#3\nY#3\n")
    assert found.path == [("cut", (10, 0, 50)), ("cut", (10, 6, 50))]
