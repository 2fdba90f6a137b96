"""A shop for each test, and workers that start fast."""

import multiprocessing
from pathlib import Path

import pytest

from tests.watch.shop import Shop

# Workers of in-process tests come from a server that has the guard loaded; the command itself uses spawn.
multiprocessing.set_forkserver_preload(["tests.watch.warm"])


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    return Shop(tmp_path)
