"""How blocks are written: NISTIR 6556, section 3.3 (format of a line) and 3.2 (percent signs), from memory."""

from __future__ import annotations

import pytest

from gcode_guard.program.scan import look
from tests.language.reading import read, read_any, refused


@pytest.mark.parametrize("block", [
    "G0 x+0.1234 Y7", "G0X +0. 12 34Y 7", "g0x0.1234y7", "G 0 0 X .1234 Y 7.", "G00.0 X000.1234 Y+007",
    "\tG0\tX0.12 34\tY7\t", "N10G0X0.1234Y7", "n 1 0 G0X.1234Y7.0", "Y7 X.1234 G0", "G0(go)X0.1234(a)Y7",
    "G0 X0.1234Y7;Y9",
    "(X9) G0 X0.1234 Y7 ; (Y9", "G0 X[0.1234] Y[3+4]",
])
def test_one_block_in_many_hands(block: str) -> None:
    # Section 3.3: "G0X +0. 12 34Y 7" is the report's own example.
    for ending in ("\n", "\r\n", ""):
        assert read(block + ending).path == [("rapid", (0.1234, 7, 50))]


@pytest.mark.parametrize("block", [
    "G0 X", "G0 X1Y", "G0 X--5", "G0 X+-5", "G0 X5.5.5", "G0 X.", "G0 X5,5", "G0 X1E3", "G0 X0x10", "G0 X5 5 . 5 .",
    "G0 X\u00b2", "G0 X5 \u00b5", "G X5", "5", "G0 X5 =", "G0 X5 /Y5", "G0 X5 %", "G0 $X5", "G0 X'5'", "G0 X\x005",
    "G0 X5\rY5", "G0 X5 (", "G0 X5 )", "G0 X5 (a (b) Y5)", "G0 X5 (a) b)", "M3.5", "G0 Xl0", "G0 X1O",
])
def test_what_does_not_parse_is_refused(block: str) -> None:
    found = read_any(block + "\nG0 X77\n")
    assert found.reasons and found.reasons[0][0] == 1
    assert found.moves == [] or found.moves[0].line != 1


@pytest.mark.parametrize("text", ["G0 X1 \xdf5", "#<\xdf>=3", "G0 X\xb2", "G0 X1\xa0", "\xb5 G0 X1", "G0 X1\x7f"])
def test_letters_that_are_none_of_the_language(text: str) -> None:
    # A sharp s in capitals would be two letters of the language, and the place of everything behind it another one.
    refused(text + "\n")
    assert read(f"G0 X5 ({text})\n").end[0] == 5


def test_a_byte_order_mark_is_named() -> None:
    refused("\xef\xbb\xbfG0 X5\n", "byte order mark")
    refused("\xef\xbb\xbf%\nG0 X5\n%\n", "byte order mark")


@pytest.mark.parametrize("letter", list("DFHIJKLPQRSTXYZ"))
def test_a_letter_twice(letter: str) -> None:
    # Section 3.3.2: a line may have any number of G words, but of another letter only one.
    refused(f"G0 X1 {letter}1 {letter}1\n" if letter != "X" else "G0 X1 X1\n", f"two {letter} words")


def test_more_than_four_m_words() -> None:
    # Section 3.3.2 and 3.4: zero to four M words.
    assert read("M3 M8 M48 M1 S5\n").effects == ["S5", "M3", "M8", "M48", "M1"]
    refused("M3 M8 M48 M1 M6 T1\n", "more than four M words")


@pytest.mark.parametrize("block", ["G0 N10 X5", "X5 N10", "N10 N20 G0 X5", "G0 X5 N10", "M5 N1"])
def test_a_line_number_that_is_not_first(block: str) -> None:
    # Section 3.3.1: the line number stands first; anywhere else two lines have run together.
    refused(block + "\n", "N stands behind other words")


@pytest.mark.parametrize("block", ["N-1 G0 X5", "N1.5 G0 X5", "N1.0 G0 X5", "N5. G0 X5", "N[5] G0 X5", "N G0 X5"])
def test_a_line_number_that_is_none(block: str) -> None:
    refused(block + "\n")


def test_line_numbers_mean_nothing() -> None:
    assert read("N20 G0 X1\nN10 X2\nN10 X3\nN99999 X4\n").end[0] == 4


def test_comments_are_no_words() -> None:
    # Section 3.3.4; ";" is common practice.
    assert read("(G1 X5)\n; G1 X6\n(MSG, X7) G0 X1 (M30)\n  \n\nY2\n").path == [
        ("rapid", (1, 0, 50)), ("rapid", (1, 2, 50))]


@pytest.mark.parametrize("comment", [
    "(a (b))", "(a (b) )", "(a (b (c)))", "(door (left) panel)", "(T (six) mill)", "((a) b)"])
def test_a_comment_within_a_comment_at_the_end(comment: str) -> None:
    assert read(f"G0 X5 {comment}\n").end[0] == 5


@pytest.mark.parametrize("comment", [
    "(a (b) X9)", "(a (b)) Y9", "(a (b) c) Y9", "(a (b) [c)", "(a (b) 6 mm)", "(a (b)) (c) (d)"])
def test_a_comment_within_a_comment_that_may_hide_words(comment: str) -> None:
    refused(f"G0 X5 {comment}\n", "a comment stands within a comment")


@pytest.mark.parametrize("line", [b"(the (second) T7) G0 X5\n", b"G0 X5) T7\n", b"G0 X5 (T7\n"])
def test_what_may_be_a_comment_names_no_tool(line: bytes) -> None:
    """It is refused for its parentheses; that the setup lacks a tool 7 would be a second reason that is not certain."""
    assert look([line], skip_deleted=False).tools == set()


def test_a_line_that_is_longer_than_any_block() -> None:
    assert read("G0 X5 (" + "x" * 4000 + ")\n").end[0] == 5
    refused("G0 X5 (" + "x" * 5000 + ")\n", "longer than")


# Block delete (section 3.3.1) ------------------

def test_block_delete_run_or_skipped() -> None:
    program = "G0 X1\n/X2\n / Y3\n/ N5 Z4\n"
    assert read(program, block_delete="run").end == (2, 3, 4)
    assert read(program, block_delete="skip").end == (1, 0, 50)


def test_block_delete_that_the_setup_does_not_settle() -> None:
    refused("G0 X1\n/X2\n", "block_delete", start=(0, 0, 50))
    assert read("G0 X1\n(/X2)\n;/X3\n").end[0] == 1


def test_a_skipped_block_sets_and_ends_nothing() -> None:
    assert read("#1=5\n/#1=6\n/M30\n/G91\nG0 X#1\nX#1\n", block_delete="skip").end[0] == 5


@pytest.mark.parametrize("block", ["//X5", "/2 X5", "N10 /X5", "/X5 /Y5", "(door) /X5", "( ) / N5 X5"])
@pytest.mark.parametrize("switch", ["run", "skip"])
def test_slashes_that_are_something_else(block: str, switch: str) -> None:
    # Section 3.3.1: the slash is the first item of its line.
    refused("G0\n" + block + "\n", block_delete=switch)


# Percent signs and the end (section 3.2) ------------------

def test_between_two_percent_signs() -> None:
    assert read("(door)\n%\nG0 X5\n%\nG0 X9 nonsense\n").end[0] == 5
    assert read("%\nG0 X5\nM30\n%\n").end[0] == 5
    assert read("G0 X5\n%\n").end[0] == 5


def test_a_percent_sign_in_the_middle() -> None:
    refused("G0 X5\n%\nX9\n", "the program goes on after the %")
    refused("%\nG0 X5 % \n", "'%'")


def test_nothing_is_read_after_the_end() -> None:
    # Section 3.6.1: M2 and M30 end the program. What stands behind it is the operator's.
    for end in ("M2", "M30"):
        assert read(f"G0 X5\n{end}\nX9\nthe end of the tape (\n").end[0] == 5


# What a program must say ------------------

@pytest.mark.parametrize(("program", "said"), [
    ("G90 G17 F100\nG0 X5\n", "G20 or G21"),
    ("G21 G17 F100\nG0 X5\n", "G90 or G91"),
    ("G21 G90 F100\nG2 X5 R9\n", "G17"),
    ("G21 G90 G17 F100\nX5\n", "G0 or G1"),
    ("G21 G90 G17\nG1 X5\n", "F word"),
    ("G21 G90 G17 F0\nG1 X5\n", "F word"),
])
def test_what_nothing_says_is_refused_with_what_to_add(program: str, said: str) -> None:
    refused(program, said, starts_in=())


def test_what_starts_in_says_holds_until_the_program_says_otherwise() -> None:
    start = ("G20", "G91", "G17", "G1", "F10")
    assert read("X1\nX1\nG90 X1\n", starts_in=start).path == [
        ("cut", (25.4, 0, 50)), ("cut", (50.8, 0, 50)), ("cut", (25.4, 0, 50))]


def test_a_feed_does_not_outlive_a_change_of_units_or_of_the_feed_mode() -> None:
    refused("F100 G1 X5\nG20 X1\n", "no feed")
    assert read("F100 G1 X5\nG21 X1\n").end[0] == 1
    refused("F100 G1 X5\nG95 X1\n", "no feed")
    refused("G93 G1 X5 F2\nG94 X1\n", "no feed")
    (_, move) = read("F100 G1 X5\nG20 X1 F10\n").moves
    assert move.feed == 254


def test_numbers_without_a_point_where_they_are_in_least_increments() -> None:
    refused("G0 X100\n", "X100 has no decimal point", least_increment=True)
    assert read("G0 X100. Y0\nN10 Z1.\n", least_increment=True).end == (100, 0, 1)


@pytest.mark.parametrize("word", ["F-1", "S-1", "T-1", "T1.5"])
def test_numbers_that_cannot_be(word: str) -> None:
    # Sections 3.7.1 to 3.7.3: F, S, T must not be negative, T is a whole number.
    refused(f"G1 X5 {word}\n")


def test_after_a_block_that_is_not_understood_the_rest_is_read_for_reasons() -> None:
    reasons = read_any("G0 X5\nG123\nX9\nA5\nM30\nG77\n").reasons
    assert [line for line, _ in reasons] == [2, 4]
