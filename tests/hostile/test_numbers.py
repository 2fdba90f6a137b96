"""Large and small numbers, many increments, two units in one program, a zero with a minus."""

from __future__ import annotations

import io
import re
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest

from gcode_guard.program.reader import Reader
from gcode_guard.program.scan import look
from gcode_guard.rules import rules_of
from gcode_guard.setup import load_setup
from gcode_guard.source import Source
from gcode_guard.trace import trace
from tests.guarding import run, write_bench

BENCH = """format = 1
units = "mm"
[program]
starts_in = ["G21", "G90", "G17", "F100"]
[machine]
start = [0.0, 0.0, 60.0]
{machine}
[[tools]]
number = 1
diameter = 6.0
[[obstacles]]
name = "clamp"
shape = "box"
center = {center}
size = [20.0, 20.0]
top = {top}
"""


def bench(folder: Path, center: str = "[100.0, 0.0]", top: str = "20.0", machine: str = "") -> Path:
    return write_bench(folder, BENCH.format(center=center, top=top, machine=machine))


def end_of(lines: list[bytes], setup: Path) -> tuple[object, ...]:
    loaded = load_setup(setup)
    reader = Reader(iter(lines), rules_of(loaded, look(lines, False), None), look(lines, False))
    for _ in reader:
        pass
    return reader.interpreter.state.position


@pytest.mark.parametrize(("step", "unit"), [("0.0001", "G21"), ("-.001", "G21"), ("0.0001", "G20"), ("1.1", "G20")])
def test_increments_add_up_to_the_last_digit(tmp_path: Path, step: str, unit: str) -> None:
    """Positions are decimal fractions: n increments lead n times as far, exactly, whatever n is (10 million of them by
    the same arithmetic: `python -m tests.hostile.increments 10000000`)."""
    count = 20_000
    lines = [f"{unit} G91 G1 F10\n".encode(), *[f"X{step}\n".encode()] * count]
    scale = Fraction(254, 10) if unit == "G20" else Fraction(1)
    x, y, z = end_of(lines, bench(tmp_path))
    assert isinstance(x, Decimal) and Fraction(x) == count * Fraction(step) * scale
    assert (y, z) == (0, 60)


def test_thirds_that_add_up(tmp_path: Path) -> None:
    """A sum of 0.1 that floats would miss (IEEE 754: ten times 0.1 is 0.9999999999999999)."""
    x, *_ = end_of([b"G91 G1 F10\n", *[b"X0.1 Y-.1\n"] * 1000, b"X-100\n"], bench(tmp_path))
    assert x == 0


def test_the_fast_reader_adds_up_exactly_too(tmp_path: Path) -> None:
    """Through the whole guard, and back where it started: a height put in between would show any drift."""
    setup = bench(tmp_path)
    body = b"X0.001 Y0.0007\n" * 20_000 + b"X-0.001 Y-0.0007\n" * 20_000
    program = b"G0 X0 Y0\nG1 Z-1\nG91\n" + body + b"G90\nG0 X0 Y0\nG0 Z60\nM30\n"
    with Source.from_stream(io.BytesIO(program), "p") as source:
        out = io.BytesIO()
        assert trace(source, load_setup(setup), None, out) == []
    last = [row for row in out.getvalue().decode().splitlines() if ",cut," in row][-1].split(",")
    assert [Decimal(number) for number in last[5:8]] == [0, 0, -1]
    # G0 X0 Y0 leads nowhere, since the tool stands there to the last digit: no move is listed for it.
    assert not any(row.startswith("40005,") for row in out.getvalue().decode().splitlines())


@pytest.mark.parametrize("far", ["1000000", "-1000000.", "999999.999999"])
def test_a_million_millimetres(tmp_path: Path, far: str) -> None:
    """The clamp stands there; beside it nothing changes, over it the rise is 20 + 1 + 3 + 1 mm as anywhere."""
    setup = bench(tmp_path, f"[{float(far)}, 0.0]")
    over = f"G0 X{far} Y-50\nG0 Z5\nG0 Y50\nG0 Z60\nM30\n"
    came = run(over, setup)
    assert came.exit == 0 and re.search(rb"\nG0 Z25\.0+\nG0 Y50\n", came.output)
    # 10 + 3 + 1 + 3 + 1 mm to the side it is free, a thousandth less it is not.
    for beside, changes in (("18", 0), ("17.999", 1)):
        x = Decimal(far) + Decimal(beside)
        came = run(f"G0 X{x} Y-50\nG0 Z5\nG0 Y50\nG0 Z60\nM30\n", setup)
        assert came.exit == 0 and bool(came.records("change")) == bool(changes)


def test_a_millionth_of_a_millimetre(tmp_path: Path) -> None:
    """What is less than the last digit written still decides, and is rounded up: 25.000001 becomes 25.001."""
    setup = bench(tmp_path, top="20.000001")
    came = run("G0 X0 Y0\nG0 Z25.0\nG0 X200\nG0 Z60\nM30\n", setup)
    assert came.exit == 0 and b"Z25.001\n" in came.output
    assert run("G0 X0 Y0\nG0 Z25.000001\nG0 X200\nG0 Z60\nM30\n", setup).records("change") == []
    tiny = run("G0 X.000001 Y-.000001 Z60.000001\nG91\nG0 X.000001\nG90\nG0 Z60\nM30\n", setup)
    assert tiny.exit == 0 and tiny.records("change") == []


def test_inch_and_millimetre_in_one_program(tmp_path: Path) -> None:
    """4 in are 101.6 mm. A height that is put in under G20 is in inches, rounded up at the fourth digit: 25 mm are
    0.98425... in, so 0.9843."""
    setup = bench(tmp_path)
    came = run("G20\nG0 X0 Y0\nG0 Z.2\nG0 X7.\nG21\nG0 Z60\nG0 X0\nG0 Z5\nG0 X200\nG0 Z60\nM30\n", setup)
    assert came.exit == 0
    text = came.output.decode()
    assert "G0 Z0.9843\n" in text.split("G21")[0] or "G0 Z.9843\n" in text.split("G21")[0]
    assert "Z25.0\n" in text.split("G21")[1]
    assert [record["written_z_mm"] for record in came.records("change")] == [pytest.approx(0.9843 * 25.4), 25.0]
    x, *_ = end_of([b"G20 G91 G1 X1 F1\n", b"G21 X-25.4\n", b"G20 X.1\n", b"G21 X-2.54\n"], setup)
    assert x == 0


def test_a_zero_with_a_minus_is_a_zero(tmp_path: Path) -> None:
    setup = bench(tmp_path)
    program = "G0 X-0 Y-0.\nG0 Z-.0\nG91\nG0 X-0.000 Y-.0\nG90\nG1 Z-0.0 X-0\nG2 X-0. Y0 I-0. J10\nG0 Z60\nM30\n"
    came = run(program, setup)
    assert came.exit == 0 and came.output == program.encode()
    plain = program.replace("X-0.000", "X0.000").replace("-.0", "0.0").replace("-0", "0")
    with Source.from_stream(io.BytesIO(program.encode()), "a") as a, Source.from_stream(io.BytesIO(
            plain.encode()), "b") as b:
        first, second = io.BytesIO(), io.BytesIO()
        assert trace(a, load_setup(setup), None, first) == trace(b, load_setup(setup), None, second) == []
    assert first.getvalue() == second.getvalue() and b"-0.000000" not in first.getvalue()
