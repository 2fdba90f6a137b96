"""One table of what can be wrong in a setup: each message names the file, the key's path, the value, and why."""

from __future__ import annotations

from pathlib import Path

import pytest

from gcode_guard.setup import SetupError, load_setup_data

HEAD = 'format = 1\nunits = "mm"\n'
TOOL = "[[tools]]\nnumber = 1\ndiameter = 6.0\n"
TABLE = "[table]\nz = -19.0\n"
CLAMP = '[[obstacles]]\nname = "clamp"\nshape = "box"\ncenter = [0, 0]\nsize = [60, 25]\ntop = 18.0\n'


def with_tool(text: str) -> str:
    return HEAD + TOOL + text


def clamp(replace: str, by: str) -> str:
    assert replace in CLAMP
    return with_tool(CLAMP.replace(replace, by))


def obstacle(keys: str) -> str:
    return with_tool('[[obstacles]]\nname = "clamp"\n' + keys)


def outline(points: str) -> str:
    return obstacle(f'shape = "outline"\ntop = 9.0\npoints = {points}\n')


# (setup, the message after the file's name)
WRONG_KEYS_AND_TYPES = [
    ('units = "mm"\n' + TOOL, "format: missing"),
    ('format = 2\nunits = "mm"\n' + TOOL, "format = 2: must be 1"),
    ('format = true\nunits = "mm"\n' + TOOL, "format = true: must be a whole number"),
    ('format = 1.0\nunits = "mm"\n' + TOOL, "format = 1.0: must be a whole number"),
    ("format = 1\n" + TOOL, "units: missing"),
    ('format = 1\nunits = "cm"\n' + TOOL, 'units = "cm": must be "mm" or "inch"'),
    ("colour = 3\n" + with_tool(""), "colour = 3: unknown key"),
    (with_tool("[clearence]\nabove = 1\n"), 'clearence = { above = 1 }: unknown key; did you mean "clearance"?'),
    (
        with_tool("[machine]\nreach = { a = [0.0, 1.0] }\n"),
        "machine.reach.a = [0.0, 1.0]: unknown key; known here: x, y, z",
    ),
    (with_tool('["odd key"]\nx = 1\n'), '"odd key" = { x = 1 }: unknown key'),
    (with_tool("[clearance]\nabove = true\n"), "clearance.above = true: must be a number"),
    (with_tool('[clearance]\nabove = "3"\n'), 'clearance.above = "3": must be a number'),
    (with_tool("[clearance]\nabove = nan\n"), "clearance.above = nan: must be a finite number"),
    (with_tool("[clearance]\nabove = inf\n"), "clearance.above = inf: must be a finite number"),
    (with_tool("[clearance]\nabove = 1e999\n"), "clearance.above = inf: must be a finite number"),
    (with_tool("[clearance]\nabove = 2_000_000\n"), "clearance.above = 2000000: must be at most 1000000"),
    (with_tool("[clearance]\nabove = [3.0]\n"), "clearance.above = [3.0]: must be a number"),
    (with_tool("[clearance]\nabove = 2026-11-25\n"), "clearance.above = 2026-11-25: must be a number"),
    (with_tool("[table]\nz = -inf\n"), "table.z = -inf: must be a finite number"),
    (with_tool("[table]\n"), "table.z: missing"),
    ("table = 3\n" + with_tool(""), "table = 3: must be a table of keys"),
    (with_tool("[machine]\nhome = [1.0, 2.0]\n"), "machine.home = [1.0, 2.0]: must have exactly 3 numbers, has 2"),
    (with_tool("[machine]\nhome = [1, 2, 3, 4]\n"), "machine.home = [1, 2, 3, 4]: must have exactly 3 numbers, has 4"),
    (with_tool("[machine]\nhome = [1, 2, false]\n"), "machine.home[2] = false: must be a number"),
    (with_tool("[machine]\nreach = { z = [nan, 1.0] }\n"), "machine.reach.z[0] = nan: must be a finite number"),
    (with_tool('[machine]\nstart = "low"\n'), 'machine.start = "low": must be "high" or a point [x, y, z]'),
    (with_tool("[machine]\nstart = [0.0, 0.0]\n"), "machine.start = [0.0, 0.0]: must have exactly 3 numbers, has 2"),
    (with_tool("[machine]\nstart = 5\n"), "machine.start = 5: must be a list in [ ]"),
    (with_tool('[machine]\nrapid_path = "bent"\n'), 'machine.rapid_path = "bent": must be "straight" or "unknown"'),
    (with_tool('[machine]\nhome_axes = "none"\n'), 'machine.home_axes = "none": must be "named", "all" or "unknown"'),
    (
        with_tool('[machine]\nafter_tool_change = "low"\n'),
        'machine.after_tool_change = "low": must be "unknown", "high" or "same"',
    ),
    (with_tool("[machine]\nreference_tool = 1.0\n"), "machine.reference_tool = 1.0: must be a whole number"),
    (with_tool('[program]\nblock_delete = "maybe"\n'), 'program.block_delete = "maybe": must be "run" or "skip"'),
    (with_tool('[program]\nintegers = "mm"\n'), 'program.integers = "mm": must be "units" or "least-increment"'),
    (with_tool('[program]\nstarts_in = "G21"\n'), 'program.starts_in = "G21": must be a list in [ ]'),
    (with_tool("[program]\nstarts_in = [21]\n"), "program.starts_in[0] = 21: must be text in quotes"),
    (with_tool("[repair]\nair_feeds = 1\n"), "repair.air_feeds = 1: must be true or false"),
    (with_tool('[repair]\ndetour = "never"\n'), 'repair.detour = "never": must be "when-needed" or "when-faster"'),
    ('measured_on = "2026-11-25"\n' + with_tool(""), 'measured_on = "2026-11-25": must be a date such as 2026-11-25'),
    (
        "measured_on = 2026-11-25T10:00:00\n" + with_tool(""),
        "measured_on = 2026-11-25T10:00:00: must be a date such as 2026-11-25",
    ),
    (clamp("top = 18.0", 'top = 18.0\nsacrificial = "no"'), 'obstacles[0].sacrificial = "no": must be true or false'),
    (clamp("[60, 25]", "[60, 25]\ncolour = 1"), "obstacles[0].colour = 1: unknown key"),
    (HEAD + "tools = 5\n", "tools = 5: must be a list in [ ]"),
    (HEAD + "tools = [5]\n", "tools[0] = 5: must be a table of keys"),
    (HEAD + "obstacles = [5]\n" + TOOL, "obstacles[0] = 5: must be a table of keys"),
    (with_tool("[parts]\nfiles = [3]\n"), "parts.files[0] = 3: must be text in quotes"),
]

NO_SENSE = [
    (HEAD, "tools: at least one tool is needed"),
    (HEAD + "tools = []\n", "tools = []: at least one tool is needed"),
    (with_tool(TOOL), "tools[1].number = 1: tools[0] has this number already"),
    (HEAD + "[[tools]]\nnumber = -1\ndiameter = 6.0\n", "tools[0].number = -1: must be at least 0"),
    (HEAD + "[[tools]]\nnumber = 1.0\ndiameter = 6.0\n", "tools[0].number = 1.0: must be a whole number"),
    (HEAD + "[[tools]]\nnumber = 1\n", "tools[0].diameter: missing: give tool 1 a diameter, or sections"),
    (
        with_tool("sections = [{ diameter = 8.0, height = 5.0 }]\n"),
        "tools[0].diameter = 6.0: give either diameter or sections, not both",
    ),
    (HEAD + "[[tools]]\nnumber = 1\nsections = []\n", "tools[0].sections = []: needs at least 1, has 0"),
    (with_tool("length = 0\n"), "tools[0].length = 0: must be at least 0.001"),
    (HEAD + "[[tools]]\nnumber = 1\ndiameter = 0.0\n", "tools[0].diameter = 0.0: must be at least 0.001"),
    (HEAD + "[[tools]]\nnumber = 1\ndiameter = -6.0\n", "tools[0].diameter = -6.0: must be at least 0.001"),
    (with_tool('name = ""\n'), 'tools[0].name = "": must not be empty'),
    (
        HEAD
        + "[[tools]]\nnumber = 4\nlength = 41.9\n"
        + "sections = [{ diameter = 79.4, height = 12.0 }, { diameter = 12.7, height = 30.0 }]\n",
        "tools[0].length = 41.9: is less than the heights of the tool's sections together, 42",
    ),
    (with_tool(CLAMP + CLAMP), 'obstacles[1].name = "clamp": obstacles[0] has this name already'),
    (clamp('"clamp"', '""'), 'obstacles[0].name = "": must not be empty'),
    (clamp('"clamp"', '"a\\nb"'), 'obstacles[0].name = "a\\u000Ab": must be one line without control characters'),
    (clamp("[60, 25]", "[60, 0]"), 'obstacles[0].size[1] = 0: must be at least 0.001 (obstacle "clamp")'),
    (clamp("[60, 25]", "[-60.0, 25]"), "obstacles[0].size[0] = -60.0: must be at least 0.001"),
    (clamp("[60, 25]", "[60]"), "obstacles[0].size = [60]: must have exactly 2 numbers, has 1"),
    (clamp("[0, 0]", "[0, nan]"), "obstacles[0].center[1] = nan: must be a finite number"),
    (clamp("top = 18.0", "top = 18.0\nangle = inf"), "obstacles[0].angle = inf: must be a finite number"),
    (clamp("top = 18.0", "top = 18.0\ntolerance = -0.1"), "obstacles[0].tolerance = -0.1: must be at least 0"),
    (clamp("top = 18.0\n", ""), "obstacles[0].top: missing: give a top (Z) or a height (above the table)"),
    (
        TABLE.join([HEAD + TOOL, CLAMP + "height = 37.0\n"]),
        "obstacles[0].height = 37.0: give either top or height, not both; top is 18",
    ),
    (
        clamp("top = 18.0", "height = 37.0"),
        "obstacles[0].height = 37.0: has heights above the table, whose own height is not known",
    ),
    (TABLE.join([HEAD + TOOL, CLAMP.replace("top = 18.0", "height = 0")]), "obstacles[0].height = 0: must be greater"),
    (
        TABLE.join([HEAD + TOOL, CLAMP.replace("18.0", "-19.5")]),
        "obstacles[0].top = -19.5: is not above the table, which is at Z -19",
    ),
    (clamp('"box"', '"ball"'), 'obstacles[0].shape = "ball": must be one of box, cylinder, bar, outline'),
    (clamp('shape = "box"\n', ""), "obstacles[0].shape: missing: give a shape or a part"),
    (clamp('shape = "box"', "shape = 3"), "obstacles[0].shape = 3: must be one of box"),
    (
        obstacle('shape = "cylinder"\ncenter = [0, 0]\ndiameter = -12.0\ntop = 9.0\n'),
        "obstacles[0].diameter = -12.0: must be at least 0.001",
    ),
    (obstacle('shape = "cylinder"\ndiameter = 12.0\ntop = 9.0\n'), "obstacles[0].center: missing"),
    (
        obstacle('shape = "bar"\nfrom = [5, 5]\nto = [5, 5]\nwidth = 20.0\ntop = 9.0\n'),
        "obstacles[0].to = [5.0, 5.0]: is the same point as `from`",
    ),
    (
        obstacle('shape = "bar"\nfrom = [5]\nto = [5, 5]\nwidth = 20.0\ntop = 9.0\n'),
        "obstacles[0].from = [5]: must have exactly 2 numbers, has 1",
    ),
    (outline("[[0, 0], [10, 0]]"), "obstacles[0].points = [[0, 0], [10, 0]]: needs at least 3, has 2"),
    (outline("[[0, 0], [10, 0], [5]]"), "obstacles[0].points[2] = [5]: must have exactly 2 numbers, has 1"),
    (outline("[[0, 0], [10, 0], [20, 0]]"), "obstacles[0].points = [[0.0, 0.0], [10.0, 0.0], [20.0, 0.0]]: an outline"),
    (
        outline("[[0, 0], [10, 10], [10, 0], [0, 8]]"),
        "obstacles[0].points = [[0.0, 0.0], [10.0, 10.0], [10.0, 0.0], [0.0, 8.0]]: an outline must not cross",
    ),
    (
        outline("[[0, 0], [10, 0], [10, 10], [10, 10.0004]]"),
        "obstacles[0].points[3] = [10.0, 10.0004]: nearly coincides with the point before it",
    ),
    (
        with_tool("[machine]\nreach = { z = [75.0, -60.0] }\n"),
        "machine.reach.z = [75.0, -60.0]: the first limit must be lower than the second",
    ),
    (with_tool("[machine]\nreach = { x = [5.0, 5.0] }\n"), "machine.reach.x = [5.0, 5.0]: the first limit"),
    (with_tool("[machine]\nreference_tool = 9\n"), "machine.reference_tool = 9: no tool has this number"),
    (
        with_tool("[machine]\nrapid_rate = [5000.0, 5000.0, 0.0]\n"),
        "machine.rapid_rate[2] = 0.0: must be greater than 0",
    ),
    (with_tool("[machine]\nrapid_rate = [-1, 1, 1]\n"), "machine.rapid_rate[0] = -1: must be greater than 0"),
    (with_tool("[machine]\nacceleration = [400, 0, 200]\n"), "machine.acceleration[1] = 0: must be greater than 0"),
    (with_tool("[machine]\ncorner_rounding = -1.0\n"), "machine.corner_rounding = -1.0: must be at least 0"),
    (with_tool("[machine]\ngantry_bottom = 0.0\n"), "machine.gantry_bottom = 0.0: must be greater than 0"),
    (
        with_tool("[machine]\ngantry_bottom = 90.0\n"),
        "machine.gantry_bottom = 90.0: is measured from the table, whose height is not known",
    ),
    (with_tool('[machine]\nown_motion = { M6 = "up" }\n'), 'machine.own_motion.M6 = "up": must be "none", "z-first"'),
    (
        with_tool('[machine]\nown_motion = { M3 = "any" }\n'),
        "machine.own_motion.M3 = \"any\": 'M3' cannot have a motion",
    ),
    (
        with_tool('[machine]\nown_motion = { M6 = "any", M06 = "none" }\n'),
        'machine.own_motion.M06 = "none": is the same code as M6',
    ),
    (with_tool("[clearance]\nabove = -3.0\n"), "clearance.above = -3.0: must be at least 0"),
    (with_tool("[clearance]\nbeside = -0.001\n"), "clearance.beside = -0.001: must be at least 0"),
    (with_tool("[clearance]\ntolerance = -1\n"), "clearance.tolerance = -1: must be at least 0"),
    (with_tool("[stock]\ncorner = [0, 0]\nsize = [0, 1]\ntop = 0\n"), "stock.size[0] = 0: must be at least 0.001"),
    (with_tool("[stock]\ncorner = [0, 0]\nsize = [1, 1]\n"), "stock.top: missing"),
    (
        with_tool("[stock]\ncorner = [0, 0]\nsize = [1, 1]\ntop = 0\nthickness = -19.0\n"),
        "stock.thickness = -19.0: must be at least 0.001",
    ),
    (
        with_tool("[stock]\ncorner = [0, 0]\nsize = [1, 1]\ntop = 0\nthickness_tolerance = -0.5\n"),
        "stock.thickness_tolerance = -0.5: must be at least 0",
    ),
    (
        with_tool("[stock]\ncorner = [0, 0]\nsize = [1, 1]\ntop = 0.0\n[table]\nz = 19.0\n"),
        "table.z = 19.0: the table cannot be higher than stock.top = 0",
    ),
    (with_tool('[offsets]\nbench = "G53"\n'), 'offsets.bench = "G53": must be "G54"'),
    (with_tool("[offsets]\nG60 = [0, 0, 0]\n"), "offsets.G60 = [0, 0, 0]: unknown key"),
    (with_tool("[offsets]\nG54 = [0, 0]\n"), "offsets.G54 = [0, 0]: must have exactly 3 numbers, has 2"),
    (
        with_tool("[offsets]\nG55 = [300.0, 0, 0]\n"),
        "offsets.G54: missing: the origins of G55 are measured in one frame",
    ),
    (with_tool("[spindle]\n"), "spindle.sections: missing"),
    (with_tool("[spindle]\nsections = []\n"), "spindle.sections = []: needs at least 1, has 0"),
    (
        with_tool("[spindle]\nsections = [{ diameter = 42.0, height = 0 }]\n"),
        "spindle.sections[0].height = 0: must be at least 0.001",
    ),
    (
        with_tool("[spindle]\nsections = [{ diameter = 42.0, height = 9 }]\nshoe = { diameter = 140.0 }\n"),
        "spindle.shoe.bottom: missing: give bottom (below the collet face) or rides_at (a fixed Z)",
    ),
    (
        with_tool(
            "[spindle]\nsections = [{ diameter = 42.0, height = 9 }]\n"
            "shoe = { diameter = 140.0, bottom = 20.0, rides_at = 30.0 }\n"
        ),
        "spindle.shoe.rides_at = 30.0: give either bottom or rides_at, not both",
    ),
    (
        with_tool(
            "[spindle]\nsections = [{ diameter = 42.0, height = 9 }]\nshoe = { diameter = 140.0, bottom = -1.0 }\n"
        ),
        "spindle.shoe.bottom = -1.0: must be at least 0",
    ),
]

NO_CODE = "is not a code"
MOVES = "cannot be harmless: G codes below G100"
FOLLOWED = "cannot be harmless: it has a meaning that the guard must follow"
WRONG_CODES = [
    ("starts_in", "G", NO_CODE),
    ("starts_in", "21", NO_CODE),
    ("starts_in", "", NO_CODE),
    ("starts_in", "G21 G90", NO_CODE),
    ("starts_in", "G-1", NO_CODE),
    ("starts_in", "M3.5", NO_CODE),
    ("starts_in", "G91.11", NO_CODE),
    ("starts_in", "G９０", NO_CODE),
    ("starts_in", "X10", "is not a state of the control"),
    ("harmless", "M", NO_CODE),
    ("harmless", "beep", NO_CODE),
    ("harmless", "M101 P1", NO_CODE),
    ("harmless", "X5", "only G and M codes can be harmless"),
    *[("harmless", code, MOVES) for code in ("G0", "G00", "g1", "G2", "G3", "G28", "G30", "G38.2", "G53", "G5.1")],
    *[("harmless", code, MOVES) for code in ("G10", "G20", "G43", "G54", "G59.1", "G68", "G81", "G90", "G92")],
    *[("harmless", code, FOLLOWED) for code in ("M0", "M01", "M2", "M3", "M06", "M8", "M30", "M60", "M98", "m99")],
]


@pytest.mark.parametrize(("text", "message"), WRONG_KEYS_AND_TYPES + NO_SENSE, ids=lambda value: value[-40:])
def test_a_wrong_setup_is_refused_with_its_key_and_value(text: str, message: str) -> None:
    with pytest.raises(SetupError) as refused:
        load_setup_data(text.encode(), Path("shop/bench.toml"))
    lines = str(refused.value).splitlines()
    assert len(lines) == 1
    assert lines[0].startswith(f"shop/bench.toml: {message}")


@pytest.mark.parametrize(("key", "code", "reason"), WRONG_CODES)
def test_a_code_that_is_none_or_cannot_stand_there_is_refused(key: str, code: str, reason: str) -> None:
    text = with_tool(f'[program]\n{key} = ["G187", "{code}"]\n')
    with pytest.raises(SetupError) as refused:
        load_setup_data(text.encode(), Path("bench.toml"))
    assert str(refused.value).startswith(f'bench.toml: program.{key}[1] = "{code}": ')
    assert reason in str(refused.value)


def test_a_code_twice_in_starts_in_is_refused() -> None:
    with pytest.raises(SetupError) as refused:
        load_setup_data(with_tool('[program]\nstarts_in = ["G21", "G021"]\n').encode(), "bench.toml")
    assert str(refused.value) == 'bench.toml: program.starts_in[1] = "G21": stands there twice'


def test_all_errors_are_listed_one_a_line() -> None:
    text = with_tool('units2 = 1\n[clearance]\nabove = -1\nbeside = "x"\n' + CLAMP.replace("25", "-25"))
    with pytest.raises(SetupError) as refused:
        load_setup_data(text.encode(), "bench.toml")
    lines = str(refused.value).splitlines()
    assert {line.split(" = ")[0] for line in lines} == {
        "bench.toml: clearance.above",
        "bench.toml: clearance.beside",
        "bench.toml: tools[0].units2",
        "bench.toml: obstacles[0].size[1]",
    }


def test_all_contradictions_are_listed_one_a_line() -> None:
    text = with_tool("[machine]\nreference_tool = 7\nreach = { y = [9, 1] }\n" + CLAMP + CLAMP)
    with pytest.raises(SetupError) as refused:
        load_setup_data(text.encode(), "bench.toml")
    assert len(str(refused.value).splitlines()) == 3


def test_a_key_of_a_placed_part_that_belongs_to_shapes_says_so() -> None:
    text = obstacle('part = "step clamp"\nat = [0, 0]\nheight = 3.0\nshape = "box"\n')
    with pytest.raises(SetupError) as refused:
        load_setup_data(text.encode(), "bench.toml")
    message = str(refused.value)
    assert "obstacles[0].height = 3.0: unknown key here: a part has its heights in the parts file" in message
    assert 'obstacles[0].shape = "box": unknown key here: an obstacle has either a shape or a part, not both' in message


@pytest.mark.parametrize("deep", [5, 60, 200])
def test_huge_and_deep_values_are_cut_to_one_short_line(deep: int) -> None:
    text = f'odd = {"[" * deep}1{"]" * deep}\nlong = "{"x" * 10_000}"\nwide = [{"7, " * 5000}]\n' + with_tool("")
    with pytest.raises(SetupError) as refused:
        load_setup_data(text.encode(), "bench.toml")
    lines = str(refused.value).splitlines()
    assert [line.split(" = ")[0] for line in lines] == ["bench.toml: odd", "bench.toml: long", "bench.toml: wide"]
    assert max(len(line) for line in lines) < 300


def test_what_turns_or_controls_a_terminal_is_shown_escaped() -> None:
    text = with_tool('["\\u001b[31m"]\nx = "\\u202e\\u0007"\n')
    with pytest.raises(SetupError) as refused:
        load_setup_data(text.encode(), "bench\x1b.toml")
    message = str(refused.value)
    assert message.isprintable()
    assert "bench\\u001B.toml" in message and "\\u202E\\u0007" in message
