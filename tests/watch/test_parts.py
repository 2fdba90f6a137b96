"""The small parts: when a file counts as written, and how files beside a program are called."""

import os
import subprocess
import sys
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from gcode_guard.watch.folder import LONGEST_NAME, side_name
from gcode_guard.watch.settle import Quiet, writers


@given(st.floats(0, 1e6), st.floats(0.001, 60))
def test_what_is_due_is_quiet_by_then(now: float, seconds: float) -> None:
    quiet = Quiet(seconds)
    assert not quiet.see("a", "looks", now)
    due = quiet.due(now)
    assert due is not None and quiet.see("a", "looks", due)


def test_a_new_look_begins_the_wait_anew() -> None:
    quiet = Quiet(2.0)
    assert not quiet.see("a", 1, 10.0)
    assert not quiet.see("a", 2, 11.9)
    assert not quiet.see("a", 2, 13.8)
    assert quiet.see("a", 2, 13.9)
    quiet.keep(["b"])
    assert not quiet.see("a", 2, 99.0)


def test_who_writes_is_found_and_who_reads_is_not(tmp_path: Path) -> None:
    names = {mode: tmp_path / f"{mode} Ü.nc" for mode in ("w", "a", "r+", "r", "none")}
    for path in names.values():
        path.touch()
    holder = subprocess.Popen(
        [sys.executable, "-c", "import sys; f = [open(p, m) for p, m in zip(sys.argv[2::2], sys.argv[1::2])];"
         "print(flush=True); sys.stdin.read()"] + [str(x) for m, p in names.items() if m != "none" for x in (m, p)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    assert holder.stdin is not None and holder.stdout is not None
    holder.stdout.readline()
    assert writers(names.values()) == {names[mode]: holder.pid for mode in ("w", "a", "r+")}
    holder.stdin.close()
    holder.wait()
    assert writers(names.values()) == {}


@given(st.sets(st.binary(min_size=1, max_size=252).filter(lambda raw: b"/" not in raw and b"\0" not in raw),
               min_size=2, max_size=4))
def test_no_two_programs_share_a_file(stems: set[bytes]) -> None:
    names = {os.fsdecode(stem + b".nc") for stem in stems}
    beside = [side_name(name, ending) for name in names for ending in (".diff", ".log.jsonl", ".review.html", ".txt")]
    assert len(set(beside)) == len(beside)
    assert all(len(os.fsencode(name)) <= LONGEST_NAME for name in beside)
