"""What changes while the command runs: the program, the setup, the clock."""

from __future__ import annotations

import hashlib
import json
import subprocess
import sys

import pytest

from .calling import MENDED, SETUP, Place, environment, one_line
from .test_seeded import DRIVER

DURING = """
from gcode_guard.mend import Mender
finish = Mender.finish
def changed(*given):
    {what}
    return finish(*given)
Mender.finish = changed
"""


def changing(place: Place, what: str) -> subprocess.CompletedProcess[bytes]:
    """`filter` with something done in the middle of it."""
    script = DRIVER.format(seed=DURING.format(what=what))
    return subprocess.run([sys.executable, "-c", script], cwd=place.folder, capture_output=True, env=environment(),
                          timeout=120)


@pytest.mark.parametrize("what", ["open('p.nc', 'ab').write(b'G0 Z1')", "open('p.nc', 'r+b').write(b'G0 X1')",
                                  "open('p.nc', 'wb')"])
def test_a_program_that_changes_meanwhile_is_not_mended(place: Place, what: str) -> None:
    came = changing(place, what)
    assert came.returncode == 2 and "changed while it was read" in one_line(came.stderr)
    assert place.names() == set()


@pytest.mark.parametrize("what", ["open('bench.toml', 'w').write('nonsense')", "import os; os.remove('bench.toml')"])
def test_a_setup_that_changes_meanwhile_is_the_one_that_was_read(place: Place, what: str) -> None:
    came = changing(place, what)
    assert came.returncode == 0 and place.read("x") == MENDED
    first = json.loads(place.read("l").splitlines()[0])
    assert first["setup_sha256"] == hashlib.sha256(SETUP.encode()).hexdigest()


def test_a_clock_that_is_put_back(place: Place) -> None:
    came = changing(place, "import time; time.time = lambda: -1e9; time.time_ns = lambda: -10**18")
    assert came.returncode == 0 and place.read("x") == MENDED and place.names() == {"x", "d", "l"}
