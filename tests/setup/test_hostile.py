"""Whatever stands in a setup file, it is understood or refused by SetupError; nothing else comes out."""

from __future__ import annotations

import copy
import math
import tomllib
from pathlib import Path
from typing import Any

import tomlkit
from hypothesis import given, settings
from hypothesis import strategies as st

from gcode_guard.setup import Setup, SetupError, load_setup_data
from gcode_guard.setup.describe import describe

WHOLE = Path(__file__).with_name("whole.toml").read_text(encoding="utf-8")

VALUES = st.recursive(
    st.one_of(
        st.booleans(),
        st.integers(-(2**63), 2**63 - 1),
        st.floats(),
        st.sampled_from([0, 1, -1, 0.0, "mm", "inch", "box", "high", "G0", "M6", "", "x", 1e-9, 1e300]),
        st.text(st.characters(exclude_categories=["Cs"]), max_size=10),
        st.dates(),
    ),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.sampled_from(["x", "z", "shape", "top"]), inner),
    max_leaves=6,
)


def places(table: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The path of every value in nested tables and lists."""
    entries = table.items() if isinstance(table, dict) else enumerate(table) if isinstance(table, list) else ()
    return [found for key, value in entries for found in [(*path, key), *places(value, (*path, key))]]


PLACES = places(tomllib.loads(WHOLE))


def finite(setup: Setup) -> bool:
    """Whether every footprint and top of a setup is made of numbers that the clearance can work with."""
    solids = [solid for obstacle in setup.obstacles for solid in obstacle.solids]
    numbers = [number for solid in solids for number in (solid.top, solid.tolerance, solid.radius)]
    points = [number for solid in solids for piece in solid.pieces for point in piece.vertices for number in point]
    return all(math.isfinite(number) for number in numbers + points)


def outcome(text: bytes) -> None:
    try:
        setup = load_setup_data(text, "bench.toml")
    except SetupError as error:
        assert str(error).startswith("bench.toml: ")
        assert all(line.isprintable() for line in str(error).splitlines())
    else:
        assert finite(setup)
        assert describe(setup)


@settings(max_examples=400, deadline=None)
@given(path=st.sampled_from(PLACES), value=VALUES, remove=st.booleans())
def test_any_value_in_the_place_of_any_other(path: tuple[Any, ...], value: Any, remove: bool) -> None:
    tables = copy.deepcopy(tomllib.loads(WHOLE))
    owner: Any = tables
    for key in path[:-1]:
        owner = owner[key]
    if remove:
        del owner[path[-1]]
    else:
        owner[path[-1]] = value
    outcome(tomlkit.dumps(tables).encode())


@settings(max_examples=200, deadline=None)
@given(start=st.integers(0, len(WHOLE)), length=st.integers(0, 40), put=st.binary(max_size=6))
def test_any_bytes_in_the_place_of_any_others(start: int, length: int, put: bytes) -> None:
    text = WHOLE.encode()
    outcome(text[:start] + put + text[start + length :])


@given(data=st.binary(max_size=200))
def test_any_bytes_at_all(data: bytes) -> None:
    outcome(data)
