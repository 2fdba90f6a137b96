"""What the user reads on standard error."""

import datetime

import pytest

from gcode_guard.record.findings import Finding
from gcode_guard.record.summary import MOST_REASONS, Summary, duration, length, reason, refusal, summary_paragraph

TODAY = datetime.date(2026, 3, 20)


def paragraph(verdict="repaired", status=0, **more) -> str:
    known = {"blocks": 1214, "rapids": 37, "cuts": 160, "changes": 4, "findings": 0, "obstacles": 6} | more
    return summary_paragraph(Summary("door.nc", verdict, status, **known), today=TODAY)


def test_a_repaired_program():
    text = paragraph(added_s=3.21, rapid_s=95.0, assumptions=3)
    assert "\n" not in text
    assert text.startswith("door.nc: repaired. 1,214 blocks read; 37 rapids and 160 cuts checked against 6 obstacles.")
    assert "4 blocks changed" in text and "adds about 3.2 s to 1 min 35 s of rapids" in text
    assert "3 things were taken as given" in text
    assert "Not checked: the gantry's beam, the Z plate, hoses and cables." in text
    assert "Cutter only" not in text
    assert text.endswith("run the first part in the air, with a hand on the stop.")


def test_a_program_that_is_safe_as_it_is():
    text = paragraph("safe", changes=0)
    assert "door.nc: safe as it is." in text and "Nothing was changed." in text
    assert "with a hand on the stop" in text


def test_a_refused_program_says_that_nothing_was_written_and_claims_no_check():
    text = paragraph("refused", 3)
    assert "refused; no program was written" in text
    assert "changed" not in text and "checked against" not in text
    assert "with a hand on the stop" in text


def test_cutter_only_is_said_where_no_spindle_was_modelled():
    assert "Cutter only: the collet nut, the spindle and the dust shoe were not checked" in paragraph(cutter_only=True)


@pytest.mark.parametrize(("units", "shown"), [("mm", "22.225 mm"), ("inch", "0.875 in")])
def test_the_highest_z_is_shown_where_no_reach_limits_it(units, shown):
    text = paragraph(highest_written_z=22.225, units=units)
    assert f"The highest Z written is {shown}" in text and "reach" in text
    assert "highest Z" not in paragraph()


@pytest.mark.parametrize(
    ("date", "shown"),
    [
        (datetime.date(2026, 3, 20), "The bench was measured today."),
        (datetime.date(2026, 3, 19), "The oldest measurement of the bench is 1 day old."),
        (datetime.date(2025, 3, 20), "The oldest measurement of the bench is 365 days old."),
        (datetime.date(2026, 3, 21), "still to come"),
    ],
)
def test_the_age_of_the_oldest_measurement(date, shown):
    assert shown in paragraph(oldest_measured_on=date)


def test_a_name_cannot_clear_the_screen():
    assert "\x1b" not in summary_paragraph(Summary("a\x1b[2J.nc", "safe", 0, 1, 1, 0, 0, 0), today=TODAY)


def test_one_of_anything_is_not_many():
    text = paragraph(blocks=1, rapids=1, cuts=1, changes=1, findings=1, obstacles=1, assumptions=1)
    assert "1 block read; 1 rapid and 1 cut checked against 1 obstacle." in text
    assert "1 block changed" in text and "1 finding " in text and "1 thing was taken" in text


def test_a_reason_names_the_line_what_it_is_and_what_to_do():
    hole = Finding(
        31, "cut-contact", "the hole goes 4 mm into left clamp", "left clamp", 4.0, "move it 12 mm to the left"
    )
    assert reason(hole) == "line 31: the hole goes 4 mm into left clamp; move it 12 mm to the left"


def test_reasons_stand_in_the_order_of_the_program_each_once_and_not_without_end():
    def finding(line: int) -> Finding:
        return Finding(line, "not-understood", "G5 is not known")

    assert refusal([finding(9), finding(2), finding(9)]) == "line 2: G5 is not known\nline 9: G5 is not known"
    lines = refusal(finding(line) for line in range(1, MOST_REASONS + 4)).splitlines()
    assert len(lines) == MOST_REASONS + 1 and lines[-1].startswith("and 3 more reasons")


@pytest.mark.parametrize(("time", "shown"), [(0.04, "0.0 s"), (9.96, "10 s"), (59.6, "1 min 0 s"), (200, "3 min 20 s")])
def test_durations(time, shown):
    assert duration(time) == shown


def test_lengths_in_the_units_of_the_setup():
    assert length(25.4 * 13 / 16, "inch") == "0.8125 in"
    assert length(18.0, "mm") == "18 mm"
