"""The report, section by section: its worked examples and its errors.

Section numbers are those of the RS274/NGC report (NISTIR 6556). What it says was written down from memory, without the
text at hand. Where the guard lets through what the report calls an error, the table at the end says why.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from gcode_guard.program.state import ToolFacts
from tests.language.reading import STARTS_IN, point, read, refused

RULES: dict[str, Any] = {
    "first_tool": 1, "tools": {1: ToolFacts(Decimal(3), Decimal(0)), 2: ToolFacts(Decimal(3), Decimal(0))},
    "zero": point(0, 0, 60), "shifts": {"G54": point(0, 0, 0), "G55": point(300, 0, 0)},
    "home": point(0, 0, 90), "home2": point(0, 9, 90), "home_axes": "named", "after_tool_change": "same",
    "block_delete": "run",
}

# Section, what the report says, the program, what the reason must say ------------------

SHAPE = [
    ("3.3", "any input that is not allowed is an error", "G0 X5 $", "is not a word"),
    ("3.3.1", "a line number is an integer", "N1.5 G0 X5", "not a whole number"),
    ("3.3.1", "a line number is not negative", "N-3 G0 X5", "not a whole number"),
    ("3.3.1", "the line number stands before the words", "G0 N10 X5", "N stands behind other words"),
    ("3.3.1", "the block delete character is the first item on its line", "N10 /G0 X5", "slash"),
    ("3.3.1", "the block delete character is the first item on its line", "(door) /G0 X5", "slash"),
    ("3.3.2.1", "a number has at least one digit", "G0 X.", "a number is missing"),
    ("3.3.2.1", "a number has at least one digit", "G0 X+", "a number is missing"),
    ("3.3.2.1", "a number has at most one point", "G0 X1.2.3", "is not a word"),
    ("3.3.2.1", "a number has one sign", "G0 X+-5", "a number is missing"),
    ("3.3.2.2", "a parameter number is an integer", "#1.5=2", "is not a parameter"),
    ("3.3.2.2", "a parameter number is at least 1", "#0=2", "is not a parameter"),
    ("3.3.2.2", "a parameter number is at most 5399", "#5400=2", "belongs to the control"),
    ("3.3.2.3", "an expression is closed by a right bracket", "G0 X[1+2", "does not parse"),
    ("3.3.2.3", "an expression starts with a left bracket", "G0 X1+2]", "is not a word"),
    ("3.3.2.3", "the divisor is not zero", "G0 X[1/0]", "no value"),
    ("3.3.2.3", "a negative number is not raised to a power that is no integer", "G0 X[-2**0.5]", "no value"),
    ("3.3.2.4", "a function is followed by an expression", "G0 XSIN30", "a bracket is missing"),
    ("3.3.2.4", "ATAN is followed by two expressions and a slash", "G0 XATAN[1]", "ATAN needs two"),
    ("3.3.2.4", "the argument of ACOS lies between -1 and 1", "G0 XACOS[1.01]", "no value"),
    ("3.3.2.4", "the argument of ASIN lies between -1 and 1", "G0 XASIN[-1.01]", "no value"),
    ("3.3.2.4", "the argument of LN is positive", "G0 XLN[0]", "no value"),
    ("3.3.2.4", "the argument of SQRT is not negative", "G0 XSQRT[-1]", "no value"),
    ("3.3.3", "a parameter setting has an equal sign and a value", "#3 15", "stands alone"),
    ("3.3.3", "a parameter setting has an equal sign and a value", "#3=", "a number is missing"),
    ("3.3.4", "a left parenthesis has a right one on the same line", "G0 X5 (door", "not closed"),
    ("3.3.4", "comments do not hold comments", "G0 X5 (a (b) c) Y5", "stands within a comment"),
    ("3.3.4", "a right parenthesis has a left one before it", "G0 X5 )", "was not opened"),
    ("3.4", "two G words of one modal group", "G0 G1 X5", "exclude each other"),
    ("3.4", "two M words of one modal group", "M3 M4", "exclude each other"),
    ("3.4", "more than four M words", "M3 M7 M48 M1 M6 T1", "more than four M"),
    ("3.4", "two words of another letter", "G0 X5 X6", "two X words"),
    ("3.4", "a code of group 1 and one of group 0 that both use axis words", "G1 G92 X5", "both use axis words"),
    ("3.4", "axis words where no code in force uses them", "G80\nX5", "after G80"),
    ("3.4", "an unknown G code", "G37 X5", "G37 is not known"),
    ("3.4", "an unknown M code", "M77", "M77 is not known"),
    ("3.4", "a word that nothing on the line uses", "G0 X5 P2", "P word"),
]
MOTION = [
    ("3.5.3", "an arc in XY has a K word", "G2 X10 Y0 I5 K1", "has a K word"),
    ("3.5.3", "an arc in XZ has a J word", "G18 G2 X10 Z50 I5 J1", "has a J word"),
    ("3.5.3", "an arc in YZ has an I word", "G19 G2 Y10 Z50 J5 I1", "has a I word"),
    ("3.5.3.1", "both axis words of the plane are omitted", "G2 R5", "no end"),
    ("3.5.3.1", "both axis words of the plane are omitted", "G19 G2 X9 R5", "no end"),
    ("3.5.3.1", "the end is the current point", "G2 X0 Y0 R5", "ends where it starts"),
    ("3.5.3.1", "no circle of this radius goes through both", "G2 X10 Y0 R4", "more than twice its radius"),
    ("3.5.3.2", "the distances to the centre differ", "G2 X10 Y0 I6 J0", "differently far"),
    ("3.5.3.2", "I and J are both omitted", "G2 X10 Y0", "neither a centre nor a radius"),
    ("3.5.3.2", "I and K are both omitted", "G18 G2 X10 Z50", "neither a centre nor a radius"),
    ("3.5.3.2", "J and K are both omitted", "G19 G2 Y10 Z50", "neither a centre nor a radius"),
    ("3.5.4", "the P number is negative", "G4 P-1", "not negative"),
    ("3.5.4", "the P word is missing", "G4", "needs one time"),
    ("3.5.5", "the P number is no integer", "G10 L2 P1.5 X1", "not a whole number"),
    ("3.5.5", "the P number is not from 1 to 9", "G10 L2 P0 X1", "needs P"),
    ("3.5.5", "the P number is not from 1 to 9", "G10 L2 P10 X1", "needs P"),
    ("3.5.5", "the L number is not 2", "G10 L3 P1 X1", "L3"),
    ("3.5.5", "the L word is missing", "G10 P1 X1", "without L"),
    ("3.5.8", "cutter radius compensation is on", "G41 D1\nG28", "under cutter compensation"),
    ("3.5.8", "cutter radius compensation is on", "G42 D1\nG30", "under cutter compensation"),
    ("3.5.9.1", "the point is nearer than 0.254 mm or 0.01 in", "G38.2 Z49.75", "shorter than"),
    ("3.5.9.1", "the point is nearer than 0.254 mm or 0.01 in", "G91 G20 G38.2 Z-0.009 F5", "shorter than"),
    ("3.5.9.1", "inverse time feed is in force", "G93\nG38.2 Z0 F2", "inverse time"),
    ("3.5.9.1", "a rotary axis is commanded to move", "G38.2 Z0 A5", "rotary axis"),
    ("3.5.9.1", "no X, Y or Z word is used", "G38.2 F50", "no axis words"),
    ("3.5.9.2", "where it tripped is in parameters of the control's", "G38.2 Z0\nG0 Z60\n#1=#5063", "did not set"),
    ("3.5.10", "the D number is no integer", "G41 D1.5", "not the tool in the spindle"),
    ("3.5.10", "the D number is negative", "G41 D-1", "not the tool in the spindle"),
    ("3.5.10", "the D number is larger than there are tools", "G41 D99", "not the tool in the spindle"),
    ("3.5.10", "the XY plane is not in force", "G18\nG41 D1", "outside the plane XY"),
    ("3.5.10", "it is switched on while it is on", "G41 D1\nG42 D1", "while it is on"),
    ("3.5.11", "the H number is no integer", "G43 H1.5", "not a whole number"),
    ("3.5.11", "the H number is negative", "G43 H-1", "not a whole number"),
    ("3.5.11", "the H number is larger than there are tools", "G43 H99", "tool 1 is in the spindle"),
    ("3.5.11", "the H word is missing", "G43", "without H"),
    ("3.5.12", "G53 without G0 or G1 in force", "G81 X1 Y1 Z-1 R2\nG53 X5", "without G0 or G1"),
    ("3.5.12", "G53 while cutter radius compensation is on", "G41 D1\nG53 G0 X5", "under cutter compensation"),
    ("3.5.13", "an offset is selected while cutter radius compensation is on", "G41 D1\nG55", "under cutter"),
    ("3.5.15", "axis words while G80 is in force", "G80 X5", "after G80"),
    ("3.5.17", "G90 and G91 on one line", "G90 G91", "exclude each other"),
    ("3.5.18", "all axis words are omitted", "G92", "no axis words"),
    ("3.5.19", "no F on a line of G1 under inverse time", "G93\nG1 X5 F2\nG1 X9", "its own F"),
    ("3.5.19", "no F on a line of G2 under inverse time", "G93\nG1 X5 F2\nG2 X9 I2", "its own F"),
    ("3.5.19", "no F on a line of G3 under inverse time", "G93\nG1 X5 F2\nG3 X9 I2", "its own F"),
    ("3.6.3", "tool change while cutter radius compensation is on", "G41 D1\nT2 M6", "under cutter compensation"),
    ("3.7.1", "the F number is negative", "F-1", "negative"),
    ("3.7.2", "the S number is negative", "S-1", "negative"),
    ("3.7.3", "the T number is negative", "T-1", "not a whole number"),
    ("3.7.3", "the T number is no integer", "T1.5", "not a whole number"),
    ("3.7.3", "the T number is larger than there are tools", "T99 M6", "not in the setup"),
]
NEEDED = {"G82": " P1", "G83": " Q1", "G86": " P1", "G87": " I1 J1 K-1", "G88": " P1", "G89": " P1"}
CYCLES = {"G81": ".2", "G82": ".3", "G83": ".4", "G84": ".5", "G85": ".6", "G86": ".7", "G87": ".8", "G88": ".9",
          "G89": ".10"}
PLANES = {"G17": "X1 Y1 {}Z-5", "G18": "X1 Z1 {}Y-5", "G19": "Y1 Z1 {}X-5"}


def of_cycles() -> list[tuple[str, str, str, str]]:
    """The errors that section 3.5.16 states for every cycle, in each plane that the guard follows it in."""
    rows = []
    for code, number in CYCLES.items():
        section, needed = f"3.5.16{number}", NEEDED.get(code, "")
        for plane, places in PLANES.items():
            if code == "G87" and plane != "G17":
                rows.append((section, "G87 in another plane", f"{plane} {code} {places.format('')} R2{needed}", "G17"))
                continue
            head = f"{plane} {code} "
            whole = head + places.format("") + " R2" + needed
            rows += [
                (section, "X, Y and Z are all missing", f"{head}R2{needed}", "no axis words"),
                (section, "the L number is no positive integer", f"{whole} L0", "L0"),
                (section, "the L number is no positive integer", f"{whole} L-2", "not a whole number"),
                (section, "the L number is no positive integer", f"{whole} L1.5", "not a whole number"),
                (section, "a rotary axis moves", f"{whole} B9", "rotary axis"),
                (section, "inverse time feed is in force", f"G93\n{whole} F2", "inverse time"),
                (section, "the depth is missing, and this cycle was not in force",
                 head + places.split(" {}")[0] + " R2" + needed, "no depth"),
                (section, "R is less than the depth", head + places.format("") + " R-6" + needed, "below its depth"),
            ]
        rows.append((section, "cutter compensation is on", f"G41 D1\n{code} X1 Y1 Z-5 R2{needed}", "under cutter"))
        if needed == " P1":
            rows.append((section, "the P number is negative", f"{code} X1 Y1 Z-5 R2 P-1", "dwell"))
            rows.append((section, "the P word is missing", f"{code} X1 Y1 Z-5 R2", "dwell"))
    return [*rows, ("3.5.16.4", "the Q number is negative or zero", "G83 X1 Y1 Z-5 R2 Q0", "peck"),
            ("3.5.16.4", "the Q number is negative or zero", "G83 X1 Y1 Z-5 R2 Q-1", "peck"),
            ("3.5.16.5", "the spindle does not turn clockwise", "M4\nG84 X1 Y1 Z-5 R2", "clockwise"),
            ("3.5.16.7", "the spindle does not turn", "M5\nG86 X1 Y1 Z-5 R2 P1", "stops the spindle"),
            ("3.5.16.8", "the spindle does not turn", "M5\nG87 X1 Y1 Z-5 R2 I1 J1 K-1", "stops the spindle"),
            ("3.5.16.9", "the spindle does not turn", "M5\nG88 X1 Y1 Z-5 R2 P1", "stops the spindle")]


@pytest.mark.parametrize(("section", "error", "program", "said"), [*SHAPE, *MOTION, *of_cycles()],
                         ids=lambda value: str(value).replace("\n", "|"))
def test_an_error_of_the_report_is_refused(section: str, error: str, program: str, said: str) -> None:
    refused(f"M3\n{program}\n", said, **RULES)


# Worked examples ------------------

def test_3_3_two_lines_that_are_the_same() -> None:
    """"The line "g0x +0. 12 34y 7" is equivalent to "g0 x+0.1234 y7"."""
    assert read("g0x +0. 12 34y 7\n").path == read("g0 x+0.1234 y7\n").path == [("rapid", (0.1234, 7, 50))]


def test_3_3_the_order_of_words_does_not_matter() -> None:
    """"N10 G0 X1 Y2" may be written in any order behind the line number."""
    assert read("N10 Y2 G0 X1\n").path == read("N10 G0 X1 Y2\n").path


def test_3_3_2_3_its_two_expressions() -> None:
    """"[1 + acos[0] - [#3 ** [4.0/2]]]" and, for the order of evaluation, "[2.0 / 3 * 1.5 - 5.5 / 11.0]", which is
    evaluated as "[((2.0 / 3) * 1.5) - (5.5 / 11.0)]", that is 0.5."""
    assert read("#3=5\nG0 X[1 + acos[0] - [#3 ** [4.0/2]]]\n").end[0] == 66
    assert read("G0 X[2.0 / 3 * 1.5 - 5.5 / 11.0]\n").end[0] == 0.5


def test_3_3_2_4_fix_and_fup() -> None:
    """"FIX[2.8] = 2 and FIX[-2.8] = -3, FUP[2.8] = 3 and FUP[-2.8] = -2"."""
    found = read("G0 XFIX[2.8] YFUP[2.8]\nXFIX[-2.8] YFUP[-2.8]\n")
    assert [end[:2] for _, end in found.path] == [(2, 3), (-3, -2)]


def test_3_3_3_a_setting_takes_effect_behind_its_line() -> None:
    """"If parameter 3 has been previously set to 15 and the line "#3=6 G1 x#3" is interpreted, a straight move to a
    point where x equals 15 will occur and the value of parameter 3 will be 6."""
    assert read("#3=15\n#3=6 G1 x#3\nY#3\n").path == [("cut", (15, 0, 50)), ("cut", (15, 6, 50))]


def test_3_5_3_1_an_arc_by_its_radius() -> None:
    """"G17 G2 x 10 y 15 r 20 z 5" makes a clockwise helical arc in a plane parallel to XY that ends at X=10, Y=15, Z=5
    with a radius of 20."""
    (move,) = read("G17 G2 x 10 y 15 r 20 z 5\n", start=(0, 0, 0)).moves
    assert move.centre is not None and move.kind.name == "ARC_CW" and move.plane == 17
    for end in (move.start, move.end):
        away = (float(end[0]) - move.centre[0]) ** 2 + (float(end[1]) - move.centre[1]) ** 2  # type: ignore[arg-type]
        assert away == pytest.approx(400, abs=1e-6)
    assert tuple(map(float, move.end)) == (10, 15, 5)  # type: ignore[arg-type]


def test_3_5_3_2_an_arc_about_its_centre() -> None:
    """"G17 G2 x 10 y 16 i 3 j 4 z 9": if the current X is 7 and the current Y is 7, the centre is at X=10, Y=11."""
    (move,) = read("G17 G2 x 10 y 16 i 3 j 4 z 9\n", start=(7, 7, 0)).moves
    assert move.centre == (10, 11, 0) and tuple(map(float, move.end)) == (10, 16, 9)  # type: ignore[arg-type]


def test_3_5_5_the_origin_of_a_coordinate_system() -> None:
    """"G10 L2 P1 x 3.5 y 17.2" sets the origin of the first coordinate system to X=3.5, Y=17.2 in absolute coordinates;
    its Z stays what it was."""
    found = read("G10 L2 P1 x 3.5 y 17.2\nG0 X0 Y0 Z1\n", zero=point(0, 0, 99))
    assert found.end == (3.5, 17.2, 1)


def test_3_5_16_2_the_two_examples_of_g81() -> None:
    """From (1, 2, 3): "G90 G81 G98 X4 Y5 Z1.5 R2.8" and "G91 G81 G98 X4 Y5 Z-0.6 R1.8 L3"."""
    assert read("G90 G81 G98 X4 Y5 Z1.5 R2.8\n", start=(1, 2, 3)).path == [
        ("rapid", (4, 5, 3)), ("rapid", (4, 5, 2.8)), ("cut", (4, 5, 1.5)), ("rapid", (4, 5, 3))]
    assert read("G91 G81 G98 X4 Y5 Z-0.6 R1.8 L3\n", start=(1, 2, 3)).path == [
        ("rapid", (1, 2, 4.8)),
        ("rapid", (5, 7, 4.8)), ("cut", (5, 7, 4.2)), ("rapid", (5, 7, 4.8)),
        ("rapid", (9, 12, 4.8)), ("cut", (9, 12, 4.2)), ("rapid", (9, 12, 4.8)),
        ("rapid", (13, 17, 4.8)), ("cut", (13, 17, 4.2)), ("rapid", (13, 17, 4.8))]


def test_3_5_16_4_pecks_shorter_than_the_back_off() -> None:
    """The report's interpreter feeds to R - Q, R - 2Q ..., each time out to R and back to 0.010 in above the last
    depth: with Q 0.2 mm that lies above R at first."""
    found = read("G99 G83 X0 Y0 Z1.3 R2 Q0.2\n").path
    assert [end[2] for _, end in found] == [2, 1.8, 2, 2.054, 1.6, 2, 1.854, 1.4, 2, 1.654, 1.3, 2]
    found = read("G99 G73 X0 Y0 Z1.5 R2 Q0.2\n").path
    assert [end[2] for _, end in found] == [2, 1.8, 2.054, 1.6, 1.854, 1.5, 2]


def test_3_5_18_the_shift_of_the_axes() -> None:
    """"If the current point is at X=4 and there is no shift, G92 x7 sets the shift to -3 and makes X 7 there; G92 x9
    then sets it to -5"; a program goes on from there."""
    assert read("G0 X4\nG92 x7\nX8\n").end[0] == 5
    assert read("G0 X4\nG92 x7\nG92 x9\nX10\n").end[0] == 5


def test_3_8_the_order_in_which_a_line_is_done() -> None:
    """Table 8: feed mode, feed, speed, tool, change, spindle, coolant, overrides, dwell, plane, units, compensation,
    tool length, coordinate system, path, distance, return level, home or data or shift, motion, stop."""
    step = read("M0 X1 G0 G98 G91 G61 G55 G49 G40 G20 G17 M8 M3 M6 T2 S100 F5 G94\n", **RULES).steps[0]
    assert [effect.what for effect in step.effects] == ["S100", "T2", "M6", "M3", "M8", "G55", "G61", "M0"]
    assert [effect.after_move for effect in step.effects] == [0] * 7 + [1]
    assert tuple(map(float, step.moves[0].end[:2])) == (25.4, 0)  # type: ignore[arg-type]


# Errors of the report that are let through, since they move nothing, and common programs have them ------------------

@pytest.mark.parametrize(("program", "path"), [
    # 3.3: lines of more than 256 characters: exporters write long comments.
    ("G0 X5 (" + "door " * 80 + ")", [("rapid", (5, 0, 50))]),
    # 3.3.1: line numbers of more than five digits: long programs have them, and they mean nothing.
    ("N123456 G0 X5", [("rapid", (5, 0, 50))]),
    # 3.5.1, 3.5.2: G0 or G1 without axis words: safety lines have them; they only set the mode.
    ("G0\nX5", [("rapid", (5, 0, 50))]),
    # 3.5.16: a P that the cycle does not use: a dwell moves nothing, whichever code a control makes of it.
    ("G99 G81 X0 Y0 Z-1 R2 P1", [("rapid", (0, 0, 2)), ("cut", (0, 0, -1)), ("rapid", (0, 0, 2))]),
])
def test_what_moves_nothing_is_let_through(program: str, path: list[Any]) -> None:
    assert read(program + "\n").path == path


def test_3_5_3_2_a_full_circle_by_its_centre_alone() -> None:
    """The report wants an axis word of the plane; without one every control makes a full turn, or stops."""
    (move,) = read("G2 I5\n", start=(0, 0, 0)).moves
    assert move.full_turn and move.centre == (5, 0, 0)


def test_a_tape_that_is_not_closed_is_read_to_its_end() -> None:
    """3.2 wants a second percent sign behind the program, or M2 or M30: what stands before is done all the same."""
    assert read("%\nG0 X5\n").end[0] == 5 and read("G0 X5").end[0] == 5
    assert STARTS_IN == ("G21", "G90", "G17", "F100")
