"""The diff against what `patch` (POSIX, here GNU's) makes of it."""

import io
import re
import subprocess
import tempfile
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from gcode_guard.record.diff import SPOOL_LIMIT, DiffWriter, split_lines

# Lines that a careless reader of diffs could take for something else, next to ordinary blocks.
LINES = st.one_of(
    st.sampled_from([b"", b"\r", b"-", b"+", b" ", b"@@ -1,3 +1,3 @@", b"--- a/x", b"+++ b/x", b"\\ No newline", b"%"]),
    st.sampled_from([b"G0 X10 Y20", b"G0X10Y20\r", b"(T\xfcr)", b"\xff\xfe", b"N10 G1 Z-3", b"diff -u x y", b"1d"]),
    st.binary(max_size=6).map(lambda raw: raw.replace(b"\n", b"")),
)
SAME = st.tuples(st.just("same"), st.lists(LINES, max_size=16))
CHANGED = st.tuples(st.just("change"), st.tuples(st.lists(LINES, max_size=4), st.lists(LINES, max_size=4)))


def told(parts, last_newline: bool, bulk: bool) -> tuple[bytes, bytes, bytes]:
    """The old text, the new text and the diff, for a list of (what, lines); the last line is the same in both ends."""
    steps = []
    for what, lines in parts:
        if what == "same":
            steps.append(([line + b"\n" for line in lines],) * 2)
        else:
            steps.append(tuple([line + b"\n" for line in side] for side in lines))
    if not last_newline:
        for side in (0, 1):  # the last line of either text loses its line feed, where it has something else
            owners = [number for number, step in enumerate(steps) if step[side]]
            if owners and len(steps[owners[-1]][side][-1]) > 1:
                step = [list(lines) for lines in steps[owners[-1]]]
                step[side][-1] = step[side][-1][:-1]
                steps[owners[-1]] = tuple(step)
    out = io.BytesIO()
    writer = DiffWriter(out)
    for old, new in steps:
        if old != new:
            writer.change(old, new)
        elif bulk:
            writer.same_bulk(b"".join(old), len(old))
        else:
            for line in old:
                writer.same(line)
    writer.finish()
    old_text, new_text = (b"".join(line for step in steps for line in step[side]) for side in (0, 1))
    return old_text, new_text, out.getvalue()


def patched(old: bytes, diff: bytes) -> bytes:
    """What `patch` makes of `old`."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "program").write_bytes(old)
        (folder / "changes").write_bytes(diff)
        command = ["patch", "--quiet", "--fuzz=0", "--posix", "--output=result", "--input=changes", "program"]
        run = subprocess.run(command, cwd=folder, capture_output=True, check=False)
        assert run.returncode == 0, run.stdout + run.stderr
        return (folder / "result").read_bytes()


@given(st.lists(st.one_of(SAME, CHANGED), max_size=8), st.booleans(), st.booleans())
@example([("change", ([b"G0 X1"], [b"G0 Z5", b"G0 X1"]))], False, False)
@example([("same", [b"%"] * 9), ("change", ([], [b"G0 Z9."])), ("same", [b"G1 X1"] * 20)], True, True)
@example([("change", ([b"a"], [])), ("same", [b"b"] * 7), ("change", ([b"c"], [b"d"]))], False, True)
@example([("change", ([b"a", b"b"], [])), ("change", ([b"c"], [b"a", b"b", b"c"]))], True, False)  # nothing, in the end
def test_patch_makes_the_new_text_of_the_old_one(parts, last_newline, bulk):
    old, new, diff = told(parts, last_newline, bulk)
    if all(what == "same" for what, _ in parts):
        assert diff == b""
    if not diff:
        assert old == new
    elif new:  # where nothing is left, patch removes the file: no case of ours
        assert patched(old, diff) == new


@given(st.lists(st.one_of(SAME, CHANGED), max_size=8), st.booleans())
def test_a_stretch_told_at_once_gives_the_same_diff_as_line_by_line(parts, last_newline):
    assert told(parts, last_newline, bulk=True)[2] == told(parts, last_newline, bulk=False)[2]


EDITS = st.lists(st.tuples(st.integers(0, 9), st.lists(LINES, max_size=3), st.booleans()), max_size=6)


@given(st.lists(st.tuples(st.lists(LINES, max_size=12), EDITS), max_size=4), st.booleans())
@example([([b"G1 X%d" % k for k in range(30)], [(9, [b"G0 Z9"], True), (9, [], False), (7, [b"G0"], True)])], True)
def test_lines_with_edits_told_at_once_give_the_same_diff_as_one_by_one(batches, last_newline):
    """Each edit: how many lines after the one before, what is new, and whether the line itself stays in it."""
    texts = [[line + b"\n" for line in lines] for lines, _ in batches]
    if not last_newline and texts and texts[-1] and texts[-1][-1] != b"\n":
        texts[-1][-1] = texts[-1][-1][:-1]
    at_once, one_by_one = io.BytesIO(), io.BytesIO()
    all_at_once, each = DiffWriter(at_once), DiffWriter(one_by_one)
    for lines, (_, drawn) in zip(texts, batches, strict=True):
        edits, place = [], -1
        for gap, new, stays in drawn:
            place += gap + 1
            if place < len(lines) - (not last_newline):
                edits.append((place, [line + b"\n" for line in new] + [lines[place]] * stays))
        all_at_once.edited(lines, edits)
        news = dict(edits)
        for number, line in enumerate(lines):
            if number in news:
                each.change([line], news[number])
            else:
                each.same(line)
    all_at_once.finish()
    each.finish()
    assert at_once.getvalue() == one_by_one.getvalue()


def test_three_lines_of_context_and_near_changes_share_a_hunk():
    """Context and merging as POSIX `diff -u` has them."""
    lines = [b"%d\n" % number for number in range(1, 31)]
    out = io.BytesIO()
    writer = DiffWriter(out)
    writer.same_bulk(b"".join(lines[:9]))
    writer.change([lines[9]], [b"ten\n"])
    writer.same_bulk(b"".join(lines[10:16]))
    writer.change([], [b"new\n"])
    writer.same_bulk(b"".join(lines[16:23]))
    writer.change([lines[23]], [])
    writer.same_bulk(b"".join(lines[24:]))
    writer.finish()
    headers = re.findall(rb"^@@.*$", out.getvalue(), re.M)
    # Lines 7 to 19 hold changes 6 lines apart; 7 lines are too many, so 24 has a hunk of its own.
    assert headers == [b"@@ -7,13 +7,14 @@", b"@@ -21,7 +22,6 @@"]
    assert out.getvalue().startswith(b"--- before\n+++ after\n@@ ")


def test_edits_far_apart_have_hunks_of_their_own_also_where_they_come_in_batches():
    lines = [b"%d\n" % number for number in range(1, 41)]
    out = io.BytesIO()
    writer = DiffWriter(out)
    writer.edited(lines[:20], [(9, [b"ten\n"]), (17, [b"18\n", b"and\n"])])
    writer.edited(lines[20:], [(1, [b"22a\n"]), (10, [b"before\n", b"31\n"])])
    writer.finish()
    headers = re.findall(rb"^@@.*$", out.getvalue(), re.M)
    assert headers == [b"@@ -7,7 +7,7 @@", b"@@ -16,10 +16,11 @@", b"@@ -28,6 +29,7 @@"]


def test_what_did_not_change_within_a_change_is_context():
    out = io.BytesIO()
    writer = DiffWriter(out)
    writer.change([b"G0 X5\r\n"], [b"G0 Z9.0\r\n", b"G0 X5\r\n", b"G0 Z5.0\r\n"])
    writer.finish()
    assert out.getvalue() == b"--- before\n+++ after\n@@ -1,1 +1,3 @@\n+G0 Z9.0\r\n G0 X5\r\n+G0 Z5.0\r\n"


def test_a_hunk_longer_than_memory_is_allowed_still_applies():
    old = [b"G0 X%d.5 Y0. (%s)\n" % (number, b"x" * 40) for number in range(SPOOL_LIMIT // 40)]
    new = [line if number % 2 else b"G0 Z9.\n" + line for number, line in enumerate(old)]
    out = io.BytesIO()
    writer = DiffWriter(out)
    for one, other in zip(old, new, strict=True):
        if one == other:
            writer.same(one)
        else:
            writer.change([one], split_lines(other))
    writer.finish()
    assert out.getvalue().count(b"\n@@ ") == 1 and len(out.getvalue()) > SPOOL_LIMIT
    assert patched(b"".join(old), out.getvalue()) == b"".join(new)


def test_a_line_after_the_last_one_is_a_mistake_of_the_caller():
    writer = DiffWriter(io.BytesIO())
    writer.same(b"M30")
    with pytest.raises(ValueError, match="without a line feed"):
        writer.same(b"M2\n")


@given(st.binary(max_size=60))
def test_split_lines_loses_nothing(data):
    lines = split_lines(data)
    assert b"".join(lines) == data
    assert all(line.endswith(b"\n") for line in lines[:-1]) and b"" not in lines
