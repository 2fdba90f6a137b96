"""Subprograms: O words, M98 with P and L, M99 (common practice on router controls; the report has none)."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.guarding import Guarded, run, write_bench
from tests.language.reading import read, read_any, refused

BODY = "O100\nG91 G0 X5\nG90\nM99\n"


def nested(levels: int) -> str:
    """A program whose calls go so many levels deep; the deepest body moves to X7."""
    bodies = "".join(f"O{n}\nM98 P{n + 1}\nM99\n" for n in range(1, levels))
    return f"M98 P1\nM30\n{bodies}O{levels}\nG0 X7\nM99\n"


# Where bodies stand, and what a call does ------------------

@pytest.mark.parametrize("program", [
    "G0 X1\nM98 P100\nY1\nM30\n" + BODY,
    BODY + "G0 X1\nM98 P100\nY1\nM30\n",
    BODY + "O1\nG0 X1\nM98 P100\nY1\nM30\n",
    "%\nO1 (door)\nN10 G0 X1\nN20 M98 P100\nN30 Y1\nM2\n(inner)\n" + BODY + "%\n",
    "G0 X1\nm 98 p0 100\nY1\nM30\n" + BODY.replace("O100", "N5 O0100 (groove)").replace("M99", "N9 m99 ;back"),
])
def test_bodies_stand_before_or_behind_the_main_program(program: str) -> None:
    assert [end[:2] for _, end in read(program).path] == [(1, 0), (6, 0), (6, 1)]


def test_a_call_is_repeated() -> None:
    assert read("G0 X0.5\nM98 P100 L3\nM30\n" + BODY).end[0] == 15.5


def test_a_body_inherits_and_leaves_behind_what_is_in_force() -> None:
    found = read("G20 G0 X1\nM98 P7\nX1\nM30\nO7\nX2\nG21\nM99\n")
    assert [end[0] for _, end in found.path] == [25.4, 50.8, 1]


def test_parameters_pass_into_a_body() -> None:
    assert read("#1=5\nM98 P7\nG0 Y#2\nM30\nO7\nG0 X#1\n#2=[#1+1]\nM99\n").end[:2] == (5, 6)


def test_a_body_that_ends_the_program() -> None:
    assert read("M98 P7\nG0 X9\nM30\nO7\nG0 X1\nM30\nM99\n").end[0] == 1


def test_what_no_call_reaches_is_not_read() -> None:
    assert read("M98 P7\nM30\nO7\nG0 X1\nM99\nO8\nG77 nonsense\nM99\n").end[0] == 1


def test_lines_behind_m99_belong_to_nobody() -> None:
    assert read("M98 P7\nM30\nO7\nG0 X1\nM99\nG0 X9\n").end[0] == 1


# Depth ------------------

def test_ten_levels_and_no_more() -> None:
    assert read(nested(10)).end[0] == 7
    refused(nested(11), "more than 10 levels")


@pytest.mark.parametrize("program", [
    "M98 P1\nM30\nO1\nM98 P1\nM99\n",
    "M98 P1\nM30\nO1\nM98 P2\nM99\nO2\nM98 P1\nM99\n",
])
def test_recursion(program: str) -> None:
    refused(program, "calls itself")


def test_the_same_body_twice_in_a_row_is_no_recursion() -> None:
    assert read("M98 P1\nM98 P1\nM30\nO1\nM98 P2\nM98 P2\nM99\nO2\nG91 G0 X1\nM99\n").end[0] == 4


def test_calls_that_unroll_without_end() -> None:
    bodies = "".join(f"O{n}\nM98 P{n + 1} L9999\nM99\n" for n in range(1, 3)) + "O3\nG4 P1\nM99\n"
    found = read_any("M98 P1 L2\nM30\n" + bodies.replace("L9999", "L10001"))
    assert any("too often" in reason for _, reason in found.reasons)


# What is refused ------------------

@pytest.mark.parametrize(("program", "line", "said"), [
    ("M98 P7\nM30\n", 1, "not in the file"),
    ("M98\nM30\n", 1, "needs P"),
    ("M98 P-1\nM30\n", 1, "P-1"),
    ("M98 P1.5\nM30\n", 1, "P1.5"),
    ("M98 P30100\nM30\nO100\nM99\n", 1, "at most four digits"),
    ("M98 P100 L0\nM30\n" + BODY, 1, "no times"),
    ("M98 P100 X5\nM30\n" + BODY, 1, "X word"),
    ("G0 M98 P100\nM30\n" + BODY, 1, "beside other codes"),
    ("M98 P100 M5\nM30\n" + BODY, 1, "beside other codes"),
    ("M98 P100\nM99\n" + BODY, 2, "none was called"),
    ("G0 X5\nM99\n", 2, "none was called"),
    ("M98 P100\nM30\n" + BODY + BODY, 1, "is there twice"),
    ("M98 P100\n" + BODY, 2, "runs on"),
    ("M98 P100\nG0 X9\nO2\nG0 X9\n" + BODY, 3, "runs on"),
    ("M98 P7\nM30\nO7\nG0 X1\n", 1, "not in the file"),
    ("M98 P7\nM30\nO7 G0 X1\nM99\n", 1, "more than its number"),
    ("M98 P7\nM30\nO7 #1=4\nG0 X1\nM99\n", 1, "more than its number"),
    ("M98 P7\nM30\nO7\nG0 X1\n/M99\n", 1, "carries a slash"),
    ("M98 P7\nM30\n/O7\nG0 X1\nM99\n", 1, "more than its number"),
    ("M98 P7\nM30\nO7\nG0 X1\nM99 P20\n", 5, "P word"),
    ("%\nM98 P7\nM30\n%\nO7\nG0 X1\nM99\n", 2, "not in the file"),
])
def test_errors_of_calls(program: str, line: int, said: str) -> None:
    for switch in ("run", "skip"):
        reasons = read_any(program, block_delete=switch).reasons
        assert reasons and reasons[0][0] == line and said in reasons[0][1], reasons


@pytest.mark.parametrize("block", ["O100 SUB", "O<pocket> CALL", "O100 IF [#1 GT 2]", "O#1", "O[100]", "O100 CALL [1]"])
def test_flow_control_and_named_subprograms(block: str) -> None:
    refused(f"#1=3\n{block}\n")


@pytest.mark.parametrize(("block", "what"), [
    ("O100 SUB", "flow control"), ("N5 o100 if [1]", "flow control"), ("O<pocket> CALL", "flow control"),
    ("G0 X5O", "where a zero may be meant"), ("G0 X5O Y1", "where a zero may be meant"),
    ("G0 X5 O10", "beside other words")])
def test_an_o_is_told_for_what_it_is(block: str, what: str) -> None:
    ((line, reason),) = read_any(f"G0 X1\n{block}\n").reasons
    assert line == 2 and what in reason


def test_a_reason_inside_a_body_names_its_own_line() -> None:
    reasons = read_any("M98 P7\nM98 P7\nM30\nO7\nG0 X1\nG77\nM99\n").reasons
    assert [line for line, _ in reasons] == [6]


def test_a_reason_inside_a_body_is_given_once_however_often_it_is_called() -> None:
    assert len(read_any("M98 P7 L1000\nM30\nO7\nG0 X1\nG77\nM99\n").reasons) == 1


# What may be the main program ------------------

def test_a_body_before_the_main_program_that_ends_the_program() -> None:
    # A control that begins with the file's first line ends at the M30 of O7; one that knows O7 for a subprogram begins
    # with O1.
    file = "O7\nG0 X7\nM30\nM99\nO1\nG0 X1\nM98 P7\nM30\n"
    refused(file, "O7 may be the main program")
    refused(file.replace("O1\n", ""), "O7 may be the main program")
    for harmless in (file.replace("M30\nM99", "M99"), file.replace("M30\nM99", "/M30\nM99")):
        assert [end[0] for _, end in read(harmless, block_delete="skip").path] == [1, 7]
    assert read("O7\nG0 X7\nM30\nM99\n").end[0] == 7


def test_a_call_that_is_skipped_leaves_the_bodies_where_they_are() -> None:
    assert read("O7\nG0 X7\nM99\nG0 X1\n/M98 P7\nG0 X2\nM30\n", block_delete="skip").end[0] == 2
    assert [end[0] for _, end in read("O7\nG0 X7\nM99\nG0 X1\n/M98 P7\nG0 X2\nM30\n",
                                      block_delete="run").path] == [1, 7, 2]
    refused("O7\nG0 X7\nM99\nG0 X1\n/M98 P7\nG0 X2\nM30\n", "block_delete")


def test_the_next_program_of_the_file_is_not_read() -> None:
    found = read("O1\nG0 X1\nM30\nO2\nT9 M6 G43 H9\nM98 P3\nM30\nO3\nG0 X9\nM99\n")
    assert found.end[0] == 1


# Mended once for all calls ------------------

# Two clamps between X80 and X120, the higher one at Y300. By the deciding rule a rapid must stay above top + 1
# (tolerance) + 3 (above) + 1 (corner rounding): 23 mm over the low clamp, 35 over the high one.
BENCH = """
format = 1
units = "mm"
[program]
starts_in = ["G21", "G90", "G17"]
[machine]
start = [0.0, 100.0, 60.0]
[offsets]
bench = "G54"
G54 = [0.0, 0.0, 0.0]
G55 = [0.0, 0.0, 40.0]
[[tools]]
number = 1
diameter = 6.0
length = 40.0
[[obstacles]]
name = "low clamp"
shape = "box"
center = [100.0, 100.0]
size = [40.0, 20.0]
top = 18.0
[[obstacles]]
name = "high clamp"
shape = "box"
center = [100.0, 300.0]
size = [40.0, 20.0]
top = 30.0
"""
CROSSING = "O7\nG1 Z-1 F100\nG0 Z5\nX200\nG1 Z-1\nG0 Z50\nM99\n"


@pytest.fixture
def guard(tmp_path: Path):  # type: ignore[no-untyped-def]
    return lambda program: run(program, write_bench(tmp_path, BENCH))


def at(*rows: int) -> str:
    return "".join(f"G0 Z50\nX0 Y{y}\nZ5\nM98 P7\n" for y in rows) + "G0 Z50\nM30\n"


def heights(came: Guarded, line: int) -> list[float]:
    return [record["written_z_mm"] for record in came.records("change") if record["line"] == line]


def test_a_body_that_is_clear_in_every_call_stays_as_it_is(guard) -> None:  # type: ignore[no-untyped-def]
    came = guard(at(200, 400) + CROSSING)
    assert (came.exit, came.diff) == (0, b"")


@pytest.mark.parametrize(("rows", "height"), [
    ((100,), 23.0), ((300,), 35.0), ((100, 300), 35.0), ((300, 100), 35.0), ((200, 300, 100, 400), 35.0)])
def test_a_body_is_mended_once_at_the_greatest_height(guard, rows, height) -> None:  # type: ignore[no-untyped-def]
    program = at(*rows) + CROSSING
    came = guard(program)
    assert came.exit == 0
    text = came.output.decode()
    retract = program.splitlines().index("G1 Z-1 F100") + 2
    assert heights(came, retract) == [height]
    body = text[text.index("O7") :]
    assert body.splitlines()[:4] == ["O7", "G1 Z-1 F100", f"G0 Z{height:.1f}", "X200"]
    assert text.startswith(at(*rows))
    assert guard(text).diff == b""


def test_increments_are_raised_by_what_the_lowest_call_needs(guard) -> None:  # type: ignore[no-untyped-def]
    # From Z5 over the high clamp: 35 - 5. Over the low clamp the same rise is more than enough.
    calls = "G0 X0 Y100 Z5\nM98 P7\nZ50\nX0 Y300\nZ5\nM98 P7\nZ50\nM30\n"
    came = guard(calls + "O7\nG91\nG0 X200\nG90\nM99\n")
    assert came.exit == 0
    assert came.output.decode() == calls + "O7\nG91\nG0 Z30.0\nG0 X200\nG0 Z-30.0\nG90\nM99\n"


@pytest.mark.parametrize(("calls", "body"), [
    # An increment of 10 serves the call from Z25, one of 18 that from Z5; the lower height wins nowhere.
    ("G0 X0 Y100 Z5\nM98 P7\nZ50\nX0 Y300\nZ25\nM98 P7\nZ50\nM30\n", "G91\nG0 X200\nG90"),
    # A rise to 23 for the first call is a descent for the second, which comes at 40.
    ("G0 X0 Y100 Z5\nM98 P7\nZ50\nX0 Y300\nZ40\nM98 P7\nZ50\nM30\n", "G0 X200"),
    # In G55 the zero lies 40 mm higher: what comes down to Z5 for one call stops at 45 for the other.
    ("G0 X0 Y100 Z5\nM98 P7\nG0 Z50\nG55\nX0 Y100 Z-35\nM98 P7\nG54\nG0 Z50\nM30\n", "G0 X200\nG1 Z-1 F100"),
])
def test_calls_that_one_edit_cannot_serve_are_refused_and_named(guard, calls, body) -> None:  # type: ignore[no-untyped-def]
    came = guard(f"{calls}O7\n{body}\nM99\n")
    assert (came.exit, came.output, came.diff) == (3, b"", b"")
    (finding,) = came.records("finding")
    assert "O7 from lines 2, 6" in finding["text"] and "cannot serve all calls" in finding["text"]
