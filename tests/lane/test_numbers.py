"""Numbers of the columnar reader against float(): whatever it does not leave to the exact reader must be right."""

from __future__ import annotations

import random

import numpy as np
import pytest

from gcode_guard.program.block import read_block
from gcode_guard.program.errors import NotUnderstood
from gcode_guard.program.lane_words import DECIMALS, Batch, read_words

CHARACTERS = "0123456789" * 3 + "...-+ \t,e#[]()/;xX%\r\x00\xe4_*E"


def plain(rng: random.Random) -> str:
    """A number as exporters write it."""
    whole = str(rng.randrange(10 ** rng.randint(0, 6))) if rng.random() < 0.9 else ""
    part = "".join(rng.choice("0123456789") for _ in range(rng.randint(0 if whole else 1, 7)))
    sign = rng.choice(["", "", "-", "-", "+"])
    return sign + "0" * rng.choice([0, 0, 0, 1, 3]) + whole + ("." + part if part or rng.random() < 0.3 else "")


def odd(rng: random.Random) -> str:
    return "".join(rng.choice(CHARACTERS) for _ in range(rng.randint(0, 12)))


def read(spellings: list[str], letter: str = "X") -> tuple[np.ndarray, np.ndarray]:
    """(n,) bool, which are special, and (n,) float, NaN for these."""
    data = "".join(f"G1 {letter}{text}\n" for text in spellings).encode("latin-1")
    words = read_words(data, len(spellings))
    values = np.full(len(spellings), np.nan)
    column = words.columns.get(letter)
    if column is not None:
        values[column.lines] = column.values / 10.0**DECIMALS
    return words.special, values


def test_plain_numbers_are_read_as_float_reads_them() -> None:
    rng = random.Random(1)
    spellings = [text for text in (plain(rng) for _ in range(150_000)) if len(text.lstrip("+-")) <= 16]
    special, values = read(spellings)
    assert not special.any()
    wanted = np.array([float(text) for text in spellings])
    assert np.array_equal(values, wanted)


def test_what_is_no_plain_number_is_left_to_the_exact_reader_or_read_as_it_reads_it() -> None:
    rng = random.Random(2)
    spellings = [odd(rng).replace("\n", "") for _ in range(60_000)]
    special, values = read(spellings)
    assert 1000 < np.count_nonzero(~special) < 40_000
    for text, value in zip(np.array(spellings, dtype=object)[~special], values[~special], strict=True):
        assert [(w.letter, float(w.value)) for w in read_block(1, f"G1 X{text}\n".encode("latin-1"), {}).words] == [
            ("G", 1.0), ("X", value)], text


@pytest.mark.parametrize("text", [
    "", ".", "-", "+", "-.", "1.2.3", "--1", "1-", "1e5", "1,5", "12345678901234567", "0.12345678", "1000000", "1.5 .5",
    "#1", "[1]", "1 (c) 5", "1/2", "\xb2", "1\r5"])
def test_these_are_never_taken(text: str) -> None:
    assert read([text])[0].all()


@pytest.mark.parametrize(("text", "value"), [
    ("1 2.5", 12.5), ("- 3", -3.0), ("5 ", 5.0), ("0000005.0000001", 5.0000001), ("-999999.9999999", -999999.9999999),
    (".5", 0.5), ("5.", 5.0), ("-.25", -0.25), ("+7.125", 7.125), ("00.10", 0.1)])
def test_these_are_taken(text: str, value: float) -> None:
    special, values = read([text])
    assert not special.any() and values[0] == value


def test_lines_that_are_not_ordinary_are_special() -> None:
    ordinary = ["G1 X1", "", "  \t ", "(a note)", "; a note (", "N10 X1", "x1 y2", "X1 (a) Y2", "G01 X1", "G1 X1\r"]
    others = ["(a (b))", "(open", "close)", "X1 N10", "X1 X2", "G1 G0", "G4 P1", "G17", "M3", "X1 M8", "%", "/X1", "R5",
              "N-1", "G1.0 X1", "G+1", "G0001", "F0", "F-5", "N1.5", "X(a)1", "(a)N1", "(\x01)", "X1\x7f", "1 X", "A1",
              "G1 X1\r\r", "(a\rb)", "X" + " " * 5000 + "1"]
    rows = {**dict.fromkeys(ordinary, False), **dict.fromkeys(others, True)}
    for text, special in rows.items():
        words = Batch(f"X0\n{text}\nX2\n".encode("latin-1")).words
        assert words.special.tolist() == [special and "\x01" in text, special, special and "\x01" in text], text


def test_without_units_for_whole_numbers_only_points_and_zeros_pass() -> None:
    words = read_words(b"X1\nX1.\nX0\nX-12\nF300\nN5\nG1\nI4\n", 8, pointless=False)
    assert words.special.tolist() == [True, False, False, True, False, False, False, True]


def test_a_special_line_is_one_that_the_exact_reader_may_still_read() -> None:
    """The fuzz above holds lines that are taken; these lines are special, and no less certain for it."""
    for text in ("G17 X1", "X[1+1]", "/X1"):
        assert read_block(1, text.encode(), {}).words
    with pytest.raises(NotUnderstood):
        read_block(1, b"X1.2.3", {})
