"""What the fuzzer and the long run found, minimised: it must hold for ever. And each hold can fail."""

from __future__ import annotations

from pathlib import Path

import pytest

from gcode_guard.setup import load_setup
from gcode_guard.verify import Proof

from . import holding

CORPUS = Path(__file__).parent / "corpus"
SETUPS = sorted((CORPUS / "setups").iterdir())
PAIRS = sorted((CORPUS / "pairs").iterdir())
PROGRAMS = [
    b"\0G0 X12 Y5 Z2\nG0 X0\nG1 Z-1\n", b"\1#1=1\nG0 X30 Y30 Z[#1+1]\nG0 X0 Y-20 Z[#1+1]\n", b"\2\xff\xfe\0G0", b"\3",
    b"\4%\n(no end", b"\5G0 X" + b"9" * 3000, b"\6" + b"[" * 3000, b"\7G1 X[" + b"1+" * 900 + b"1] F1\n",
    b"\x08" + b"/" * 3000,
    b"\x09M98 P1\nM30\nO1\nM98 P1\nM99\n", b"\x0aG81 X1 Y1 Z-1 R1 L99999\n", b"\x0bG83 X1 Y1 Z-9 R1 Q.0000001 F1\n",
    b"\x0cG0 X1e6 Y-1e6\n", b"\x0dG20 G0 X-0. Y-.0\nG21 G0 Z-0\n", b"\x0e" + b"G0 Z30\r" * 300, b"\x0f" + b"\n" * 3000,
    b"\x10#1=[1/3]\n" + b"#1=[#1*#1]\n" * 400, b"\x11G2 X0 Y0 I0 J0 F1\n", b"\x12G2 X1e-7 I1e5 F1\n",
    b"\x13M98 P1 L9999999\nM30\nO1\nG91 G0 X1\nM99\n", b"\x14#[99999999999999999999]=1\n", b"\x15X[1 mod 0]\n",
    b"\x16G0X1" + b"(" * 2000 + b"\n", b"\x17N" + b"1" * 400 + b"\n", b"\x18X[exp[9999]]\n", b"\x19X[9999**9999]\n"]


@pytest.mark.parametrize("path", SETUPS, ids=lambda path: path.name)
def test_setups(path: Path) -> None:
    holding.hold_setup(path.read_bytes())


@pytest.mark.parametrize("folder", PAIRS, ids=lambda folder: folder.name)
def test_pairs(folder: Path) -> None:
    said = (folder / "tool.txt").read_text().strip()
    tool = None if said == "None" else int(said)
    assert holding.hold_on(load_setup(folder / "bench.toml"), tool, (folder / "program.nc").read_bytes()) in (0, 3, 4)


@pytest.mark.parametrize("data", [*PROGRAMS, *(path.read_bytes() for path in sorted((CORPUS / "programs").glob("*")))])
def test_programs(data: bytes) -> None:
    holding.hold_program(data)
    holding.hold_program(bytes([data[0] + 40]) + data[1:])  # the same bench, and a tool in the spindle


def test_every_bench_of_the_fuzzer_is_one() -> None:
    statuses = set()
    for number in range(40, 80):  # those with a tool in the spindle
        setup, tool = holding.bench(number)
        statuses.add(holding.hold_on(setup, tool, holding.PROGRAM))
    assert 0 in statuses and len(statuses) > 1  # some are mended, some refused


def test_what_must_hold_can_fail(monkeypatch: pytest.MonkeyPatch) -> None:
    """A proof that says no, a slow guard and one that takes memory are seen."""
    setup, tool = holding.bench(40)[0], 1
    changed = b"G0 X12 Y5 Z2\nG0 X0\n"
    assert holding.hold_on(setup, tool, changed) == 0
    with monkeypatch.context() as patch:
        patch.setattr(holding, "verify", lambda *given, **more: Proof(False))
        with pytest.raises(holding.Broken, match="exit 0"):
            holding.hold_on(setup, tool, changed)
    for name, words in (("SECONDS", "took"), ("MEMORY", "MB")):
        with monkeypatch.context() as patch:
            patch.setattr(holding, name, -1e9)
            with pytest.raises(holding.Broken, match=words):
                holding.hold_on(setup, tool, changed)


def test_a_short_run_of_generated_programs(tmp_path: Path) -> None:
    """The long run (long_run.py), so short that it fits in here, with a seed of its own."""
    import subprocess
    import sys

    root = Path(__file__).parents[2]
    call = [sys.executable, "-m", "tests.hostile.long_run", str(tmp_path / "run"), "--count", "160", "--seed", "7"]
    came = subprocess.run(call, cwd=root, capture_output=True, text=True, timeout=300)
    assert came.returncode == 0, came.stdout + came.stderr + "".join(
        path.read_text() for path in (tmp_path / "run").glob("failures/*/why.txt"))
    counts = {line.split(maxsplit=1)[1]: int(line.split()[0]) for line in came.stdout.splitlines()[1:]}
    assert counts["repaired"] > 30 and counts["safe"] > 30
