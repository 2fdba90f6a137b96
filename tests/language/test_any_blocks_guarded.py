"""Programs of any blocks through the whole guard; the plain reader, the deciding rule and shapely judge the outputs.

The programs of tests/generate/loose.py on a bench with something in every corner: subprograms, parameters, offsets,
shifts, homes, compensation, probes and cycles of every kind, in an order that nobody would write.
GCODE_GUARD_PROGRAMS says how many (a tenth of it is guarded), GCODE_GUARD_SEED which.
"""

from __future__ import annotations

import random
import tomllib
from collections import Counter
from pathlib import Path

import pytest

from tests.generate.loose import loose_program
from tests.guarding import run, write_bench
from tests.language.test_second_reader import MACHINES, PARTS, PROGRAMS, SEED, SETUP
from tests.referee.plain_judge import judge
from tests.referee.plain_options import Options, options_of
from tests.referee.plain_reader import NotUnderstood, read

CLEARANCE = "[clearance]\nabove = 2.0\nbeside = 1.0\ntolerance = 0.5\n"
OBSTACLES = """
[[obstacles]]
name = "pin"
shape = "cylinder"
center = [7.5, 7.5]
diameter = 1.0
top = 12.0
[[obstacles]]
name = "post"
shape = "cylinder"
center = [18.0, 1.5]
diameter = 2.0
top = 22.0
[[obstacles]]
name = "stop"
shape = "box"
center = [-2.2, 5.0]
size = [0.6, 3.0]
top = 4.0
"""


def bench(rng: random.Random) -> str:
    text = SETUP.format(**rng.choice(MACHINES)).replace("diameter = 6.0", "diameter = 1.0")
    text = text.replace("[[tools]]", CLEARANCE + "[[tools]]", 1) + OBSTACLES
    machine = "[machine]\n" + rng.choice(["", 'rapid_path = "straight"\n']) + rng.choice(["", "reference_tool = 1\n"])
    return text.replace("[machine]\n", machine)


def understood(program: str, options: Options) -> bool:
    try:
        read(program.encode(), options)
    except NotUnderstood:
        return False
    return True


def guarded(seed: int, folder: Path) -> str:
    """Guards the program of a number: what became of it. Raises AssertionError where a promise is broken."""
    rng = random.Random(seed)
    text, tool = bench(rng), rng.choice([None, 1, 2])
    setup = tomllib.loads(text)
    options = options_of(setup, tool)
    program = loose_program(rng, rng.randint(1, 14), lambda blocks: understood(blocks, options), together=True)
    shown = f"number {seed}, tool {tool}\n{program}"
    path = write_bench(folder, text)
    came = run(program, path, tool)
    if came.exit:
        assert came.output == b"" and came.diff == b""
        found = came.records("finding")
        assert found and not any("defect" in record["text"] for record in found), f"{shown}\n{found}"
        return "refused"
    assert understood(program, options), shown
    broken = judge(read(program.encode(), options), read(came.output, options), setup)
    assert broken == [], f"{shown}\n{broken}\n{came.diff.decode()}"
    again = run(came.output, path, tool)
    assert (again.exit, again.output) == (0, came.output), f"{shown}\n{came.diff.decode()}\n{again.diff.decode()}"
    return "mended" if came.diff else "safe"


@pytest.mark.parametrize("part", range(PARTS))
def test_promises_over_blocks_of_every_kind(part: int, tmp_path: Path) -> None:
    first = SEED * 10_000_000
    became = Counter(guarded(first + number, tmp_path) for number in range(part, PROGRAMS // 10, PARTS))
    # A guard that refused everything, or changed nothing, would keep the promises too.
    assert became["safe"] > 0.2 * sum(became.values()) and became["mended"] > 0, became
