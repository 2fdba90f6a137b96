"""The columnar reader against the exact one: the same moves to the bit, the same state left, the same refusals."""

from __future__ import annotations

import random
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest

from gcode_guard.program.scan import look, look_through
from gcode_guard.program.state import Rules
from gcode_guard.rules import rules_of
from gcode_guard.setup import load_setup
from tests.generate.loose import loose_program
from tests.lane.small import agree, every_stretch, in_batches, source_of

__all__ = ["every_stretch"]
ROOT = Path(__file__).parent.parent.parent
OTHERS = ["G90", "G91", "G20", "G21", "G54", "G55", "G92 X1.5", "G92.1", "S900", "G17", "G18", "M0", "G4 P1", "G80",
          "G81 X1 Y1 Z-1 R2", "G61", "G41", "G40", "T1 M6", "G90.1", "G91.1", "G93", "G94"]
HERE = (Decimal(0), Decimal(0), Decimal(5))


def rules(**other: object) -> Rules:
    return Rules(start=HERE, block_delete="run", first_tool=1, **other)  # type: ignore[arg-type]


def number(rng: random.Random, most: float = 90.0) -> str:
    value = rng.uniform(-most, most)
    return rng.choice(["0"] + [format(value, spelling) for spelling in (".3f", ".1f", ".0f", ".7f", "+.4f", ".4f")])


def ordinary(rng: random.Random, incremental: bool) -> Iterator[str]:
    """Blocks as exporters write them, with arcs that close and some that do not, and here and there something else."""
    step = 3.0 if incremental else 90.0
    while True:
        words = [f"N{rng.randrange(9999)}"] if rng.random() < 0.1 else []
        kind = rng.random()
        if kind < 0.05:
            yield rng.choice(["(a note)", "", "; a note", "G0", "G1", "F200.5", "N20", "G2"])
            continue
        if kind < 0.08:
            yield rng.choice(OTHERS)
            continue
        if kind < 0.25:
            words.append(rng.choice(["G0", "G00", "g0"]))
        elif kind < 0.6:
            words.append(rng.choice(["G1", "G01", "g1"]))
        elif kind < 0.72:
            radius = rng.choice([1.0, 2.5, 0.5])
            offsets = [(radius, 0.0), (0.0, radius), (-radius, 0.0)]
            i, j = rng.choice(offsets)
            words.append(rng.choice(["G2", "G3", "G02"]))
            if incremental and rng.random() < 0.8:
                words += [f"X{2 * i:.3f}", f"Y{2 * j:.3f}"]
            yield " ".join([*words, f"I{i:.4f}", f"J{j:.3f}"] + (["Z-0.5"] if rng.random() < 0.2 else []))
            continue
        words += [letter + number(rng, step) for letter in "XYZ" if rng.random() < 0.6]
        if rng.random() < 0.1:
            words.append("F" + rng.choice(["100", "1200.5", "0", "80"]))
        if rng.random() < 0.05:
            words.insert(rng.randrange(len(words) + 1), "(note)")
        yield rng.choice([" ", "", " ", "  "]).join(words)


def program(rng: random.Random, lines: int) -> bytes:
    incremental = rng.random() < 0.4
    blocks = ordinary(rng, incremental)
    head = [rng.choice(["G21", "G20"]), "G91" if incremental else "G90", "G17 F500", "G1 X1 Y1"]
    ending = rng.choice(["\n", "\n", "\r\n"])
    text = ending.join(head + [next(blocks) for _ in range(lines)])
    return (text + (ending if rng.random() < 0.7 else "")).encode("latin-1")


@pytest.mark.parametrize("seed", range(60))
def test_ordinary_blocks(seed: int, every_stretch: None, monkeypatch: pytest.MonkeyPatch) -> None:
    rng = random.Random(seed)
    in_batches(monkeypatch, rng.choice([60, 300, 2000, 1 << 18]))
    data = program(rng, 150)
    setup_rules = rules(shifts={"G55": (Decimal("10.5"), Decimal("-3.25"), Decimal("1.1"))},
                        least_increment=rng.random() < 0.1)
    agree(data, setup_rules, look(data.splitlines(keepends=True), False))


def test_stretches_take_most_of_a_plain_program(every_stretch: None) -> None:
    rng = random.Random(5)
    lines = ["G21 G90 G17 F500", "G1 X1 Y1"]
    lines += [f"G1 X{number(rng)} Y{number(rng)} Z{number(rng)}" for _ in range(500)]
    lines += ["(note)", "G0 Z5.", "G0 X1. Y2.", "G1 Z-1."] * 100
    data = "\n".join(lines).encode()
    assert agree(data, rules(), look([data], False)) > 0.95 * len(lines)


def test_arcs_near_every_limit(every_stretch: None) -> None:
    """Tiny arcs, arcs that close badly, arcs that are nearly full turns: some are refused, which ends the program."""
    gaps = ["0", "0.0005", "0.0019", "0.002", "0.0021", "0.01", "0.049", "0.0501", "0.06", "-0.002", "-0.051"]
    for gap in gaps:
        for block in (f"G2 X[1+{gap}] Y1 I5 J0", f"G3 X11 Y[1+{gap}] I5 J0", f"G2 X1 Y1 I{gap} J0",
                      f"G2 X1.3 Y1 I{gap}", f"G3 X1 Y1 I0 J{gap} Z3", f"G2 X1 Y[1+{gap}] J4", "G2 X5",
                      "G2 I1 J1 X1 Y1 R4", "G3 I0 J0"):
            exact = block.replace(f"[1+{gap}]", f"{1 + float(gap):.4f}")
            data = f"G21 G90 G17 F500\nG1 X0 Y0\nG1 X1 Y1\nX1 Y1.0001\nX1 Y1\n{exact}\nG1 X3\nX4\n".encode()
            agree(data, rules(), look([data], False))


@pytest.mark.parametrize("seed", range(150))
def test_blocks_of_every_kind(seed: int, every_stretch: None, monkeypatch: pytest.MonkeyPatch) -> None:
    rng = random.Random(seed)
    data = loose_program(rng, 40).encode()
    facts = look(data.splitlines(keepends=True), False)
    if facts.calls:
        data = data.replace(b"M98", b"(98)")
        facts = look(data.splitlines(keepends=True), False)
    in_batches(monkeypatch, rng.choice([50, 300, 1 << 18]))
    with source_of(data) as source:
        assert look_through(source, False) == facts
    agree(data, rules(), facts)


@pytest.mark.parametrize("text", [
    "G4(a)3 H1", "G 43 H1", "g0043H1", "G+43 H2", "(G43) X1", "X143.5 Y43", "; T5", "(T5 (M6) x) M2", "M(a)30\nT1 M6",
    "%\nT1\n%\nT2 M6", "% (a)\nG1\n %\nM6", "#<t4>=1 X#<t4>", "G0 4 3 H1", "G1 X1 T 0 3", "m98 p1", "O55", "M99\n", "G",
    "T", "/T1 M6", "G\t43"])
def test_the_first_look_sees_the_same_in_batches(text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    for data in (text.encode(), b"G1 X1\n" * 20 + text.encode() + b"\n" + b"G0 X4 (T M O)\n" * 20):
        for skip in (False, True):
            with source_of(data) as source:
                assert look_through(source, skip) == look(data.splitlines(keepends=True), skip)


def pairs() -> list[tuple[Path, Path]]:
    benches = {path.stem: path for path in (ROOT / "fixtures/benches").iterdir() if path.suffix == ".toml"}
    programs = sorted((ROOT / "fixtures/programs").iterdir()) + [ROOT / "gcode_guard/example/door-panel.nc"]
    programs = [path for path in programs if b"M98" not in path.read_bytes()]  # those are read by the exact reader
    return [(program, bench) for program in programs for bench in sorted(benches.values())]


@pytest.mark.parametrize(("path", "bench"), pairs(), ids=lambda path: path.stem)
def test_fixtures(path: Path, bench: Path, every_stretch: None, monkeypatch: pytest.MonkeyPatch) -> None:
    setup, data = load_setup(bench), path.read_bytes()
    facts = look(data.splitlines(keepends=True), False)
    tool = min(setup.tools)
    for size in (200, 1 << 18):
        with monkeypatch.context() as patch:
            in_batches(patch, size)
            agree(data, rules_of(setup, facts, tool), facts)
