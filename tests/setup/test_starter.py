"""The starter setup: whatever was answered, it loads, and says what was answered."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gcode_guard.setup import SetupError, load_setup_data
from gcode_guard.setup.model import Units
from gcode_guard.setup.starter import StarterObstacle, starter_text


@pytest.mark.parametrize("units", ["mm", "inch"])
def test_the_starter_of_defaults_loads(units: Units) -> None:
    setup = load_setup_data(starter_text(units).encode(), "new.toml")
    assert setup.units == units and list(setup.tools) == [1]
    assert setup.program.starts_in == ()  # nothing is guessed: a wrong guess at units is a factor of 25.4
    assert setup.cutter_only(1)
    (example,) = setup.obstacles
    assert setup.stock is not None and example.top > setup.stock.top  # it stands in the way until it is replaced


def test_the_answers_are_in_it() -> None:
    text = starter_text(
        "inch",
        stock_size=(30.5, 12.25),
        thickness=0.71,
        tool_number=7,
        tool_diameter=0.125,
        tool_length=1.5,
        obstacles=[
            StarterObstacle("left clamp", (-1.0, 5.0), 1.25, size=(3.0, 1.0), angle=15.0),
            StarterObstacle("pin", (10.0, 13.0), 1.0, diameter=0.5),
        ],
    )
    setup = load_setup_data(text.encode(), "new.toml")
    assert setup.stock is not None
    assert setup.stock.size == (774.7, 311.15) and setup.table_z == -18.034  # 30.5, 12.25 and 0.71 times 25.4
    assert (setup.tools[7].diameter, setup.tools[7].length) == (3.175, 38.1)
    clamp, pin = setup.obstacles
    assert (clamp.name, pin.name) == ("left clamp", "pin")
    assert clamp.shape_text == "box 3 x 1 in, centre (-1, 5), turned 15 degrees"
    assert (clamp.top, pin.top, pin.solids[0].radius) == (13.716, 7.366, 6.35)  # (1.25, 1, 0.25 less 0.71) x 25.4


def test_without_obstacles_it_says_that_nothing_is_checked() -> None:
    text = starter_text("mm", obstacles=[])
    assert load_setup_data(text.encode(), "new.toml").obstacles == ()
    assert "# Nothing stands on the table yet" in text


@given(name=st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1).filter(str.strip))
def test_any_name_comes_back_as_it_was_typed(name: str) -> None:
    text = starter_text("mm", obstacles=[StarterObstacle(name, (0.0, 0.0), 30.0, diameter=9.0)])
    assert load_setup_data(text.encode(), "new.toml").obstacles[0].name == name


def test_an_answer_that_makes_no_sense_is_refused_when_it_loads() -> None:
    with pytest.raises(SetupError, match=r"new.toml: stock.thickness = -3.0: must be at least 0.001"):
        load_setup_data(starter_text("mm", thickness=-3.0).encode(), "new.toml")


@pytest.mark.parametrize("units", ["mm", "inch"])
def test_every_setting_that_is_commented_out_can_be_switched_on(units: Units) -> None:
    text = starter_text(units, tool_length=40.0, obstacles=[])
    lines = []
    for line in text.splitlines():
        setting = line.removeprefix("# ")
        is_setting = setting.startswith("[") or (" = " in setting and setting.split(" = ")[0].isidentifier())
        lines.append(setting if line.startswith("# ") and is_setting and "lowest" not in line else line)
    setup = load_setup_data("\n".join(lines).encode(), "new.toml")
    assert setup.program.block_delete == "run" and setup.machine.start == "high"
    assert not setup.cutter_only(1) and [obstacle.name for obstacle in setup.obstacles] == ["left clamp"]
