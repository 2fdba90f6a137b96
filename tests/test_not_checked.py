"""What no verdict speaks of is said by every command: the cutter alone where nothing above it is described, and in any
case the gantry's beam, the Z plate, hoses and cables."""

from __future__ import annotations

import html
import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.guarding import run, write_bench
from tests.room.calling import Said, call
from tests.watch.shop import Shop

NEVER = "the gantry's beam, the Z plate, hoses and cables"
SPINDLE = "[spindle]\nsections = [{ diameter = 30.0, height = 60.0 }]\n"
BENCH = """format = 1
units = "mm"
[program]
starts_in = ["G21", "G90", "G17", "F600"]
[table]
z = -19.0
[stock]
corner = [0.0, 0.0]
size = [200.0, 150.0]
top = 0.0
[machine]
start = [0.0, 0.0, 60.0]
[[tools]]
number = 1
diameter = 6.0
length = 40.0
[[obstacles]]
name = "clamp"
shape = "box"
center = [100.0, 100.0]
size = [20.0, 20.0]
top = 18.0
[parts]
files = ["parts.toml"]
"""
PARTS = """format = 1
units = "mm"
[[parts]]
name = "stop"
[[parts.solids]]
shape = "cylinder"
center = [0.0, 0.0]
diameter = 10.0
height = 25.0
"""
MENDED = "G0 X0 Y100\nG0 Z5\nG0 X200\nG1 Z-1\nG0 Z60\nM30\n"
REFUSED = "G0 X0 Y100\nG1 Z-1\nG1 X200\nG0 Z60\nM30\n"
SAFE = "G0 X0 Y20\nG1 Z-1\nG1 X150\nG0 Z60\nM30\n"
BENCHES = {"cutter only": BENCH, "the whole assembly": BENCH + SPINDLE}


def page(name: str) -> Callable[[Path, Said], str]:
    """The text of a page that a call writes."""
    return lambda folder, said: html.unescape((folder / name).read_text()).replace("’", "'")


def printed(folder: Path, said: Said) -> str:
    return said.stdout + said.stderr


def records(folder: Path, said: Said) -> str:
    texts = [json.loads(line) for line in (folder / "p.log").read_text().splitlines()]
    return "\n".join(f"{r['about']}: {r['text']}" for r in texts if r["record"] == "assumption")


CALLS = {
    "filter": (("filter", "mended.nc", "-o", "out.nc"), 0, printed),
    "filter, refused": (("filter", "refused.nc", "-o", "out.nc"), 3, printed),
    "filter, not understood from its first line on": (("filter", "unknown.nc", "-o", "out.nc"), 4, printed),
    "filter, nothing in it": (("filter", "empty.nc", "-o", "out.nc"), 0, printed),
    "review, the page of nothing": (("review", "empty.nc", "--page", "p.html"), 0, page("p.html")),
    "filter, its log": (("filter", "safe.nc", "-o", "out.nc", "--log", "p.log"), 0, records),
    "filter, the log of a refusal": (("filter", "refused.nc", "-o", "out.nc", "--log", "p.log"), 3, records),
    "review": (("review", "mended.nc"), 1, printed),
    "review, what if": (("review", "mended.nc", "--set", "clamp.top=2"), 1, printed),
    "review, its page": (("review", "mended.nc", "--page", "p.html"), 1, page("p.html")),
    "verify holds": (("verify", "safe.nc", "safe.nc"), 0, printed),
    "verify does not hold": (("verify", "mended.nc", "mended.nc"), 1, printed),
    "verify does not understand": (("verify", "unknown.nc", "safe.nc"), 4, printed),
    "room at a place": (("room", "safe.nc", "--at", "100,120"), 0, printed),
    "room for a part": (("room", "safe.nc", "--at", "100,120", "--part", "stop"), 0, printed),
    "room, its map": (("room", "safe.nc", "--grid", "g.csv"), 0, printed),
    "room, its page": (("room", "safe.nc", "--page", "p.html", "--step", "20"), 0, page("p.html")),
    "room, places": (("room", "safe.nc", "--place", "stop"), 0, printed),
    "walk": (("walk",), 0, printed),
    "walk, its program": (("walk", "-o", "walk.nc"), 0, page("walk.nc")),
    "setup check": (("setup", "check", "bench.toml"), 0, printed),
    "setup draw": (("setup", "draw", "bench.toml", "--page", "p.html"), 0, page("p.html")),
}


@pytest.mark.parametrize("bench", BENCHES)
@pytest.mark.parametrize("name", CALLS)
def test_every_command_says_what_it_did_not_check(tmp_path: Path, name: str, bench: str) -> None:
    write_bench(tmp_path, BENCHES[bench], {"parts.toml": PARTS})
    for program, text in (("mended", MENDED), ("refused", REFUSED), ("safe", SAFE), ("unknown", "G777\n"),
                          ("empty", "")):
        (tmp_path / f"{program}.nc").write_text(text)
    words, status, where = CALLS[name]
    setup = () if words[0] == "setup" else ("--setup", "bench.toml")
    said = call(tmp_path, *words, *setup)
    assert said.returncode == status, said
    text = where(tmp_path, said)
    assert NEVER in text or NEVER[0].upper() + NEVER[1:] in text, text
    assert ("cutter only" in text.lower()) == (bench == "cutter only"), text


def test_the_answer_about_a_place_and_what_if_say_it_in_their_own_line(tmp_path: Path) -> None:
    write_bench(tmp_path, BENCH, {"parts.toml": PARTS})
    (tmp_path / "p.nc").write_text(REFUSED)
    assert call(tmp_path, "room", "p.nc", "--at", "20,20", "--setup", "bench.toml").stdout.endswith("; cutter only\n")
    said = call(tmp_path, "review", "p.nc", "--setup", "bench.toml", "--set", "clamp.center=[100, 20]")
    assert "the program is safe as it is (cutter only), and refused with the setup as it is" in said.stderr


@pytest.mark.parametrize("bench", BENCHES)
def test_the_watch_says_it_of_every_program(tmp_path: Path, bench: str) -> None:
    shop = Shop(tmp_path)
    write_bench(shop.setup.parent, BENCHES[bench], {"parts.toml": PARTS})
    for name, text in (("mended.nc", MENDED), ("refused.nc", REFUSED), ("safe.nc", SAFE)):
        shop.drop(name, text.encode())
    os.symlink(shop.folder / "safe.nc", shop.folder / "link.nc")
    status, said = shop.once()
    assert status == 4 and NEVER in said
    lines = [line for line in said.splitlines() if ".nc: " in line]
    only = bench == "cutter only"
    assert len(lines) == 4 and all(("(cutter only)" in line) == only for line in lines), said
    told = [shop.held / f"{name}.nc.{ending}" for name in ("refused", "link") for ending in ("txt", "review.html")]
    told += [shop.ready / f"{name}.nc.review.html" for name in ("mended", "safe")]
    told += [shop.held / "link.nc.log.jsonl", shop.ready / "safe.nc.log.jsonl"]
    for path in told:
        text = html.unescape(path.read_text()).replace("’", "'")
        assert "Z plate, hoses and cables" in text and ("cutter only" in text.lower()) == only, path


def test_it_is_said_of_the_tools_that_a_program_uses(tmp_path: Path) -> None:
    """Tool 2 has no length: where the program uses it, and only there, the verdict is for the cutter alone."""
    bench = write_bench(tmp_path, BENCH + SPINDLE + "[[tools]]\nnumber = 2\ndiameter = 3.0\n", {"parts.toml": PARTS})
    for tool, only in ((1, False), (2, True)):
        about = [record["about"] for record in run(SAFE, bench, tool).records("assumption")]
        assert ("cutter only" in about) == only and "not checked" in about
    (tmp_path / "p.nc").write_text(SAFE)
    said = call(tmp_path, "verify", "p.nc", "p.nc", "--setup", "bench.toml", "--tool", "1")
    assert "Cutter only with tool 2:" in said.stderr
