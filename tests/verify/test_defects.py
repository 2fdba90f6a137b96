"""Defects seeded by hand into a mended program: each one is caught, at its lines, with the reason in plain words."""

from __future__ import annotations

import pytest

from .conftest import BENCH, HEAD, MACHINE, NOWHERE, TOOL, Prove

# The rapid of line 7 would run through the clamp; lines are counted from 1.
BEFORE = ("S900 M3, G0 X50 Y100, G0 Z5, G1 Z-2 F300, M8, G0 Z5, G0 X150, G1 Z-2, G2 X170 Y100 I10 J0,"
          " M0, G4 P0.5, G1 X180, G0 Z60, M9, M5, M30")
AFTER = BEFORE.replace("G0 X150,", "G0 Z25, G0 X150, G0 Z5,")

# name: (what is put in place of what in AFTER, line in BEFORE, line in AFTER, words of the reason)
DEFECTS = {
    "height rounded down": ("G0 Z25,", "G0 Z24.99,", 7, 8, 'clearance of "clamp"'),
    "clearance forgotten": ("G0 Z25,", "G0 Z21.5,", 7, 8, 'clearance of "clamp"'),
    "tolerance forgotten too": ("G0 Z25,", "G0 Z20.5,", 7, 8, 'contact with "clamp"'),
    "obstacle forgotten": ("G0 Z25, G0 X150, G0 Z5,", "G0 X150,", 7, 7, 'contact with "clamp"'),
    "above the ceiling": ("G0 Z25,", "G0 Z80.5,", 6, 7, "the machine ends at 80 mm"),
    "outside the reach": ("G0 Z25, G0 X150,", "G0 Z25, G0 Y-51, G0 X150, G0 Y100,", 7, 8, "ends at -50 mm"),
    "spindle speed changed": ("S900", "S90", 1, 1, "S900 became S90"),
    "dropped spindle word": ("S900 M3", "S900", 1, 4, "M3"),
    "dropped speed": ("S900 M3", "M3", 1, 1, "S900 became M3"),
    "spindle turned round": ("M3,", "M4,", 1, 1, "M3 became M4"),
    "coolant dropped": (" M8,", "", 5, 9, "where the program had M8, there is now a cut"),
    "missing stop": (" M0,", "", 10, 12, "M0 became dwell 0.5"),
    "an optional stop for a stop": (" M0,", " M1,", 10, 12, "M0 became M1"),
    "dwell changed": ("P0.5", "P0.05", 11, 13, "dwell 0.5 became dwell 0.05"),
    "feed changed": ("F300", "F3000", 4, 4, "feed was 300.0000 mm a minute and is 3000.0000 mm a minute"),
    "feed in inverse time": ("G1 Z-2 F300", "G93 G1 Z-2 F300, G94", 4, 4, "G93"),
    "depth changed": ("G1 Z-2 F300", "G1 Z-2.01 F300", 4, 4, "ended at X50.0000 Y100.0000 Z-2.0000 mm and now"),
    "arc centre changed": ("I10 J0", "I10 J0.5", 9, 11, "was 160.0000, 100.0000 and is 160.0000, 100.5000"),
    "arc turned round": ("G2 X170", "G3 X170", 9, 11, "arc-cw became one of the kind arc-ccw"),
    "arc made straight": ("G2 X170 Y100 I10 J0", "G1 X170 Y100", 9, 11, "became one of the kind cut"),
    "arc made whole": ("G2 X170 Y100 I10 J0", "G2 X150 Y100 I10 J0, G1 X170", 9, 11, "now ends at X150"),
    "two blocks swapped": ("G1 Z-2, G2 X170 Y100 I10 J0", "G2 X170 Y100 I10 J0, G1 Z-2", 8, 10, "kind"),
    "stop and cut swapped": (" M0, G4 P0.5, G1 X180,", " G4 P0.5, G1 X180, M0,", 10, 12, "M0 became dwell"),
    "a rapid swapped with a cut": ("G1 X180, G0 Z60", "G0 Z60, G1 X180", 12, 15, "started at"),
    "extra cut": ("G1 X180,", "G1 X180, G1 X185,", 14, 15, "where the program had M9, there is now a cut"),
    "missing cut": (" G1 X180,", "", 12, 15, "where the program had a cut, there is now M9"),
    "effect at another height": ("M8, G0 Z5, G0 Z25,", "G0 Z5, G0 Z25, M8,", 5, 7, "M8 happened at"),
    "not down again": (" G0 Z5, G1 Z-2,", " G1 Z-2,", 8, 9, "started at X150.0000 Y100.0000 Z5.0000 mm and now"),
    "down too far": (" G0 Z5, G1 Z-2,", " G0 Z-2, G1 Z-2,", 7, 9, "went no lower than Z5.0000"),
    "down in the wrong place": ("G0 X150, G0 Z5,", "G0 Z5, G0 X150,", 7, 9, "contact"),
    "the end at another height": ("G0 Z60", "G0 Z61", 14, 16, "M9 happened at"),
    "the end missing": (", M30", "", 16, 17, "where the program had M30, there is now its end"),
    "something not understood": ("G0 Z25,", "G0 Z25 G12,", 6, 7, "not understood"),
    "inches all at once": ("G0 Z25,", "G20 G0 Z1, G21,", 8, 11, "feed was 300.0000 mm a minute and is none"),
    "rounding of corners": ("S900", "G61 S900", 4, 1, "G61"),
    "compensation": ("G1 X180", "G41 G1 X180, G40", 12, 14, "G41"),
}


def test_the_mended_program_holds(prove: Prove) -> None:
    assert prove(BEFORE, AFTER).what == ""
    assert not prove(BEFORE, BEFORE).holds


@pytest.mark.parametrize("name", DEFECTS)
def test_defect(prove: Prove, name: str) -> None:
    old, new, before_line, after_line, words = DEFECTS[name]
    assert AFTER.count(old) == 1
    proof = prove(BEFORE, AFTER.replace(old, new))
    assert not proof.holds and proof.understood
    assert words in proof.what
    assert (proof.before_line, proof.after_line) == (before_line, after_line)


PAIRS = {
    "a cycle's initial level too low": (
        "G0 Z30, G98 G81 X50 Y50 Z-2 R2 F100, X150, G80, M30",
        "G0 Z30, G0 X50 Y50, G0 Z10, G98 G81 X50 Y50 Z-2 R2 F100, X150, G80, M30", "Z10.0000"),
    "a cycle's initial level too high": (
        "G0 Z30, G98 G81 X50 Y50 Z-2 R2 F100, X150, G80, M30",
        "G0 Z35, G98 G81 X50 Y50 Z-2 R2 F100, X150, G80, M30", "M30 happened at"),
    "a cycle's R level changed": (
        "G0 Z30, G81 X50 Y50 Z-2 R2 F100, G80, M30", "G0 Z30, G81 X50 Y50 Z-2 R3 F100, G80, M30", "started at"),
    "a cycle that returns to R": (
        "G0 Z30, G98 G81 X50 Y50 Z-2 R2 F100, X150, G80, M30",
        "G0 Z30, G99 G81 X50 Y50 Z-2 R2 F100, X150, G80, M30", "Z2.0000"),
    "a peck left out": (
        "G0 Z30, G83 X50 Y50 Z-8 R2 Q3 F100, G80, M30", "G0 Z30, G83 X50 Y50 Z-8 R2 Q5 F100, G80, M30", "ended at"),
    "a hole left out": (
        "G0 Z30, G98 G81 X50 Y50 Z-2 R2 F100, X150, X180, G80, M30",
        "G0 Z30, G98 G81 X50 Y50 Z-2 R2 F100, X180, G80, M30", "started at"),
    "an increment off by one digit": (
        "G0 X50 Y50, G1 Z5 F300, G91, G0 X100, G1 Z-7, G90, M30",
        "G0 X50 Y50, G1 Z5 F300, G91, G0 Z20, G0 X100, G0 Z-2.0, G1 Z-7, G90, M30", "started at"),
    "an increment off in the last digit": (
        "G0 X50 Y50, G1 Z5 F300, G91, G0 X100, G1 Z-7, G90, M30",
        "G0 X50 Y50, G1 Z5 F300, G91, G0 Z20, G0 X100, G0 Z-19.999, G1 Z-7, G90, M30", "started at"),
    "a rapid lower, with nothing near": (
        "G0 X0 Y0, G0 Z20, G0 X50, G0 Z5, G1 Z-2 F300, M30",
        "G0 X0 Y0, G0 Z19, G0 X50, G0 Z5, G1 Z-2 F300, M30", "Z19.0000"),
    "down before the way across": (
        "G0 X0 Y0, G0 Z20, G0 X50, G0 Z5, G1 Z-2 F300, M30",
        "G0 X0 Y0, G0 Z5, G0 X50, G1 Z-2 F300, M30", "Z5.0000"),
    "a way round lower than the way": (
        "G0 X0 Y0, G0 Z20, G0 X50, G0 Z5, G1 Z-2 F300, M30",
        "G0 X0 Y0, G0 Z20, G0 X0 Y20 Z10, G0 X50, G0 Y0, G0 Z5, G1 Z-2 F300, M30", "Z10.0000"),
    "a slope flown lower": (
        "G0 X0 Y0, G0 Z50, G0 X50 Z5, G1 Z-2 F300, M30",
        "G0 X0 Y0, G0 Z50, G0 X25 Z5, G0 X50, G1 Z-2 F300, M30", "Z5.0000"),
    "a dip at a place of the way": (
        "G0 X0 Y0, G0 Z20, G0 X25, G0 X50, G0 Z5, G1 Z-2 F300, M30",
        "G0 X0 Y0, G0 Z20, G0 X25, G0 Z10, G0 Z20, G0 X50, G0 Z5, G1 Z-2 F300, M30", "Z10.0000"),
    "lower in the clearance than the program goes": (
        "G0 X116 Y100, G0 Z5, G1 Z-2 F300, G0 Z60, M30",
        "G0 X116 Y100, G0 Z1, G0 Z5, G1 Z-2 F300, G0 Z60, M30", "Z1.0000"),
    "an upright rapid in a clearance where the program never is": (
        "G0 X150 Y100, G0 Z30, G0 X50, G1 Z25 F300, M30",
        "G0 X150 Y100, G0 Z30, G0 X116 Y50, G0 Y100, G0 Z22, G0 Z30, G0 X50, G1 Z25 F300, M30", "Z22.0000"),
    "incremental distances left on": (
        "G0 X50 Y50, G91, G90, M30", "G0 X50 Y50, G91, M30", "distance mode left at the end was G90 and is G91"),
    "inches left on": ("G0 X50 Y50, M30", "G0 X50 Y50, G20, M30", "units left at the end"),
    "another plane left on": ("G0 X50 Y50, M30", "G0 X50 Y50, G18, M30", "plane left at the end"),
    "another motion left on": ("G1 X50 F300, G28 Z70", "G1 X50 F300, G0 Z60, G28 Z70", "motion in force left"),
    "another place at the end": ("G1 X50 F300, G0 Y50", "G1 X50 F300, G0 Y51", "ended at X50.0000 Y50.0000"),
    "another work offset": ("G55, G0 X50, M30", "G54, G0 X60, M30", "G55 became G54"),
    "an effect with other words": ("M101 P5, G0 X50, M30", "M101 P6, G0 X50, M30", "words beside M101"),
    "a shift of the coordinates": ("G0 X50, G92 X0, G0 X10, M30", "G0 X50, G92 X1, G0 X11, M30", "became G92 X1"),
    "a sliver turned to a whole circle": (
        "G0 X0 Y0, G1 Z0 F300, G2 X0.00004 Y0 I0 J-10, M30",
        "G0 X0 Y0, G1 Z0 F300, G2 X-0.00004 Y0 I0 J-10, M30", "turn"),
    "a full circle left out": (
        "G0 X0 Y0, G1 Z0 F300, G2 X0 Y0 I10 J0, M30", "G0 X0 Y0, G1 Z0 F300, M30", "a cut, there is now M30"),
    "a call left out": (
        "G0 Z5, M98 P1 L2, M30, O1, G91, G1 X2 F300, G90, M99",
        "G0 Z5, M98 P1, M30, O1, G91, G1 X2 F300, G90, M99", "a cut, there is now M30"),
}


@pytest.mark.parametrize("name", PAIRS)
def test_pair_does_not_hold(prove: Prove, name: str) -> None:
    before, after, words = PAIRS[name]
    assert prove(before, before).holds
    proof = prove(before, after)
    assert not proof.holds and proof.understood
    assert words in proof.what


def test_only_an_upright_rapid_leaves_an_unknown_height(prove: Prove) -> None:
    """Also where the way across leads nowhere near the clamp."""
    before = "G0 X50 Y50, G0 Z5, G1 Z-2 F300, M30"
    for after in (before, before.replace("G0 X50", "G0 Z30 X50")):
        proof = prove(before, after, bench=NOWHERE)
        assert "height that is not known" in proof.what and proof.after_line == 1
    assert 'clearance of "clamp"' in prove(before, "G0 Z24, " + before, bench=NOWHERE).what


def test_the_height_of_an_upright_rapid_at_an_unknown_place_counts(prove: Prove) -> None:
    before = "G0 Z30, G0 Z5, G0 X50 Y50, G1 Z-2 F300, M30"
    assert 'contact with "clamp"' in prove(before, before, bench=NOWHERE).what


def test_a_tool_that_hangs_lower_has_a_lower_ceiling(prove: Prove) -> None:
    tools = TOOL + 'length = 30.0\n[[tools]]\nnumber = 2\nname = "long"\ndiameter = 6.0\nlength = 50.0\n'
    bench = HEAD + MACHINE + "reference_tool = 1\n" + tools
    before = "G0 X10, G1 Z5 F300, G0 X20, G1 Z-2, M30"
    after = "G0 X10, G1 Z5 F300, G0 Z70, G0 X20, G0 Z5, G1 Z-2, M30"
    assert prove(before, after, bench=bench, tool=1).holds
    assert "the machine ends at 60 mm" in prove(before, after, bench=bench, tool=2).what


def test_a_cut_into_the_clamp(prove: Prove) -> None:
    program = "G0 X80 Y100, G1 Z5 F300, G1 X120, G0 Z60, M30"
    proof = prove(program, program)
    assert proof.understood and proof.after_line == 3
    assert proof.what == 'a cut runs into "clamp"'


BROKEN = "G0 X50 Y50, G1 Z-2 F300, G12, M30"


@pytest.mark.parametrize("after", ["G0 X50 Y50, M30", "G12", BROKEN, "G0 X100 Y100 Z5"])
def test_before_not_understood_is_said_whatever_after_is(prove: Prove, after: str) -> None:
    """Also where AFTER differs, or is not understood, at an earlier line than the one that is not."""
    proof = prove(BROKEN, after)
    assert not proof.holds and not proof.understood
    assert proof.before_line == 3 and "G12" in proof.what


def test_straight_and_unknown_paths(prove: Prove) -> None:
    """A slope that passes over the clamp on a straight path, and may not if the axes arrive apart."""
    program = "G0 X50 Y100, G0 Z60, G1 Z59 F300, G0 X150 Y100 Z10, G1 Z-2, M30"
    straight = BENCH.replace("[machine]", '[machine]\nrapid_path = "straight"')
    higher = program.replace("Z10", "Z25")
    assert prove(higher, higher).holds
    assert 'contact with "clamp"' in prove(program, program).what
    assert prove(program, program, bench=straight).holds


BULGING = "G0 Z60, G0 X50 Y490, G3 X10 Y490 I-20 J0 F300, M30"
AIR = BENCH + '[stock]\ncorner = [0.0, 0.0]\nsize = [200.0, 200.0]\ntop = 0.0\n[repair]\nair_feeds = true\n'
FEED = "G0 X50 Y100, G0 Z5, G1 X150 F300, G1 Z-2, M30"
LIFTED = "G0 X50 Y100, G0 Z5, G1 Z25 F300, G1 X150, G1 Z5, G1 Z-2, M30"


def test_a_traverse_at_feed_is_lifted_where_the_setup_allows_it(prove: Prove) -> None:
    assert prove(FEED, LIFTED, bench=AIR).holds
    assert not prove(FEED, LIFTED).holds


@pytest.mark.parametrize(("old", "new"), [
    ("F300", "F3000"), ("Z25 F300", "G95 Z25 F300"), ("X150", "X151"), ("G1 Z5,", "G1 Z4,"), ("G1 Z5,", ""),
    ("G1 Z25 F300", "G1 Z20 F300"), ("G1 X150, G1 Z5", "M5, G1 X150, G1 Z5"),
])
def test_a_traverse_at_feed_lifted_wrongly(prove: Prove, old: str, new: str) -> None:
    assert LIFTED.count(old) == 1
    assert not prove(FEED, LIFTED.replace(old, new), bench=AIR).holds


def test_a_level_cut_below_the_clearance_over_the_stock_is_never_lifted(prove: Prove) -> None:
    """At Z2 it may be cutting what stands proud of the stock; the clearance is 3 mm."""
    low = FEED.replace("Z5", "Z2").replace("X150", "X60")
    lifted = LIFTED.replace("Z5", "Z2").replace("X150", "X60")
    assert prove(low, low, bench=AIR).holds
    assert not prove(low, lifted, bench=AIR).holds


def test_an_arc_that_bulges_out_of_the_reach_does_not_hold_whoever_made_it(prove: Prove) -> None:
    assert "Y goes to 510 mm, and the machine ends at 500 mm" in prove(BULGING, BULGING).what
    assert prove(BULGING.replace("Y490", "Y480"), BULGING.replace("Y490", "Y480")).holds
