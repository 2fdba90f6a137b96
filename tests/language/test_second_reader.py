"""Ours and the plain reader of tests/referee on thousands of programs of any blocks: positions, modes, order of moves.

GCODE_GUARD_PROGRAMS says how many programs are read (3000 without it), GCODE_GUARD_SEED which: each has a number, and
is the same each time.
"""

from __future__ import annotations

import io
import os
import random
import tomllib
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from gcode_guard.program.codes import CODES, REFUSED
from gcode_guard.program.moves import NAMES, Effect, Move, Step
from gcode_guard.program.reader import Reader
from gcode_guard.program.scan import look
from gcode_guard.program.state import Position, State, known
from gcode_guard.rules import rules_of, trouble_with_tools
from gcode_guard.setup import load_setup
from gcode_guard.setup.model import Setup
from gcode_guard.source import Source
from tests.generate.loose import fill, loose_program, series, templates
from tests.referee import plain_reader
from tests.referee.plain_options import Options, options_of
from tests.referee.plain_reader import NotUnderstood, Reading
from tests.referee.plain_trace import Row, first_difference, is_nothing, row_of_move, rows_of_reading

PROGRAMS = int(os.environ.get("GCODE_GUARD_PROGRAMS", "3000"))
SEED = int(os.environ.get("GCODE_GUARD_SEED", "1"))
PARTS = 6  # so that several processes share the work

SETUP = """format = 1
units = "mm"
[program]
starts_in = ["G21", "G90", "G17"]
block_delete = "{block_delete}"
harmless = ["M101"]
[machine]
start = {start}
home = [-10.0, -10.0, 75.0]
home2 = [-10.0, 400.0, 75.0]
home_axes = "{home_axes}"
zero = [-100.0, -80.0, 150.0]
after_tool_change = "{after}"
[offsets]
bench = "{bench}"
G54 = [100.0, 80.0, -150.0]
G55 = [130.0, 80.0, -150.0]
G56 = [100.0, 180.0, -150.0]
G57 = [0.0, 0.0, -140.0]
G58 = [12.7, -12.7, -160.0]
G59 = [110.0, 80.5, -150.0]
"G59.1" = [100.0, 92.7, -148.0]
"G59.2" = [101.0, 80.0, -150.0]
[[tools]]
number = 1
diameter = 6.0
length = 30.0
[[tools]]
number = 2
diameter = 6.0
length = 42.5
"""
MACHINES = [
    {"block_delete": "run", "start": "[0.0, 0.0, 40.0]", "home_axes": "named", "after": "high", "bench": "G54"},
    {"block_delete": "skip", "start": "[5.0, -5.0, 60.0]", "home_axes": "all", "after": "same", "bench": "G55"},
    {"block_delete": "run", "start": '"high"', "home_axes": "unknown", "after": "unknown", "bench": "G54"},
    {"block_delete": "skip", "start": "[0.0, 0.0, 40.0]", "home_axes": "unknown", "after": "high", "bench": "G59.1"},
]


class Machine:
    """A setup, as both readers want it."""

    def __init__(self, folder: Path, number: int) -> None:
        place = folder / f"machine{number}.toml"
        place.write_text(SETUP.format(**MACHINES[number]))
        self.setup: Setup = load_setup(place)
        self._table = tomllib.loads(place.read_text())

    def options(self, tool: int | None) -> Options:
        return options_of(self._table, tool)


@pytest.fixture(scope="module")
def machines(tmp_path_factory: pytest.TempPathFactory) -> list[Machine]:
    folder = tmp_path_factory.mktemp("machines")
    return [Machine(folder, number) for number in range(len(MACHINES))]


# One program, by both ------------------

def ours(program: str, setup: Setup, tool: int | None) -> tuple[list[Step], State] | None:
    """The steps of a program and the state behind it; None where it is refused."""
    with Source.from_stream(io.BytesIO(program.encode()), "program") as source:
        facts = look(source.lines(), setup.program.block_delete == "skip")
        if trouble_with_tools(setup, facts, tool) is not None:
            return None
        reader = Reader(source.lines(), rules_of(setup, facts, tool), facts)
        steps = list(reader)
    return None if any(step.refusals for step in steps) else (steps, reader.interpreter.state)


def theirs(program: str, options: Options) -> Reading | None:
    try:
        return plain_reader.read(program.encode(), options)
    except NotUnderstood:
        return None


def row_of(move: Move) -> Row:
    centre: tuple[float, ...] = ()
    if move.centre is not None:
        flat = {17: (0, 1), 18: (0, 2), 19: (1, 2)}[move.plane]
        centre = tuple(move.centre[axis] for axis in flat)
    return Row(move.line, NAMES[move.kind], (*numbers(move.start), *numbers(move.end)), centre,
               f"G{move.plane}" if centre else "", None if move.tool < 0 else move.tool,
               None if move.feed is None else float(move.feed))


def numbers(position: Position) -> tuple[float | None, ...]:
    return tuple(float(c) if known(c) else None for c in position)  # type: ignore[arg-type]


def difference(steps: list[Step], state: State, reading: Reading) -> str | None:
    """Where two readings of one program part: moves, then the order of moves and effects, then what is in force."""
    rows = [row for step in steps for move in step.moves if not move.shadow and not is_nothing(row := row_of(move))]
    return (first_difference(rows, rows_of_reading(reading)) or first_unlike(our_order(steps), their_order(reading))
            or first_unlike(our_modes(state), their_modes(reading)))


def first_unlike(a: list[Any], b: list[Any]) -> str | None:
    for one, other in zip([*a, None], [*b, None], strict=False):
        if one != other:
            return f"{one} is {other} for the plain reader"
    return None


# The order of moves and effects ------------------

def our_order(steps: list[Step]) -> list[tuple[int, str]]:
    found: list[tuple[int, str]] = []
    spindle = ""
    for step in steps:
        line, moves = step.block.line, step.moves
        for number in range(len(moves) + 1):
            for effect in [effect for effect in step.effects if effect.after_move == number]:
                found += [(line, word) for word in words_of(effect, step, spindle)]
                spindle = effect.what if effect.what in ("M3", "M4") else spindle
            if number < len(moves) and not moves[number].shadow and not is_nothing(row_of(moves[number])):
                found.append((line, "move"))
    return found


def words_of(effect: Effect, step: Step, spindle: str) -> list[str]:
    """An effect in the words in which the plain reader's are put below."""
    what = effect.what
    if what in ("M98", "M99", "M101", "G49", "G96", "G97", "G15", "G50", "G69"):
        return []
    if what.startswith("G10"):
        return ["origin"] if any(word.letter in "XYZ" for word in step.block.words) else []
    if what.startswith(("G92", "G43")):
        return ["shift" if what.startswith("G92") else "G43"]
    taps = step.after.motion == "G84"
    cycle = {"spindle off": ["M5"], "spindle off, oriented": ["M5"], "spindle reversed": ["M5", "M4"],
             "spindle as before": ["M5", "M3"] if taps else [spindle], "stop, out by hand": ["M0"]}
    if what in cycle:
        return cycle[what]
    return [f"dwell {float(what.split()[1]):g}" if what.startswith("dwell") else
            f"S{float(what[1:]):g}" if what.startswith("S") else what]


def their_order(reading: Reading) -> list[tuple[int, str]]:
    moving = {id(move) for move in reading.moves}
    found = []
    for item in reading.sequence:
        if isinstance(item, plain_reader.Move):
            if id(item) in moving and not is_nothing(row_of_move(item)):
                found.append((item.line, "move"))
            continue
        word = their_word(item)
        if word:
            found.append((item.line, word))
    return found


def their_word(item: plain_reader.Effect) -> str:
    value: Any = item.value
    if item.name in ("shift", "origin"):
        return item.name
    if item.name == "tool length":
        return "" if value == 49 else "G43"
    by_name: dict[str, Callable[[], str]] = {
        "speed": lambda: f"S{float(value):g}", "tool selected": lambda: f"T{value}", "tool change": lambda: "M6",
        "dwell": lambda: f"dwell {float(value):g}", "offset": lambda: str(value), "path": lambda: f"G{value[0]:g}",
        "compensation": lambda: f"G{value:g}", "home stored": lambda: f"G{value:g}.1"}
    return by_name.get(item.name, lambda: f"M{value}")()


# What is in force behind a program ------------------

def our_modes(state: State) -> list[tuple[str, Any]]:
    motion = None if state.motion in (None, "G80") else float(state.motion[1:])
    return [
        ("units", {"G20": "inch", "G21": "mm", None: None}[state.units]),
        ("distance", {"G90": False, "G91": True, None: None}[state.distance]),
        ("centres", state.centres == "G90.1"), ("plane", int((state.plane or "G0")[1:])), ("motion", motion),
        ("feed mode", int(state.feed_mode[1:])), ("return level", state.retract == "G99"),
        ("offset", state.offset), ("tool", None if state.tool < 0 else state.tool), ("selected", state.selected),
        ("compensation", state.compensation != "G40"), ("shift", tuple(round(float(v), 6) for v in state.extra)),
        ("parameters", {name: round(value.binary, 6) for name, value in state.parameters.items()}),
    ]


def their_modes(reading: Reading) -> list[tuple[str, Any]]:
    state = reading.state
    parameters = {str(name): round(float(value), 6) for name, value in state.parameters.items()}
    return [
        ("units", state.units), ("distance", state.incremental), ("centres", state.centres_absolute),
        ("plane", state.plane or 0), ("motion", None if state.motion is None else float(state.motion)),
        ("feed mode", state.feed_mode), ("return level", state.retract_to_r), ("offset", state.offset),
        ("tool", state.tool), ("selected", state.selected), ("compensation", state.compensation),
        ("shift", tuple(round(float(v), 6) for v in state.shift)), ("parameters", parameters),
    ]


# Thousands of programs ------------------

def one_program(seed: int, machines: list[Machine]) -> str:
    """Reads the program of a number by both: what became of it. Raises AssertionError where they do not agree."""
    rng = random.Random(seed)
    machine, tool = rng.choice(machines), rng.choice([None, 1, 2])
    options = machine.options(tool)
    accepts: list[Callable[[str], bool] | None] = [
        None, lambda text: theirs(text, options) is not None, lambda text: ours(text, machine.setup, tool) is not None]
    (accept,) = rng.choices(accepts, weights=[1, 6, 3])
    program = loose_program(rng, rng.randint(1, 30), accept, together=True)
    found = ours(program, machine.setup, tool)
    if found is None:
        return "refused"
    reading = theirs(program, options)
    assert reading is not None, f"number {seed}: the plain reader does not understand it\n{program}"
    apart = difference(*found, reading)
    assert apart is None, f"number {seed}: {apart}\n{program}"
    return "alike"


@pytest.mark.parametrize("part", range(PARTS))
def test_both_read_every_program_alike(part: int, machines: list[Machine]) -> None:
    first = SEED * 10_000_000
    became = Counter(one_program(first + number, machines) for number in range(part, PROGRAMS, PARTS))
    # A reader that refused everything would agree too.
    assert became["alike"] > 0.4 * sum(became.values())


HEADS = ["G0 X1 Y1 Z30\nF90\n", "M3\nG0 X1 Y1 Z30\nF90\n", "T1 M6\nG0 X0 Y0\nG43 H1 Z20\n", ""]
TAIL = "\nM30\nO100\nG91\nX1\nG90\nM99\nO200\nM98 P100\nM99\n"


def test_every_code_that_is_let_through_is_among_them(machines: list[Machine]) -> None:
    """Each code that is followed or passed stands in blocks that both accept and read alike."""
    rng, met = random.Random(1), Counter[str]()
    for text in [*templates(), *series()]:
        for head in HEADS:
            program = head + fill(rng, text) + TAIL
            found, reading = ours(program, machines[0].setup, 1), theirs(program, machines[0].options(1))
            if found is None or reading is None:
                continue
            assert difference(*found, reading) is None, program
            met.update(code for step in found[0] for code in step.codes)
            break
    assert [name for name, code in CODES.items() if code.status != REFUSED and not met[name]] == []
