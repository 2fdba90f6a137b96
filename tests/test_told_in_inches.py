"""What is said on an inch bench is said in inches: the same bench in both units, held against each other."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from gcode_guard.guard import guard
from gcode_guard.record.summary import refusal, summary_paragraph
from gcode_guard.setup import load_setup
from gcode_guard.source import Source
from gcode_guard.verify import verify
from tests.guarding import write_bench
from tests.test_fixtures import ROOT, ROWS
from tests.units import MILLIMETRES, hold_the_same, in_inches

BENCH = """
format = 1
units = "mm"
[program]
starts_in = ["G21", "G90", "G17", "F600"]
[stock]
corner = [0.0, 0.0]
size = [600.0, 200.0]
top = 0.0
thickness = 19.0
[machine]
start = [0.0, 100.0, 40.0]
{machine}
[[tools]]
number = 1
diameter = 8.0
length = 25.0
[[obstacles]]
name = "clamp"
shape = "box"
center = [100.0, 100.0]
size = [40.0, 20.0]
top = 18.0
"""
REACH = "reach = { x = [-20.0, 610.0], y = [-20.0, 210.0], z = [-30.0, 40.0] }"
LOW = "reach = { x = [-20.0, 610.0], y = [85.0, 115.0], z = [-30.0, 20.0] }"
RIDING = "[spindle]\nsections = [{ diameter = 42.0, height = 60.0 }]\nshoe = { diameter = 90.0, rides_at = 10.0 }\n"
PROGRAMS = {  # machine keys, more of the setup, program, exit status
    "a cut into the clamp": ("", "", "G1 X60 Z-3\nG1 X140\nG0 Z40\nM30\n", 3),
    "many cuts into it": (REACH, "", "G1 Z-3\nG1 X140\nG1 Y102\nG1 X60\nG0 Z40\nM30\n", 3),
    "a cut that it clears by its shoe": ("", RIDING, "G0 X0\nG1 Z-3\nG1 X40\nG0 Z40\nM30\n", 3),
    "a run that ends in it": ("", "", "G0 X104 Y101\nG0 Z4\nM0\nG0 Z40\nM30\n", 3),
    "a cut beyond the reach": (REACH, "", "G1 X0 Y150\nG1 X650.4\nG0 Z40\nM30\n", 3),
    "a traverse at feed": ("", "", "G1 Z6\nG1 X200 F900\nG1 Z-1\nG0 Z40\nM30\n", 3),
    "a lift above the ceiling": (LOW, "", "G0 Z5\nG0 X200\nG1 Z-1\nG0 Z15\nM30\n", 3),
    "a lift above the ceiling without a reach in the plane": (
        "reach = { z = [-30.0, 20.0] }", "", "G0 Z5\nG0 X200\nG1 Z-1\nG0 Z15\nM30\n", 3),
    "a lift without a reach": ("", "", "G0 Z5\nG0 X200\nG1 Z-1\nG0 Z40\nM30\n", 0),
    "a path tolerance that is not given": ("", "", "G64\nG0 Z5\nG0 X200\nG1 Z-1\nG0 Z40\nM30\n", 0),
}


def said(folder: Path, bench: str, program: bytes, tool: int | None = None) -> tuple[int, list[str], list[str]]:
    """Exit status, what is printed, and the texts of the log."""
    with Source.from_stream(io.BytesIO(program), "program") as source:
        outcome = guard(source, load_setup(write_bench(folder, bench)), tool=tool)
        try:
            log = io.BytesIO()
            outcome.log.write_to(log, outcome.run, outcome.summary)
            records = map(json.loads, log.getvalue().splitlines())
            texts = [record["text"] for record in records if "text" in record]
            return outcome.exit, [refusal(outcome.reasons), summary_paragraph(outcome.summary)], texts
        finally:
            outcome.close()


@pytest.mark.parametrize("name", PROGRAMS)
def test_the_same_is_said_in_the_units_of_the_bench(tmp_path: Path, name: str) -> None:
    machine, more, program, status = PROGRAMS[name]
    bench = BENCH.format(machine=machine).replace("[[tools]]", more + "[[tools]]")
    one, printed, texts = said(tmp_path / "mm", bench, program.encode())
    other, printed_in, texts_in = said(tmp_path / "inch", in_inches(bench), program.encode())
    assert one == other == status, (printed, printed_in)
    assert any(MILLIMETRES.search(text) for text in [*printed, *texts])
    for text, text_in in zip([*printed, *texts], [*printed_in, *texts_in], strict=True):
        hold_the_same(text, text_in)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: Path(row["program"]).stem)
def test_fixtures_say_nothing_in_mm_on_an_inch_bench(tmp_path: Path, row: dict[str, str]) -> None:
    library = ROOT / "gcode_guard/example/clamps.toml"
    bench = (ROOT / row["bench"]).read_text()
    if 'units = "inch"' not in bench:
        bench = in_inches(bench)
    files = '"../../gcode_guard/example/clamps.toml"', '"clamps.toml"'
    for written in files:
        bench = bench.replace(written, f'"{library}"')
    _, printed, texts = said(tmp_path, bench, (ROOT / row["program"]).read_bytes())
    assert not MILLIMETRES.search("\n".join([*printed, *texts]))


AFTER = "G1 X0 Z-3\nG2 X20 Y80 I20 J0\nS500\nG0 Z30\nG0 X200\nG0 Z5\nM0\nG1 Z-1\nG0 Z40\nM30\n"
DIFFERENCES = {
    "a cut starts elsewhere": ("G1 X0 Z-3", "G1 X1 Z-3"),
    "an arc has another centre": ("I20 J0", "I10 J-10"),
    "a cut has another feed": ("G1 Z-1", "G1 Z-1 F500"),
    "a rapid is lower": ("G0 Z5", "G0 Z4.5\nG0 Z5"),
    "an effect happens elsewhere": ("G0 X200", "G0 X210"),
    "a program ends elsewhere": ("G0 Z40", "G0 Z41"),
    "a cut is led elsewhere": ("X20 Y80", "X20 Y120"),
}


@pytest.mark.parametrize("name", DIFFERENCES)
def test_the_proof_says_the_same_in_the_units_of_the_bench(tmp_path: Path, name: str) -> None:
    old, new = DIFFERENCES[name]
    assert AFTER.count(old) == 1
    bench = BENCH.format(machine=REACH.replace("40.0]", "40.5]")).replace("100.0, 100.0]", "100.0, 180.0]")
    proofs = [verify(lambda: iter(AFTER.encode().splitlines(True)),
                     lambda: iter(AFTER.replace(old, new).encode().splitlines(True)),
                     load_setup(write_bench(tmp_path / units, text)))
              for units, text in (("mm", bench), ("inch", in_inches(bench)))]
    assert not any(proof.holds for proof in proofs) and all(proof.understood for proof in proofs), proofs
    assert MILLIMETRES.search(proofs[0].what)
    hold_the_same(proofs[0].what, proofs[1].what)


@pytest.mark.parametrize(("program", "length"), [
    ("G20\nG1 Z-.1 F20\nG2 X1 Y4 I.5 J.01\nM30\n", "0.0027 in"),
    ("G20\nG1 Z-.1 F20\nG2 X1 Y3.937 R.4\nM30\n", "1 in"),
    ("G21\nG1 Z-3\nG2 X30 R10\nM30\n", "30 mm"),
    ("G20\nG38.2 Z1.5744 F5\nM30\n", "0.01 in"),
])
def test_of_a_length_of_the_program_in_its_own_units(tmp_path: Path, program: str, length: str) -> None:
    status, printed, _ = said(tmp_path, BENCH.format(machine=""), program.encode())
    assert status == 4 and length in printed[0], printed


def test_a_code_at_which_the_machine_moves_is_proven_in_the_units_of_the_bench(tmp_path: Path) -> None:
    program = b"G0 Z20\nT1 M6\nM30\n"
    bench = BENCH.format(machine='own_motion = { M6 = "any" }')
    one, other = (verify(lambda: iter(program.splitlines(True)), lambda: iter(program.splitlines(True)),
                         load_setup(write_bench(tmp_path / units, text))).what
                  for units, text in (("mm", bench), ("inch", in_inches(bench))))
    assert "X0.0000 Y100.0000 Z20.0000 mm" in one
    hold_the_same(one, other)
