"""Room: where an obstacle may stand, and how tall it may be, before a program meets it."""
