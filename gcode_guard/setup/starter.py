"""Writes a first setup file, commented, from a few answers; it loads as it is and asks to be measured and filled in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from gcode_guard.lengths import Units
from gcode_guard.setup.errors import quoted
from gcode_guard.setup.words import number


@dataclass(frozen=True, slots=True)
class StarterObstacle:
    """An obstacle as a person answers for it: a box (`size`) or a cylinder (`diameter`), in the setup's units."""

    name: str
    center: tuple[float, float]
    height: float
    """Above the table."""
    size: tuple[float, float] | None = None
    diameter: float | None = None
    angle: float = 0.0


@dataclass(frozen=True, slots=True)
class _Defaults:
    stock_size: tuple[float, float]
    thickness: float
    tool_diameter: float
    clearance: float
    tolerance: float
    corner_rounding: float
    obstacle: StarterObstacle


# A cabinet door of common size, held by a step clamp on its left edge; round figures in either unit.
_DEFAULTS: dict[Units, _Defaults] = {
    "mm": _Defaults(
        (600.0, 400.0), 19.0, 6.0, 3.0, 1.0, 1.0, StarterObstacle("example clamp", (-20.0, 200.0), 40.0, (60.0, 30.0))
    ),
    "inch": _Defaults(
        (24.0, 16.0), 0.75, 0.25, 0.125, 0.04, 0.04, StarterObstacle("example clamp", (-0.75, 8.0), 1.5, (2.5, 1.25))
    ),
}


_COMMENT_COLUMN = 35


def starter_text(
    units: Units = "mm",
    *,
    stock_size: tuple[float, float] | None = None,
    thickness: float | None = None,
    tool_number: int = 1,
    tool_diameter: float | None = None,
    tool_length: float | None = None,
    obstacles: Sequence[StarterObstacle] | None = None,
) -> str:
    """A setup file as text, every length in `units`; what is None takes a default of the trade.

    `tool_length` None leaves the length out, so that nothing above the cutter is claimed to be checked;
    `obstacles` None puts in one example to be replaced, an empty sequence none.
    The text is not judged here: load_setup_data does that, with its messages.
    """
    defaults = _DEFAULTS[units]
    chosen = [defaults.obstacle] if obstacles is None else list(obstacles)
    sections = [
        _head(units),
        _program(),
        _stock(stock_size or defaults.stock_size, defaults.thickness if thickness is None else thickness),
        _clearance(defaults),
        _machine(defaults),
        _tool(tool_number, defaults.tool_diameter if tool_diameter is None else tool_diameter, tool_length, units),
        *([_obstacle(obstacle, example=obstacles is None) for obstacle in chosen] or [_NO_OBSTACLES]),
    ]
    return "".join(_aligned(line) for line in "\n".join(sections).splitlines(keepends=True))


def _head(units: Units) -> str:
    return f"""\
# What stands on the table, for gcode-guard.
# Every length is in "units". X, Y and Z are those of a program that runs in G54, with its zero where
# the program has it; here that is the lower left corner of the stock, on its top.
# Measure, fill in, and look at the result: gcode-guard setup check, gcode-guard setup draw.

format = 1
units = "{units}"
"""


def _program() -> str:
    return """\
[program]
# The codes that the control is in when a program starts. Leave it empty unless you are sure:
# a program that does not set its own units is then refused, and not taken in the wrong ones.
starts_in = []  # for example ["G21", "G90", "G17"]
# block_delete = "run"             # what the machine does with blocks that begin with /: "run" or "skip"
"""


def _stock(size: Sequence[float], thickness: float) -> str:
    return f"""\
[stock]
corner = [0.0, 0.0]  # lower left corner, seen from above
size = {_list(size)}
top = 0.0  # Z of its top
thickness = {_float(thickness)}  # the table is that much below the top
thickness_tolerance = 0.0  # how much thicker or thinner a piece may be
"""


def _clearance(defaults: _Defaults) -> str:
    return f"""\
[clearance]
above = {_float(defaults.clearance)}  # how far rapids stay above obstacles
beside = {_float(defaults.clearance)}  # and beside them
tolerance = {_float(defaults.tolerance)}  # how wrong your measurements of an obstacle may be
"""


def _machine(defaults: _Defaults) -> str:
    return f"""\
[machine]
rapid_path = "unknown"             # "straight" only if you have seen that rapids run in straight lines
corner_rounding = {_float(defaults.corner_rounding)}  # how far the control may cut a corner between moves
# reach = {{ z = [lowest, highest] }}  # travel of the tip; without it a lift has no ceiling
# start = "high"                   # if the tool is above everything when a program starts, or [x, y, z]
"""


def _tool(tool_number: int, diameter: float, length: float | None, units: Units) -> str:
    spindle = {"mm": ("42.0", "30.0", "80.0", "120.0"), "inch": ("1.65", "1.2", "3.15", "4.75")}[units]
    a, b, c, d = spindle
    measured = f"length = {_float(length)}" if length is not None else "# length = ..."
    return f"""\
# What sits above every tool, from the collet face up. With it, and a length for each tool, the collet nut and
# the spindle are checked too, not only the cutter.
# [spindle]
# sections = [{{ diameter = {a}, height = {b} }}, {{ diameter = {c}, height = {d} }}]

[[tools]]
number = {tool_number}
diameter = {_float(diameter)}
{measured}  # from the tip to the collet face
"""


_NO_OBSTACLES = """\
# Nothing stands on the table yet, so no rapid is ever held to be unsafe. Add what does:
# [[obstacles]]
# name = "left clamp"
# shape = "box"                    # or "cylinder", "bar", "outline"
# center = [0.0, 0.0]
# size = [1.0, 1.0]
# height = 1.0  # above the table; or top, the Z of its top
"""


def _obstacle(obstacle: StarterObstacle, *, example: bool) -> str:
    lines = ["# An example: put your own in its place.\n"] if example else []
    lines += ["[[obstacles]]", f"name = {quoted(obstacle.name)}"]
    if obstacle.size is not None:
        lines += ['shape = "box"', f"center = {_list(obstacle.center)}", f"size = {_list(obstacle.size)}"]
        lines += [f"angle = {_float(obstacle.angle)}  # degrees, counter-clockwise"]
    else:
        lines += ['shape = "cylinder"', f"center = {_list(obstacle.center)}", f"diameter = {_float(obstacle.diameter)}"]
    lines += [f"height = {_float(obstacle.height)}  # above the table; or top, the Z of its top", ""]
    return "\n".join(lines)


def _aligned(line: str) -> str:
    """A line with its comment in the common column; names may hold a # and are left alone."""
    if line.startswith("name") or "  # " not in line:
        return line
    setting, comment = line.split("  # ", 1)
    return f"{setting.rstrip():<{_COMMENT_COLUMN}}# {comment}"


def _list(values: Sequence[float]) -> str:
    return f"[{', '.join(_float(value) for value in values)}]"


def _float(value: Any) -> str:
    """A TOML float that reads back as `value`."""
    text = number(float(value))
    return text if "." in text else text + ".0"
