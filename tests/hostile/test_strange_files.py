"""Pipes, devices, folders and files without an end in the place of a setup, of a parts library, or of a program: no
command waits for one or reads on and on, and one line says what is wrong."""

from __future__ import annotations

import os
import socket
import subprocess
from pathlib import Path

import pytest

from gcode_guard.setup import SetupError, load_setup

from .calling import MENDED, PROGRAM, SETUP, Place, one_line

CALLS = ["filter p.nc -o x --setup {}", "review p.nc --page x --setup {}", "room p.nc --at 1,1 --setup {}",
         "room p.nc --grid x --setup {}", "walk -o x --setup {}", "setup check {}", "setup draw {} --page x",
         "verify p.nc p.nc --setup {}", "trace p.nc --setup {}", "watch . --once --setup {}"]
KINDS = {"a pipe": "is a pipe, not a file", "a socket": "is a socket, not a file",
         "/dev/zero": "is a device, not a file", "/dev/tty": "is a device, not a file", "/dev/stdin": "is a ",
         "/proc/self/mem": "cannot be read", "a folder": "is a directory",
         "a loop": "too many levels of symbolic links", "a giant": "is larger than 16 MB"}
PATIENCE = 30  # seconds; far more than any of these calls takes


def put(folder: Path, kind: str) -> str:
    """Makes such a thing in a folder; its name."""
    place = folder / kind.replace(" ", "-")
    if kind == "a pipe":
        os.mkfifo(place)
    elif kind == "a socket":
        with socket.socket(socket.AF_UNIX) as bound:
            before = os.getcwd()
            os.chdir(folder)  # the name of a socket may be no longer than a hundred bytes
            bound.bind(place.name)
            os.chdir(before)
    elif kind == "a folder":
        place.mkdir()
    elif kind == "a loop":
        place.symlink_to(place.name)
    elif kind == "a giant":
        with open(place, "wb") as file:
            file.truncate(1 << 40)  # of which nothing is on disk
    else:
        return kind
    return place.name


def refused(place: Place, call: str, name: str, said: str) -> None:
    there = place.names()
    held, feeding = os.pipe()  # a standard input on which nothing ever comes
    try:
        came = place.call(*call.format(name).split(), timeout=PATIENCE, stdin=held)
    finally:
        os.close(held)
        os.close(feeding)
    assert came.returncode == 2 and came.stdout == b""
    assert said in one_line(came.stderr)
    assert place.names() == there


@pytest.mark.parametrize("call", CALLS)
def test_a_parts_library_that_is_a_pipe(place: Place, call: str) -> None:
    put(place.folder, "a pipe")
    (place.folder / "bench.toml").write_text(SETUP + '[parts]\nfiles = ["a-pipe"]\n')
    refused(place, call, "bench.toml", "a-pipe: cannot be read: is a pipe, not a file")


@pytest.mark.parametrize("call", CALLS)
def test_a_setup_that_is_a_pipe(place: Place, call: str) -> None:
    refused(place, call, put(place.folder, "a pipe"), "a-pipe: cannot be read: is a pipe, not a file")


@pytest.mark.parametrize("call", [CALLS[0], CALLS[-1]])
@pytest.mark.parametrize("kind", KINDS)
def test_a_parts_library_of_any_kind(place: Place, kind: str, call: str) -> None:
    name = put(place.folder, kind)
    (place.folder / "bench.toml").write_text(SETUP + f'[parts]\nfiles = ["{name}"]\n')
    refused(place, call, "bench.toml", KINDS[kind])


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "/dev/stdin"])
def test_a_setup_of_any_kind(tmp_path: Path, kind: str) -> None:
    """In this process: it would hang where it waits."""
    with pytest.raises(SetupError, match=KINDS[kind]):
        load_setup(tmp_path / put(tmp_path, kind))


def test_a_setup_that_the_shell_makes(place: Place) -> None:
    """What is open already, with somebody to fill it, is read: a setup out of another program."""
    for call in ("$G filter p.nc --setup <(cat bench.toml)", "cat bench.toml | $G filter p.nc --setup /dev/stdin",
                 "$G filter p.nc --setup /dev/fd/0 < bench.toml"):
        came = place.shell(call, timeout=PATIENCE)
        assert (came.returncode, came.stdout) == (0, MENDED), came.stderr
    came = place.shell("$G filter p.nc --setup /dev/stdin < /dev/zero", timeout=PATIENCE)
    assert came.returncode == 2 and "is larger than 16 MB" in one_line(came.stderr)


@pytest.mark.parametrize("call", ["$G filter {} $S -o x", "$G review {} $S --page x", "$G room {} $S --grid x",
                                  "$G verify p.nc {} $S", "$G trace {}"])
@pytest.mark.parametrize("name", ["/dev/zero", "- < /dev/zero", "/dev/stdin < /dev/urandom"])
def test_a_program_without_an_end(place: Place, call: str, name: str) -> None:
    """A device would be copied to disk until there is no room on it. (A wrong stream can be as long: that one is
    somebody's own.)"""
    if "- <" in name and "verify" in call:
        call = "$G verify {} p.nc $S"
    call, _, behind = call.format(name).partition(" < ")
    device, _, options = behind.partition(" ")
    came = place.shell(f"{call} {options}" + (f" < {device}" if device else ""), timeout=PATIENCE)
    assert came.returncode == 2 and came.stdout == b""
    assert "is a device, not a program" in one_line(came.stderr)
    assert place.is_untouched() and place.names() == set()


def test_a_program_that_is_a_pipe_is_read_as_one(place: Place) -> None:
    """Waiting for its writer, as cat(1) would; the null device is an empty program."""
    os.mkfifo(place.folder / "in")
    for call in ("review in $S --page x", "room in $S --grid x --area 0,0,50,50", "verify in p.nc $S", "trace in"):
        came = place.shell(f"cat p.nc > in & $G {call}", timeout=PATIENCE)
        assert came.returncode in (0, 1), came.stderr
        again = place.shell(f"$G {call.replace('in', 'p.nc', 1)}" if "trace" not in call else "$G trace p.nc")
        assert (came.returncode, came.stdout) == (again.returncode, again.stdout.replace(b"p.nc", b"in"))
    assert place.call("filter", "/dev/null", "--setup", "bench.toml", stdin=subprocess.DEVNULL).returncode == 0
    assert place.read("p.nc") == PROGRAM
