"""Proposals pass `filter`, together with what stands there, and on small benches no better place is found by trying
every one."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
import tomlkit

from gcode_guard.room.candidates import Parted, candidates
from gcode_guard.setup import load_setup
from tests.guarding import Guarded, run, write_bench
from tests.referee.plain_bench import bench_of
from tests.room.calling import Said, call

WIDTH, DEPTH, STEP = 80.0, 60.0, 10.0
PARTS = """format = 1
units = "mm"
[[parts]]
name = "peg"
solids = [{ shape = "cylinder", center = [0.0, 0.0], diameter = 8.0, height = 22.0 }]
[[parts]]
name = "strap"
solids = [
    { shape = "box", center = [0.0, 0.0], size = [40.0, 12.0], height = 24.0 },
    { shape = "cylinder", center = [0.0, 0.0], diameter = 10.0, height = 32.0 },
]
"""
BENCH = f"""# The bench of the small vice.
format = 1
units = "mm"

[program]
starts_in = ["G21", "G90", "G17"]

[stock]
corner = [0.0, 0.0]
size = [{WIDTH}, {DEPTH}]          # a seat blank
top = 0.0
thickness = 15.0

[clearance]
above = 2.0
beside = 2.0
tolerance = 0.5

[machine]
start = [-60.0, -60.0, 60.0]
rapid_path = "straight"
rapid_rate = [6000.0, 6000.0, 3000.0]
acceleration = [500.0, 500.0, 300.0]
corner_rounding = 0.5

[[tools]]
number = 1
diameter = 6.0
length = 30.0

[spindle]
sections = [{{ diameter = 36.0, height = 100.0 }}]

[parts]
files = ["parts.toml"]
"""


def random_program(rng: np.random.Generator, crowded: bool) -> str:
    """Grooves in the stock, with traverses low across its edges; a crowded one leaves no edge without a traverse."""
    lines = ["G21 G90 G17", "S18000 M3", "G0 Z30"]
    if crowded:
        lines += ["G0 X-25 Y-15", f"G0 Z{rng.choice([6, 9])}", "G0 X105", "G0 Y75", "G0 X-25", "G0 Y-15", "G0 Z30"]
        lines += ["G0 X-5 Y-15", "G0 Z8", "G0 Y65", "G0 X85", "G0 Y-5", "G0 X-5", "G0 Z30"]
        lines += [f"G0 X{rng.integers(-10, 90)} Y-20", "G0 Z5", "G0 Y80", "G0 Z30"]
    for _ in range(rng.integers(1, 4)):
        (x0, x1), (y0, y1) = rng.integers(4, 77, 2), rng.integers(4, 57, 2)
        lines += [f"G0 X{x0} Y{y0}", f"G0 Z{rng.choice([2, 5, 25])}", f"G1 Z-{rng.integers(1, 8)} F600",
                  f"G1 X{x1} Y{y1}", "G0 Z30"]
    return "\n".join([*lines, "M5", "M30", ""])


def room(folder: Path, *words: str) -> Said:
    return call(folder, "room", "program.nc", "--setup", "bench.toml", *words)


def stand(folder: Path, program: str, entries: list[dict[str, Any]], bench: str = BENCH) -> Guarded:
    more = tomlkit.dumps({"obstacles": entries}) if entries else ""
    return run(program, write_bench(folder / "tried", bench + more, {"parts.toml": PARTS}))


def price(came: Guarded) -> float:
    """Nothing where no rapid is lifted; else the seconds that are added, a lift that saves time counting as none."""
    return max(0.0, float(came.records("summary")[0]["added_s"])) + 0.02 if came.diff else 0.0


def every_place(nose: float, side: float) -> list[tuple[float, float, float]]:
    """All places along the edges at the spacing, worked out afresh: (x, y, angle)."""
    places = []
    for length, across in ((DEPTH, "x"), (WIDTH, "y")):
        half = int((length - 2 * side) / 2 / STEP)
        for far in (length / 2 + k * STEP for k in range(-half, half + 1)):
            if across == "x":
                places += [(-nose, far, 0.0), (WIDTH + nose, far, 180.0)]
            else:
                places += [(far, -nose, 90.0), (far, DEPTH + nose, -90.0)]
    return places


@pytest.mark.parametrize(("part", "nose", "side"), [("peg", 4.0, 4.0), ("strap", 20.0, 6.0)])
def test_no_better_place_is_found_by_trying_all(tmp_path: Path, part: str, nose: float, side: float) -> None:
    lifted = 0
    for seed in range(3):
        program = random_program(np.random.default_rng(seed), crowded=seed % 3 != 2)
        write_bench(tmp_path, BENCH, {"parts.toml": PARTS})
        (tmp_path / "program.nc").write_text(program)
        base = stand(tmp_path, program, [])
        assert (base.exit, base.diff) == (0, b"")
        costs = []
        for x, y, angle in every_place(nose, side):
            came = stand(tmp_path, program, [{"name": "it", "part": part, "at": [x, y], "angle": angle}])
            if came.exit == 0:
                costs.append(price(came))
        said = room(tmp_path, "--place", part, "--step", str(STEP))
        if not costs:
            assert said.returncode == 3
            continue
        assert said.returncode == 0, said.stderr
        entries = tomllib.loads(said.stdout)["obstacles"]
        came = stand(tmp_path, program, entries)
        assert came.exit == 0
        assert price(came) <= min(costs) + 0.01
        lifted += min(costs) > 0.01
    assert lifted  # at least once every place costs a lift


def test_several_proposals_pass_together_and_stand_apart(tmp_path: Path) -> None:
    peg = '[[obstacles]]\nname = "post"\nshape = "cylinder"\ncenter = [40.0, -10.0]\ndiameter = 15.0\nheight = 30.0\n'
    bench = BENCH + peg
    for seed in range(3):
        program = random_program(np.random.default_rng(100 + seed), crowded=seed % 2 == 0)
        write_bench(tmp_path, bench, {"parts.toml": PARTS})
        (tmp_path / "program.nc").write_text(program)
        said = room(tmp_path, "--place", "peg", "--count", "3", "--step", "5")
        assert said.returncode == 0, said.stderr
        entries = tomllib.loads(said.stdout)["obstacles"]
        assert [entry["name"] for entry in entries] == ["peg 1", "peg 2", "peg 3"]
        assert stand(tmp_path, program, entries, bench).exit == 0
        table = tomllib.loads(bench) | {"obstacles": [*tomllib.loads(bench)["obstacles"], *entries]}
        solids = bench_of(table, {"parts.toml": PARTS}).obstacles
        for k, one in enumerate(solids):
            for other in solids[:k]:
                assert shapely.distance(one.core, other.core) > one.radius + other.radius
        for entry in entries:  # nobody has to reach over the post to the bolt: it stands in front of the front edge
            assert not (entry.get("angle") == 90.0 and abs(entry["at"][0] - 40.0) < 11.5)
        far = [np.array(entry["at"]) for entry in entries]
        assert min(np.hypot(*(a - b)) for k, a in enumerate(far) for b in far[:k]) > 25  # spread round the stock


def test_nothing_stands_where_a_hand_must_get_at_the_part(tmp_path: Path) -> None:
    """A post of radius 7.5 before the front edge: no peg stands where the strip of 60 mm behind it meets that."""
    post = ('[[obstacles]]\nname = "post"\nshape = "cylinder"\ncenter = [40.0, -38.0]\ndiameter = 15.0\n'
            "height = 30.0\n")
    setup = load_setup(write_bench(tmp_path, BENCH.replace("[80.0, 60.0]", "[200.0, 60.0]") + post,
                                   {"parts.toml": PARTS}))
    front = sorted(one.at[0] for one in candidates(Parted(setup, "peg"), "edge", 0.0, 4.0, None) if one.angle == 90.0)
    assert front and min(front) > 40 + 30 + 7.5
    assert min(front) < 40 + 30 + 7.5 + 4  # the first place beyond it is tried


def test_write_adds_to_the_setup_and_leaves_the_rest(tmp_path: Path) -> None:
    text = BENCH.replace("[parts]", '[[obstacles]]   # as it stood on Monday\nname = "post"\nshape = "cylinder"\n'
                                    "center = [40.0, -30.0]\ndiameter = 15.0\nheight = 30.0\n\n[parts]")
    path = write_bench(tmp_path, text, {"parts.toml": PARTS})
    path.write_bytes(text.replace("\n", "\r\n").encode())
    (tmp_path / "program.nc").write_text(random_program(np.random.default_rng(2), crowded=False))
    said = room(tmp_path, "--place", "strap", "--count", "2", "--over", "10", "--write")
    assert said.returncode == 0, said.stderr
    written = path.read_bytes()
    assert written.count(b"\n") == written.count(b"\r\n")
    lines = iter(written.decode().split("\r\n"))
    assert all(line in lines for line in text.split("\n"))  # every old line is there, in its order
    obstacles = tomllib.loads(written.decode())["obstacles"]
    assert [entry["name"] for entry in obstacles] == ["post", "strap 1", "strap 2"]
    assert obstacles[1:] == tomllib.loads(said.stdout)["obstacles"]
    assert run((tmp_path / "program.nc").read_text(), path).exit == 0


def test_each_proposal_says_what_is_left(tmp_path: Path) -> None:
    """One hole in the middle, at Z -3. From the long edges the strap would lie under the cutter. From the short ones it
    ends 11 mm from the hole, its top at Z 9: there the collet nut, of radius 18 and 30 above the tip, touches it from
    30 - 3 - 0.5 = 26.5 on. The bolt, 31 away, is beyond the nut."""
    program = "G21 G90\nG0 Z50\nG0 X20 Y30\nG1 Z-3 F500\nG0 Z50\nM30\n"
    write_bench(tmp_path, BENCH.replace(f"size = [{WIDTH}, {DEPTH}]", "size = [40.0, 60.0]"), {"parts.toml": PARTS})
    (tmp_path / "program.nc").write_text(program)
    said = room(tmp_path, "--place", "strap", "--step", "60", "--over", "19")
    assert said.returncode == 0, said.stderr
    assert "17.5 mm are left before a cut touches it" in said.stdout


ONE = '[[obstacles]]\nname = "post"\nshape = "cylinder"\ncenter = [-40.0, 90.0]\ndiameter = 9.0\nheight = 24.0 # mine\n'
LIST = ONE.splitlines()[1:]
TAIL = '# about the tool\n[[tools]]\nnumber = 2\ndiameter = 4.0\n'


@pytest.mark.parametrize("text", [
    BENCH, BENCH + ONE, (BENCH + ONE).rstrip(), BENCH + ONE + "\n# the end", BENCH + ONE + "\n" + TAIL,
    BENCH.replace("[parts]", ONE + "[parts]") + TAIL.rstrip(),
    BENCH.replace("[parts]", ONE + "[parts]") + ONE.replace("post", "other").rstrip(),
    "obstacles = []   # none yet\n" + BENCH,
    "obstacles = [   # as a list\n  { " + ", ".join(LIST).replace(" # mine", "") + " },  # mine\n]\n" + BENCH,
    BENCH.replace("\n", "\r\n") + ONE, "\ufeff" + BENCH + ONE.replace("[[obstacles]]", '  [[ "obstacles" ]]'),
    BENCH + ONE.replace("# mine", "\n# [[obstacles]] in a comment"),
    BENCH + ONE.replace('shape = "cylinder"\ncenter = [-40.0, 90.0]\ndiameter = 9.0',
                        'shape = "outline"\npoints = [\n  [-40.0, 90.0],\n  [-30.0, 90.0],\n[-30.0, 99.0] ]'),
])
def test_what_is_added_leaves_every_other_byte(tmp_path: Path, text: str) -> None:
    """However the file is written: with what was added cut out, it is what it was."""
    path = write_bench(tmp_path, "", {"parts.toml": PARTS})
    before = text.encode()
    path.write_bytes(before)
    (tmp_path / "program.nc").write_text(random_program(np.random.default_rng(2), crowded=False))
    said = room(tmp_path, "--place", "peg", "--count", "2", "--tool", "1", "--write")
    assert said.returncode == 0, said.stderr
    written = path.read_bytes()
    same = next((k for k, (a, b) in enumerate(zip(before, written, strict=False)) if a != b), len(before))
    behind = len(before) - same
    assert written[len(written) - behind :] == before[same:]
    was, found = (tomllib.loads(data.decode("utf-8-sig")) for data in (before, written))
    assert found.pop("obstacles") == [*was.pop("obstacles", []), *tomllib.loads(said.stdout)["obstacles"]]
    assert found == was
    comment = written.find(b"# about the tool")
    assert comment < 0 or written[comment:].startswith(b"# about the tool\n[[tools]]")


def test_anywhere_means_near_the_work_first(tmp_path: Path) -> None:
    """Nothing limits anything; the pegs, of radius 4, stand within 10 mm of the stock, not in the table's corners."""
    write_bench(tmp_path, BENCH, {"parts.toml": PARTS})
    (tmp_path / "program.nc").write_text("G21 G90\nG0 Z50\nG0 X40 Y30\nG1 Z-1 F100\nG0 Z50\nM30\n")
    said = room(tmp_path, "--place", "peg", "--count", "4", "--along", "anywhere", "--area", "-100,-100,180,160")
    assert said.returncode == 0, said.stderr
    stock = shapely.box(0, 0, WIDTH, DEPTH)
    places = [shapely.Point(entry["at"]) for entry in tomllib.loads(said.stdout)["obstacles"]]
    assert len(places) == 4 and all(4 <= shapely.distance(stock, place) < 14 for place in places)
    assert min(shapely.distance(one, other) for k, one in enumerate(places) for other in places[:k]) > 50


@pytest.mark.parametrize(("words", "complaint"), [
    (["--place", "pegg"], "no such part; known parts: peg, strap"),
    (["--place", "peg", "--along", "inside"], "write edge or anywhere"),
    (["--count", "2"], "go with --place"),
    (["--place", "strap", "--over", "20"], "would bring the bolt"),
    (["--part", "peg"], "need a place"),
    (["--at", "1,2", "--part", "peg", "--angle", "nan"], "--angle must be a number of degrees"),
    (["--at", "1,2", "--angle", "30"], "--angle turns what --size or --part puts"),
    (["--at", "1,2", "--size", "40"], "--size 40: write L,W without blanks"),
    (["--at", "1,2", "--step", "5"], "--step goes with"),
    (["--place", "peg", "--area", "0,0,5,5"], "--area goes with"),
    ([], "say what is asked"),
])
def test_wrong_calls(tmp_path: Path, words: list[str], complaint: str) -> None:
    write_bench(tmp_path, BENCH, {"parts.toml": PARTS})
    (tmp_path / "program.nc").write_text("G0 Z50\nM30\n")
    said = room(tmp_path, *words)
    assert said.returncode == 2 and complaint in said.stderr and said.stdout == ""
