"""What goes wrong around the watch while it runs: nothing lost, nothing half, the right place, and one clear line."""

from __future__ import annotations

import errno
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable
from pathlib import Path

import pytest

from gcode_guard.guard import guard
from gcode_guard.setup import SetupError
from gcode_guard.watch import shelf, work
from tests.watch.shop import ROOT, Running, Shop, into_clamp, mixed, repaired, running, safe

SELDOM = {"settle": 0.05, "method": "fork"}  # workers that are forked see what a test has put into their code


def during_the_work(monkeypatch: pytest.MonkeyPatch, what: Callable[[], object], name: str = "leg.nc") -> None:
    """Does something, once, after a program was guarded and before its outcome is written."""
    done = Path(tempfile.mkdtemp()) / "done"

    def guarded(source, setup):  # type: ignore[no-untyped-def]
        outcome = guard(source, setup)
        if source.name == name and not done.exists():
            done.touch()
            what()
        return outcome

    monkeypatch.setattr(work, "guard", guarded)


# The program --------------------------------------------------------------------------------------------------------


def replaced(shop: Shop) -> None:
    new = shop.drop(".new", into_clamp(2))
    new.replace(shop.folder / "leg.nc")


def overwritten(shop: Shop) -> None:
    (shop.folder / "leg.nc").write_bytes(into_clamp(2))


def same_size_and_time(shop: Shop) -> None:
    """As a copying tool leaves it that keeps times: to be seen by nothing but the bytes and the time of change."""
    times = (shop.folder / "leg.nc").stat()
    data = repaired(1).replace(b"Z5\r", b"Z4\r")
    assert len(data) == times.st_size
    (shop.folder / "leg.nc").write_bytes(data)
    os.utime(shop.folder / "leg.nc", ns=(times.st_atime_ns, times.st_mtime_ns))


@pytest.mark.parametrize(("change", "now", "status"), [
    (replaced, into_clamp(2), 3), (overwritten, into_clamp(2), 3),
    (same_size_and_time, repaired(1).replace(b"Z5\r", b"Z4\r"), 0)])
def test_a_program_that_changes_while_it_is_guarded(shop: Shop, monkeypatch: pytest.MonkeyPatch,
                                                    change: Callable[[Shop], None], now: bytes, status: int) -> None:
    shop.drop("leg.nc", repaired(1))
    shop.drop("rail.nc", safe())
    during_the_work(monkeypatch, lambda: change(shop))
    assert shop.once(**SELDOM)[0] == status
    shop.check("leg.nc", now, status)
    shop.check("rail.nc", safe(), 0)
    shop.check_nothing_else({"leg.nc", "rail.nc"})


@pytest.mark.parametrize("name", ["nowhere.nc", "folder.nc", "link.nc", "pipe.nc"])
def test_a_program_that_goes_while_it_is_guarded(shop: Shop, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    """Deleted, or something else in its place: no outcome of what is not there any more."""
    path = shop.drop(name, repaired(1))
    outside = shop.root / "outside.nc"
    outside.write_bytes(repaired(1))

    def go() -> None:
        path.unlink()
        if name.startswith("folder"):
            path.mkdir()
        elif name.startswith("link"):
            path.symlink_to(outside)
        elif name.startswith("pipe"):
            os.mkfifo(path)
    during_the_work(monkeypatch, go, name)
    status, _ = shop.once(**SELDOM)
    assert shop.names(shop.ready) == set()
    if name.startswith("link"):
        assert status == 4 and "link" in (shop.held / f"{name}.txt").read_text()
    else:
        assert status == 0 and shop.names(shop.held) == set()
    assert outside.read_bytes() == repaired(1)
    shop.check_nothing_else({name})


@pytest.mark.parametrize("when", [4_000_000_000.0, -86_400.0, 0.0])
def test_times_in_the_future_and_the_past_make_no_difference(shop: Shop, when: float) -> None:
    """A clock that was put on or back, or the times that a drive made up: a program changes all the same."""
    path = shop.drop("leg.nc", repaired(1))
    os.utime(path, (when, when))
    os.utime(shop.setup, (when, when))
    assert shop.once()[0] == 0
    shop.check("leg.nc", repaired(1), 0)
    path.write_bytes(repaired(2))
    os.utime(path, (when, when))
    assert shop.once()[0] == 0
    shop.check("leg.nc", repaired(2), 0)
    shop.set_clamp(30.0)
    os.utime(shop.setup, (when, when))
    assert shop.once()[0] == 0
    assert b"Z35" in (shop.ready / "leg.nc").read_bytes()


NAMES = ["\u202egnp.nc", "\u2066hidden\u2069.nc", "a\u0300.nc", "á.nc", "..nc.nc", "-.nc", "--", "n" * 252 + ".nc",
         "\udcff\udcfe.nc", "line\u2028two.nc", "nul\x01.nc", "<b>.nc", "CON.nc"]


def test_marks_in_names_do_not_turn_what_is_said(shop: Shop) -> None:
    programs = [name for name in NAMES if name.endswith(".nc") and not name.startswith(".")]
    for number, name in enumerate(NAMES):
        shop.drop(os.fsencode(name), into_clamp(number))
    status, said = shop.once()
    assert status == 3
    assert said.isascii() or not any(mark in said for mark in "\u202e\u2066\u2069\u2028\x01\udcff")
    assert said.count(": held, exit 3") == len(programs)
    texts = [path for path in shop.held.iterdir() if path.name.endswith(".nc.txt")]
    assert len(texts) == len(programs)
    assert not any("\u202e" in path.read_text("utf-8", "surrogateescape") for path in texts)
    assert shop.names(shop.ready) == set()


# The setup ----------------------------------------------------------------------------------------------------------


def test_a_setup_that_changes_while_a_program_is_guarded(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    shop.drop("leg.nc", repaired(1))
    shop.drop("arm.nc", repaired(2))
    during_the_work(monkeypatch, lambda: shop.set_clamp(30.0))
    assert shop.once(**SELDOM)[0] == 0
    for number, name in enumerate(("leg.nc", "arm.nc"), 1):
        assert b"Z35" in (shop.ready / name).read_bytes()
        shop.check(name, repaired(number), 0)


def test_a_setup_that_breaks_while_a_program_is_guarded(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody can say then which bench it is: the outcome waits, and is put out once the setup is whole again."""
    shop.drop("leg.nc", repaired(1))
    whole = shop.setup.read_text()
    during_the_work(monkeypatch, lambda: shop.setup.write_text("nonsense"))
    status, said = shop.once(**SELDOM)
    assert status == 2 and "!! the setup is not valid" in said
    assert shop.names(shop.ready) == shop.names(shop.held) == set()
    with pytest.raises(SetupError):
        shop.once()
    shop.setup.write_text(whole)
    assert shop.once()[0] == 0
    shop.check("leg.nc", repaired(1), 0)


def test_a_setup_that_goes_and_comes_back(shop: Shop) -> None:
    """Deleted, a folder in its place, a pipe, not readable as text: what stands stays, programs wait."""
    whole = shop.setup.read_bytes()

    def gone() -> None:
        if shop.setup.is_dir():
            shop.setup.rmdir()
        else:
            shop.setup.unlink(missing_ok=True)
    with running(shop) as watch:
        shop.drop("leg.nc", repaired(1))
        watch.until(lambda: "leg.nc" in shop.names(shop.ready))
        stands = (shop.ready / "leg.nc").read_bytes()
        ways: list[Callable[[], object]] = [lambda: None, shop.setup.mkdir, lambda: os.mkfifo(shop.setup),
                                            lambda: shop.setup.write_bytes(b"\xff\xfe\0")]
        for number, instead in enumerate(ways):
            gone()
            instead()
            watch.until(lambda n=number: watch.said.count("!! the setup is not valid") == n + 1)
            shop.drop("arm.nc", repaired(10 + number))
            assert (shop.ready / "leg.nc").read_bytes() == stands
            gone()
            shop.setup.write_bytes(whole)
            watch.until(lambda n=number: watch.said.count("the setup is valid again") == n + 1)
            watch.until(lambda n=number: watch.said.count("arm.nc: repaired") == n + 1)
            shop.check("arm.nc", repaired(10 + number), 0)
        assert watch.said.count("leg.nc: repaired") == 1
    assert "Traceback" not in watch.said


def test_a_pipe_is_no_setup_to_watch_with(shop: Shop) -> None:
    shop.setup.unlink()
    os.mkfifo(shop.setup)
    with pytest.raises(SetupError, match="is not a file"):
        shop.once()


PARTS = """format = 1
units = "mm"
parts = [{ name = "toe", solids = [{ shape = "cylinder", center = [0, 0], diameter = 9, height = 2 }] }]
"""


def test_a_setup_that_comes_to_name_what_is_no_parts_library(shop: Shop) -> None:
    """A pipe, a device, a folder: the watch does not wait for it, what stands stays, and programs wait."""
    whole, parts = shop.setup.read_text(), shop.setup.with_name("parts.toml")
    ways: dict[str, Callable[[], object]] = {
        "a pipe, not a file": lambda: os.mkfifo(parts), "a device, not a file": lambda: parts.symlink_to("/dev/zero"),
        "a directory": parts.mkdir}
    with running(shop) as watch:
        for number, (said, make) in enumerate(ways.items(), 1):
            make()
            shop.setup.write_text(whole + '[parts]\nfiles = ["parts.toml"]\n')
            watch.until_said(f"parts.toml: cannot be read: is {said}")
            assert watch.said.count("!! the setup is not valid") == number
            name = f"leg{number}.nc"
            shop.drop(name, repaired(number))
            (parts.rmdir if said == "a directory" else parts.unlink)()
            parts.write_text(PARTS)
            watch.until(lambda n=number: watch.said.count("the setup is valid again") == n)
            watch.until_said(f"{name}: repaired")
            shop.check(name, repaired(number), 0)
            shop.setup.write_text(whole)
            watch.until(lambda n=name: watch.said.count(f"{n}: repaired") == 2)  # guarded anew, with another setup
            parts.unlink()
    assert "Traceback" not in watch.said


# The folder ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("place", ["ready", "held", ".gcode-guard/work"])
def test_a_file_in_the_place_of_a_folder(shop: Shop, place: str) -> None:
    with running(shop) as watch:
        shop.drop("leg.nc", repaired(1))
        watch.until(lambda: "leg.nc" in shop.names(shop.ready))
        shutil.rmtree(shop.folder / place)
        (shop.folder / place).write_text("mine")
        shop.drop("arm.nc", repaired(2))
        shop.drop("stile.nc", into_clamp(3))
        watch.until_said("!! ")
        assert watch.said.count("!! ") == 1 and "must be a plain folder" in watch.said
        assert (shop.folder / place).read_text() == "mine"
        (shop.folder / place).unlink()
        watch.until(lambda: {"leg.nc", "arm.nc"} <= shop.names(shop.ready) and "stile.nc.txt" in shop.names(shop.held))
        watch.until_said("2 ready, 1 held")
    for name, data, status in (("leg.nc", repaired(1), 0), ("arm.nc", repaired(2), 0), ("stile.nc", into_clamp(3), 3)):
        shop.check(name, data, status)


@pytest.mark.parametrize("number", [errno.EROFS, errno.EACCES, errno.ENOSPC, errno.EIO])
@pytest.mark.parametrize("step", [0, 3])
def test_outputs_that_cannot_be_put_in_their_place(shop: Shop, monkeypatch: pytest.MonkeyPatch, number: int,
                                                   step: int) -> None:
    """A drive that is read-only or full from one step to the next: at the first file, or at the program itself."""
    shop.drop("leg.nc", repaired(1))
    calls = 0

    def replace(source: Path, target: Path) -> None:
        nonlocal calls
        calls += 1
        if calls > step:
            raise OSError(number, os.strerror(number), str(source), None, str(target))
        os.rename(source, target)

    with monkeypatch.context() as patch:
        patch.setattr(shelf.os, "replace", replace)
        status, said = shop.once()
    assert status == 2 and f"!! leg.nc: {os.strerror(number)}" in said and "!! leg.nc: not done" in said
    assert said.count("!! leg.nc") == 2  # said once, however often it is tried
    assert shop.names(shop.ready) == shop.names(shop.held) == set()
    assert (shop.folder / "leg.nc").read_bytes() == repaired(1)
    assert shop.once()[0] == 0
    shop.check("leg.nc", repaired(1), 0)
    shop.check_nothing_else({"leg.nc"})


def test_no_room_to_hold_a_program_back(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither a temporary folder at all, nor room in it: the line says where the room is wanted."""
    shop.drop("leg.nc", repaired(1))
    with monkeypatch.context() as patch:
        patch.setattr(tempfile, "tempdir", None)
        patch.setattr(tempfile, "_candidate_tempdir_list", lambda: ["/nowhere"])
        status, said = shop.once(**SELDOM)
    assert status == 2 and "!! leg.nc: no usable temporary directory" in said
    assert shop.names(shop.ready) == shop.names(shop.held) == set()

    def full(source, setup):  # type: ignore[no-untyped-def]
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
    with monkeypatch.context() as patch:
        patch.setattr(work, "guard", full)
        status, said = shop.once(**SELDOM)
    assert status == 2
    assert f"!! leg.nc: cannot hold the program back in {tempfile.gettempdir()} (TMPDIR may name another place)" in said
    assert shop.once()[0] == 0
    shop.check("leg.nc", repaired(1), 0)


def test_a_failed_proof_is_held_and_both_files_are_kept(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    from gcode_guard import guard as guarding
    from gcode_guard.verify import Proof

    monkeypatch.setattr(guarding, "verify", lambda *given, **more: Proof(False, True, 5, 5, "a rapid is too low"))
    shop.drop("leg.nc", repaired(1))
    assert shop.once(**SELDOM)[0] == 3
    assert "please report it with both files" in (shop.held / "leg.nc.txt").read_text()
    assert shop.names(shop.ready) == set()
    kept = shop.folder / ".gcode-guard" / "defects"
    assert (kept / "leg.nc.program").read_bytes() == repaired(1)
    assert b"Z23" in (kept / "leg.nc.unproven").read_bytes()


# Signals and streams ------------------------------------------------------------------------------------------------


def test_a_signal_at_any_moment(shop: Shop) -> None:
    """Struck in the code of the watch itself, some lines later each time: all that is there then is whole."""
    programs = mixed(4)
    for name, (data, _) in programs.items():
        shop.drop(name, data)
    call = [sys.executable, "-m", "tests.watch.struck", str(shop.folder), str(shop.setup)]
    came = subprocess.run(call, cwd=ROOT, capture_output=True, text=True, timeout=300)
    assert came.returncode == 0, came.stdout + came.stderr
    ends = [line.split() for line in came.stdout.splitlines()]
    assert {int(end) for _, end in ends} == {-signal.SIGTERM, -signal.SIGINT, -signal.SIGHUP, 4}
    assert len(ends) > 15  # how many there are depends on how often it looks round
    for name, (data, status) in programs.items():
        shop.check(name, data, status)
    shop.check_nothing_else(set(programs))


@pytest.mark.parametrize("target", ["closed pipe", "/dev/full", "closed"])
def test_nobody_to_tell(shop: Shop, target: str) -> None:
    """A reader that goes away ends the watch in the usual way; a log on a full disk does not stop the work."""
    programs = mixed(4)
    for name, (data, _) in programs.items():
        shop.drop(name, data)
    call = f"{sys.executable} -m gcode_guard watch '{shop.folder}' --setup '{shop.setup}' --once --settle 0.05"
    ending = {"closed pipe": " | true; exit ${PIPESTATUS[0]}", "/dev/full": " > /dev/full", "closed": " >&-"}[target]
    came = subprocess.run(["bash", "-c", call + ending], cwd=ROOT, capture_output=True, text=True, timeout=120)
    assert "Traceback" not in came.stderr and len(came.stderr.splitlines()) <= 1
    if target == "closed pipe":
        assert came.returncode == 128 + signal.SIGPIPE
    else:
        assert came.returncode == 4 and came.stderr == ""
        for name, (data, status) in programs.items():
            shop.check(name, data, status)
    assert shop.once()[0] == 4
    for name, (data, status) in programs.items():
        shop.check(name, data, status)
    shop.check_nothing_else(set(programs))


def test_a_second_watcher_over_a_link_and_at_the_same_moment(shop: Shop) -> None:
    """However the folder is called, and however near together they start: one does the work, the other says so."""
    other = shop.root / "another name"
    other.symlink_to(shop.folder)
    programs = mixed(12)
    for name, (data, _) in programs.items():
        shop.drop(name, data)
    second = Shop(shop.root)
    second.folder = other
    watches = [Running(shop, "--once", settle=0.3, command=True), Running(second, "--once", settle=0.3, command=True)]
    ends = sorted((watch.status(60), "another watcher has this folder" in watch.said) for watch in watches)
    assert ends[0] == (2, True) or ends == [(4, False), (4, False)]  # the one after the other, on a slow machine
    assert ends[1] == (4, False)
    for name, (data, status) in programs.items():
        shop.check(name, data, status)
    shop.check_nothing_else(set(programs))


def test_many_hands_at_once(shop: Shop) -> None:
    """Somebody writes, another deletes, a third changes the bench, all the time; once they rest, all is right."""
    stop = threading.Event()

    def people() -> None:
        number = 0
        while not stop.is_set():
            number += 1
            name = f"part {number % 5}.nc"
            shop.drop(name, mixed(40)[f"part {number % 40}.nc"][0])
            if number % 7 == 0:
                (shop.folder / name).unlink()
            if number % 11 == 0:
                shop.set_clamp(18.0 + number % 3)
            stop.wait(0.02)

    with running(shop, settle=0.05) as watch:
        thread = threading.Thread(target=people)
        thread.start()
        stop.wait(2.0)
        stop.set()
        thread.join()
        shop.set_clamp(18.0)
        programs = mixed(5)
        for name, (data, _) in programs.items():
            shop.drop(name, data)

        def right() -> bool:
            try:
                for name, (data, status) in programs.items():
                    shop.check(name, data, status)
            except (AssertionError, OSError, ValueError, IndexError):
                return False
            return True
        watch.until(right)
        assert watch.status() is None
    assert "Traceback" not in watch.said
