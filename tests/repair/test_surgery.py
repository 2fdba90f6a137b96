"""Blocks taken apart and put together again, every other character kept; by hand."""

from __future__ import annotations

from decimal import Decimal

import pytest

from gcode_guard.program.block import Block, read_block
from gcode_guard.program.moves import Kind, Move
from gcode_guard.repair.edits import Draft
from gcode_guard.repair.surgery import Apart, axis_words, is_bare, is_stop, put, text_of, with_word

POINT = (Decimal(0), Decimal(0), Decimal(0))


def block(text: str, ending: str = "\n") -> Block:
    return read_block(7, (text + ending).encode("latin-1"), {})


def spans(of: Block, *letters: str) -> dict[tuple[int, int], str]:
    return {(word.start, word.end): "" for word in of.words if word.letter in letters}


@pytest.mark.parametrize(
    ("text", "first", "last"),
    [
        ("N10 G0 X200 S12000 M3 M0 (over)", "N10 G0 Z23.0 S12000 M3 (over)", ["M0"]),
        ("G0X200Y5M00", "G0Z23.0", ["M00"]),
        ("G0 Y5 M3 X200", "G0 Z23.0 M3", []),
        ("/ g0 x1\t y2 ; there", "/ g0 Z23.0 ; there", []),
        ("  X1 Y2", "  Z23.0", []),
        ("G0 X1 #5=3 Z2 M1", "G0 Z23.0", ["#5=3", "M1"]),
        ("X1 M30", "Z23.0", ["M30"]),
        ("M2 X1", " Z23.0", ["M2"]),
        ("G0 M3", "G0 M3", []),
        ("G0 M3 ", "G0 M3 ", []),
        ("M0 G4 P1 I2", " G4 P1 I2", ["M0"]),
        ("G0 Y1 M0 ; MAX", "G0 Z23.0 ; MAX", ["M0"]),
        ("G0 Y1 M0 ; end\xa0", "G0 Z23.0 ; end\xa0", ["M0"]),
    ],
)
def test_a_block_taken_apart(text: str, first: str, last: list[str]) -> None:
    apart = Apart(block(text))
    assert apart.first(["Z23.0"], " ") == first
    assert apart.last_words() == last


def test_several_words_take_the_place_of_the_coordinates() -> None:
    assert Apart(block("N1 G0 Y2 X1 M3")).first(["X1", "Y2"], " ") == "N1 G0 X1 Y2 M3"
    assert Apart(block("N1G0Y2X1M3")).first(["X1", "Y2"], "") == "N1G0X1Y2M3"


@pytest.mark.parametrize(
    ("text", "letters", "left"),
    [
        ("G0 X1  Y2 (c)", "Y", "G0 X1 (c)"),  # the blanks before a word go with it
        ("G0 X1\tY2", "Y", "G0 X1"),
        ("G0 X1 Y2 Z3", "XZ", "G0 Y2"),
        ("  X1 Y2", "X", "   Y2"),  # but not those with which the line begins
        ("  X1 Y2", "XY", "  "),
        ("X1 Y2", "X", " Y2"),
    ],
)
def test_words_taken_out(text: str, letters: str, left: str) -> None:
    of = block(text)
    assert put(of, spans(of, *letters)) == left


def test_an_only_piece_keeps_all_but_the_coordinates() -> None:
    apart = Apart(block("/N1 G0 Y2 X1 Z3 #5=3 M1 (over)"))
    assert apart.alone(["X1", "Y2"], " ") == "/N1 G0 X1 Y2 #5=3 M1 (over)"


def test_words_are_replaced_where_they_stand() -> None:
    of = block("N3 G0 X1 Y2 Z3 (up)")
    z = axis_words(of)["Z"]
    x = axis_words(of)["X"]
    assert put(of, {(z.start, z.end): "Z9.0", (x.start, x.end): "X8.0"}) == "N3 G0 X8.0 Y2 Z9.0 (up)"
    assert put(of, {}) == of.text
    assert with_word(of, "Z", "Z23.0") == "N3 G0 X1 Y2 Z23.0 (up)"
    assert [text_of(of, word) for word in axis_words(of).values()] == ["X1", "Y2", "Z3"]
    assert list(axis_words(block("G2 X1 Y2 I3 J4 R5"))) == ["X", "Y"]


def test_what_stops_the_program() -> None:
    stops = [word.value for word in block("M0 M1 M2 M3 M5 M6 M30 S0 T2").words if is_stop(word)]
    assert stops == [0, 1, 2, 30]


@pytest.mark.parametrize(
    ("text", "codes", "bare"),
    [
        ("N3 G0 X1 Y2 Z3 (c)", ("G0",), True), ("X1", (), True), ("G0 G90 X1", ("G0", "G90"), False),
        ("G0 X1 S100", ("G0",), False), ("G0 X1 M3", ("G0", "M3"), False), ("G0 X1 #1=5", ("G0",), False),
        ("X1", ("G90",), False), ("X1 F100", (), False),
    ],
)
def test_a_bare_block_holds_nothing_but_its_rapid(text: str, codes: tuple[str, ...], bare: bool) -> None:
    assert is_bare(block(text), codes) == bare


# Drafts and their edits ------------------------------------------------------------------------------------------


def test_a_block_with_pieces_before_and_after_keeps_its_own_text() -> None:
    of = block("G0 X1", "\r\n")
    draft = Draft(of, before=["G0 Z9.0"], after=["G0 Z5.0"])
    edit = draft.edit("\n")
    assert (edit.line, edit.raw) == (of.line, of.raw)
    assert edit.new == [b"G0 Z9.0\r\n", b"G0 X1\r\n", b"G0 Z5.0\r\n"]
    assert draft.touched


def test_a_last_line_without_an_end_stays_the_last() -> None:
    edit = Draft(block("G0 X1", ""), before=["G0 Z9.0"], after=["G0 Z5.0"]).edit("\r\n")
    assert edit.new == [b"G0 Z9.0\r\n", b"G0 X1\r\n", b"G0 Z5.0"]
    assert Draft(block("G0 X1", ""), own=["G0 X2"]).edit("\r\n").new == [b"G0 X2"]


def test_a_carriage_return_alone_at_the_end_of_a_file_stays() -> None:
    edit = Draft(block("G0 X1", "\r"), own=["G0 X2"], after=["G0 Z5.0"]).edit("\n")
    assert edit.new == [b"G0 X2\r", b"G0 Z5.0\r"]


def test_the_blocks_own_pieces_take_its_place_in_order() -> None:
    edit = Draft(block("G0 X1 (\xe9)"), ["a"], ["b", "c (\xe9)"], ["d"]).edit("\n")
    assert edit.new == [b"a\n", b"b\n", b"c (\xe9)\n", b"d\n"]
    assert Draft(block("G0 X1"), own=["b"], after=["d"]).edit("\r\n").new == [b"b\n", b"d\n"]


def test_a_draft_without_pieces_leaves_the_block_as_it_is() -> None:
    of = block("G0 X1")
    assert Draft(of).edit("\n").new == [b"G0 X1\n"]
    assert not Draft(of).touched
    assert Draft(of, own=[]).touched and Draft(of, before=["a"]).touched and Draft(of, after=["a"]).touched


def test_an_edit_tells_heights_and_obstacles() -> None:
    move = Move(7, Kind.RAPID, POINT, POINT, 1, None, 0.0)
    draft = Draft(block("G0 X1"), own=["G0 X2"], obstacles={3, 1, 2}, programmed=5.0, needed=23.0, moves=[move],
                  level=24.0, kind="lift", origin=10.0)
    edit = draft.edit("\n")
    assert (edit.kind, edit.obstacles) == ("lift", (1, 2, 3))
    assert (edit.programmed, edit.needed, edit.level, edit.rank) == (5.0, 23.0, 24.0, 14.0)


def test_heights_that_are_not_known_are_none_and_rank_lowest() -> None:
    edit = Draft(block("G0 X1"), own=["G0 X2"]).edit("\n")
    assert (edit.kind, edit.programmed, edit.needed, edit.level, edit.rank) == ("split", None, None, None,
                                                                               float("-inf"))
