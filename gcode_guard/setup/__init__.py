"""The setup file: what stands on the table, which tools there are, how the machine moves. Knows no G-code.

`load_setup` is the way in; everything that comes out is in mm, in the bench frame (see model.py).
"""

from gcode_guard.setup.errors import SetupError
from gcode_guard.setup.load import load_setup, load_setup_data
from gcode_guard.setup.model import (
    OFFSET_NAMES,
    Clearance,
    Machine,
    Obstacle,
    Offsets,
    Piece,
    ProgramRules,
    RepairRules,
    Section,
    Setup,
    Shoe,
    Solid,
    Spindle,
    Stock,
    Tool,
    stacked,
)

__all__ = [
    "OFFSET_NAMES",
    "Clearance",
    "Machine",
    "Obstacle",
    "Offsets",
    "Piece",
    "ProgramRules",
    "RepairRules",
    "Section",
    "Setup",
    "SetupError",
    "Shoe",
    "Solid",
    "Spindle",
    "Stock",
    "Tool",
    "load_setup",
    "load_setup_data",
    "stacked",
]
