"""Two codes of one modal group in one block: every pair is an error (NISTIR 6556, section 3.4, from memory)."""

from __future__ import annotations

from itertools import combinations

import pytest

from tests.language.reading import point, read, refused

# Table 4 of the report. G73, G38.3 to G38.5, G41.1, G42.1, G95, G28.1, G30.1, G90.1 and G91.1, G96 and G97 are not in
# it: they stand where they belong by what they do.
GROUPS = {
    "non-modal": "G4 G10 G28 G28.1 G30 G30.1 G53 G92 G92.1 G92.2 G92.3",
    "motion": "G0 G1 G2 G3 G38.2 G38.3 G38.4 G38.5 G73 G80 G81 G82 G83 G84 G85 G86 G87 G88 G89",
    "plane": "G17 G18 G19",
    "distance": "G90 G91",
    "centres": "G90.1 G91.1",
    "feed mode": "G93 G94 G95",
    "units": "G20 G21",
    "compensation": "G40 G41 G42 G41.1 G42.1",
    "tool length": "G43 G49",
    "return": "G98 G99",
    "work offset": "G54 G55 G56 G57 G58 G59 G59.1 G59.2 G59.3",
    "path control": "G61 G61.1 G64",
    "spindle mode": "G96 G97",
    "stopping": "M0 M1 M2 M30",
    "spindle": "M3 M4 M5",
    "coolant": "M7 M8 M9",
    "overrides": "M48 M49",
    "calls": "M98 M99",
}
PAIRS = [(name, *pair) for name, codes in GROUPS.items() for pair in combinations(codes.split(), 2)]


@pytest.mark.parametrize(("group", "first", "second"), PAIRS, ids=lambda value: value)
def test_two_codes_of_one_group_are_refused(group: str, first: str, second: str) -> None:
    for block in (f"{first} {second}", f"{second} {first}", f"{first}X1Y1Z1{second}P1"):
        refused(block + "\n", first, second, "exclude each other")


@pytest.mark.parametrize("code", [code for codes in GROUPS.values() for code in codes.split()])
def test_one_code_twice_is_refused(code: str) -> None:
    refused(f"{code} {code}\n", "exclude each other")


def test_a_code_is_the_same_however_it_is_spelled() -> None:
    refused("G1 G01.0 X5\n", "exclude each other")
    refused("G 0 g0 0\n", "exclude each other")


def test_one_code_of_each_group_may_stand_together() -> None:
    found = read("G0 G17 G40 G49 G54 G61 G90 G91.1 G94 G97 G98 G21 M5 M9 M48 X3 Y4 Z5\n")
    assert found.path == [("rapid", (3, 4, 5))]


@pytest.mark.parametrize("user", ["G10 L20 P1", "G28", "G30", "G92"])
@pytest.mark.parametrize("motion", ["G0", "G1", "G2 I5", "G38.2", "G81 R2"])
def test_two_codes_that_both_use_the_axis_words(user: str, motion: str) -> None:
    # Section 3.5, first paragraphs: a code of group 1 and one of group 0 that both use axis words are an error.
    refused(f"{user} {motion} X5 Y6 Z7\n", "both use axis words")


@pytest.mark.parametrize("user", ["G10 L20 P1", "G28", "G30", "G92"])
def test_the_motion_in_force_waits_while_another_code_uses_the_axis_words(user: str) -> None:
    # Section 3.5: the activity of the motion in force is suspended for that line, and goes on after it.
    found = read(f"F100\nG1 X10\n{user} X10\nY5\n", home=point(0, 0, 9), home2=point(0, 0, 9),
                 home_axes="named")
    assert found.path[-1][0] == "cut"


@pytest.mark.parametrize("code", ["G92.1", "G92.2", "G92.3", "G28.1", "G30.1"])
def test_codes_without_axis_words_do_not_stand_beside_a_move(code: str) -> None:
    # By the report such a line moves as well; other controls take the axis words for the code's own.
    refused(f"G92.1\nG0\n{code} X5\n", f"{code} stands beside a move")
    refused(f"G92.1\n{code} G1\n", f"{code} stands beside a move")
