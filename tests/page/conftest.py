"""Pages that several tests of the review look at."""

from __future__ import annotations

import pytest

from tests.page import pages


@pytest.fixture(scope="session")
def repaired(tmp_path_factory: pytest.TempPathFactory) -> pages.Made:
    """The page of a program with two crossings of a clamp."""
    program = pages.CROSSING + "G0 X20 Y155\nG0 Z5\nG1 Z-2\nG0 Z5\nG0 X20 Y145\nX200\nG1 Z-2\nG0 Z60\nM30\n"
    return pages.review(tmp_path_factory.mktemp("repaired"), program)


@pytest.fixture(scope="session")
def refused(tmp_path_factory: pytest.TempPathFactory) -> pages.Made:
    """The page of a program with a cut through a clamp."""
    return pages.review(tmp_path_factory.mktemp("refused"), pages.CUTTING)
