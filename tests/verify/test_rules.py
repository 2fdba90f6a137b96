"""What the reader gets to know of a setup, and which tool a program starts with."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from math import inf

import pytest

from gcode_guard.program.scan import look
from gcode_guard.program.state import ANY_TOOL, ANYWHERE, HIGH
from gcode_guard.rules import ceiling, reach_box, rules_of, trouble_with_tools
from gcode_guard.setup import Setup

from .conftest import lines_of

SHOP = """
format = 1
units = "inch"
[machine]
reach = { x = [0.0, 24.0], y = [0.0, 12.0], z = [-2.0, 3.0] }
reference_tool = 1
home = [1.0, 2.0, 3.0]
[offsets]
bench = "G55"
G54 = [0.1, 0.2, 0.3]
G55 = [1.1, 0.0, -0.1]
[[tools]]
number = 1
name = "mill"
diameter = 0.25
length = 1.1
[[tools]]
number = 2
name = "long mill"
diameter = 0.5
length = 1.4
[[tools]]
number = 3
name = "not measured"
diameter = 0.5
"""
ONE = 'format = 1\nunits = "mm"\n[[tools]]\nnumber = 7\nname = "mill"\ndiameter = 6.0\n'
Load = Callable[[str], Setup]


def test_the_ceiling_is_lower_for_what_hangs_lower(setup_of: Load) -> None:
    """0.3 inch longer is 7.62 mm less; an unmeasured tool has the reference tool's; unknown means the lowest."""
    setup = setup_of(SHOP)
    assert [ceiling(setup, tool) for tool in (1, 2, 3, ANY_TOOL)] == [76.2, 68.58, 76.2, 68.58]
    assert reach_box(setup, 2) == ((0.0, 609.6), (0.0, 304.8), (-58.42, 68.58))
    assert reach_box(setup, ANY_TOOL)[2] == (-50.8, 68.58)
    assert ceiling(setup_of(ONE), 7) == inf


def test_offsets_count_from_the_bench(setup_of: Load) -> None:
    rules = rules_of(setup_of(SHOP), look([], False), 1)
    assert rules.bench == "G55"
    assert rules.shifts["G55"] == (Decimal(0), Decimal(0), Decimal(0))
    assert rules.shifts["G54"] == (Decimal("-25.4"), Decimal("5.08"), Decimal("10.16"))


def test_z_sent_home_is_high_whatever_the_figure(setup_of: Load) -> None:
    rules = rules_of(setup_of(SHOP), look([], False), 1)
    assert rules.home == (Decimal("25.4"), Decimal("50.8"), HIGH)
    assert rules.home2 == (ANYWHERE, ANYWHERE, HIGH)


@pytest.mark.parametrize(("program", "named", "tool"), [
    ("G0 X1", 2, 2),
    ("T3, G0 X1", None, 3),
    ("T3 M6, G0 X1", None, ANY_TOOL),
    ("T1 M6, T3 M6", 3, 3),
])
def test_the_tool_at_the_start(setup_of: Load, program: str, named: int | None, tool: int) -> None:
    setup, facts = setup_of(SHOP), look(lines_of(program), False)
    assert trouble_with_tools(setup, facts, named) is None
    assert rules_of(setup, facts, named).first_tool == tool


def test_the_only_tool_needs_no_name(setup_of: Load) -> None:
    for program in ("G0 X1", "T7, G0 X1", "G0 X1, T7 M6"):
        facts = look(lines_of(program), False)
        assert trouble_with_tools(setup_of(ONE), facts, None) is None
        assert rules_of(setup_of(ONE), facts, None).first_tool == 7


@pytest.mark.parametrize(("program", "words"), [
    ("G0 X1", "names none"),
    ("T1, G0 X1, T2, G0 X2", "several tools"),
    ("T9, G0 X1", "tool 9, which is not in the setup"),
])
def test_doubt_about_the_tool_is_said_with_the_way_out(setup_of: Load, program: str, words: str) -> None:
    trouble = trouble_with_tools(setup_of(SHOP), look(lines_of(program), False), None)
    assert trouble is not None
    assert words in trouble[1] and "--tool" in trouble[2]
