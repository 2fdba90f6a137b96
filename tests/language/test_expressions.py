"""Parameters and expressions: NISTIR 6556, sections 3.3.2.2 to 3.3.2.4 and 3.3.3, from memory."""

from __future__ import annotations

import math

import pytest

from tests.language.reading import read, refused


def value(text: str, before: str = "") -> float:
    end = read(f"{before}G0 X{text}\n").end[0]
    assert isinstance(end, float)
    return end


@pytest.mark.parametrize(("text", "expected"), [
    # The report's own examples of expressions.
    ("[2.0 / 3 * 1.5 - 5.5 / 11.0]", 0.5),
    ("[1 + acos[0] - [2 ** [4.0/2]]]", 87),
    ("[3]", 3), ("[-3]", -3), ("[[3]]", 3), ("[+3 - -4]", 7),
    # Powers first, then products, then sums and logic; within one level from left to right.
    ("[1+2*3]", 7), ("[2*3**2]", 18), ("[2**3**2]", 64), ("[10-4-3]", 3), ("[16/4/2]", 2), ("[7-3*2**2/6]", 5),
    ("[10 MOD 4 * 3]", 6), ("[2*7 MOD 4]", 2), ("[1 AND 0 + 5]", 5), ("[1 OR 0 - 1]", 0), ("[5 XOR 0 + 2]", 3),
    ("[1+1 AND 0]", 0), ("[0 AND 1 OR 1]", 1), ("[1 OR 1 AND 0]", 0), ("[3 XOR 4]", 0), ("[0 OR -2]", 1),
    # What is left of a division is never negative.
    ("[7 MOD 3]", 1), ("[-7 MOD 3]", 2), ("[7 MOD -3]", 1), ("[-7 MOD -3]", 2), ("[7.5 MOD 2]", 1.5),
])
def test_expressions(text: str, expected: float) -> None:
    assert value(text) == pytest.approx(expected, abs=1e-9)
    assert value(text.lower().replace(" ", "\t ")) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(("text", "expected"), [
    # The report: FIX rounds toward less positive or more negative, FUP toward more positive or less negative.
    ("FIX[2.8]", 2), ("FIX[-2.8]", -3), ("FUP[2.8]", 3), ("FUP[-2.8]", -2),
    ("ROUND[2.4]", 2), ("ROUND[2.6]", 3), ("ROUND[-2.4]", -2), ("ROUND[-2.6]", -3), ("ROUND[2.5]", 3),
    ("ABS[-4]", 4), ("SQRT[9]", 3), ("EXP[0]", 1), ("EXP[1]", math.e), ("LN[10]", math.log(10)),
    # Angles are in degrees.
    ("SIN[30]", 0.5), ("COS[60]", 0.5), ("TAN[45]", 1), ("ASIN[1]", 90), ("ACOS[0]", 90), ("ACOS[-1]", 180),
    ("ATAN[1]/[1]", 45), ("ATAN[1]/[-1]", 135), ("ATAN[-1]/[-1]", -135), ("ATAN[1]/[0]", 90),
    ("[2*SIN[15+15]]", 1), ("ABS[SIN[-90]]", 1), ("[ATAN[1]/[1] / 9]", 5),
])
def test_functions(text: str, expected: float) -> None:
    assert value(text) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("text", [
    "[1/0]", "[1 MOD 0]", "SQRT[-1]", "LN[0]", "LN[-1]", "ASIN[1.1]", "ACOS[-2]", "[-8 ** 0.5]", "[0 ** -1]",
    "EXP[9999]", "[9**9**9]", "[", "[]", "[1", "1]", "[1+]", "[+]", "[1 2 +]", "SIN", "SIN 30", "SIN(30)", "ATAN[1]",
    "ATAN[1][1]",
    "[1 EQ 1]", "[1 % 2]", "FOO[1]", "-[5]", "-#1", "[-SIN[30]]", "[[[[1]", "#", "#0", "#-1", "#1.5", "#<>", "#<a",
    "[" * 60 + "1" + "]" * 60,
])
def test_what_has_no_value_is_refused(text: str) -> None:
    refused(f"#1=4\nG0 X{text}\n")


def test_rounding_within_the_control_never_decides() -> None:
    # In binary floating point a tenth and a fifth make more than three tenths, and a third three times makes one.
    for text in ("FIX[3*[1/3]]", "FUP[[0.1+0.2]*10]", "ROUND[[0.7+0.1]*10-7.5]", "[[0.3-[0.1+0.2]] OR 0]",
                 "[[0.7+0.1]*10 MOD 1]"):
        refused(f"G0 X{text}\n", "rounding within the control")
    refused("#1=[0.1+0.2]\nG0 XFUP[#1*10]\n", "rounding within the control")
    assert value("FIX[3*1.5]") == 4
    assert value("[0.1+0.2]") == 0.3


def test_sums_of_what_is_written_are_exact() -> None:
    lines = ["G91 G0\n", "#1=0.1\n", *["X#1\n"] * 30, "G90\n"]
    found = read("".join(lines))
    assert found.end[0] == 3


# Parameters ------------------

def test_parameters_by_number_name_and_expression() -> None:
    # Section 3.3.2.2: "#1+2" is the sum of #1 and 2, "#[1+2]" is parameter 3, "##2" the parameter that #2 names.
    before = "#1=10\n#2=1\n#3=30\n#<side_width>=7\n"
    assert value("[#1+2]", before) == 12
    assert value("#[1+2]", before) == 30
    assert value("##2", before) == 10
    assert value("#<Side_Width>", before) == 7
    assert value("#<side _ width>", before) == 7


def test_settings_count_from_the_next_block_on() -> None:
    # Section 3.3.3: parameter settings take effect after all parameter values on the line have been found.
    assert read("#1=5\n#1=6 G0 X#1\nY#1\n").end == (5, 6, 50)
    assert read("#1=5\n#1=[#1+1] #2=#1\nG0 X#1 Y#2\n").end == (6, 5, 50)


def test_of_two_settings_of_one_parameter_the_last_counts() -> None:
    assert read("#1=5 #1=6\nG0 X#1\n").end[0] == 6


def test_a_setting_stands_anywhere_in_a_block() -> None:
    assert read("G0 #1=4 X5 #2=6\nX#1 Y#2\n").path[0] == ("rapid", (5, 0, 50))


@pytest.mark.parametrize("text", ["#7", "#<depth>", "#5220", "#5061", "#31", "[#7*0]", "#[#7]"])
def test_what_the_program_did_not_set_is_refused(text: str) -> None:
    refused(f"G0 X{text}\n", "which the program did not set")


@pytest.mark.parametrize("number", ["5000", "5161", "5220", "5400", "9999"])
def test_parameters_of_the_control_are_not_set(number: str) -> None:
    # Table 2: from 5161 on homes, offsets, and the number of the offset in force.
    refused(f"#{number}=1\n", "belongs to the control")


@pytest.mark.parametrize("block", ["#1", "#1=", "#=5", "G0 X#1=5", "#1==5", "#1=#2=5", "#1 5"])
def test_settings_that_do_not_parse(block: str) -> None:
    refused(f"#2=1\n{block}\n")


def test_a_block_that_is_refused_sets_nothing() -> None:
    refused("#1=5 G77\nG0 X#1\n", "did not set")


@pytest.mark.parametrize("block", ["G#1", "G[0] X5", "M[5]", "M#1", "G0 X5 M[3]"])
def test_codes_by_expression(block: str) -> None:
    refused(f"#1=1\n{block}\n", "given by an expression")


def test_letters_of_functions_and_names_are_no_words() -> None:
    # SQRT and TAN hold a T, the names M30, T1 and M98: none of them is a tool, an end or a call.
    found = read("#<M30>=1\n#<T1>=2\n#<M98P1>=3\nG0 X[TAN[45]+SQRT[#<M30>]] Y[ATAN[1]/[1]]\nX#<T1>\n", first_tool=4)
    assert found.end[:2] == (2, 45) and found.state.selected is None
