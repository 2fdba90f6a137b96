"""Ten million increments, and the sum exact to the last digit. Not part of the test command: it takes some minutes.

    python -m tests.hostile.increments 10000000 SETUP

Made as it is read, so that no file of that length is needed; every increment is another one.
"""

from __future__ import annotations

import sys
import tempfile
import time
from fractions import Fraction
from pathlib import Path

from gcode_guard.program.lane_reader import LaneReader
from gcode_guard.program.scan import look_through
from gcode_guard.rules import rules_of
from gcode_guard.setup import load_setup
from gcode_guard.source import Source

STEPS = ["0.0001", "-.0003", "12.3457", "-7.0011", "0.1", ".7", "-5.9443"]


def main() -> None:
    count, setup = int(sys.argv[1]), load_setup(Path(sys.argv[2]))
    rounds = count // len(STEPS)
    with tempfile.TemporaryFile() as file:
        file.write(b"G21 G91 G1 F100\n")
        chunk = "".join(f"X{step} Y{step}\n" for step in STEPS).encode() * 1000
        for _ in range(rounds // 1000):
            file.write(chunk)
        made = rounds // 1000 * 1000
        begun = time.monotonic()
        source = Source(file, "increments")
        facts = look_through(source, False)
        reader = LaneReader(source, rules_of(setup, facts, None), facts)
        for _ in reader:
            pass
    start, end = setup.machine.start, reader.interpreter.state.position
    expected = made * sum(map(Fraction, STEPS))
    assert isinstance(start, tuple), "the setup must say where the program starts"
    for axis in (0, 1):
        assert Fraction(end[axis]) - Fraction(repr(start[axis])) == expected  # type: ignore[arg-type]
    print(f"{made * len(STEPS)} increments in {time.monotonic() - begun:.0f} s lead {float(expected)} mm on, exactly")



if __name__ == "__main__":
    main()
