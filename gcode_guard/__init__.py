"""gcode-guard: mends the rapids of a router program that would hit what stands on the table."""

__version__ = "0.1.0"
