"""Stacked cylinders above the tip."""

from __future__ import annotations

import pytest

from gcode_guard.space.assembly import Assembly


def test_a_plain_tool_in_a_spindle_is_not_undercut() -> None:
    tool = Assembly([0.0, 32.0, 62.0], [3.0, 21.0, 40.0], ["cutter", "collet nut/spindle", "collet nut/spindle"])
    assert not tool.undercut
    assert tool.reduce().radius.tolist() == [3.0, 21.0, 40.0]


def test_a_disc_on_an_arbor_stays_undercut_when_its_arbor_is_dropped() -> None:
    disc = Assembly([0.0, 12.0, 42.0], [39.7, 6.35, 40.0], ["cutter", "shank", "collet nut/spindle"])
    assert disc.undercut
    reduced = disc.reduce()
    assert reduced.part == ("cutter", "collet nut/spindle")
    assert reduced.undercut


def test_of_sections_at_one_height_the_widest_counts() -> None:
    same = Assembly([0.0, 20.0, 20.0, 20.0], [3.0, 21.0, 70.0, 40.0], ["cutter", "a", "shoe", "b"]).reduce()
    assert same.part == ("cutter", "shoe")


@pytest.mark.parametrize(
    ("from_", "radius", "part"),
    [
        ([], [], []),
        ([0.0, 1.0], [1.0], ["cutter"]),
        ([0.0], [1.0], ["cutter", "shank"]),
        ([0.0], [float("nan")], ["cutter"]),
        ([float("inf")], [1.0], ["cutter"]),
        ([0.0], [-1.0], ["cutter"]),
        ([5.0, 0.0], [1.0, 2.0], ["cutter", "shank"]),
    ],
)
def test_an_assembly_that_makes_no_sense_is_refused(from_: list[float], radius: list[float], part: list[str]) -> None:
    with pytest.raises(ValueError):
        Assembly(from_, radius, part)
