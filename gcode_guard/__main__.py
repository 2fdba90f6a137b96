"""Lets `python -m gcode_guard` stand in for the installed command."""

from gcode_guard.cli import main

if __name__ == "__main__":
    main()
