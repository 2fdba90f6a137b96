"""The shipped example: a bench, a parts library and a program, for `gcode-guard demo` and as a pattern to copy."""
