"""What becomes of what lies in the folder: every kind of program, every kind of name, and what is no program."""

import json
import os
import stat
from pathlib import Path

import pytest

from gcode_guard.watch import FolderGone, as_suffix
from tests.watch.shop import Shop, into_clamp, mixed, repaired, safe, unknown_code


def test_each_kind_of_program_has_its_outcome(shop: Shop) -> None:
    shop.drop("leg.nc", repaired())
    shop.drop("rail.TAP", safe())
    status, said = shop.once()
    assert status == 0
    shop.check("leg.nc", repaired(), 0)
    shop.check("rail.TAP", safe(), 0)
    assert b"Z23" in (shop.ready / "leg.nc").read_bytes()  # top 18, tolerance 1, above 3, corner rounding 1
    assert (shop.ready / "rail.TAP").read_bytes() == safe()
    assert (shop.ready / "rail.TAP.diff").read_bytes() == b""
    assert "leg.nc: repaired, " in said and "rail.TAP: safe as it is" in said
    shop.check_nothing_else({"leg.nc", "rail.TAP"})


@pytest.mark.parametrize(("program", "status", "words"), [
    (into_clamp(), 3, ["line 5", "clamp"]),
    (unknown_code(), 4, ["line 4", "M977"]),
])
def test_a_refused_program_is_held_with_the_reason(shop: Shop, program: bytes, status: int, words: list[str]) -> None:
    shop.drop("rail.nc", safe())
    shop.drop("stile.ngc", program)
    worst, said = shop.once()
    assert worst == status
    shop.check("stile.ngc", program, status)
    text = (shop.held / "stile.ngc.txt").read_text()
    assert all(word in text for word in words)
    assert f"stile.ngc: held, exit {status}" in said
    shop.check("rail.nc", safe(), 0)


def test_the_highest_status_of_all_counts(shop: Shop) -> None:
    shop.drop("a.nc", into_clamp())
    shop.drop("b.nc", unknown_code())
    assert shop.once()[0] == 4
    (shop.folder / "b.nc").unlink()
    assert shop.once()[0] == 3  # what stood already counts too


NAMES = [b"-rf.nc", b"--help.nc", b"T\xc3\xbcr links \xe6\x9c\xa8.nc", b" two  spaces .nc", b"100% (v2) #1;'\"&$x.nc",
         b"new\nline.nc", b"esc\x1b[2J.nc", b"latin-\xfc.nc", b"*.nc", b"a.nc.nc", b"a.nc",
         b"x" * 251 + b".nc", ("ü" * 125 + ".nc").encode()]


def test_any_name_is_fine(shop: Shop) -> None:
    for number, name in enumerate(NAMES):
        shop.drop(name, repaired(number))
    status, said = shop.once()
    assert status == 0
    there = os.listdir(os.fsencode(shop.ready))
    for number, name in enumerate(NAMES):
        assert name in there
        assert b"Z23" in (shop.ready / os.fsdecode(name)).read_bytes()
        if len(name) < 200:
            shop.check(os.fsdecode(name), repaired(number), 0)
    assert len(there) == 4 * len(NAMES)  # each has its own three beside it, however long the name
    assert "\x1b" not in said and all("x" in line or ":" in line for line in said.splitlines())
    before = {name: os.stat(os.fsencode(shop.ready) + b"/" + name).st_mtime_ns for name in there}
    assert shop.once()[0] == 0
    assert before == {name: os.stat(os.fsencode(shop.ready) + b"/" + name).st_mtime_ns
                      for name in os.listdir(os.fsencode(shop.ready))}


def test_a_held_program_with_a_long_name_has_its_reasons(shop: Shop) -> None:
    name = "y" * 250 + ".nc"
    shop.drop(name, into_clamp())
    assert shop.once()[0] == 3
    texts = [path for path in shop.held.iterdir() if path.name.endswith(".nc.txt")]
    assert len(texts) == 1 and "line 5" in texts[0].read_text()


def test_the_same_name_in_two_cases_is_two_programs(shop: Shop) -> None:
    shop.drop("door.nc", repaired(1))
    shop.drop("Door.NC", safe(2))
    status, said = shop.once()
    assert status == 0
    shop.check("door.nc", repaired(1), 0)
    shop.check("Door.NC", safe(2), 0)
    assert "Door.NC differs in case alone" in said and "door.nc differs in case alone" in said


def test_originals_are_only_read(shop: Shop) -> None:
    programs = {name: data for name, (data, _) in mixed(8).items()}
    before = {}
    for name, data in programs.items():
        path = shop.drop(name, data)
        path.chmod(0o444)
        before[name] = path.stat()
    shop.once()
    for name, data in programs.items():
        path, was = shop.folder / name, before[name]
        now = path.stat()
        assert path.read_bytes() == data
        assert (now.st_ino, now.st_mode, now.st_mtime_ns, now.st_ctime_ns) \
            == (was.st_ino, was.st_mode, was.st_mtime_ns, was.st_ctime_ns)
        shop.check(name, data)
    umask = os.umask(0)
    os.umask(umask)
    for path in shop.ready.iterdir():
        assert stat.S_IMODE(path.stat().st_mode) == 0o666 & ~umask  # what comes out is an ordinary file


def test_a_link_is_not_followed(shop: Shop) -> None:
    outside = shop.root / "outside.nc"
    outside.write_bytes(repaired())
    (shop.folder / "link.nc").symlink_to(outside)
    (shop.folder / "nowhere.nc").symlink_to(shop.root / "missing.nc")
    shop.drop("rail.nc", safe())
    assert shop.once()[0] == 4
    for name in ("link.nc", "nowhere.nc"):
        assert "link" in (shop.held / f"{name}.txt").read_text()
        assert name not in shop.names(shop.ready)
        assert json.loads((shop.held / f"{name}.log.jsonl").read_text().splitlines()[-1])["verdict"] == "refused"
    assert outside.read_bytes() == repaired()
    shop.check("rail.nc", safe(), 0)


def test_a_link_in_ready_is_not_written_through(shop: Shop) -> None:
    outside = shop.root / "precious.txt"
    outside.write_text("precious")
    shop.drop("leg.nc", repaired())
    shop.ready.mkdir()
    for name in ("leg.nc", "leg.nc.diff", "leg.nc.review.html"):
        (shop.ready / name).symlink_to(outside)
    assert shop.once()[0] == 0
    assert outside.read_text() == "precious"
    assert not any(path.is_symlink() for path in shop.ready.iterdir())
    shop.check("leg.nc", repaired(), 0)


@pytest.mark.parametrize("name", ["ready", "held", ".gcode-guard"])
def test_a_place_that_leads_elsewhere_is_refused(shop: Shop, name: str) -> None:
    elsewhere = shop.root / "elsewhere"
    elsewhere.mkdir()
    (shop.folder / name).symlink_to(elsewhere)
    shop.drop("leg.nc", repaired())
    with pytest.raises(OSError, match="plain folder"):
        shop.once()
    assert list(elsewhere.iterdir()) == []


def test_what_is_named_like_a_program_and_is_none_is_left_alone(shop: Shop) -> None:
    (shop.folder / "old.nc").mkdir()
    (shop.folder / "old.nc" / "inner.nc").write_bytes(repaired())
    os.mkfifo(shop.folder / "pipe.nc")
    shop.drop(".hidden.nc", repaired())
    shop.drop("notes.txt", b"buy dowels")
    shop.drop("leg.nc", repaired())
    status, said = shop.once()
    assert status == 0
    shop.check_nothing_else({"leg.nc"})
    assert "old.nc: a folder" in said and "pipe.nc: not a file" in said


def test_more_suffixes_by_option(shop: Shop) -> None:
    shop.drop("leg.MIN", repaired())
    shop.drop("rail.txt", into_clamp())
    assert shop.once(suffixes=[as_suffix("min"), as_suffix(".TXT")])[0] == 3
    shop.check("leg.MIN", repaired(), 0)
    shop.check("rail.txt", into_clamp(), 3)


@pytest.mark.parametrize("text", ["diff", ".jsonl", "html", "", ".", "a/b"])
def test_a_suffix_of_our_own_outputs_is_a_wrong_call(text: str) -> None:
    with pytest.raises(ValueError, match="ending"):
        as_suffix(text)


def test_a_folder_that_is_not_there(shop: Shop) -> None:
    shop.folder.rmdir()
    with pytest.raises(FolderGone):
        shop.once()


def test_an_empty_folder_is_done_at_once(shop: Shop) -> None:
    assert shop.once()[0] == 0
    assert shop.names(shop.ready) == shop.names(shop.held) == set()


def test_five_hundred_programs_at_once(shop: Shop) -> None:
    programs = mixed(500)
    for name, (data, _) in programs.items():
        shop.drop(name, data)
    assert shop.once()[0] == 4
    for name, (_, status) in programs.items():
        place = shop.held if status else shop.ready
        assert (f"{name}.txt" in shop.names(shop.held)) is bool(status)
        assert (name in shop.names(shop.ready)) is not bool(status)
        log = (place / f"{name}.log.jsonl").read_text().splitlines()
        assert json.loads(log[-1])["exit"] == status
    for number in range(0, 500, 25):
        shop.check(f"part {number}.nc", *programs[f"part {number}.nc"])
    shop.check_nothing_else(set(programs))
    assert Path(shop.folder / "part 499.nc").read_bytes() == programs["part 499.nc"][0]
