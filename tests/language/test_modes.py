"""Dwell, feeds, paths, probes, harmless codes, and what a program leaves: NISTIR 6556, sections 3.5 and 3.6."""

from __future__ import annotations

import pytest

from tests.language.reading import point, read, read_any, refused

R = "rapid"


# Dwell (section 3.5.4) ------------------

@pytest.mark.parametrize(("block", "said"), [
    ("G4 P1.5", "dwell 1.5"), ("G4 P0", "dwell 0"), ("G4 X2", "dwell 2"), ("G4 U2", "dwell 2"), ("G4 S2", "dwell 2"),
    ("G04 P[1+1]", "dwell 2"),
])
def test_forms_of_a_dwell(block: str, said: str) -> None:
    found = read(f"G1 X5\n{block}\nY5\n")
    assert found.effects == [said]
    assert found.path == [("cut", (5, 0, 50)), ("cut", (5, 5, 50))]


@pytest.mark.parametrize("block", [
    "G4", "G4 P-1", "G4 X-1", "G4 P1 X1", "G4 X1 S1", "G4 P1 G1 X5", "G4 P1 Y5", "G4 F2"])
def test_errors_of_a_dwell(block: str) -> None:
    refused(block + "\n")


def test_beside_p_the_s_of_a_dwell_is_a_speed() -> None:
    assert read("G4 P2 S500 M3\n").effects == ["S500", "M3", "dwell 2"]


# Feeds (section 3.5.19) ------------------

def test_inverse_time_needs_f_on_each_cut() -> None:
    assert [move.feed for move in read("G93\nG1 X5 F2\nX6 F4\nG0 X7\n").moves] == [2, 4, None]
    refused("G93\nG1 X5 F2\nX6\n", "its own F")
    refused("G93\nG1 F2\nX6\n", "its own F")
    refused("G93\nG2 X5 I2.5 F2\nX9 I2\n", "its own F")
    assert [move.feed for move in read("G20 G93\nG1 X5 F2\n").moves] == [2]


def test_a_feed_a_turn_needs_a_feed_of_its_own() -> None:
    refused("G1 X5\nG95\nX6\n", "no feed")
    assert read("G1 X5\nG95 F0.2\nX6\n").moves[1].feed is not None


def test_a_feed_of_nought() -> None:
    refused("G1 X5 F0\n", "no feed")
    assert read("F0\nG0 X5\n").end[0] == 5


# Path control (section 3.5.14) ------------------

def test_a_stated_tolerance_widens_the_clearance() -> None:
    found = read("G64 P0.5\nG0 X1\nG64 P4\nX2\nG61\nX3\nG64\nX4\nG61.1\nX5\nG20 G64 P1\nX1\n", corner_rounding=1.0)
    assert [move.corner for move in found.moves] == [0.5, 4, 0, 1, 0, 25.4]


def test_g64_without_a_tolerance_is_an_assumption_where_the_setup_is_silent() -> None:
    assert "path blending" in read("G64\nG0 X1\n").assumptions
    assert "path blending" not in read("G64\nG0 X1\n", corner_rounding_given=True).assumptions
    assert "path blending" not in read("G64 P1\nG0 X1\n").assumptions
    assert read("G0 X1\n", corner_rounding=2.0).moves[0].corner == 2


def test_errors_of_path_control() -> None:
    refused("G64 P-1\n", "negative P")
    refused("G61 P1\n", "P word")
    refused("G64 Q1\n", "Q word")


# Probes (section 3.5.9) ------------------

@pytest.mark.parametrize("code", ["G38.2", "G38.3", "G38.4", "G38.5"])
def test_a_probe_may_end_anywhere_on_its_way(code: str) -> None:
    found = read(f"{code} Z-5\n")
    assert found.path == [("probe", (0, 0, -5))] and found.end == (0, 0, None)
    found = read(f"G0 X0 Y0\n{code} X30 Y40\nG0 Z60\n")
    assert found.end == (None, None, 60)


@pytest.mark.parametrize(("program", "said"), [
    ("G38.2\n", "no axis words"), ("G38.2 Z50\n", "shorter than"), ("G38.2 Z49.8\n", "shorter than"),
    ("G93\nG38.2 Z0 F2\n", "inverse time"), ("G38.2 Z0 A1\n", "rotary axis"), ("G41\nG38.2 Z0\n", "compensation"),
    ("G38.2 Z0\nG0 X5\nG38.2 Z0\nZ-1\n", "machine.start"),
])
def test_errors_of_a_probe(program: str, said: str) -> None:
    refused(program, said)


def test_a_probe_is_not_gone_on_with_by_bare_coordinates() -> None:
    refused("G38.2 Z0\nX5\n", "after a probe")


def test_what_follows_a_probe_starts_at_a_place_that_is_not_known() -> None:
    refused("G38.2 Z0\nG1 X5\n", "not known to be")
    refused("G38.2 Z0\nG92 Z0\n", "not known to be", "in a program of its own")
    refused("G38.2 Z0\nG10 L20 P1 Z0\n", "not known to be", "in a program of its own")
    assert read("G38.2 Z0\nG0 Z50\nG1 X5\n").end == (5, 0, 50)


# Codes of the setup's own ------------------

def test_a_harmless_code_takes_its_words_with_it() -> None:
    found = read("M101 P1 Q2 X3\nG0 X5 M101 P3\nM101\n", harmless=frozenset({"M101"}))
    assert found.path == [(R, (5, 0, 50))] and found.effects == ["M101"] * 3
    refused("M101\n", 'add "M101" to program.harmless')
    refused("G101.5\n", 'add "G101.5" to program.harmless')
    for code in ("G77", "G0.5", "G-1", "M3.5"):  # the setup takes none of these as harmless
        refused(f"{code}\n", f"{code} is not known", "export the program without it")
    refused("M101 N5\n", "N stands behind", harmless=frozenset({"M101"}))


def test_a_followed_code_cannot_be_harmless() -> None:
    assert read("G0 X5\nG92 X0\nX5\n", harmless=frozenset({"G92", "G0"})).end[0] == 10


# Stops and ends (section 3.6.1) ------------------

def test_obstacles_stay_where_they_are_at_each_stop() -> None:
    found = read("M0\nM1\nT1 M6\nM30\n", first_tool=1)
    assert {"line 1", "line 2", "line 3"} <= set(found.assumptions)


@pytest.mark.parametrize(("program", "told"), [
    ("G91\n", ["incremental distances (G91)"]),
    ("G20\n", ["units (G20)"]),
    ("G18\n", ["plane (G18)"]),
    ("G90.1\n", ["absolute arc centres (G90.1)"]),
    ("G95\n", ["feed mode (G95)"]),
    ("G0 X5\nG92 X0\n", ["a shift of the coordinates (G92)"]),
    ("G42\n", ["cutter compensation (G42)"]),
    ("G55\n", ["another work offset (G55)"]),
    ("G10 L20 P1 X5\n", ["work offsets that it set itself (G54)"]),
    ("G91 G20 G55\nG90 G21 G54\n", []),
    ("G0 X5\nG92 X0\nG92.1\n", []),
    ("G0 X5\n", []),
])
def test_what_a_program_leaves_in_force_is_told(program: str, told: list[str]) -> None:
    shifts = {"G54": point(0, 0, 0), "G55": point(1, 2, 3)}
    for end in ("", "M2\n", "M30\n"):
        assert read(program + end, shifts=shifts).left == told


def test_what_the_setup_starts_in_is_not_told() -> None:
    start = ("G20", "G91", "G18", "F5")
    assert read("G1 X1\n", starts_in=start).left == []
    assert read("G1 X1\nG90 G21 G17\n", starts_in=start).left == [
        "absolute distances (G90)", "units (G21)", "plane (G17)"]


# Bare motions ------------------

def test_a_motion_code_alone_only_puts_it_in_force() -> None:
    # The report asks for axis words; safety lines of common posts have none (common practice, no source).
    assert read("G0\nX5\nG1\nY5\n").path == [(R, (5, 0, 50)), ("cut", (5, 5, 50))]


@pytest.mark.parametrize("code", ["G2", "G3", "G38.2", "G81", "G82"])
def test_other_motion_codes_need_their_words(code: str) -> None:
    refused(code + "\n")


def test_a_cut_from_where_the_tool_is_not_known_to_be() -> None:
    for block in ("G1 X5", "G1 Z5", "G3 X5 R9", "G38.2 Z0"):
        for mode in ("G90", "G91"):
            refused(f"{mode}\n{block}\n", "machine.start", start=None)
    refused("G0 X0 Y0\nG91 G1 Z-5\n", "machine.start", start=None)
    refused("G0 X0 Y0\nG91 G38.2 Z-5\n", "machine.start", start=None)


def test_a_cut_of_no_length_needs_its_feed_too() -> None:
    refused("G0 X5\nG1 X5\n", "no feed", starts_in=("G21", "G90"))
    assert read("G0 X5\nG1 X5 F100\n").path == [(R, (5, 0, 50))]


def test_an_increment_from_where_the_tool_is_not_known_to_be() -> None:
    found = read_any("G91 G0 Z5\nX5\n", start=None)
    assert found.reasons == [] and found.end == (None, None, None)
