"""The log as a script that reads it meets it."""

import io
import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gcode_guard.record.findings import Assumption, Change, Finding, Run, safe_text
from gcode_guard.record.log import LogSpool, log_line, millimetres_rounded_up
from gcode_guard.record.summary import Summary

RUN = Run(version="1.2", program="door.nc", program_sha256="ab" * 32, setup_sha256="cd" * 32)
SUMMARY = Summary("door.nc", "repaired", 0, blocks=9, rapids=4, cuts=3, changes=1, findings=2, rapid_s=12.3456789)
CHANGE = Change(
    line=12,
    kind="lift",
    obstacles=("left clamp",),
    programmed_z=5.0,
    needed_z=22.0000004,
    written_z=22.001,
    before=(b"G0 X10\r\n",),
    after=(b"G0 Z22.001\r\n", b"G0 X10\r\n"),
    added_s=math.nan,
)
FINDING = Finding(7, "cut-contact", "the cutter runs into left clamp", "left clamp", math.inf, "move the clamp")
ASSUMPTION = Assumption("start", "the tool may be anywhere")

# The keys that the contract gives for each record, in its order.
KEYS = {
    "run": ["record", "tool", "version", "program", "program_sha256", "setup_sha256"],
    "assumption": ["record", "about", "text"],
    "change": [
        *("record", "line", "kind", "obstacles", "programmed_z_mm", "needed_z_mm", "written_z_mm"),
        *("before", "after", "added_s"),
    ],
    "finding": ["record", "line", "kind", "obstacle", "by_mm", "text"],
    "summary": [
        *("record", "verdict", "exit", "blocks", "rapids", "cuts", "changes", "findings", "rapid_s", "added_s"),
    ],
}


def strictly(line: bytes) -> dict:
    """`line` read by a reader that takes JSON alone (RFC 8259 knows no NaN and no infinity)."""

    def refuse(name: str) -> None:
        raise AssertionError(f"{name} is not JSON")

    return json.loads(line, parse_constant=refuse)


def test_a_log_has_run_first_and_summary_last_and_the_keys_of_the_contract():
    out = io.BytesIO()
    with LogSpool() as spool:
        for record in (ASSUMPTION, CHANGE, FINDING):
            spool.add(record)
        spool.write_to(out, RUN, SUMMARY)
    records = [strictly(line) for line in out.getvalue().splitlines()]
    assert [record["record"] for record in records] == ["run", "assumption", "change", "finding", "summary"]
    for record in records:
        assert list(record) == KEYS[record["record"]]
    assert records[0]["tool"] == "gcode-guard"
    assert records[2]["before"] == ["G0 X10"] and records[2]["after"] == ["G0 Z22.001", "G0 X10"]
    assert records[3]["text"] == "the cutter runs into left clamp; move the clamp"
    assert records[4]["rapid_s"] == 12.346 and records[4]["added_s"] is None


def test_what_is_not_a_number_is_null():
    assert strictly(log_line(CHANGE))["added_s"] is None
    assert strictly(log_line(FINDING))["by_mm"] is None


@given(st.floats(-1e4, 1e4))
def test_a_needed_height_is_never_logged_lower_than_it_is(height):
    shown = millimetres_rounded_up(height)
    assert shown is not None
    # The policy of log.py: 1e-7 mm below is noise; at most one unit of the sixth decimal above.
    assert height - 1e-7 - 1e-9 <= shown <= height + 1e-6 + 1e-9
    assert f"{shown:.6f}" == f"{round(shown, 6):.6f}" and shown == round(shown, 6)


@pytest.mark.parametrize(
    ("height", "shown"),
    [(22.0000004, 22.000001), (22.000000000000004, 22.0), (-3.0000009, -3.0), (-0.0, 0.0), (20.638, 20.638)],
)
def test_needed_heights_by_hand(height, shown):
    assert millimetres_rounded_up(height) == shown


@pytest.mark.parametrize(
    ("block", "shown"),
    [
        (b"(T\xfcr 7)\r\n", "(T\\xfcr 7)"),
        ("(Tür 7)".encode(), "(Tür 7)"),
        (b"G0 X1 (\x1b[2J)", "G0 X1 (\x1b[2J)"),
        (b"\xff\xfe\x00", "\\xff\\xfe\x00"),
    ],
)
def test_a_block_of_any_bytes_stands_in_the_log(block, shown):
    line = log_line(Change(1, "lift", (), None, None, None, (block,), ()))
    assert strictly(line)["before"] == [shown]
    assert line.isascii() and line.count(b"\n") == 1 and b"\x1b" not in line


def test_a_file_name_that_is_not_text_stands_in_the_log():
    name = b"t\xfcr.nc".decode("utf-8", "surrogateescape")
    assert strictly(log_line(Run("1", name, "", "")))["program"] == "t\\xfcr.nc"


@given(st.one_of(st.text(), st.binary()))
def test_safe_text_holds_nothing_that_a_terminal_obeys(raw):
    shown = safe_text(raw)
    assert all(character.isprintable() or character == "\t" for character in shown)


def test_safe_text_escapes_marks_that_turn_the_reading_direction():
    assert safe_text("left\u202eclamp\x1b[31m") == "left\\u202eclamp\\x1b[31m"
    assert safe_text("Türpfosten") == "Türpfosten"


@given(st.lists(st.text(max_size=8), max_size=3), st.lists(st.binary(max_size=12), max_size=3),
       st.floats() | st.none(), st.sampled_from(["lift", "split", "detour"]))
def test_a_change_is_written_as_json_itself_would_write_it(names, blocks, number, kind):
    change = Change(3, kind, tuple(names), number, number, number, tuple(blocks), tuple(blocks), number)
    line = log_line(change)
    record = strictly(line)
    assert json.dumps(record).encode() + b"\n" == line
    assert list(record) == KEYS["change"] and record["obstacles"] == names and record["line"] == 3
