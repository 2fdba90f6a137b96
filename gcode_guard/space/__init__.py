"""The geometry room: rounded hulls, the scene on the table, the tool assembly, what a move sweeps.

Knows nothing of G-code text, of files or of reports. All lengths are millimetres in the bench frame.
Import the modules by name (``from gcode_guard.space.hulls import Hull``): nothing is imported here, to start quickly.
"""
