"""The same bench in inches, and what is said about both held against each other."""

from __future__ import annotations

import re
import tomllib
from typing import Any

import tomlkit

NO_LENGTHS = frozenset({"format", "number", "reference_tool", "angle"})
NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
MILLIMETRES = re.compile(r"\bmm\b")


def in_inches(bench: str) -> str:
    """A setup file in mm as one in inches: every length divided by 25.4."""
    document = tomllib.loads(bench)
    assert document["units"] == "mm"
    return tomlkit.dumps({**_divided(document), "units": "inch"})


def _divided(value: Any, key: str = "") -> Any:
    if isinstance(value, dict):
        return {name: _divided(entry, name) for name, entry in value.items()}
    if isinstance(value, list):
        return [_divided(entry, key) for entry in value]
    if isinstance(value, bool) or not isinstance(value, int | float) or key in NO_LENGTHS:
        return value
    return value / 25.4


def hold_the_same(millimetres: str, inches: str) -> None:
    """Both texts say the same: each number is either no length, and stands in both, or 25.4 times as large in mm."""
    assert not MILLIMETRES.search(inches), inches
    plain = [NUMBER.sub("#", text) for text in (MILLIMETRES.sub("in", millimetres), inches)]
    assert plain[0] == plain[1], f"{millimetres}\n{inches}"
    for one, other in zip(NUMBER.findall(millimetres), NUMBER.findall(inches), strict=True):
        length = abs(float(one) - 25.4 * float(other)) <= 0.0127 + 1e-6  # advice is rounded up to 0.0005 in
        assert one == other or length, f"{one} and {other}\n{millimetres}\n{inches}"
