"""What the long run (long_run.py) and the fuzzer (fuzz.py) found wrong, as whole programs, by hand arithmetic.

The pins: 4 mm high at X6 Y5, measured to 0.2 mm; rapids keep 1 mm above, corners are not rounded: 5.2 mm clears them.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.guarding import run, write_bench

BENCH = """format = 1
units = "mm"
[program]
starts_in = ["G21", "G90", "G17", "F100"]
[clearance]
above = 1.0
beside = 0.5
tolerance = 0.2
[machine]
corner_rounding = 0.0
{machine}
[[tools]]
number = 1
diameter = 2.0
length = 60.0
[[tools]]
number = 2
diameter = 2.0
length = 60.0
[[obstacles]]
name = "pin"
shape = "cylinder"
center = [6.0, 5.0]
diameter = 2.0
top = 4.0
{more}
"""
START = "start = [0.0, 0.0, 40.0]"
SAME = START + '\nafter_tool_change = "same"'
SPINDLE = "[spindle]\nsections = [{ diameter = 80.0, height = 120.0 }]\n"
STOCK = "[stock]\ncorner = [-20.0, -20.0]\nsize = [100.0, 100.0]\ntop = 10.0\nthickness = 12.0\n"


def outcome(tmp_path: Path, program: str, machine: str = START, more: str = "") -> tuple[int, str, list[str]]:
    came = run(program, write_bench(tmp_path, BENCH.format(machine=machine, more=more)), tool=1)
    texts = [record["text"] for record in came.records("finding")]
    assert not any("defect" in text for text in texts), texts
    return came.exit, came.output.decode(), texts


@pytest.mark.parametrize(("more", "height"), [(SPINDLE, "5.2"), (SPINDLE + STOCK, "11.0")])
def test_out_of_an_unknown_height_nothing_dives_into_the_stock(tmp_path: Path, more: str, height: str) -> None:
    """Only the spindle, 60 mm above the tip, passes over the pin: the way needs a tip height of -54.8, which nobody may
    be sent to. Instead everything is cleared: the pin by 5.2, or the stock's top by 1 mm."""
    program = "G0 X0 Y-20\nT2 M6\nG0 X30\nG0 Z20\nG1 Z19\nM30\n"
    status, output, _ = outcome(tmp_path, program, SAME, more)
    assert status == 0
    assert output == program.replace("G0 X30\n", f"G0 Z{height}\nG0 X30\n")


def test_a_cycle_that_may_return_to_either_level_states_the_height_before_it_goes_across(tmp_path: Path) -> None:
    """Without G98 or G99 the tool may stand at Z10 or at Z2 after a hole; across the pin it must be at 5.2."""
    for cycle in ("G81 X6 Y0 Z-3 R2", "G89 X6 Y0 Z-3 R2 P0.2"):
        program = f"G0 X0 Y0\nG0 Z10\n{cycle}\nX6 Y10\nG80\nM30\n"
        status, output, _ = outcome(tmp_path, program)
        assert status == 0
        assert "\nG0 Z10.0\nG0 X6.0 Y10.0\n" in output
        said = program.replace("G8", "G98 G8", 1)
        assert outcome(tmp_path, said)[1] == said


def test_such_a_cycle_in_increments_asks_for_a_word(tmp_path: Path) -> None:
    status, _, texts = outcome(tmp_path, "G0 X6 Y0\nG0 Z10\nG91 G81 X0 Y0 Z-5 R-8\nY10\nG80\nM30\n")
    assert status == 3 and "write G98 or G99" in texts[0]


def test_the_way_to_a_hole_in_another_plane_need_not_be_level(tmp_path: Path) -> None:
    """In G19 a hole is drilled along X: Y and Z lead to it at once, down beside the pin and through it."""
    program = "G0 X6 Y-20\nG0 Z30\nG19\nG98 G81 X5 Y12 Z1 R6\nG80\nM30\n"
    status, _, texts = outcome(tmp_path, program)
    assert status == 3 and "write the holes as plain moves" in texts[0]


@pytest.mark.parametrize("block", ["G92 Z5", "G10 L20 P1 Z5", "G28.1", "G30.1"])
def test_no_lift_shifts_a_zero_or_a_home(tmp_path: Path, block: str) -> None:
    """At an unknown XY the tool must stay above everything, so a block that takes its height would take another one."""
    program = f"T2\nG0 Z1\n{block}\nM30\n"
    status, _, texts = outcome(tmp_path, program, 'start = "high"')
    assert status == 3 and "takes the height of the tool" in texts[0]
    assert outcome(tmp_path, program.replace("Z1", "Z8"), 'start = "high"')[:2] == (0, program.replace("Z1", "Z8"))


def test_a_slope_out_of_a_height_that_is_only_known_to_be_high_comes_down_at_its_end(tmp_path: Path) -> None:
    """The first Z is no plain number and cannot be raised, so the tool stays high. The way that follows runs straight
    past the pin at Z2, but out of an unknown height it may be anywhere between its ends: it goes across first."""
    program = "#1=1\nG0 X30 Y30 Z[#1+1]\nG0 X0 Y-20 Z[#1+1]\nG1 Z-1\nG0 Z40\nM30\n"
    status, output, _ = outcome(tmp_path, program, 'start = "high"\nrapid_path = "straight"')
    assert status == 0
    assert output == "#1=1\nG0 X30 Y30\nG0 X0 Y-20\nG0 Z[#1+1]\nG1 Z-1\nG0 Z40\nM30\n"


def test_where_a_way_home_may_take_z_along_nothing_is_known_of_it_afterwards(tmp_path: Path) -> None:
    """G30 Y0 homes Y alone or everything: behind it the tool stands at the height that was put in, or high."""
    homes = 'home = [-10.0, -10.0, 75.0]\nhome2 = [-10.0, 40.0, 75.0]\nhome_axes = "unknown"'
    program = "G0 X0 Y0\nZ30\nT1 M6\nG30 Y0\nG28 X0 Y20\nM30\n"
    status, output, _ = outcome(tmp_path, program, homes)
    assert status == 0
    assert output == "G0 Z5.2\n" + program.replace("G30", "G0 Z5.2\nG30").replace("G28", "G0 Z5.2\nG28")


POST = '[[obstacles]]\nname = "post"\nshape = "box"\ncenter = [6.0, 150.0]\nsize = [20.0, 20.0]\ntop = 18.0\n'


@pytest.mark.parametrize("said", ["", "G98 "])
def test_a_series_of_holes_that_begins_below_its_r_level_and_goes_on_with_a_lower_one(
        tmp_path: Path, said: str) -> None:
    """The first hole is led to at R40, so G98 would return to 40 from then on; the program returns to R20 after the
    second hole, which is stated anew for that. The third returns to R40 either way and stays."""
    head = "G0 X10 Y-10 Z2\nM3 S100\n"
    first, second, third = f"{said}G84 X-.5 Y300 Z-4 R40 F60\n", "G89 X10 Y1 Z-3 R20 P.2\n", "X20 R40\n"
    status, output, texts = outcome(tmp_path, head + first + second + third + "G80\nM30\n", more=POST)
    assert status == 0, texts
    assert output == (head + f"G0 F60 Z40.0\nG0 X-0.5 Y300.0\n{said}G84 X-0.5 Y300.0 Z-4.0 R40.0\n"
                      f"G0 X10.0 Y1.0\nG0 Z20.0\n{said}G89 X10.0 Y1.0 Z-3.0 R20.0 P0.2\n" + third + "G80\nM30\n")
    assert outcome(tmp_path, output, more=POST)[1] == output


def test_another_series_behind_one_that_was_led_to_begins_as_the_program_has_it(tmp_path: Path) -> None:
    head = "G0 X10 Y-10 Z2\nM3 S100\nG98 G84 X-.5 Y300 Z-4 R40 F60\nG80\n"
    tail = "G0 Z2\nG89 X10 Y310 Z-3 R20 P.2\nX20 R10\nG80\nM30\n"
    status, output, texts = outcome(tmp_path, head + tail, more=POST)
    assert status == 0, texts
    assert output.endswith("\nG80\n" + tail) and output != head + tail


@pytest.mark.parametrize("still", ["G1 Z0.5", "G1 X3 Y0", "F90"])
def test_a_cut_that_leads_nowhere_is_none_from_another_height_either(tmp_path: Path, still: str) -> None:
    """Across the pin at 5.2 mm, and down again before the block that would cut from there; and then back again."""
    program = f"G0 X3 Y0\nG0 Z0.5\nG0 X9 Y10\nG1 Z0.5 F60\nG0 X3 Y0\n{still}\nM30\n"
    status, output, texts = outcome(tmp_path, program)
    assert status == 0, texts
    assert "\nG0 Z0.5\nG1 Z0.5 F60\n" in output and outcome(tmp_path, output)[1] == output


def test_a_cut_that_leads_nowhere_from_a_height_that_was_raised_at_an_unknown_place(tmp_path: Path) -> None:
    status, output, texts = outcome(tmp_path, "G0 Z0.5\nG1 Z0.5 F60\nM30\n", "")
    assert status and not output
    assert any("a cut that leads nowhere" in text or "where the tool is not known" in text for text in texts), texts
