"""A disk that is full, or no place at all to hold a program back: one clear line, status 2, and nothing changed."""

from __future__ import annotations

import os
import resource
import signal
import subprocess
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from .calling import COMMAND, PROGRAM, Place, environment, one_line

SIZE = 48 * 1024  # bytes of the small disk
LARGE = PROGRAM.replace(b"M30\n", b"") * 1_500 + b"M30\n"  # larger than that, all of it to be mended


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path | None]:
    """A folder on a disk of its own; None where none may be mounted, in which a limit on files stands in for it."""
    folder = tmp_path / "disk"
    folder.mkdir()
    call = ["mount", "-t", "tmpfs", "-o", f"size={SIZE}", "tmpfs", str(folder)]
    mounted = subprocess.run(call, capture_output=True, text=True)
    if mounted.returncode:
        warnings.warn(f"no small disk can be mounted here ({mounted.stderr.strip()}): a limit on the size of files"
                      " stands in for it", stacklevel=1)
        yield None
        return
    yield folder
    subprocess.run(["umount", "--lazy", str(folder)], check=True)


def limit(size: int = SIZE) -> None:
    """No file may pass the size of the small disk, or another (setrlimit(2))."""
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))


def call(place: Place, arguments: str, full: bool, before: Callable[[], None] | None, **more: str) -> str:
    came = subprocess.run([*COMMAND, *arguments.split(), "--setup", "bench.toml"], cwd=place.folder, preexec_fn=before,
                          env=environment(**more), capture_output=True, timeout=120)
    assert came.returncode == 2, came.stderr
    said = one_line(came.stderr)
    assert ("No space left on device" if full else "File too large") in said
    return said


def test_while_holding_back(place: Place, small_disk: Path | None) -> None:
    (place.folder / "p.nc").write_bytes(LARGE)
    for arguments in ("filter p.nc -o p.nc --diff d --log l", "filter p.nc", "filter - -o x"):
        script = " ".join([*COMMAND, arguments, "--setup", "bench.toml"])
        came = subprocess.run(["bash", "-c", script + " < p.nc"], cwd=place.folder, capture_output=True, timeout=120,
                              preexec_fn=limit if small_disk is None else None,
                              env=environment(**{} if small_disk is None else {"TMPDIR": str(small_disk)}))
        assert came.returncode == 2 and came.stdout == b""
        said = one_line(came.stderr)
        assert "cannot hold the program back in" in said
        assert place.read("p.nc") == LARGE and place.names() == set()
        assert small_disk is None or list(small_disk.iterdir()) == []


def test_while_writing(place: Place, small_disk: Path | None) -> None:
    """There is room to hold it back, and none where it is to be written; an output that was there stays as it was."""
    if small_disk is None:
        pytest.skip("what is held back is as large as what is written: no limit can tell them apart")
    (place.folder / "p.nc").write_bytes(LARGE)
    (small_disk / "out.nc").write_bytes(b"before")
    for arguments in (f"filter p.nc -o {small_disk}/out.nc --diff d --log l", f"filter p.nc -o x --diff {small_disk}/d",
                      f"review p.nc --log {small_disk}/l"):
        assert str(small_disk) in call(place, arguments, True, None)
        assert place.names() == set()
        assert [path.name for path in small_disk.iterdir()] == ["out.nc"]
        assert (small_disk / "out.nc").read_bytes() == b"before"


@pytest.mark.parametrize("room", [4, 8, 12, 20, 28])
def test_the_demo_while_its_disk_fills_up(place: Place, small_disk: Path | None, room: int) -> None:
    """Wherever it gets (KiB): no folder is left that looks as if the job had been done. (Where not even the first page
    is left, tempfile takes another disk.)"""
    place.folder.joinpath("tmp").mkdir()
    temporary = small_disk or place.folder / "tmp"
    if small_disk is not None:
        (small_disk / "filled").write_bytes(bytes(SIZE - room * 1024))
    came = place.call("demo", environment={"TMPDIR": str(temporary)},
                      preexec_fn=None if small_disk else lambda: limit(room * 60))
    assert (came.returncode, came.stdout) == (2, b"")
    assert str(temporary) in one_line(came.stderr) and ("No space left" in came.stderr.decode() or not small_disk)
    assert [path.name for path in temporary.iterdir() if path.name != "filled"] == []


def test_a_setup_is_started_whole_or_not_at_all(place: Place, small_disk: Path | None) -> None:
    if small_disk is not None:
        (small_disk / "filled").write_bytes(bytes(SIZE))
    target = (small_disk or place.folder) / "new.toml"
    came = place.call("setup", "new", target, "--defaults", preexec_fn=None if small_disk else lambda: limit(1024))
    assert came.returncode == 2 and str(target) in one_line(came.stderr)
    assert not target.exists() and place.names() == set()
    assert small_disk is None or [path.name for path in small_disk.iterdir()] == ["filled"]


@pytest.mark.parametrize("unbuffered", ["", "1"])
def test_to_standard_output(place: Place, small_disk: Path | None, unbuffered: str) -> None:
    """The shell has opened it, so what is there may be a part: the status says so. Where Python has no buffer of its
    own (PYTHONUNBUFFERED), a write may take a part of what it is given and call that done."""
    (place.folder / "p.nc").write_bytes(LARGE)
    target = (small_disk or place.folder) / "out"
    with open(target, "wb") as out:
        came = subprocess.run([*COMMAND, "filter", "p.nc", "--setup", "bench.toml"], cwd=place.folder, stdout=out,
                              stderr=subprocess.PIPE, preexec_fn=limit if small_disk is None else None,
                              env=environment(PYTHONUNBUFFERED=unbuffered), timeout=120)
    assert came.returncode == 2
    one_line(came.stderr)


@pytest.mark.parametrize("call", ["filter p.nc -o x --setup bench.toml", "review p.nc --page x --setup bench.toml",
                                  "trace p.nc", "demo"])
def test_no_temporary_folder_at_all(place: Place, call: str) -> None:
    """tempfile looks in TMPDIR, /tmp, /var/tmp, /usr/tmp and the working folder: without all of them it is an error."""
    script = ("import tempfile; tempfile._candidate_tempdir_list = lambda: ['/nowhere']; "
              f"import sys; sys.argv = {['gcode-guard', *call.split()]}; "
              "from gcode_guard.__main__ import start; start()")
    came = subprocess.run([COMMAND[0], "-c", script], cwd=place.folder, capture_output=True, timeout=120,
                          env=environment())
    assert came.returncode == 2
    assert "temporary directory" in one_line(came.stderr)
    assert place.is_untouched() and place.names() == set()


def test_a_temporary_folder_that_is_not_there_is_passed_over(place: Place) -> None:
    came = place.call("filter", "p.nc", "-o", "x", "--setup", "bench.toml", environment={"TMPDIR": "/nowhere"})
    assert came.returncode == 0 and place.names() == {"x"}


def test_a_folder_that_cannot_be_written_to(place: Place) -> None:
    """Not even by root: a folder of the kernel's own."""
    came = place.call("filter", "p.nc", "-o", "/proc/x.nc", "--setup", "bench.toml")
    assert came.returncode == 2 and "/proc/x.nc" in one_line(came.stderr)
    assert os.listdir(place.folder) and place.is_untouched()
