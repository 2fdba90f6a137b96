"""Runs that are mended by raising Z words, by hand: which of many fit, where a word is raised or a rise put in, and how
that is written."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from math import inf
from typing import Any

import numpy as np
import pytest

from gcode_guard.program.state import NOWHERE_KNOWN, State
from gcode_guard.repair.raising import Levels, Rapids, Texts, levels_of
from gcode_guard.repair.write import Style

NO = -inf
Rapid = tuple[str, float, float]  # how it is written, the height at which it ends, the height that it needs


def up(z: float, need: float = NO) -> Rapid:
    return "up", z, need


def across(z: float, need: float = NO) -> Rapid:
    return "across", z, need


def fed(z: float, need: float = NO) -> Rapid:
    """Across, with an F word, before which no rise may stand."""
    return "fed", z, need


def slope(z: float, need: float = NO) -> Rapid:
    return "slope", z, need


def levels(*runs: list[Rapid], ceiling: float = inf) -> Levels:
    every = [rapid for run in runs for rapid in run]
    begins = np.cumsum([0, *(len(run) for run in runs)])[:-1]
    kinds = np.array([kind for kind, _, _ in every])
    return levels_of(Rapids(begins, kinds == "up", np.isin(kinds, ["up", "slope"]), kinds != "fed",
                            np.array([need for _, _, need in every]), np.array([z for _, z, _ in every])), ceiling)


def raised(found: Levels) -> list[tuple[int, float, bool]]:
    """What changes in the runs that fit: which rapid, the height, and whether by a rise before it."""
    return [(int(found.at[k]), float(found.need[k]), bool(found.put_in[k])) for k in range(len(found.first))
            if found.raised[k] and found.fits[found.run[k]]]


ALONE: dict[str, tuple[list[Rapid], list[tuple[int, float, bool]]]] = {
    "the word before the way across": ([up(5), across(5, 23), up(2)], [(0, 23, False)]),
    "to the most that ways at its level need": ([up(5), across(5, 23), across(5), across(5, 30)], [(0, 30, False)]),
    "the last word before it": ([up(5), across(5), up(8), across(8, 23)], [(2, 23, False)]),
    "at every level what its own ways need": ([up(5), across(5, 23), up(2), across(2, 30)],
                                              [(0, 23, False), (2, 30, False)]),
    "a rise where there is no word": ([across(5, 23), up(2)], [(0, 23, True)]),
    "a rise before the first way that needs it": ([across(5), across(5, 23), across(5, 30)], [(1, 30, True)]),
    "a rise, and then a word": ([across(5, 23), up(7), across(7, 23)], [(0, 23, True), (1, 23, False)]),
    "a word before a way with a feed": ([up(5), fed(5, 23)], [(0, 23, False)]),
    "a rise before another way than that with a feed": ([fed(5), across(5, 23), fed(5)], [(1, 23, True)]),
    "to zero": ([up(-5), across(-5, 0)], [(0, 0, False)]),
}


@pytest.mark.parametrize(("run", "changes"), ALONE.values(), ids=ALONE.keys())
def test_what_is_raised(run: list[Rapid], changes: list[tuple[int, float, bool]]) -> None:
    found = levels(run)
    assert found.fits.tolist() == [True] and raised(found) == changes
    others = levels([up(9)], run, [up(5), across(5, 23)])  # whatever runs stand before and behind it
    assert others.fits.tolist() == [True] * 3
    assert raised(others) == [*((at + 1, z, put_in) for at, z, put_in in changes), (1 + len(run), 23, False)]


NOT_HERE: dict[str, list[Rapid]] = {
    "a slope": [up(5), across(5, 23), slope(2)],
    "a slope that needs height": [up(5), slope(2, 23)],
    "an upright rapid that needs height": [up(5, 23), across(5)],
    "an upright rapid that needs it behind others": [up(5), across(5, 23), up(2, 23)],
    "a way with a feed where no word stands before": [fed(5, 23)],
    "a height that stands there already": [up(23), across(23, 23)],
    "less than stands there": [up(30), across(30, 23)],
    "more than any height": [up(5), across(5, inf)],
    "more than any height, without a word": [across(5, inf)],
}


@pytest.mark.parametrize("run", NOT_HERE.values(), ids=NOT_HERE.keys())
def test_what_is_left_to_the_planner(run: list[Rapid]) -> None:
    assert levels(run).fits.tolist() == [False]
    others = levels([up(5), across(5, 23)], run, [across(5, 23)])
    assert others.fits.tolist() == [True, False, True]
    assert raised(others) == [(0, 23, False), (2 + len(run), 23, True)]


def test_up_to_the_ceiling_and_no_higher() -> None:
    assert levels([up(5), across(5, 23)], ceiling=23).fits.tolist() == [True]
    assert levels([up(5), across(5, 23.001)], ceiling=23).fits.tolist() == [False]
    assert levels([across(5, 23.001)], [across(5, 23)], ceiling=23).fits.tolist() == [False, True]


# How it is written --------------------------------------------------------------------------------------------------


def texts(style: Style | None = None, **state: Any) -> Texts:
    return Texts(replace(State(position=NOWHERE_KNOWN, units="G21", distance="G90"), **state), style or Style())


def test_a_rise_is_rounded_up() -> None:
    assert texts().rise(23.0) == ("Z23.0", 23.0)
    assert texts().rise(23.0001) == ("Z23.001", 23.001)
    assert texts(Style("g00", "", 3)).rise(-0.0001) == ("z0.000", 0.0)
    word, level = texts(units="G20").rise(25.401)
    assert word == "Z1.0001" and level == pytest.approx(25.40254)
    writer = texts()
    assert [writer.rise(need) for need in (7.0, 8.0, 7.0)] == [("Z7.0", 7.0), ("Z8.0", 8.0), ("Z7.0", 7.0)]


def test_a_rise_in_a_shifted_offset() -> None:
    shift = (Decimal(0), Decimal(0), Decimal(-10))
    writer = texts(shift=shift)
    assert writer.rise(13.0) == ("Z23.0", 13.0)
    assert writer.down(Decimal("2.5"), b"G0 X1\n") == b"G0 Z12.5\n"


@pytest.mark.parametrize(("raw", "after"), [
    (b"G0 Z5\n", b"G0 Z23.0\n"),
    (b"n10 g0 z-.5 f200\r\n", b"n10 g0 Z23.0 f200\r\n"),
    (b"G0Z5.X1\n", b"G0Z23.0X1\n"),
    (b"G0 Z5 (to Z5)\n", b"G0 Z23.0 (to Z5)\n"),
    (b"(from Z1) G0 Z5\n", b"(from Z1) G0 Z23.0\n"),
    (b"G0 Z5 ; not Z6\n", b"G0 Z23.0 ; not Z6\n"),
    (b"G0 Z 5\n", b"G0 Z23.0\n"),
    (b"G0 Z1 5\n", b"G0 Z23.0\n"),
    (b"G0 Z5", b"G0 Z23.0"),
    (b"G0 Z+5.\t\n", b"G0 Z23.0\t\n"),
])
def test_another_number_in_a_z_word(raw: bytes, after: bytes) -> None:
    writer = texts()
    assert writer.raised(raw, "Z23.0") == after
    assert writer.raised(raw, "Z23.0") == after
    assert writer.raised(raw, "Z24.0") == after.replace(b"23.0", b"24.0")


def test_blocks_of_their_own_end_like_the_one_beside_them() -> None:
    writer = texts(Style("G00", " ", 2))
    assert writer.alone("Z23.00", b"G00 X1\r\n") == b"G00 Z23.00\r\n"
    assert writer.alone("Z23.00", b"G00 X1\n") == b"G00 Z23.00\n"
    for z, raw, block in ((5, b"X1\n", b"G00 Z5.00\n"), (5, b"X1\r\n", b"G00 Z5.00\r\n"), (6, b"X1\n", b"G00 Z6.00\n"),
                          (5, b"X1\n", b"G00 Z5.00\n")):
        assert writer.down(Decimal(z), raw) == block


def test_the_style_is_that_of_the_blocks_seen_last() -> None:
    style = Style()
    writer = texts(style)
    for blocks, rise, down in (
        ([b"G0 X1.25\n"], "Z7.00", b"G0 Z5.00\n"),
        ([b"G00X1.125\n", b"Z2\n"], "Z7.000", b"G00Z5.000\n"),
        ([b"g0 x2.25\n"], "z7.00", b"g0 z5.00\n"),
        ([b"G0 X9.75\n"], "Z7.00", b"G0 Z5.00\n"),
        ([b"(seen) G0 X9.7\n"], "Z7.0", b"G0 Z5.0\n"),
        ([b"G00 X9 ; on\n"], "Z7.0", b"G00 Z5.0\n"),
        ([b"G0 X9 (on)\n"], "Z7.0", b"G0 Z5.0\n"),
    ):
        seen = writer.see(style, blocks)
        plain = style.seen([(block.rstrip(b"\r\n").decode(), "\n") for block in blocks])
        assert seen == writer.style == plain
        assert writer.rise(7.0) == (rise, 7.0) and writer.down(Decimal(5), b"\n") == down
        assert writer.alone(rise, b"\n").decode() == down.decode().split("Z")[0].split("z")[0] + rise + "\n"
        style = seen


def test_a_style_from_elsewhere_is_taken_up() -> None:
    writer = texts(Style("G00", " ", 3))
    assert writer.see(Style("g0", "", 2), [b"x1\n"]) == Style("g0", "", 2)
    assert writer.rise(7.0) == ("z7.00", 7.0) and writer.down(Decimal(5), b"\n") == b"g0z5.00\n"


@pytest.mark.parametrize("comments", [(b"(G0)", b"(G9)"), (b"; G0", b"; G9")])
def test_a_comment_is_looked_at_anew_where_it_differs_in_digits_alone(comments: tuple[bytes, bytes]) -> None:
    writer, style = texts(), Style()
    for comment in (*comments, *comments):
        block = b"x1.25 " + comment
        assert writer.see(style, [block + b"\n"]) == style.seen([(block.decode(), "\n")])
