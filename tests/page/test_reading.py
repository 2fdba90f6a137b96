"""What the page reads of long stretches of plain blocks is what it reads of them line by line."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from gcode_guard.picture import reading
from gcode_guard.program.reader import Reader
from tests.page import pages


def _program() -> str:
    """Rows of cuts on both sides of a clamp, with arcs and rapids between, some of them over it."""
    lines = ["G0 X20 Y120", "G0 Z5", "G1 Z-2 F1200"]
    for row in range(12):
        y = 120 + 5 * row
        lines += [f"G1 X{20 + k} Y{y + 0.5 * math.sin(k):.3f}" for k in range(1, 30)]
        lines += [f"G1 X50 Y{y}", f"G2 X55 Y{y + 5} I5 J0", "G0 Z5",
                  f"G0 X{200 if row % 3 == 0 else 40} Y{y}", "G1 Z-2",
                  f"G1 X220 Y{y}" if row % 3 == 0 else f"G1 X30 Y{y}", "G0 Z5", f"G0 X20 Y{y + 5}", "G1 Z-2"]
    return "\n".join([*lines, "G0 Z60", "M30", ""])


@pytest.fixture
def line_by_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading, "LaneReader", lambda source, rules, facts: Reader(source.lines(), rules, facts))


def test_stretches_are_read_as_columns(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    taken = []
    original = reading._keep_some
    monkeypatch.setattr(reading, "_keep_some", lambda stretch, *rest: (taken.append(len(stretch)),
                                                                       original(stretch, *rest)))
    pages.model(tmp_path, _program())
    assert sum(taken) > 300


def test_items_are_the_same(tmp_path: Path, request: pytest.FixtureRequest) -> None:
    fast = pages.model(tmp_path / "fast", _program())
    request.getfixturevalue("line_by_line")
    slow = pages.model(tmp_path / "slow", _program())
    assert len([item for item in slow.items if item.is_change]) >= 4
    assert fast.items == slow.items
    assert (fast.tools, fast.mended_lines, fast.restarts) == (slow.tools, slow.mended_lines, slow.restarts)


def test_the_backdrop_is_the_same(tmp_path: Path, request: pytest.FixtureRequest) -> None:
    fast = pages.model(tmp_path / "fast", _program()).backdrop
    request.getfixturevalue("line_by_line")
    slow = pages.model(tmp_path / "slow", _program()).backdrop
    assert (fast.cut_count, fast.rapid_count) == (slow.cut_count, slow.rapid_count)
    assert fast.off_by == slow.off_by
    assert _pieces(fast.cuts) == _pieces(slow.cuts)
    assert _pieces(fast.rapids) == _pieces(slow.rapids)


def _pieces(lines: object) -> set[frozenset[tuple[float, float]]]:
    return {frozenset(pair) for line in lines for pair in zip(line, line[1:], strict=False)}  # type: ignore[attr-defined]
