"""room, walk, what-if and the page under hostile programs and benches: no traceback, no hang, no blow-up of memory."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from gcode_guard.setup import load_setup, load_setup_data

from . import asking, holding
from .test_corpus import CORPUS, PROGRAMS

MANY = "".join(f'[[obstacles]]\nname = "o{k}"\nshape = "cylinder"\ncenter = [{k % 10 * 30.0}, {k // 10 * 30.0}]\n'
               f"diameter = 5.0\ntop = {5.0 + k % 7}\n" for k in range(100))
LONG = [
    b"(" + b"G0 Z30\n" + b"G0 X30 Y30\nG1 Z-1 F100\nG0 Z12\nG0 X0 Y0\nG1 Z-1\nG0 Z12\n" * 400 + b"G0 Z30\n",
    b"(G0 Z30\n" + b"G81 X30 Y30 Z-1 R12 F100\n" + b"X2 Y30\nX30 Y30\n" * 600 + b"G80\n",
    b"(G1 X1e6 Y-1e6 F100\nG0 X-1e6\n", b"(G0 Z30\nG91\n" + b"X.001\n" * 2000,
    b"(G0 Z30\nM98 P1 L300\nM30\nO1\nG0 X1\nG0 X40\nM99\n",
]


@pytest.mark.parametrize("data", [holding.PROGRAM.join([b"(", b""]), *LONG, *PROGRAMS])
def test_questions_about_programs(data: bytes, tmp_path: Path) -> None:
    asking.hold_questions(data, tmp_path)
    assert os.listdir(tmp_path) == ["bench.toml"]


def test_all_questions_are_answered_of_an_ordinary_program(tmp_path: Path) -> None:
    assert asking.hold_questions(b"(" + b"G0 Z30\nG0 X30 Y30\nG1 Z-1 F100\nG0 Z30\nM30\n", tmp_path) == {
        "a place", "a map", "a map of all", "the page of maps"}


@pytest.mark.parametrize("number", range(40, 45))
def test_walks_and_changes_on_each_kind_of_bench(number: int) -> None:
    setup, _ = holding.bench(number)
    asking.hold_walk(setup)
    if number == 40:
        assert asking.hold_walk(setup)


def test_what_if_takes_any_text(tmp_path: Path) -> None:
    path = tmp_path / "bench.toml"
    path.write_text(holding.bench_text(0))
    assert asking.hold_changes(load_setup(path)) >= 2
    assert os.listdir(tmp_path) == ["bench.toml"]


def test_a_walk_round_a_hundred_things() -> None:
    text = holding.bench_text(0)
    assert asking.hold_walk(load_setup_data((text[: text.index("[[obstacles]]")] + MANY).encode(), "bench.toml"))


def test_walks_on_the_benches_of_what_was_found() -> None:
    for folder in sorted((CORPUS / "pairs").iterdir()):
        asking.hold_walk(load_setup(folder / "bench.toml"))


def test_the_budget_can_be_missed(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    for name, words in (("SECONDS", "took"), ("MEMORY", "MB")):
        with monkeypatch.context() as patch:
            patch.setattr(holding, name, -1e9)
            with pytest.raises(holding.Broken, match=words):
                asking.hold_questions(b"(G0 Z30\n", tmp_path)
