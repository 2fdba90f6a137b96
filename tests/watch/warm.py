"""Guards one program and draws its page on import: the server from which tests start processes has all loaded then."""

import io
import tempfile
from pathlib import Path

import watchfiles  # noqa: F401

import gcode_guard.watch.watcher  # noqa: F401
from gcode_guard.guard import guard
from gcode_guard.setup import load_setup
from gcode_guard.source import Source
from gcode_guard.watch.page import write_review
from tests.watch.shop import BENCH, repaired

with tempfile.TemporaryDirectory() as folder:
    path = Path(folder) / "bench.toml"
    path.write_text(BENCH.format(top=18.0))
    setup = load_setup(path)
    with Source.from_stream(io.BytesIO(repaired()), "warm") as source:
        outcome = guard(source, setup)
        write_review(io.BytesIO(), source, setup, outcome)
        outcome.close()
