"""The command at work on a folder in which people and exporters write, rename, change and delete."""

import contextlib
import os
import shutil
import signal
import subprocess
import sys
import time

import pytest

from tests.watch.shop import ROOT, Shop, guarded, into_clamp, mixed, repaired, running, safe


def outputs(shop: Shop) -> set[str]:
    return shop.names(shop.ready) | shop.names(shop.held)


def test_a_slow_writer_is_waited_for(shop: Shop) -> None:
    """One holds the file open between its pieces, longer than a file must be quiet; one opens it anew for each."""
    program = repaired(1, cuts=60)
    pieces = [program[k:k + 150] for k in range(0, len(program), 150)]
    assert len(pieces) > 3
    with running(shop, settle=1.0) as watch:
        with open(shop.folder / "kept open.nc", "wb", buffering=0) as kept:
            for piece in pieces:
                kept.write(piece)
                with open(shop.folder / "reopened.nc", "ab") as reopened:
                    reopened.write(piece)
                for _ in range(4):
                    time.sleep(0.05)
                    assert outputs(shop) == set()
            time.sleep(1.5)
            assert not {name for name in outputs(shop) if name.startswith("kept")}
        watch.until(lambda: {"kept open.nc", "reopened.nc"} <= shop.names(shop.ready))
        watch.until(lambda: watch.said.count("repaired") == 2)
    for name in ("kept open.nc", "reopened.nc"):
        shop.check(name, program, 0)


def test_a_temporary_name_and_a_rename(shop: Shop) -> None:
    with running(shop) as watch:
        temporary = shop.drop("leg.nc.tmp", repaired(1))
        time.sleep(0.6)
        assert outputs(shop) == set()
        temporary.rename(shop.folder / "leg.nc")
        watch.until(lambda: "leg.nc" in shop.names(shop.ready))
        shop.check("leg.nc", repaired(1), 0)
        new = shop.drop("leg.nc.tmp", repaired(2))
        new.replace(shop.folder / "leg.nc")
        watch.until(lambda: watch.said.count("leg.nc: repaired") == 2)
        shop.check("leg.nc", repaired(2), 0)
        (shop.folder / "leg.nc").rename(shop.folder / "arm.nc")
        watch.until(lambda: "arm.nc" in shop.names(shop.ready))
        watch.until_said("orphans (the original is gone): leg.nc")
    shop.check("arm.nc", repaired(2), 0)
    assert (shop.ready / "leg.nc").exists()


def test_a_changed_program_is_withdrawn_before_it_is_done_again(shop: Shop) -> None:
    with running(shop, settle=0.4) as watch:
        shop.drop("leg.nc", repaired(1))
        watch.until(lambda: "leg.nc" in shop.names(shop.ready))
        old = (shop.ready / "leg.nc").read_bytes()
        shop.drop("leg.nc", repaired(2))
        watch.until(lambda: outputs(shop) == set())
        watch.until(lambda: "leg.nc" in shop.names(shop.ready))
        assert (shop.ready / "leg.nc").read_bytes() not in (old, b"")
        shop.check("leg.nc", repaired(2), 0)
        shop.drop("leg.nc", into_clamp(3))  # from ready/ to held/ ...
        watch.until(lambda: "leg.nc.txt" in shop.names(shop.held))
        shop.check("leg.nc", into_clamp(3), 3)
        shop.drop("leg.nc", safe(4))  # ... and back
        watch.until(lambda: "leg.nc" in shop.names(shop.ready))
    shop.check("leg.nc", safe(4), 0)


def test_a_touch_changes_nothing(shop: Shop) -> None:
    with running(shop) as watch:
        path = shop.drop("leg.nc", repaired(1))
        watch.until(lambda: "leg.nc" in shop.names(shop.ready))
        before = (shop.ready / "leg.nc").stat()
        os.utime(path)
        path.chmod(0o600)
        shop.drop("rail.nc", safe())
        watch.until(lambda: "rail.nc" in shop.names(shop.ready))
        watch.until_said("2 ready")
        after = (shop.ready / "leg.nc").stat()
    assert (after.st_ino, after.st_mtime_ns) == (before.st_ino, before.st_mtime_ns)
    assert watch.said.count("leg.nc: ") == 1


def test_another_setup_does_everything_again(shop: Shop) -> None:
    with running(shop) as watch:
        shop.drop("leg.nc", repaired(1))
        shop.drop("stile.nc", into_clamp(2))
        gone = shop.drop("gone.nc", repaired(3))
        watch.until(lambda: {"leg.nc", "gone.nc", "stile.nc.txt"} <= outputs(shop))
        gone.unlink()
        watch.until_said("gone.nc: the original is gone")
        assert b"Z23" in (shop.ready / "leg.nc").read_bytes()
        shop.set_clamp(-5.0)  # the clamp is gone, as it were
        watch.until_said("the setup changed")
        watch.until(lambda: {"leg.nc", "stile.nc"} <= shop.names(shop.ready))
        assert (shop.ready / "leg.nc").read_bytes() == repaired(1)
        shop.check("stile.nc", into_clamp(2), 0)
        assert "gone.nc" not in outputs(shop)  # nobody can say that it is safe on this bench
        assert watch.status() is None
    shop.check_nothing_else({"leg.nc", "stile.nc"})


def test_a_parts_file_counts_as_setup(shop: Shop) -> None:
    text = shop.setup.read_text()
    clamp = text.index("[[obstacles]]")
    parts = shop.setup.parent / "parts.toml"
    solid = ('format = 1\nunits = "mm"\n[[parts]]\nname = "block"\n'
             'solids = [{{ shape = "box", center = [0.0, 0.0], size = [20.0, 20.0], height = {} }}]\n')
    parts.write_text(solid.format(37.0))
    shop.setup.write_text(text[:clamp] + '[[obstacles]]\nname = "clamp"\npart = "block"\nat = [50.0, 50.0]\n'
                          '[parts]\nfiles = ["parts.toml"]\n')
    shop.drop("leg.nc", repaired(1))
    with running(shop) as watch:
        watch.until(lambda: "leg.nc" in shop.names(shop.ready))
        assert b"Z23" in (shop.ready / "leg.nc").read_bytes()  # 37 above the table at -19
        parts.write_text(solid.format(39.0))
        watch.until(lambda: watch.said.count("leg.nc: repaired") == 2)
    assert b"Z25" in (shop.ready / "leg.nc").read_bytes()


def test_a_broken_setup_withdraws_nothing_and_programs_wait(shop: Shop) -> None:
    with running(shop) as watch:
        shop.drop("leg.nc", repaired(1))
        watch.until(lambda: "leg.nc" in shop.names(shop.ready))
        good = shop.setup.read_text()
        shop.setup.write_text(good.replace("top = 18.0", "top = eighteen"))
        watch.until_said("!! the setup is not valid")
        assert "line 18" in watch.said  # the place of the mistake
        shop.drop("arm.nc", repaired(2))
        time.sleep(1.0)
        assert {"leg.nc", "leg.nc.diff", "leg.nc.log.jsonl", "leg.nc.review.html"} == outputs(shop)
        shop.setup.write_text(good)
        watch.until_said("2 ready")
        assert watch.said.count("leg.nc: repaired") == 1  # it stood all the time
    shop.check("leg.nc", repaired(1), 0)
    shop.check("arm.nc", repaired(2), 0)


def test_half_a_setup_is_never_used(shop: Shop) -> None:
    """Half of a setup may parse: here it has lost its clamp, so that a rapid through it would seem safe."""
    other = ('\n[[obstacles]]\nname = "far block"\nshape = "box"\ncenter = [900.0, 900.0]\nsize = [9.0, 9.0]\n'
             "top = 5.0\n")
    whole = shop.setup.read_text()
    clamp = whole.index("[[obstacles]]")
    with running(shop, settle=0.2) as watch:
        with open(shop.setup, "w") as file:
            file.write(whole[:clamp] + other)
            file.flush()
            shop.drop("leg.nc", repaired(1))
            time.sleep(1.0)
            assert outputs(shop) == set()
            file.write(whole[clamp:])
        watch.until(lambda: "leg.nc" in shop.names(shop.ready))
        watch.until_said("1 ready")
        assert watch.said.count("leg.nc: ") == 1
    assert b"Z23" in (shop.ready / "leg.nc").read_bytes()


def test_ready_deleted_under_its_feet(shop: Shop) -> None:
    programs = mixed(8)
    for name, (data, _) in programs.items():
        shop.drop(name, data)
    with running(shop) as watch:
        for _ in range(3):
            watch.until(lambda: len(shop.names(shop.ready)) > 3)
            shutil.rmtree(shop.ready, ignore_errors=True)
        shop.drop("late.nc", repaired(99))
        watch.until(lambda: "late.nc" in shop.names(shop.ready) and "4 held" in watch.said.splitlines()[-1]
                    and "5 ready" in watch.said.splitlines()[-1])
        assert watch.status() is None
    for name, (data, status) in programs.items():
        shop.check(name, data, status)
    shop.check_nothing_else({*programs, "late.nc"})


def test_ready_replaced_by_a_link_is_not_followed(shop: Shop) -> None:
    elsewhere = shop.root / "elsewhere"
    elsewhere.mkdir()
    with running(shop) as watch:
        shutil.rmtree(shop.ready)
        shop.ready.symlink_to(elsewhere)
        shop.drop("leg.nc", repaired(1))
        watch.until_said("must be a plain folder")
        assert list(elsewhere.iterdir()) == []
        shop.ready.unlink()
        watch.until(lambda: "leg.nc" in shop.names(shop.ready))
    shop.check("leg.nc", repaired(1), 0)


def test_its_own_records_deleted_under_its_feet(shop: Shop) -> None:
    shop.drop("leg.nc", repaired(1))
    with running(shop) as watch:
        watch.until(lambda: "leg.nc" in shop.names(shop.ready))
        shutil.rmtree(shop.folder / ".gcode-guard")
        shop.drop("arm.nc", repaired(2))
        watch.until(lambda: {"leg.nc", "arm.nc"} <= shop.names(shop.ready))
        watch.until_said("records are gone")
        assert watch.status() is None
    for number, name in enumerate(("leg.nc", "arm.nc"), 1):
        shop.check(name, repaired(number), 0)


def test_the_folder_itself_goes(shop: Shop) -> None:
    with running(shop, command=True) as watch:
        shutil.rmtree(shop.folder)
        assert watch.status(20) == 2
        assert "the folder is" in watch.said


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_undoes_what_is_in_work(shop: Shop, number: int) -> None:
    programs = mixed(60)
    for name, (data, _) in programs.items():
        shop.drop(name, data)
    with running(shop, command=True) as watch:
        watch.until(lambda: len(shop.names(shop.ready)) > 4)
        assert watch.stop(number) == -number
    assert "Traceback" not in watch.said
    assert shop.names(shop.folder / ".gcode-guard" / "work") == set()
    done = [name for name in programs if name in shop.names(shop.ready)]
    assert 0 < len(done) < 30
    for name in done:
        shop.check(name, *programs[name])


def test_a_killed_watch_leaves_no_workers(shop: Shop) -> None:
    for name, (data, _) in mixed(40).items():
        shop.drop(name, data)
    with running(shop, command=True) as watch:
        watch.until(lambda: len(shop.names(shop.ready)) > 4)
        assert watch.stop(signal.SIGKILL) == -signal.SIGKILL


def test_two_watchers_cannot_have_one_folder(shop: Shop) -> None:
    with running(shop, command=True) as watch:
        second = subprocess.run([sys.executable, "-m", "gcode_guard", "watch", str(shop.folder), "--setup",
                                 str(shop.setup), "--once"], capture_output=True, text=True,
                                env={**os.environ, "PYTHONPATH": str(ROOT)})
        assert f"another watcher has this folder (process {watch.pid} on " in second.stderr
        assert second.returncode == 2
        watch.stop(signal.SIGKILL)  # a lock dies with its holder
    assert shop.once()[0] == 0


def test_polling_sees_all_that_events_would_tell(shop: Shop) -> None:
    with running(shop, "--poll") as watch:
        shop.drop("leg.nc", repaired(1))
        watch.until(lambda: "leg.nc" in shop.names(shop.ready))
        shop.set_clamp(25.0)
        watch.until_said("the setup changed")
        watch.until(lambda: watch.said.count("leg.nc: repaired") == 2)
    assert b"Z30" in (shop.ready / "leg.nc").read_bytes()
    assert (shop.ready / "leg.nc").read_bytes() == guarded(repaired(1), shop.setup)[1]


def test_on_a_terminal_it_has_a_live_line(shop: Shop) -> None:
    shop.drop("leg\x1b]0;x\x07.nc", repaired(1))
    ours, theirs = os.openpty()
    watch = subprocess.Popen(
        [sys.executable, "-m", "gcode_guard", "watch", str(shop.folder), "--setup", str(shop.setup), "--once",
         "--settle", "0.2"], stdin=theirs, stdout=theirs, stderr=theirs,
        env={**os.environ, "PYTHONPATH": str(ROOT), "TERM": "xterm"})
    os.close(theirs)
    said = b""
    with contextlib.suppress(OSError):  # a terminal that nobody has open any more cannot be read (Linux)
        while piece := os.read(ours, 4096):
            said += piece
    os.close(ours)
    assert watch.wait(20) == 0
    assert b"watching: " in said and b"1 ready" in said
    assert b"repaired, " in said
    assert b"\x1b]0;x" not in said  # a name cannot speak to the terminal
