"""Ctrl-C, SIGTERM, SIGHUP and SIGKILL at every line from the start of the command to the end of what it writes, and at
some moments of the real thing."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from .calling import MENDED, PROGRAM, SETUP, Place, environment

ROOT = Path(__file__).parents[2]


def struck(place: Place, number: int, step: int) -> list[tuple[int, dict[str, str]]]:
    """The status and the files of every run, each struck `step` lines later than the one before."""
    call = [sys.executable, "-m", "tests.hostile.struck", str(place.folder), str(int(number)), str(step)]
    came = subprocess.run(call, cwd=ROOT, capture_output=True, text=True, timeout=300, env=environment())
    assert came.returncode == 0, came.stderr
    return [(found["status"], found["found"]) for found in map(json.loads, came.stdout.splitlines())]


@pytest.mark.parametrize(("number", "step"), [(signal.SIGTERM, 3), (signal.SIGINT, 7), (signal.SIGHUP, 19)])
def test_all_is_written_or_nothing_wherever_a_signal_strikes(place: Place, number: signal.Signals, step: int) -> None:
    runs = struck(place, number, step)
    assert len(runs) > 100 / step
    untouched = {"p.nc": PROGRAM.decode(), "bench.toml": SETUP}
    for at, (status, found) in enumerate(runs, 1):
        assert status in (-number, 0), at
        if "d" not in found:
            assert status == -number and found == untouched, at
            continue
        assert found["p.nc"] == MENDED.decode() and found["bench.toml"] == SETUP, at
        assert set(found) == {"p.nc", "bench.toml", "d", "l"}, at
        assert found["d"].startswith("--- ") and json.loads(found["l"].splitlines()[-1])["record"] == "summary", at
    assert runs[-1][0] == 0 and sum("d" not in found for _, found in runs) > 80 / step


def test_nothing_is_half_written_where_it_is_killed(place: Place) -> None:
    """Nothing can be tidied up then, but no file under its own name is ever anything but whole."""
    for at, (status, found) in enumerate(struck(place, signal.SIGKILL, 11), 1):
        assert status in (-signal.SIGKILL, 0)
        assert found["p.nc"] in (PROGRAM.decode(), MENDED.decode()), at
        assert "l" not in found or json.loads(found["l"].splitlines()[-1])["record"] == "summary", at
        left = set(found) - {"p.nc", "bench.toml", "d", "l"}
        assert all(name.startswith(".gcode-guard-") and name.endswith(".part") for name in left), at


@pytest.mark.parametrize(("number", "seconds"), [
    (signal.SIGINT, 0.02), (signal.SIGINT, 0.15), (signal.SIGTERM, 0.3), (signal.SIGINT, 0.6), (signal.SIGHUP, 1.2)])
def test_the_real_thing_ends_quietly(place: Place, number: signal.Signals, seconds: float) -> None:
    """From the loading on; 200,000 blocks keep it busy for longer than that."""
    (place.folder / "p.nc").write_bytes(PROGRAM.replace(b"M30\n", b"") * 30_000 + b"M30\n")
    running = place.start("filter", "p.nc", "-o", "p.nc", "--diff", "d", "--setup", "bench.toml")
    time.sleep(seconds)
    running.send_signal(number)
    out, said = running.communicate(timeout=60)
    # In its very first instants the interpreter itself answers an interrupt, with its own words.
    assert running.returncode == -number or (seconds < 0.1 and running.returncode in (1, 130))
    assert (out, said) == (b"", b"") or seconds < 0.1
    assert place.names() == set()


def test_while_it_waits_for_its_input(place: Place) -> None:
    running = place.start("filter", "--setup", "bench.toml", "-o", "x", stdin=subprocess.PIPE)
    assert running.stdin is not None
    running.stdin.write(PROGRAM)
    running.stdin.flush()
    time.sleep(1.0)
    running.send_signal(signal.SIGTERM)
    assert running.communicate(timeout=60) == (b"", b"")
    assert running.returncode == -signal.SIGTERM and place.names() == set()


def test_a_signal_that_a_library_swallows_is_raised_anew() -> None:
    """What is raised in a finaliser, or in a function that a library calls back, is printed and lost."""
    script = """
import os, signal, sys, time
from gcode_guard.signals import Stopped, listen, quietly
class Last:
    def __del__(self):
        os.kill(os.getpid(), signal.SIGTERM)
        for _ in range(100): pass
listen()
try:
    del [Last()][:]
    time.sleep(20)
except Stopped as stopped:
    quietly(stopped.number)
"""
    came = subprocess.run([sys.executable, "-c", script], timeout=15, capture_output=True)
    assert came.returncode == -signal.SIGTERM
