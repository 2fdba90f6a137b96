"""docs/setup.md against the keys that the tool takes, so that the page cannot go stale."""

import re
from pathlib import Path

import pytest

from gcode_guard.setup import load_setup_data, schema
from gcode_guard.setup.table import Table

PAGE = Path(__file__).parent.parent / "docs/setup.md"
TEXT = PAGE.read_text("utf-8")

# The text before each of the page's tables of keys, and the tables of the file that it describes together.
TABLES = [
    ("## Top level", [schema.SetupFile]),
    ("## `[program]`", [schema.ProgramTable]),
    ("## `[table]`", [schema.TableTable]),
    ("## `[stock]`", [schema.StockTable]),
    ("## `[clearance]`", [schema.ClearanceTable]),
    ("## `[machine]`", [schema.MachineTable]),
    ("## `[offsets]`", [schema.OffsetsTable]),
    ("## `[spindle]`", [schema.SpindleTable]),
    ("### `shoe`", [schema.ShoeTable]),
    ("## `[[tools]]`", [schema.ToolTable]),
    ("### `sections`", [schema.SectionTable]),
    ("A `\"box\"`:", [schema.BoxKeys]),
    ("A `\"cylinder\"`:", [schema.CylinderKeys]),
    ("A `\"bar\"`", [schema.BarKeys]),
    ("An `\"outline\"`", [schema.OutlineKeys]),
    ("## `[parts]`", [schema.PartsTable]),
    ("A parts library is", [schema.PartsFile, schema.PartTable]),
    ("## `[repair]`", [schema.RepairTable]),
]


def keys_of(*models: type[Table]) -> set[str]:
    return {name for model in models for name in model.names()}


def documented(start: str) -> set[str]:
    """The keys in the first column of the first table after `start`."""
    after = TEXT[TEXT.index(start) :]
    rows = after[after.index("| --- |") :].partition("\n\n")[0].splitlines()[1:]
    return {key for row in rows for key in re.findall(r"`([^`]+)`", row.split("|")[1])}


@pytest.mark.parametrize(("start", "models"), TABLES, ids=[start.strip("# :") for start, _ in TABLES])
def test_every_key_is_described_and_none_besides(start, models):
    keys = keys_of(*models) - ({"shape"} if issubclass(models[0], schema.ShapeKeys) else set())
    assert documented(start) == keys


def test_the_keys_of_every_obstacle_are_described():
    common = keys_of(schema.ShapedKeys) | {"shape"}
    assert documented("## `[[obstacles]]`") == common
    assert documented("A placed `part`") == keys_of(schema.PartObstacle) - keys_of(schema.ObstacleKeys)


def test_the_example_on_the_page_is_a_setup():
    example = re.search(r"```toml\n(.*?)```", TEXT, re.S)
    assert example is not None
    setup = load_setup_data(example[1].encode(), PAGE)
    # 19 mm stock with its top at zero: a bolt of 52 mm ends at 33, and without [clearance] the page says 3, 3 and 1.
    assert setup.obstacles[1].solids[0].top == 33.0
    assert (setup.clearance.above, setup.clearance.beside, setup.clearance.tolerance) == (3.0, 3.0, 1.0)
    assert setup.machine.rapid_path == "unknown" and setup.machine.corner_rounding == 1.0
    assert setup.machine.own_motion == {"M6": "z-first"}
