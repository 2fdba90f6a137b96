"""Where to read and where to write: hostile names, one file under two names, devices, pipes, closed streams."""

from __future__ import annotations

import os
import subprocess

import pytest

from .calling import MENDED, PROGRAM, REFUSED, Place, one_line

# One file under two names -------------------------------------------------------------------------------------------


def test_in_place_through_a_link_and_under_another_name(place: Place) -> None:
    """The program itself may be the place of the output, however it is called (contract: held back until proven)."""
    (place.folder / "link.nc").symlink_to("p.nc")
    (place.folder / "kept.nc").hardlink_to(place.folder / "p.nc")
    os.chmod(place.folder / "p.nc", 0o640)
    assert place.call("filter", "p.nc", "-o", "link.nc", "--setup", "bench.toml").returncode == 0
    assert place.read("p.nc") == MENDED and (place.folder / "link.nc").is_symlink()
    assert (place.folder / "p.nc").stat().st_mode & 0o777 == 0o640
    assert place.read("kept.nc") == PROGRAM  # the other name still is the original
    again = place.call("filter", "../shop/kept.nc", "-o", "./kept.nc", "--setup", "bench.toml")
    assert again.returncode == 0 and place.read("kept.nc") == MENDED
    assert place.names() == {"link.nc", "kept.nc"}


def test_in_place_and_refused_leaves_the_program(place: Place) -> None:
    (place.folder / "p.nc").write_bytes(REFUSED)
    assert place.call("filter", "p.nc", "-o", "p.nc", "--setup", "bench.toml").returncode == 4
    assert place.read("p.nc") == REFUSED and place.names() == set()


CLASHES = {
    "-o and --diff": "filter p.nc $S -o x --diff x",
    "-o and --log": "filter p.nc $S -o x --log ./x",
    "--diff and --log": "filter p.nc $S --diff x --log x",
    "-o and the setup": "filter p.nc $S -o bench.toml",
    "--log and the setup": "filter p.nc $S --log ../shop/bench.toml",
    "--diff and the program": "filter p.nc $S --diff p.nc",
    "--log and the program": "filter p.nc $S --log link.nc",
    "--log and the program as input": "filter $S --log p.nc < p.nc",
    "standard output and the program": "filter p.nc $S >> p.nc",
    "standard output and the setup": "filter p.nc $S >> bench.toml",
    "--diff and standard output": "filter p.nc $S --diff -",
    "the log of a review and the program": "review p.nc $S --log p.nc",
    "the page of a review and the setup": "review p.nc $S --page bench.toml",
    "the map of room and the program": "room p.nc $S --grid link.nc",
    "the page of room and the program": "room p.nc $S --at 1,1 --page p.nc",
    "the page of room and the setup": "room p.nc $S --page ../shop/bench.toml",
    "the page and the map of room": "room p.nc $S --page x --grid ./x",
    "the map of room and one of several programs": "room link.nc - $S --grid p.nc < /dev/null",
    "the walk and the setup": "walk $S -o bench.toml",
    "the drawing and the setup": "setup draw bench.toml --page ./bench.toml",
}


@pytest.mark.parametrize("call", CLASHES.values(), ids=CLASHES.keys())
def test_two_things_in_one_file_are_a_wrong_call(place: Place, call: str) -> None:
    (place.folder / "link.nc").symlink_to("p.nc")
    came = place.shell(f"$G {call}")
    assert came.returncode == 2 and came.stdout == b""
    assert "are the same file" in one_line(came.stderr)
    assert place.is_untouched() and place.names() == {"link.nc"}


# Devices, pipes, directories ----------------------------------------------------------------------------------------


def test_nothing_is_kept_of_what_goes_to_the_null_device(place: Place) -> None:
    came = place.call("filter", "p.nc", "--setup", "bench.toml", "-o", "/dev/null", "--diff", "/dev/null",
                      "--log", "/dev/null")
    assert came.returncode == 0 and os.path.exists("/dev/null") and not os.path.isfile("/dev/null")


@pytest.mark.parametrize("call", ["filter p.nc $S > /dev/full", "filter p.nc $S -o /dev/full --diff d --log l",
                                  "filter p.nc $S -o x --diff /dev/full --log l", "review p.nc $S > /dev/full",
                                  "review p.nc $S --page /dev/full --log l", "review p.nc $S --page x --log /dev/full",
                                  "room p.nc $S --at 1,1 > /dev/full", "room p.nc $S --grid l --page /dev/full",
                                  "room p.nc $S --grid /dev/full --page x", "walk $S > /dev/full",
                                  "walk $S -o /dev/full", "setup draw bench.toml --page /dev/full", "demo > /dev/full",
                                  "trace p.nc > /dev/full", "setup check bench.toml > /dev/full",
                                  "--version > /dev/full"])
def test_a_device_that_is_full(place: Place, call: str) -> None:
    if call.startswith("trace"):
        (place.folder / "p.nc").write_bytes(b"G0 X0 Y0\nG0 Z5\n" + b"G1 X1 F100\nX2\n" * 2000)
    came = place.shell(f"$G {call}")
    assert came.returncode == 2
    assert "No space left on device" in one_line(came.stderr)
    assert place.names() == set()


def test_standard_output_by_its_name(place: Place) -> None:
    """The shell goes on writing to the same file: it may not be replaced by another one."""
    for name in ("-", "/dev/stdout", "/dev/fd/1", "/proc/self/fd/1"):
        came = place.shell(f"(echo before; $G filter p.nc $S -o {name}; echo after) > all")
        assert came.returncode == 0
        assert place.read("all") == b"before\n" + MENDED + b"after\n", name
    came = place.shell("$G filter p.nc $S -o x --diff - --log /dev/stderr")
    assert came.stdout.startswith(b"--- ") and b'"record": "summary"' in came.stderr
    assert place.names() == {"all", "x"}


def test_a_named_pipe(place: Place) -> None:
    """Read and written as what it is; where its reader goes away nothing of the rest is left behind."""
    os.mkfifo(place.folder / "in")
    os.mkfifo(place.folder / "out")
    came = place.shell("cat p.nc > in & cat out > got & $G filter in $S -o out; s=$?; wait; exit $s")
    assert came.returncode == 0 and place.read("got") == MENDED
    (place.folder / "p.nc").write_bytes(PROGRAM * 2_000)  # more than a pipe holds
    came = place.shell("head -c 5 out > got & $G filter p.nc $S -o out --diff d --log l; s=$?; wait; exit $s")
    assert came.returncode == 128 + 13 and came.stderr == b""  # SIGPIPE
    assert place.names() == {"in", "out", "got"}


@pytest.mark.parametrize("call", [
    "filter p.nc $S -o .", "filter p.nc $S --log ..", "filter p.nc $S -o ''", "filter p.nc $S -o no/p.nc",
    "filter p.nc $S --diff p.nc/x", "filter p.nc $S -o /dev", "filter . $S", "filter '' $S", "filter none.nc $S",
    "filter p.nc --setup .", "filter p.nc --setup ''", "filter p.nc --setup none.toml", "filter p.nc --setup p.nc",
    "filter p.nc --setup /dev/zero", "verify p.nc none.nc $S", "verify . p.nc $S", "review none.nc $S",
    "review p.nc $S --page no/x.html", "room none.nc $S --at 1,1", "room p.nc $S --grid .", "room p.nc $S --page ''",
    "room p.nc $S --page no/x.html", "walk $S -o no/x.nc", "walk $S -o .", "walk --setup none.toml",
    "setup new no/x.toml --defaults", "setup new bench.toml --defaults", "setup draw bench.toml --page no/x.html"])
def test_what_cannot_be_read_or_written(place: Place, call: str) -> None:
    came = place.shell(f"$G {call}")
    assert came.returncode == 2
    assert one_line(came.stderr)
    assert place.is_untouched() and place.names() == set()


# Streams that are closed --------------------------------------------------------------------------------------------


def test_without_standard_error_nothing_goes_astray(place: Place) -> None:
    """A closed stream is no place for the next file: no word of the summary may come into the program."""
    came = place.shell("$G filter p.nc $S 2>&-")
    assert (came.returncode, came.stdout) == (0, MENDED)
    came = place.shell("$G filter p.nc $S -o x 2>&- >&- <&-")
    assert came.returncode == 0 and place.read("x") == MENDED
    (place.folder / "p.nc").write_bytes(REFUSED)
    came = place.shell("$G filter p.nc $S 2>&-")
    assert (came.returncode, came.stdout) == (4, b"")


def test_without_standard_input_or_output(place: Place) -> None:
    for call in ("filter $S <&-", "filter p.nc $S >&-", "trace p.nc >&-", "review p.nc $S >&-", "verify - p.nc $S <&-"):
        came = place.shell(f"$G {call}")
        assert came.returncode == 2, call
        assert "stream is closed" in one_line(came.stderr)


def test_an_input_that_ends_early(place: Place) -> None:
    """In the middle of a word it is not understood; between two blocks it is a shorter program, counted in blocks."""
    cut = place.call("filter", "--setup", "bench.toml", input=b"G0 X0 Y100\nG0 Z5\nG0 X200\nG1 Z-")
    assert (cut.returncode, cut.stdout) == (4, b"") and b"line 4" in cut.stderr
    whole = place.call("filter", "--setup", "bench.toml", input=b"G0 X0 Y100\nG0 Z5\n")
    assert whole.returncode == 0 and b"2 blocks" in whole.stderr


# Names --------------------------------------------------------------------------------------------------------------

NAMES = [b"two words.nc", b"-o", b"--setup", b"line\nfeed.nc", b"tab\tand\rreturn", b"\xff\xfe.nc", b"\x1b[31mred.nc",
         "\u202egnp.nc".encode(), b"%s%d{0}.nc", b"'quoted\".nc", b"* ?.nc", b"n" * 255, "\u20ac".encode() * 85, b"~",
         b"...", b"$(exit 3).nc", b"<b>.nc"]


@pytest.mark.parametrize("name", NAMES)
def test_hostile_names(place: Place, name: bytes) -> None:
    source = os.path.join(os.fsencode(place.folder), name)
    with open(source, "wb") as file:
        file.write(PROGRAM)
    folder = place.folder / "out"
    folder.mkdir()
    target = os.path.join(b"out", name)
    came = place.call("filter", "--setup", "bench.toml", "-o", target, "--diff", "d", "--log", "l", "--", name)
    assert came.returncode == 0, came.stderr
    assert os.listdir(os.fsencode(folder)) == [name]
    with open(os.path.join(os.fsencode(place.folder), target), "rb") as file:
        assert file.read() == MENDED
    assert came.stderr.decode().replace("\t", " ")[:-1].isprintable() and came.stderr.endswith(b"\n")
    subprocess.run(["patch", "--binary", "-s", "p.nc", "d"], cwd=place.folder, check=True)
    assert place.read("p.nc") == MENDED
    assert place.read("l").isascii() and place.read("l").count(b"\n") == len(place.read("l").splitlines())


@pytest.mark.parametrize("name", [b"line\nfeed.nc", b"\xff\xfe.nc", b"\x1b[31mred.nc", "\u202egnp.nc".encode()])
def test_hostile_names_in_what_is_said(place: Place, name: bytes) -> None:
    with open(os.path.join(os.fsencode(place.folder), name), "wb") as file:
        file.write(PROGRAM)
    for call in (("filter", name, "--setup", name), ("filter", b"no" + name, "--setup", "bench.toml"),
                 ("filter", "p.nc", "--setup", "bench.toml", "-o", b"no/" + name)):
        came = place.call(*call)
        assert came.returncode == 2
        one_line(came.stderr)


def test_a_name_that_is_far_too_long(place: Place) -> None:
    for call in (("filter", "n" * 256, "--setup", "bench.toml"), ("filter", "p.nc", "--setup", "d/" * 3000),
                 ("filter", "p.nc", "--setup", "bench.toml", "-o", "n" * 256)):
        came = place.call(*call)
        assert came.returncode == 2
        one_line(came.stderr)
    assert place.is_untouched() and place.names() == set()
