"""Writes setup files into a scratch folder and loads them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from gcode_guard.setup import Setup, load_setup


@pytest.fixture
def bench(tmp_path: Path) -> Callable[..., Setup]:
    """Loads `text` as bench.toml; the keywords are parts files, `clamps="..."` being clamps.toml beside it."""

    def load(text: str, **parts: str) -> Setup:
        for name, content in parts.items():
            (tmp_path / f"{name}.toml").write_text(content, encoding="utf-8")
        file = tmp_path / "bench.toml"
        file.write_text(text, encoding="utf-8")
        return load_setup(file)

    return load
