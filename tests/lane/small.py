"""Programs held in memory, read in small batches, so that a short program has every border that a long one has."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pytest

from gcode_guard.program import lane_reader
from gcode_guard.program.lane import Stretch
from gcode_guard.program.lane_reader import LaneReader
from gcode_guard.program.moves import Move, table
from gcode_guard.program.reader import Reader
from gcode_guard.program.scan import Facts
from gcode_guard.program.state import Rules
from gcode_guard.source import Source


@pytest.fixture
def every_stretch(monkeypatch: pytest.MonkeyPatch) -> None:
    """Takes stretches of a single line too."""
    monkeypatch.setattr(lane_reader, "SHORTEST", 1)


def in_batches(monkeypatch: pytest.MonkeyPatch, size: int) -> None:
    """Lets every source give batches of about `size` bytes."""
    whole = Source.batch
    monkeypatch.setattr(Source, "batch", lambda self, place: whole(self, place, size))


def source_of(data: bytes) -> Source:
    return Source.from_stream(io.BytesIO(data), "program")


def as_bytes(columns: Any) -> dict[str, bytes]:
    """Each column of a table of moves, to the bit."""
    return {name: np.ascontiguousarray(getattr(columns, name)).tobytes() for name in columns.__dataclass_fields__}


def exact(data: bytes, rules: Rules, facts: Facts) -> tuple[Any, list[Move], list[Any]]:
    """The exact reader's interpreter, moves and refusals."""
    with source_of(data) as source:
        reader = Reader(source.lines(), rules, facts)
        steps = list(reader)
    return reader.interpreter, [move for step in steps for move in step.moves], [r for s in steps for r in s.refusals]


def in_columns(data: bytes, rules: Rules, facts: Facts) -> tuple[Any, list[dict[str, bytes]], list[Any], int]:
    """The columnar reader's interpreter, columns in order, refusals, and how many lines came in stretches."""
    columns, refusals, lines = [], [], 0
    with source_of(data) as source:
        reader = LaneReader(source, rules, facts)
        for item in reader:
            if isinstance(item, Stretch):
                lines += len(item)
                columns.append(as_bytes(item.moves))
            else:
                columns.append(as_bytes(table(item.moves)))
                refusals += item.refusals
    return reader.interpreter, columns, refusals, lines


def agree(data: bytes, rules: Rules, facts: Facts) -> int:
    """Holds both readers against each other; gives the number of lines that came in stretches."""
    one, moves, refused = exact(data, rules, facts)
    other, columns, also_refused, lines = in_columns(data, rules, facts)
    whole = as_bytes(table(moves))
    for name, wanted in whole.items():
        assert b"".join(part[name] for part in columns) == wanted, name
    assert other.state == one.state
    assert other.assumptions == one.assumptions
    assert also_refused == refused
    return lines
