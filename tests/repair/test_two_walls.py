"""Runs over the two walls of wall.py, which need two heights: which of them a block is lifted to, and for which wall.

By hand: 23 mm over the first, 43 over the second; the tool starts at X0 Y100 Z30.
"""

from __future__ import annotations

from typing import Any

import pytest

from tests.repair.wall import HOME, KNOWN, LOW, SAME, TWO, ZERO, Planned, became, limits

HEIGHTS: dict[str, tuple[str, dict[str, Any], str]] = {
    "up at once for all that follows at its level": (
        LOW + "G0 X200\nX600\nG1 Z-1\n", {}, LOW + "G0 Z43.0\nG0 X200\nX600\nG0 Z-1.0\nG1 Z-1\n"),
    "a slope down, too": (
        LOW + "G0 X200 Z2\nX600\nG1 Z-1\n", {}, LOW + "G0 Z43.0\nG0 X200\nX600\nG0 Z2.0\nG1 Z-1\n"),
    "but not for what comes behind a height of its own": (
        "G0 Z5\nX200\nZ6\nX600\nG1 Z-1\n", {}, "G0 Z23.0\nX200\nZ43.0\nX600\nG0 Z6.0\nG1 Z-1\n"),
    "home": (LOW + "G28 X50\nG0 X600\nG1 Z-1\n", HOME, LOW + "G0 Z43.0\nG28 X50\nG0 X600\nG0 Z-1.0\nG1 Z-1\n"),
    "home by way of a height that it says": (
        LOW + "G28 X150 Z30\nG0 X600\nZ1\n", HOME, LOW + "G0 Z23.0\nG28 X150 Z30\nG0 X600\nZ1\n"),
    "machine coordinates that say a height": (
        LOW + "G53 G0 X210 Z80\nX600\nG1 Z-1\n", ZERO,
        LOW + "G0 Z23.0\nG53 G0 X210 Z80\nG0 Z43.0\nX600\nG0 Z30.0\nG1 Z-1\n"),
    "machine coordinates that lead nowhere, just high enough over the first wall": (
        "G0 Z45\nX600\nG1 Z23\nG0 X100\nG53 G0 Z73\nX0\nG1 Z-1\n", ZERO,
        "G0 Z45\nX600\nG1 Z23\nG0 Z43.0\nG0 X100\nG53 G0 Z73\nX0\nG1 Z-1\n"),
}


@pytest.mark.parametrize(("before", "rules", "after"), HEIGHTS.values(), ids=HEIGHTS.keys())
def test_heights(before: str, rules: dict[str, Any], after: str) -> None:
    assert became(before, walls=TWO, **rules) == after


# The walls that each changed block names, in the order of the blocks.
NAMED = {
    "the walls of all that follows": ("G0 Z5\nX200\nX600\nG1 Z-1\n", [{0, 1}, {1}]),
    "not beyond the next height": ("G0 Z5\nX200\nZ6\nX600\nG1 Z-1\n", [{0}, {1}, {1}]),
    "nor beyond a slope, which is one": ("G0 Z5\nX200\nX210 Z6\nX600\nG1 Z-1\n", [{0}, {1}, {1}]),
    "but that of the way to a hole": (
        "G0 Z5\nX200\nG98 G81 X600 Z-5 R2\nG80\nG1 Z-2\n", [{0, 1}, {1}]),
}


@pytest.mark.parametrize(("program", "walls"), NAMED.values(), ids=NAMED.keys())
def test_which_walls_a_lift_names(program: str, walls: list[set[int]]) -> None:
    planned = Planned(program, limits(), KNOWN, walls=TWO, **SAME)
    touched = [draft for draft in planned.drafts.values() if draft.touched]
    touched.sort(key=lambda draft: draft.block.line)
    assert [draft.obstacles for draft in touched] == walls
