"""Pairs of programs for which the proof must hold: what a repair may do, and what makes no difference."""

from __future__ import annotations

import pytest

from .conftest import BENCH, CLAMP, HEAD, MACHINE, NOWHERE, TOOL, Prove

TWO_TOOLS = TOOL + '[[tools]]\nnumber = 2\nname = "drill"\ndiameter = 4.0\n'

PAIRS = {
    "nothing to mend": (
        "S900 M3, G0 X50 Y50, G0 Z5, G1 Z-2 F300, G0 Z60, M30",
        "S900 M3, G0 X50 Y50, G0 Z5, G1 Z-2 F300, G0 Z60, M30"),
    "up before the clamp and down behind it": (
        "G0 X50 Y100, G0 Z5, G1 Z-2 F300, G0 Z5, G0 X150, G1 Z-2, M30",
        "G0 X50 Y100, G0 Z5, G1 Z-2 F300, G0 Z5, G0 Z25, G0 X150, G0 Z5, G1 Z-2, M30"),
    "the Z word raised": (
        "G0 X50 Y100, G0 Z5, G1 Z-2 F300, G0 Z5, G0 X150, G0 Z1, G1 Z-2, M30",
        "G0 X50 Y100, G0 Z5, G1 Z-2 F300, G0 Z25, G0 X150, G0 Z1, G1 Z-2, M30"),
    "a slanted rapid taken apart": (
        "G0 X50 Y100, G1 Z-2 F300, G0 X150 Z30, G1 Z-2, M30",
        "G0 X50 Y100, G1 Z-2 F300, G0 Z30, G0 X150, G1 Z-2, M30"),
    "several rapids flown high": (
        "G0 X50 Y100, G1 Z5 F300, G0 X150, G0 Y50, G0 X50, G1 Z-2, M30",
        "G0 X50 Y100, G1 Z5 F300, G0 Z25, G0 X150, G0 Y50, G0 X50, G0 Z5, G1 Z-2, M30"),
    "a way round": (
        "G0 X50 Y100, G1 Z5 F300, G0 X150, G1 Z-2, M30",
        "G0 X50 Y100, G1 Z5 F300, G0 Y50, G0 X150, G0 Y100, G1 Z-2, M30"),
    "out and back by ways round, and out again on high": (
        "G0 X50 Y100, G1 Z5 F300, G0 X150, G0 X50, G0 Z60, G0 X150, G0 Z5, G1 Z-2, M30",
        "G0 X50 Y100, G1 Z5 F300, G0 Y50, G0 X150, G0 Y100, G0 Y50, G0 X50, G0 Y100, G0 Z60, G0 X150, G0 Z5, G1 Z-2,"
        "M30"),
    "an increment up and the same down": (
        "G0 X50 Y100, G1 Z5 F300, G91, G0 X100, G1 Z-7, G90, M30",
        "G0 X50 Y100, G1 Z5 F300, G91, G0 Z20, G0 X100, G0 Z-20, G1 Z-7, G90, M30"),
    "a cycle led over the clamp and stated again": (
        "G0 Z5, G98 G81 X50 Y100 Z-2 R2 F100, X150, G80, G0 Z60, M30",
        "G0 Z30, G0 X50 Y100, G0 Z5, G98 G81 X50 Y100 Z-2 R2 F100, G0 Z25, G0 X150, G0 Z5,"
        "G98 G81 X150 Y100 Z-2 R2, G80, G0 Z60, M30"),
    "a hole close beside the clamp": (
        "G0 X116 Y100, G0 Z5, G1 Z-2 F300, G0 Z60, M30",
        "G0 X116 Y100, G0 Z5, G1 Z-2 F300, G0 Z60, M30"),
    "other spellings": (
        "G0 X50 Y50, G0 Z5, G1 Z-2 F300, M30",
        "g00 x50.0 y50.0 (across), N10 G0 Z+5.000, G01 Z-2.F300, M30"),
    "the same cuts in inches": (
        "G0 X50.8 Y50.8, G0 Z5.08, G1 Z-2.54 F254, G21, M30",
        "G20, G0 X2 Y2, G0 Z.2, G1 Z-.1 F10, G21 F254, M30"),
    "an arc written by its radius": (
        "G0 X0 Y0 Z5, G1 Z0 F300, G2 X20 Y0 I10 J0, M30",
        "G0 X0 Y0 Z5, G1 Z0 F300, G2 X20 Y0 R10, M30"),
    "a stop in its place": (
        "G0 X50 Y100, G0 Z5, M0, G0 X150, G1 Z-2 F300, M30",
        "G0 X50 Y100, G0 Z5, M0, G0 Z25, G0 X150, G0 Z5, G1 Z-2 F300, M30"),
    "a dwell with another zero behind it": (
        "G0 X50 Y50, G4 P0.5, M30",
        "G0 X50 Y50, G4 P0.50, M30"),
    "a program that ends without M30": ("G0 X50 Y50", "G0 X50 Y50"),
    "a program without M30 that ends higher": (
        "G0 X50 Y100, G1 Z5 F300, G0 X150", "G0 X50 Y100, G1 Z5 F300, G0 Z25, G0 X150"),
    "subprograms": (
        "G0 Z5, M98 P1, G0 X60 Y60, M98 P1, M30, O1, G1 Z-2 F300, G0 Z5, M99",
        "G0 Z5, M98 P1, G0 X60 Y60, M98 P1, M30, O1, G1 Z-2 F300, G0 Z5, M99"),
}


@pytest.mark.parametrize("name", PAIRS)
def test_holds(prove: Prove, name: str) -> None:
    before, after = PAIRS[name]
    assert prove(before, after).what == ""
    assert prove(before, after).holds


UNKNOWN = {
    "a rise put before the first rapid": (
        "G0 X50 Y50, G0 Z5, G1 Z-2 F300, M30", "G0 Z30, G0 X50 Y50, G0 Z5, G1 Z-2 F300, M30"),
    "the first height raised where XY is not known, with an effect under it": (
        "G0 Z5, S900 M3, G0 X50 Y50, G0 Z5, G1 Z-2 F300, M30",
        "G0 Z25, S900 M3, G0 X50 Y50, G0 Z5, G1 Z-2 F300, M30"),
    "home by a way up": (
        "G0 Z30, G0 X50 Y50, G1 Z2 F300, G91 G28 Z0, G28 X0 Y0, G90, M30",
        "G0 Z30, G0 X50 Y50, G1 Z2 F300, G91 G28 Z0, G28 X0 Y0, G90, M30"),
}


@pytest.mark.parametrize("name", UNKNOWN)
def test_holds_where_the_start_is_not_known(prove: Prove, name: str) -> None:
    assert prove(*UNKNOWN[name], bench=NOWHERE.replace("[machine]", '[machine]\nhome_axes = "named"')).what == ""


def test_a_rapid_out_of_an_unknown_height_is_fine_on_an_empty_table(prove: Prove) -> None:
    program = "G0 X50 Y50, G0 Z5, G1 Z-2 F300, M30"
    assert prove(program, program, bench=NOWHERE.replace(CLAMP, "")).holds


def test_a_cut_may_run_into_what_is_sacrificial(prove: Prove) -> None:
    program = "G0 X80 Y100, G1 Z5 F300, G1 X120, G0 Z60, M30"
    assert prove(program, program, bench=BENCH + "sacrificial = true\n").holds
    assert not prove(program, program).holds


def test_a_tool_change_leaves_the_tool_high(prove: Prove) -> None:
    bench = HEAD + MACHINE + 'after_tool_change = "high"\n' + TWO_TOOLS + CLAMP
    before = "G0 X50 Y50, G1 Z-2 F300, G0 Z60, T2 M6, S900 M3, G0 X150 Y100, G0 Z5, G1 Z-2, G0 X50, G1 Z-2, M30"
    after = before.replace("G0 X50, G1 Z-2, M30", "G0 Z30, G0 X50, G0 Z-2, G1 Z-2, M30")
    assert prove(before, after, bench=bench).holds


def test_the_tool_that_the_user_names_decides(prove: Prove) -> None:
    """8 mm beside the clamp the 6 mm mill is free, and a 20 mm one makes contact."""
    bench = HEAD + MACHINE + TOOL + '[[tools]]\nnumber = 2\nname = "cove"\ndiameter = 20.0\n' + CLAMP
    program = "G0 X118 Y0, G0 Z5, G0 Y200, G1 Z-2 F300, M30"
    assert prove(program, program, bench=bench, tool=1).holds
    assert "contact" in prove(program, program, bench=bench, tool=2).what
    nobody = prove(program, program, bench=bench)
    assert not nobody.understood and "--tool" in nobody.what
