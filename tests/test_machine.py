"""The machine around the tool: spindle, shoe, undercut tools, motions of its own, rapids in the material."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.guarding import Guarded, run, write_bench
from tests.repair.test_tables import AWAY, BENCH, KNOWN

PROGRAM = AWAY + "G0 Z5\nG0 X200\nG0 Z1\nG1 Z-1\nM30\n"
FAR = PROGRAM.replace("Y100", "Y60")  # 30 mm beside the clamp's edge: the cutter passes, a wide nut does not


def guard(folder: Path, program: str, more: str = "", machine: str = KNOWN, **replaced: str) -> Guarded:
    text = BENCH.format(machine=machine) + more
    for old, new in replaced.items():
        text = text.replace(old.replace("_", " "), new)
    return run(program, write_bench(folder, text))


def heights(came: Guarded) -> list[float]:
    return [change["written_z_mm"] for change in came.records("change")]


def test_a_wide_nut_is_lifted_for(tmp_path: Path) -> None:
    """A nut of 80 mm 5 mm above the tip (length 5) must stay above 23: the tip at 18. The cutter alone passes."""
    start = KNOWN.replace("100.0, 30", "60.0, 30")
    assert guard(tmp_path, FAR, machine=start).records("change") == []
    nut = "\n[spindle]\nsections = [{ diameter = 80.0, height = 100.0 }]\n"
    came = guard(tmp_path, FAR, nut, start, **{"length_= 40.0": "length = 5.0"})
    assert came.exit == 0 and heights(came) == [18.0]


def test_a_hard_shoe_counts_and_a_soft_one_is_only_reported(tmp_path: Path) -> None:
    """A shoe of 80 mm 35 mm below the face of a 40 mm tool, so 5 mm above the tip."""
    shoe = ("\n[spindle]\nsections = [{{ diameter = 10.0, height = 100.0 }}]\n"
            "shoe = {{ diameter = 80.0, bottom = 35.0, soft = {} }}\n")
    start = KNOWN.replace("100.0, 30", "60.0, 30")
    assert heights(guard(tmp_path, FAR, shoe.format("false"), start)) == [18.0]
    soft = guard(tmp_path, FAR, shoe.format("true"), start)
    assert soft.exit == 0 and soft.records("change") == []
    assert any(record["kind"] == "close" and "bristles" in record["text"] for record in soft.records("finding"))


@pytest.mark.parametrize("start", ["[0.0, 60.0, 30.0]", '"high"'])
def test_no_lift_takes_over_a_shoe_that_stays_with_the_gantry(tmp_path: Path, start: str) -> None:
    shoe = ("\n[spindle]\nsections = [{ diameter = 10.0, height = 100.0 }]\n"
            "shoe = { diameter = 80.0, rides_at = 10.0 }\n")
    came = guard(tmp_path, FAR, shoe, re.sub("start = .*", f"start = {start}", KNOWN))
    assert came.exit == 3
    assert any(record["obstacle"] == "clamp" and "shoe" in record["text"] for record in came.records("finding"))


SLOT_CUTTER = {"diameter_= 6.0": "sections = [{ diameter = 6.0, height = 3.0 }, { diameter = 3.0, height = 30.0 }]"}


def test_an_undercut_tool_is_not_raised_in_the_material(tmp_path: Path) -> None:
    in_the_slot = AWAY + "G0 X200\nG0 Z30\nM30\n"
    assert guard(tmp_path, in_the_slot).exit == 0
    came = guard(tmp_path, in_the_slot, **SLOT_CUTTER)
    assert came.exit == 3 and any("wider below" in record["text"] for record in came.records("finding"))
    free = guard(tmp_path, AWAY + "G1 Z5\nG0 X200\nG0 Z1\nM30\n", **SLOT_CUTTER)
    assert free.exit == 0 and free.records("change")


@pytest.mark.parametrize(("mode", "height", "status"), [
    ("any", 5, 3), ("any", 23, 0), ("z-first", 5, 0), ("none", 5, 0)])
def test_motions_of_the_machines_own(tmp_path: Path, mode: str, height: float, status: int) -> None:
    machine = KNOWN + f'\nown_motion = {{ M6 = "{mode}" }}'
    came = guard(tmp_path, f"G0 Z{height}\nT1 M6\nM30\n", machine=machine)
    assert came.exit == status
    assert any(record["about"] == "M6" for record in came.records("assumption")) == (mode != "none")


def test_a_rapid_in_the_material_is_reported(tmp_path: Path) -> None:
    came = guard(tmp_path, "G0 X10 Y20\nG0 Z2\nG1 Z-3 F100\nG0 X30\nG0 Z30\nM30\n")
    assert came.exit == 0 and (4, "in-stock") in came.findings
    assert guard(tmp_path, "G0 X10 Y20\nG0 Z2\nG0 X30\nG0 Z30\nM30\n").findings == []


def test_a_stated_path_tolerance_widens_the_clearance(tmp_path: Path) -> None:
    """G64 P2 instead of the 1 mm of corner rounding: 24 mm instead of 23; none under G61: 22."""
    for mode, height in (("G64 P2.0", 24.0), ("G61", 22.0), ("G64", 23.0)):
        assert heights(guard(tmp_path, f"{mode}\n{PROGRAM}")) == [height]


def test_a_start_above_the_ceiling_is_gone_across_from_and_never_returned_to(tmp_path: Path) -> None:
    """The tool stands at 40 mm, the machine is said to end at 30: going across where it stands is no move in Z."""
    machine = "start = [0.0, 100.0, 40.0]\nreach = { x = [-20.0, 620.0], y = [-20.0, 220.0], z = [-20.0, 30.0] }"
    came = guard(tmp_path, "G0 X200 Z5\nG1 Z-1 F100\nM30\n", machine=machine)
    assert came.exit == 0
    assert came.output.decode() == "G0 X200\nG0 Z5\nG1 Z-1 F100\nM30\n"
    up_again = guard(tmp_path, "G0 X200 Z5\nG1 Z-1 F100\nG0 Z40\nM30\n", machine=machine)
    assert up_again.exit == 3 and (3, "out-of-reach") in up_again.findings


@pytest.mark.parametrize(("arc", "axis"), [
    ("G3 X600 Y140 I0 J20 F100", ""),  # out to X 620 and no farther
    ("G3 X600 Y144 I0 J22 F100", "X"),
    ("G3 I15 J0 F100", "X"),
    ("G1 Y215 F100\nG3 X580 I-10 J0", "Y"),
    ("G18 G2 X576 Z10 I-12 K0 F100", "Z"),
    ("G18 G3 X576 Z10 I-12 K0 F100", ""),
])
@pytest.mark.parametrize("mode", ["", "G64\n"], ids=["many at once", "block by block"])
def test_an_arc_that_bulges_out_of_the_reach_is_refused(tmp_path: Path, arc: str, axis: str, mode: str) -> None:
    machine = "start = [0.0, 100.0, 20.0]\nreach = { x = [-20.0, 620.0], y = [-20.0, 220.0], z = [-20.0, 20.0] }"
    came = guard(tmp_path, f"G0 X600 Y100 Z10\n{mode}{arc}\nM30\n", machine=machine)
    told = [record["text"] for record in came.records("finding") if record["kind"] == "out-of-reach"]
    assert came.exit == (3 if axis else 0)
    assert [text[0] for text in told] == list(axis)


def test_a_cycle_that_starts_below_a_high_r_level(tmp_path: Path) -> None:
    """By the report it goes up to R before it goes across, so the way put in before it is no lower than R."""
    came = guard(tmp_path, AWAY + "G0 Z5\nG98 G81 X200 Y100 Z-2 R30\nG80\nM30\n")
    assert came.exit == 0, came.findings
    assert "G0 Z30.0\nG0 X200.0 Y100.0\n" in came.output.decode()


RIDING = "\n[spindle]\nsections = [{ diameter = 10.0, height = 100.0 }]\nshoe = { diameter = 80.0, rides_at = 10.0 }\n"
POST = ('\n[[obstacles]]\nname = "post"\nshape = "cylinder"\ncenter = [150.0, 100.0]\ndiameter = 10.0\ntop = 60.0\n')


def test_nothing_stands_above_everything_under_a_shoe_that_stays_with_the_gantry(tmp_path: Path) -> None:
    """The tool is 80 mm up, the shoe at 10 where the clamp is 18 high: M6 may not go anywhere."""
    program, machine = "T1 M6\nM30\n", 'start = [0.0, 100.0, 80.0]\nown_motion = { M6 = "any" }'
    assert guard(tmp_path, program, machine=machine).exit == 0
    assert guard(tmp_path, program, RIDING, machine).exit == 3


def test_no_level_of_a_traverse_at_feed_passes_a_shoe_that_stays_with_the_gantry(tmp_path: Path) -> None:
    program = AWAY + "G1 Z5\nG1 X200 F900\nG1 Z-1\nM30\n"
    for repair in ("", "\n[repair]\nair_feeds = true\n"):
        came = guard(tmp_path, program, RIDING + repair)
        assert came.exit == 3
        texts = [record["text"] for record in came.records("finding") if record["kind"] == "cut-contact"]
        assert texts and all("no level passes" in text or "level" not in text for text in texts)
        assert not any("inf" in text for text in texts)


def test_an_undercut_tool_is_mended_from_where_it_comes_free(tmp_path: Path) -> None:
    """The program's own retract stays as it is: only above the stock is the slot cutter known to be free."""
    came = guard(tmp_path, AWAY + "G0 Z5\nG0 X200\nG0 Z1\nG1 Z-1\nM30\n", **SLOT_CUTTER)
    assert came.exit == 0, came.findings
    assert came.output.decode() == AWAY + "G0 Z5\nG0 Z23.0\nG0 X200\nG0 Z1\nG1 Z-1\nM30\n"


def test_a_refusal_names_the_obstacle_that_needs_the_height_and_not_one_that_a_lift_clears(tmp_path: Path) -> None:
    """The clamp needs 23 mm, the post 65 and the machine ends at 40."""
    machine = KNOWN + "\nreach = { x = [-20.0, 620.0], y = [88.0, 112.0], z = [-20.0, 40.0] }"
    came = guard(tmp_path, PROGRAM, POST, machine)
    assert came.exit == 3
    assert [record["obstacle"] for record in came.records("finding")] == ["post"]


@pytest.mark.parametrize("soft", ["true", "false"])
def test_a_shoe_that_rides_with_the_gantry_is_led_round_and_its_bristles_bar_no_way(tmp_path: Path, soft: str) -> None:
    """The clamp needs 23 mm and the machine ends at 20: led round by 8 mm under bristles, by 45 mm with a hard shoe."""
    machine = "start = [0.0, 100.0, 20.0]\nreach = { x = [-20.0, 620.0], y = [-20.0, 220.0], z = [-20.0, 20.0] }"
    came = guard(tmp_path, PROGRAM, RIDING.replace("rides_at", f"soft = {soft}, rides_at"), machine)
    assert came.exit == 0 and "detour" in [change["kind"] for change in came.records("change")]
    assert (b"Y44.99" in came.output) == (soft == "false")


def test_without_stock_it_is_not_said_that_an_undercut_tool_stands_in_the_material(tmp_path: Path) -> None:
    text = BENCH.format(machine=KNOWN)
    without = text[: text.index("[stock]")] + text[text.index("[machine]") :]
    for old, new in SLOT_CUTTER.items():
        without = without.replace(old.replace("_", " "), new)
    came = run(AWAY + "G1 Z5\nG0 X200\nG0 Z1\nM30\n", write_bench(tmp_path, without))
    (told,) = [record["text"] for record in came.records("finding")]
    assert came.exit == 3 and "may stand in the material (without [stock] that is not known)" in told
    assert told.endswith("give [stock] in the setup, so that it is known where the tool is free")
