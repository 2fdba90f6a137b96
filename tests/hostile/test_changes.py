"""What changes while the command runs: the program, the setup, the clock."""

from __future__ import annotations

import hashlib
import json
import subprocess
import sys

import pytest

from .calling import MENDED, PROGRAM, SETUP, Place, environment, one_line
from .test_seeded import DRIVER

DURING = """
from gcode_guard.mend import Mender
finish = Mender.finish
def changed(*given):
    {what}
    return finish(*given)
Mender.finish = changed
"""


def changing(place: Place, what: str) -> subprocess.CompletedProcess[bytes]:
    """`filter` with something done in the middle of it."""
    script = DRIVER.format(seed=DURING.format(what=what))
    return subprocess.run([sys.executable, "-c", script], cwd=place.folder, capture_output=True, env=environment(),
                          timeout=120)


@pytest.mark.parametrize("what", ["open('p.nc', 'ab').write(b'G0 Z1')", "open('p.nc', 'r+b').write(b'G0 X1')",
                                  "open('p.nc', 'wb')"])
def test_a_program_that_changes_meanwhile_is_not_mended(place: Place, what: str) -> None:
    came = changing(place, what)
    assert came.returncode == 2 and "changed while it was read" in one_line(came.stderr)
    assert place.names() == set()


REPLACED = "open('new', 'w').write('G0 Z1'); import os; os.replace('new', 'p.nc')"


def test_an_export_that_comes_meanwhile_is_not_written_over(place: Place) -> None:
    """In place, with another file put where the program was: what has come is what stays."""
    script = DRIVER.format(seed=DURING.format(what=REPLACED)).replace('"-o", "x"', '"-o", "p.nc"')
    came = subprocess.run([sys.executable, "-c", script], cwd=place.folder, capture_output=True, env=environment(),
                          timeout=120)
    assert came.returncode == 2 and "changed while it was read" in one_line(came.stderr)
    assert place.read("p.nc") == b"G0 Z1" and place.names() == set()


def test_a_program_that_is_deleted_meanwhile_is_the_one_that_was_read(place: Place) -> None:
    came = changing(place, "import os; os.remove('p.nc')")
    assert came.returncode == 0 and place.read("x") == MENDED


HOOK = """
import sys, os, importlib
sys.argv = ["gcode-guard", *{words}]
owner = importlib.import_module({module!r})
*outer, name = {name!r}.split(".")
for part in outer:
    owner = getattr(owner, part)
done = getattr(owner, name)
def hooked(*given, **more):
    result = done(*given, **more) if {after} else None
    {what}
    return result if {after} else done(*given, **more)
setattr(owner, name, hooked)
from gcode_guard.__main__ import start
start()
"""
PARTS = """format = 1
units = "mm"
parts = [{ name = "toe", solids = [{ shape = "cylinder", center = [0, 0], diameter = 20, height = 30 }] }]
"""


def hooked(place: Place, call: str, hook: str, what: str) -> subprocess.CompletedProcess[bytes]:
    """The command with something done before (or, with a `+` in front, after) a function of its own is called."""
    module, name = hook.lstrip("+").split(":")
    script = HOOK.format(words=call.split(), module=module, name=name, what=what, after=hook.startswith("+"))
    return subprocess.run([sys.executable, "-c", script], cwd=place.folder, capture_output=True, env=environment(),
                          timeout=120)


BENCH, MAPPED = "--setup bench.toml", "--area 60,80,140,120 --step 20"
PROGRAM_READ = {
    "review, before the page": (f"review p.nc {BENCH} --page x --log l", "gcode_guard.picture:write_page"),
    "review, within the page": (f"review p.nc {BENCH} --page x --log l", "gcode_guard.picture:follow"),
    "review, before the log": (f"review p.nc {BENCH} --log l", "gcode_guard.deliver:Delivery.add"),
    "review, before it is guarded as it is": (f"review p.nc {BENCH} --log l --set clamp.top=4",
                                              "gcode_guard.picture:findings_of"),
    "room, within the reading": (f"room p.nc {BENCH} --grid x {MAPPED}", "gcode_guard.room.grid:Mapper._take"),
    "room, between map and page": (f"room p.nc {BENCH} --grid l --page x {MAPPED}", "gcode_guard.room.command:page_of"),
    "room, before the map is written": (f"room p.nc {BENCH} --grid l {MAPPED}", "gcode_guard.room.command:write_csv"),
    "room, while places are tried": ("room p.nc --setup parts-bench.toml --place toe --write",
                                     "gcode_guard.room.proposals:Chooser._cost"),
    "verify": (f"verify p.nc copy.nc {BENCH}", "gcode_guard.verify:_compare"),
    "trace": (f"trace p.nc {BENCH}", "gcode_guard.trace:trace"),
}


def shop_of(place: Place) -> dict[str, bytes]:
    """Puts all that the calls read into the folder; what is there then, but for the program."""
    (place.folder / "copy.nc").write_bytes(PROGRAM)
    (place.folder / "parts.toml").write_text(PARTS)
    (place.folder / "parts-bench.toml").write_text(SETUP + '[parts]\nfiles = ["parts.toml"]\n')
    return files_of(place)


def files_of(place: Place) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in place.folder.iterdir() if path.name != "p.nc"}


@pytest.mark.parametrize("what", ["open('p.nc', 'ab').write(b'G777 Q')", "open('p.nc', 'wb')", REPLACED])
@pytest.mark.parametrize("case", PROGRAM_READ)
def test_a_program_that_changes_meanwhile_ends_every_command(place: Place, case: str, what: str) -> None:
    before = shop_of(place)
    came = hooked(place, *PROGRAM_READ[case], what)
    assert came.returncode == 2 and came.stdout == b"", came.stderr
    assert "the program changed while it was read" in one_line(came.stderr)
    assert files_of(place) == before


@pytest.mark.parametrize("what", ["open('bench.toml', 'w').write('nonsense')", "import os; os.remove('bench.toml')"])
def test_a_setup_that_changes_meanwhile_is_the_one_that_was_read(place: Place, what: str) -> None:
    came = changing(place, what)
    assert came.returncode == 0 and place.read("x") == MENDED
    first = json.loads(place.read("l").splitlines()[0])
    assert first["setup_sha256"] == hashlib.sha256(SETUP.encode()).hexdigest()


SETUP_READ = {
    "review": (f"review p.nc {BENCH} --page x --log l", "gcode_guard.picture:write_page", 1),
    "room": (f"room p.nc {BENCH} --grid x {MAPPED}", "gcode_guard.room.command:write_csv", 0),
    "walk": (f"walk {BENCH} -o x", "gcode_guard.walk.program:walk", 0),
    "setup draw": ("setup draw bench.toml --page x", "gcode_guard.record.page:write_bench", 0),
    "verify": (f"verify p.nc copy.nc {BENCH}", "gcode_guard.verify:verify", 1),
}


@pytest.mark.parametrize("what", ["open('bench.toml', 'w').write('nonsense')", "os.remove('bench.toml')"])
@pytest.mark.parametrize("case", SETUP_READ)
def test_a_setup_that_changes_meanwhile_makes_no_difference(place: Place, case: str, what: str) -> None:
    """It is read once: all that is said and written is of the bench that was read."""
    shop_of(place)
    call, hook, status = SETUP_READ[case]
    quiet = hooked(place, call, hook, "pass")
    expected = {name: data for name, data in files_of(place).items() if name != "bench.toml"}
    came = hooked(place, call, hook, what)
    assert (came.returncode, came.stdout, came.stderr) == (quiet.returncode, quiet.stdout, quiet.stderr)
    assert came.returncode == status, came.stderr
    assert {name: data for name, data in files_of(place).items() if name != "bench.toml"} == expected


@pytest.mark.parametrize(("call", "hook"), [
    ("room p.nc --setup parts-bench.toml --place toe --write", "gcode_guard.room.command:candidates"),
    ("room p.nc --setup parts-bench.toml --place toe --write", "gcode_guard.room.command:text_with_obstacles"),
    ("room p.nc --setup parts-bench.toml --place toe --write", "+gcode_guard.room.command:text_with_obstacles"),
    ("review p.nc --setup parts-bench.toml --set clamp.top=4", "gcode_guard.whatif:with_changes")])
@pytest.mark.parametrize("name", ["parts-bench.toml", "parts.toml"])
def test_a_setup_that_is_needed_again_must_be_the_same(place: Place, call: str, hook: str, name: str) -> None:
    """Most of all where it is written: what somebody has put into it meanwhile stays."""
    before = shop_of(place)
    came = hooked(place, call, hook, f"open({name!r}, 'a').write('# mine')")
    assert came.returncode == 2
    assert "parts-bench.toml: changed while it was read; start again" in came.stderr.decode().splitlines()[-1]
    assert files_of(place) == before | {name: before[name] + b"# mine"}


def test_a_clock_that_is_put_back(place: Place) -> None:
    came = changing(place, "import time; time.time = lambda: -1e9; time.time_ns = lambda: -10**18")
    assert came.returncode == 0 and place.read("x") == MENDED and place.names() == {"x", "d", "l"}
