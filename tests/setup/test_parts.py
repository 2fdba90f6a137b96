"""Parts libraries: compounds placed on the bench, and what may be wrong with them."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path

import pytest

from gcode_guard.setup import Setup, SetupError

HEAD = 'format = 1\nunits = "mm"\n'
TOOL = "[[tools]]\nnumber = 1\ndiameter = 6.0\n"
TABLE = "[table]\nz = -19.0\n"
FILES = '[parts]\nfiles = ["clamps.toml"]\n'
CLAMPS = """
format = 1
units = "mm"

[[parts]]
name = "step clamp"
solids = [
  { shape = "box", center = [30.0, 0.0], size = [100.0, 25.0], height = 30.0 },
  { shape = "cylinder", center = [20.0, 5.0], diameter = 12.0, height = 55.0 },
  { shape = "bar", from = [0.0, 0.0], to = [10.0, 0.0], width = 4.0, height = 8.0 },
  { shape = "outline", points = [[0.0, 0.0], [20.0, 0.0], [0.0, 10.0]], height = 9.0 },
]
"""


def placed(keys: str) -> str:
    return HEAD + TOOL + TABLE + FILES + '[[obstacles]]\nname = "back clamp"\npart = "step clamp"\n' + keys


def test_a_part_is_turned_about_its_own_origin_then_moved(bench: Callable[..., Setup]) -> None:
    # A quarter turn counter-clockwise takes (x, y) to (-y, x); then (250, 230) is added.
    box, pin, bar, outline = bench(placed("at = [250.0, 230.0]\nangle = 90.0\n"), clamps=CLAMPS).obstacles[0].solids
    # The box, 100 x 25 about (30, 0), comes to stand about (250, 260), 25 along X and 100 along Y.
    assert set(box.outline) == {(237.5, 210.0), (262.5, 210.0), (262.5, 310.0), (237.5, 310.0)}
    assert pin.outline == ((245.0, 250.0),) and pin.radius == 6.0
    assert set(bar.outline) == {(250.0, 230.0), (250.0, 240.0)} and bar.radius == 2.0
    assert set(outline.outline) == {(250.0, 230.0), (250.0, 250.0), (240.0, 230.0)}
    assert [solid.top for solid in (box, pin, bar, outline)] == [11.0, 36.0, -11.0, -10.0]  # heights less 19


def test_a_part_turned_by_thirty_degrees(bench: Callable[..., Setup]) -> None:
    # cos 30 = sqrt(3)/2, sin 30 = 1/2: (20, 5) goes to (20 cos - 5 sin, 20 sin + 5 cos).
    pin = bench(placed("at = [100.0, 200.0]\nangle = 30.0\n"), clamps=CLAMPS).obstacles[0].solids[1]
    root = 3**0.5
    assert pin.outline[0] == pytest.approx((100 + 10 * root - 2.5, 200 + 10 + 2.5 * root), abs=1e-9)


def test_a_box_of_a_part_keeps_its_own_angle_too(bench: Callable[..., Setup]) -> None:
    turned = CLAMPS.replace("size = [100.0, 25.0]", "size = [100.0, 25.0], angle = 60.0")
    box = bench(placed("at = [0.0, 0.0]\nangle = 30.0\n"), clamps=turned).obstacles[0].solids[0]
    # 60 and 30 make a quarter turn of the box about its centre, which itself went 30 degrees round the origin.
    x, y = 30 * 3**0.5 / 2, 15.0
    expected = sorted([(x - 12.5, y - 50), (x + 12.5, y - 50), (x + 12.5, y + 50), (x - 12.5, y + 50)])
    for corner, wanted in zip(sorted(box.outline), expected, strict=True):
        assert corner == pytest.approx(wanted, abs=1e-9)


def test_a_part_placed_without_an_angle_is_only_moved(bench: Callable[..., Setup]) -> None:
    pin = bench(placed("at = [1.0, 2.0]\n"), clamps=CLAMPS).obstacles[0].solids[1]
    assert pin.outline == ((21.0, 7.0),)


def test_a_library_has_its_own_units(bench: Callable[..., Setup]) -> None:
    inch = CLAMPS.replace('units = "mm"', 'units = "inch"')
    pin = bench(placed("at = [100.0, 0.0]\n"), clamps=inch).obstacles[0].solids[1]
    assert pin.outline == ((608.0, 127.0),)  # 100 + 20 x 25.4, 5 x 25.4
    assert (pin.radius, pin.top) == (152.4, 1378.0)  # 6 x 25.4, 55 x 25.4 - 19


def test_at_is_in_the_units_of_the_setup(bench: Callable[..., Setup]) -> None:
    text = placed("at = [10.0, 0.0]\n").replace('units = "mm"', 'units = "inch"').replace("-19.0", "-1.0")
    pin = bench(text, clamps=CLAMPS).obstacles[0].solids[1]
    assert pin.outline == ((274.0, 5.0),) and pin.top == pytest.approx(29.6)  # 254 + 20; 55 - 25.4


def test_tolerance_and_sacrificial_of_a_placed_part_hold_for_all_its_solids(bench: Callable[..., Setup]) -> None:
    clamp = bench(placed("at = [0, 0]\ntolerance = 0.2\nsacrificial = true\n"), clamps=CLAMPS).obstacles[0]
    assert clamp.sacrificial and {solid.tolerance for solid in clamp.solids} == {0.2}
    assert clamp.top == 36.0


def test_the_stock_thickness_tolerance_widens_the_solids_of_a_part(bench: Callable[..., Setup]) -> None:
    stock = "[stock]\ncorner = [0, 0]\nsize = [610, 203]\ntop = 0\nthickness = 19.0\nthickness_tolerance = 0.5\n"
    clamp = bench(placed("at = [0, 0]\n").replace(TABLE, stock), clamps=CLAMPS).obstacles[0]
    assert {solid.tolerance for solid in clamp.solids} == {1.5}
    assert clamp.top == 36.0


def test_a_library_is_found_relative_to_the_setup_and_counts_in_the_digest(
    bench: Callable[..., Setup], tmp_path: Path
) -> None:
    (tmp_path / "shared").mkdir()
    (tmp_path / "shared" / "more.toml").write_text(CLAMPS.replace("step clamp", "tall clamp"), encoding="utf-8")
    text = placed("at = [0, 0]\n").replace('"clamps.toml"', '"clamps.toml", "shared/more.toml"')
    setup = bench(text, clamps=CLAMPS)
    assert setup.files == (setup.path, tmp_path / "clamps.toml", tmp_path / "shared" / "more.toml")
    assert setup.sha256 == hashlib.sha256(b"".join(file.read_bytes() for file in setup.files)).hexdigest()


def refusal(bench: Callable[..., Setup], text: str, **parts: str) -> list[str]:
    with pytest.raises(SetupError) as refused:
        bench(text, **parts)
    return str(refused.value).splitlines()


def test_an_unknown_part_is_refused_with_the_known_ones(bench: Callable[..., Setup]) -> None:
    text = placed("at = [0, 0]\n").replace('part = "step clamp"', 'part = "stop clamp"')
    (line,) = refusal(bench, text, clamps=CLAMPS)
    assert line.endswith(
        'obstacles[0].part = "stop clamp": no such part; known parts: step clamp (obstacle "back clamp")'
    )


def test_a_part_without_a_library_says_where_to_list_it(bench: Callable[..., Setup]) -> None:
    (line,) = refusal(bench, placed("at = [0, 0]\n").replace(FILES, ""))
    assert 'obstacles[0].part = "step clamp": no such part' in line and "parts.files" in line


def test_a_part_needs_the_table(bench: Callable[..., Setup]) -> None:
    (line,) = refusal(bench, placed("at = [0, 0]\n").replace(TABLE, ""), clamps=CLAMPS)
    assert 'obstacles[0].part = "step clamp": has heights above the table' in line and "table.z" in line


def test_a_part_taller_than_the_gantry_is_refused(bench: Callable[..., Setup]) -> None:
    text = placed("at = [0, 0]\n") + "[machine]\ngantry_bottom = 55.5\n"
    (line,) = refusal(bench, text, clamps=CLAMPS)
    assert 'obstacles[0].part = "step clamp": may reach 56 above the table' in line


def test_a_part_named_twice_is_refused_with_both_places(bench: Callable[..., Setup], tmp_path: Path) -> None:
    text = placed("at = [0, 0]\n").replace('["clamps.toml"]', '["clamps.toml", "more.toml"]')
    (line,) = refusal(bench, text, clamps=CLAMPS, more=CLAMPS)
    assert line.startswith(f'{tmp_path / "more.toml"}: parts[0].name = "step clamp": ')
    assert f"parts[0] of {tmp_path / 'clamps.toml'} has this name already" in line


def test_a_file_listed_twice_is_refused(bench: Callable[..., Setup]) -> None:
    text = placed("at = [0, 0]\n").replace('["clamps.toml"]', '["clamps.toml", "clamps.toml"]')
    (line,) = refusal(bench, text, clamps=CLAMPS)
    assert line.endswith('parts.files[1] = "clamps.toml": is listed twice')


def test_a_missing_parts_file_names_the_key_and_the_file(bench: Callable[..., Setup], tmp_path: Path) -> None:
    (line,) = refusal(bench, placed("at = [0, 0]\n"))
    assert line.startswith(f'{tmp_path / "bench.toml"}: parts.files[0] = "clamps.toml": ')
    assert line.endswith(f"{tmp_path / 'clamps.toml'}: cannot be read: no such file or directory")


@pytest.mark.parametrize(
    ("replace", "by", "message"),
    [
        ("format = 1", "format = 3", "format = 3: must be 1"),
        ('units = "mm"\n', "", "units: missing"),
        ("[[parts]]", "[[part]]", "parts: missing"),
        ("size = [100.0, 25.0]", "size = [100.0, -25.0]", "parts[0].solids[0].size[1] = -25.0: must be at least 0.001"),
        ("diameter = 12.0, height = 55.0", "diameter = 12.0", "parts[0].solids[1].height: missing"),
        ("height = 55.0", "height = 0", "parts[0].solids[1].height = 0: must be greater than 0"),
        ("height = 55.0", "top = 55.0", "parts[0].solids[1].top = 55.0: unknown key here: a part's solids have a"),
        ("height = 8.0", "height = 8.0, tolerance = 1", "parts[0].solids[2].tolerance = 1: unknown key here: give"),
        ('"outline"', '"ball"', 'parts[0].solids[3].shape = "ball": must be one of box, cylinder, bar, outline'),
        (
            "[20.0, 0.0], [0.0, 10.0]",
            "[20.0, 0.0], [40.0, 0.0]",
            "parts[0].solids[3].points = [[0.0, 0.0], [20.0, 0.0]",
        ),
        ("to = [10.0, 0.0]", "to = [0.0, 0.0]", "parts[0].solids[2].to = [0.0, 0.0]: is the same point as `from`"),
        ("\n]\n", "\n]]\n", "line 12, column 2: "),
    ],
)
def test_what_is_wrong_in_a_library_names_the_library(
    bench: Callable[..., Setup], tmp_path: Path, replace: str, by: str, message: str
) -> None:
    assert replace in CLAMPS
    lines = refusal(bench, placed("at = [0, 0]\n"), clamps=CLAMPS.replace(replace, by, 1))
    assert any(line.startswith(f"{tmp_path / 'clamps.toml'}: {message}") for line in lines), lines


def test_a_part_that_is_not_placed_is_judged_too(bench: Callable[..., Setup]) -> None:
    crossed = CLAMPS + (
        '[[parts]]\nname = "odd"\nsolids = [{ shape = "outline", '
        "points = [[0, 0], [10, 10], [10, 0], [0, 8]], height = 5.0 }]\n"
    )
    (line,) = refusal(bench, placed("at = [0, 0]\n"), clamps=crossed)
    assert "parts[1].solids[0].points" in line and "must not cross" in line and '(part "odd")' in line
