"""What a watch finds when it starts: its own work of last time, leftovers, and what others did meanwhile."""

import os
import shutil
import sqlite3

import pytest

from gcode_guard.guard import guard
from gcode_guard.watch import work
from tests.watch.shop import Shop, into_clamp, mixed, repaired, safe


def looks(shop: Shop) -> dict[str, tuple[int, int]]:
    """Every output with its inode and time: what was written anew has others."""
    return {path.name: (path.stat().st_ino, path.stat().st_mtime_ns)
            for place in (shop.ready, shop.held) for path in place.iterdir()}


def test_a_restart_redoes_nothing_that_stands(shop: Shop) -> None:
    programs = mixed(8)
    for name, (data, _) in programs.items():
        shop.drop(name, data)
    shop.once()
    before = looks(shop)
    assert len(before) == 4 * 4 + 4 * 3
    status, said = shop.once()
    assert (status, looks(shop)) == (4, before)
    assert "repaired" not in said and "held," not in said


def test_a_restart_does_what_was_changed_meanwhile(shop: Shop) -> None:
    for k in range(4):
        shop.drop(f"{k}.nc", repaired(k))
    shop.once()
    before = looks(shop)
    shop.drop("1.nc", safe(1))
    same_length = repaired(2).replace(b"chair leg 2", b"chair leg 7")
    times = (shop.folder / "2.nc").stat()
    shop.drop("2.nc", same_length)
    os.utime(shop.folder / "2.nc", ns=(times.st_atime_ns, times.st_mtime_ns))  # as a copying tool may
    (shop.folder / "3.nc").unlink()
    status, said = shop.once()
    assert status == 0
    after = looks(shop)
    assert after["0.nc"] == before["0.nc"] and after["3.nc"] == before["3.nc"]
    shop.check("1.nc", safe(1), 0)
    shop.check("2.nc", same_length, 0)
    assert "orphans (the original is gone): 3.nc" in said


def test_another_setup_meanwhile(shop: Shop) -> None:
    shop.drop("leg.nc", repaired(1))
    gone = shop.drop("gone.nc", repaired(2))
    shop.once()
    gone.unlink()
    shop.set_clamp(40.0)
    assert shop.once()[0] == 0
    assert b"Z45" in (shop.ready / "leg.nc").read_bytes()
    shop.check("leg.nc", repaired(1), 0)
    shop.check_nothing_else({"leg.nc"})


def test_an_output_that_is_missing_is_put_back(shop: Shop) -> None:
    shop.drop("leg.nc", repaired(1))
    shop.drop("stile.nc", into_clamp(2))
    shop.once()
    (shop.ready / "leg.nc.diff").unlink()
    (shop.held / "stile.nc.txt").unlink()
    shop.once()
    shop.check("leg.nc", repaired(1), 0)
    shop.check("stile.nc", into_clamp(2), 3)


def test_a_copy_of_ready_that_was_put_back_stands(shop: Shop) -> None:
    shop.drop("leg.nc", repaired(1))
    shop.once()
    shutil.copytree(shop.ready, shop.root / "copy")
    shutil.rmtree(shop.ready)
    shutil.copytree(shop.root / "copy", shop.ready)
    before = looks(shop)
    shop.once()
    assert looks(shop) == before


def test_what_others_put_into_ready_is_not_taken_for_guarded(shop: Shop) -> None:
    shop.drop("leg.nc", repaired(1))
    shop.once()
    (shop.ready / "leg.nc").write_bytes(b"G0 X0 Y50\nG0 X100\n")  # edited by hand, at the last moment
    (shop.ready / "unguarded.nc").write_bytes(repaired(2))
    (shop.ready / "list.txt").write_text("for Monday")
    _, said = shop.once()
    shop.check("leg.nc", repaired(1), 0)
    aside = shop.folder / ".gcode-guard" / "set-aside"
    assert (aside / "leg.nc").read_bytes() == b"G0 X0 Y50\nG0 X100\n"
    assert (aside / "unguarded.nc").read_bytes() == repaired(2)
    assert not (shop.ready / "unguarded.nc").exists()
    assert (shop.ready / "list.txt").read_text() == "for Monday"
    assert "!! unguarded.nc was not put there" in said


def test_a_damaged_ledger_is_begun_anew(shop: Shop) -> None:
    ledger = shop.folder / ".gcode-guard" / "ledger.sqlite"
    shop.drop("leg.nc", repaired(1))
    shop.once()
    ledger.write_bytes(b"not a data base at all" * 400)
    status, said = shop.once()
    assert status == 0 and "!! the ledger cannot be read" in said
    shop.check("leg.nc", repaired(1), 0)
    with sqlite3.connect(ledger) as base:
        base.execute("PRAGMA user_version = 99")  # of a version to come
    status, said = shop.once()
    assert status == 0 and "it has format 99" in said
    shop.check("leg.nc", repaired(1), 0)
    shop.check_nothing_else({"leg.nc"})


def test_leftovers_of_a_power_cut_are_cleared(shop: Shop) -> None:
    """The states between the steps of putting an outcome out: rows without files, files beside without a program."""
    for k in range(3):
        shop.drop(f"{k}.nc", repaired(k))
    shop.once()
    stage = shop.folder / ".gcode-guard" / "work" / "7"
    stage.mkdir()
    (stage / "program").write_bytes(b"G0 X")
    for path in shop.ready.glob("0.nc*"):
        path.unlink()
    (shop.ready / "1.nc").unlink()
    shop.once()
    for k in range(3):
        shop.check(f"{k}.nc", repaired(k), 0)
    shop.check_nothing_else({"0.nc", "1.nc", "2.nc"})


def test_a_worker_that_dies_costs_one_program(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    """As when the system ends the process that uses most memory."""
    def guard_or_die(source, setup):  # type: ignore[no-untyped-def]
        if source.name == "huge.nc":
            os.kill(os.getpid(), 9)
        return guard(source, setup)

    monkeypatch.setattr(work, "guard", guard_or_die)
    shop.drop("huge.nc", repaired(1))
    for k in range(6):
        shop.drop(f"{k}.nc", repaired(k))
    status, said = shop.once(method="fork")
    assert status == 4
    assert "killed by signal 9" in (shop.held / "huge.nc.txt").read_text()
    assert "tried once more" in said
    for k in range(6):
        shop.check(f"{k}.nc", repaired(k), 0)


def test_a_defect_of_our_own_costs_one_program(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    def guard_or_fail(source, setup):  # type: ignore[no-untyped-def]
        if source.name == "odd.nc":
            raise ZeroDivisionError("float division by zero")
        return guard(source, setup)

    monkeypatch.setattr(work, "guard", guard_or_fail)
    shop.drop("odd.nc", repaired(1))
    shop.drop("leg.nc", repaired(2))
    assert shop.once(method="fork")[0] == 4
    assert "defect of gcode-guard" in (shop.held / "odd.nc.txt").read_text()
    assert "odd.nc" not in shop.names(shop.ready)
    shop.check("leg.nc", repaired(2), 0)


def test_a_page_that_cannot_be_drawn_keeps_no_program_back(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    from gcode_guard import picture

    def fail(*args: object) -> None:
        raise ZeroDivisionError("no width")

    monkeypatch.setattr(picture, "write_page", fail)
    shop.drop("leg.nc", repaired(1))
    assert shop.once(method="fork")[0] == 0
    shop.check("leg.nc", repaired(1), 0)
    assert "could not be drawn" in (shop.ready / "leg.nc.review.html").read_text()
