"""The map is to scale and says what the grid says: outlines read back from the drawing bound exactly the cells in which
something so tall may stand; sheets at 1:1 cover the map and join at marks that both have."""

from __future__ import annotations

import csv
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
import shapely

from tests.guarding import write_bench
from tests.page.reading import by_class, document
from tests.room.calling import call

BENCH = """format = 1
units = "mm"
[program]
starts_in = ["G21", "G90", "G17"]
[stock]
corner = [0.0, 0.0]
size = [200.0, 120.0]
top = 0.0
thickness = 19.0
[machine]
start = [-80.0, -40.0, 60.0]
[spindle]
sections = [{ diameter = 34.0, height = 24.0 }, { diameter = 65.0, height = 150.0 }]
[[tools]]
number = 1
diameter = 6.0
length = 38.0
[[obstacles]]
name = "clamp <b>&amp;</b>"
shape = "box"
center = [-20.0, 60.0]
size = [50.0, 30.0]
top = 20.0
"""
PROGRAM = "G21 G90\nG0 Z40\nG0 X40 Y60\nG0 Z5\nG1 Z-6 F800\nX160\nG2 X160 Y40 I0 J-10\nG1 X40\nG0 Z25\nG0 X20 Y20\n" \
          "G0 Z3\nG1 Z-2\nG0 Z40\nM30\n"
AREA = "-60,-30,260,150"


def room(folder: Path, *words: str) -> None:
    write_bench(folder, BENCH)
    (folder / "door.nc").write_text(PROGRAM)
    assert call(folder, "room", "door.nc", "--setup", "bench.toml", *words).returncode == 0


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[ET.Element, list[dict[str, str]]]:
    folder = tmp_path_factory.mktemp("map")
    room(folder, "--area", AREA, "--step", "4", "--page", str(folder / "room.html"), "--grid", str(folder / "room.csv"))
    rows = list(csv.DictReader((folder / "room.csv").open()))
    return document((folder / "room.html").read_text(encoding="utf-8")), rows


def group(root: ET.Element, name: str) -> ET.Element:
    (found,) = [element for element in root.iter() if element.get("id") == name]
    return found


def area_of(data: str) -> shapely.Geometry:
    """What the outlines of a path enclose, by the even-odd rule (SVG 2, section 13.4.2)."""
    whole: shapely.Geometry = shapely.Polygon()
    for outline in data.split("M")[1:]:
        numbers = [float(text) for text in re.findall(r"-?\d+(?:\.\d+)?", outline)]
        ring = list(zip(numbers[::2], numbers[1::2], strict=True))
        whole = whole.symmetric_difference(shapely.Polygon(ring))
    return whole


@pytest.mark.parametrize("name", ["hard", "easy"])
def test_contours_bound_the_cells_of_the_grid(made: tuple[ET.Element, list[dict[str, str]]], name: str) -> None:
    root, rows = made
    contours = [shape for shape in by_class(group(root, f"{name}-map"), "contour") if shape.get("data-top-mm")]
    assert len(contours) >= 3
    middles = np.array([(float(row["x0_mm"]) + 2, float(row["y0_mm"]) + 2) for row in rows])
    tops = np.array([float(row[f"{name}_mm"]) for row in rows])
    for contour in contours:
        level = float(contour.get("data-top-mm") or "nan")
        inside = shapely.contains_xy(area_of(contour.get("d") or ""), middles[:, 0], middles[:, 1])
        sure = np.abs(tops - level) > 0.002  # the file rounds down
        assert (inside == (tops >= level))[sure].all()
        assert 0 < inside.sum() < len(rows)


def test_heights_stand_at_their_contours(made: tuple[ET.Element, list[dict[str, str]]]) -> None:
    root, _ = made
    levels = {f"{float(shape.get('data-top-mm') or 'nan'):g}": area_of(shape.get("d") or "")
              for shape in by_class(group(root, "hard-map"), "contour") if shape.get("data-top-mm")}
    labels = by_class(group(root, "hard-words"), "value")
    said = set()
    for label in labels:
        words = (label.text or "").replace("−", "-")
        place = shapely.Point(float(label.get("x") or 0), -(float(label.get("y") or 0) - 0.35 * 3.5))
        assert shapely.distance(levels[words].boundary, place) < 0.01
        said.add(words)
    assert said == set(levels)


def test_sheets_are_at_one_to_one_and_join(made: tuple[ET.Element, list[dict[str, str]]]) -> None:
    """A4 and Letter leave 180 mm by 235 mm inside margins of 12 mm; marks lie at the same places on both neighbours."""
    root, _ = made
    sheets = by_class(root, "sheet")
    assert len(sheets) == 2 * 2  # 320 mm by 180 mm, twice
    views = []
    for sheet in sheets[:2]:
        (svg,) = list(sheet.iter("svg"))
        views.append([float(value) for value in (svg.get("viewbox") or "").split()])
        assert views[-1][2:] == [180.0, 235.0]
    assert views[0][0] == -60.0 and views[1][0] == -60.0 + 180 - 10
    assert views[-1][0] + 180.0 >= 260.0
    crosses = [set(re.findall(r"M(-?[\d.]+) (-?[\d.]+)h7", by_class(sheet, "join")[0].get("d") or ""))
               for sheet in sheets[:2]]
    assert all(len(found) == 4 for found in crosses) and len(crosses[0] & crosses[1]) == 2
    style = next(element.text or "" for element in root.iter("style"))
    assert ".sheet svg { display: block; width: 180mm; height: 235mm; }" in style


def test_names_are_text_and_nothing_is_fetched(made: tuple[ET.Element, list[dict[str, str]]]) -> None:
    root, _ = made
    names = [element.text for element in by_class(root, "name")]
    assert names.count("clamp <b>&amp;</b>") == 4  # on both maps, and on the sheets of both
    assert not list(root.iter("img")) and not [element for element in root.iter() if element.get("src")]
    assert all((element.get("href") or "#").startswith(("#", "data:")) for element in root.iter())


def test_what_stands_there_is_compared_with_its_place(made: tuple[ET.Element, list[dict[str, str]]]) -> None:
    """The corner of the clamp at 5, 45 is 29.2 from the hole at 20, 20: beyond the collet nut, of radius 17, but not
    the body of the spindle, of 32.5, which is 62 above the tip. It meets the clamp from 62 - 2 - 1 on."""
    root, _ = made
    (table,) = list(root.iter("table"))
    cells = [cell.text for cell in table.iter("td")]
    assert cells[:2] == ["Z 20 mm", "Z 59 mm"]


SACRIFICIAL = """[[obstacles]]
name = "spoil strip"
shape = "box"
center = [300.0, 60.0]
size = [60.0, 20.0]
top = -8.0
sacrificial = true
"""


def test_cuts_do_not_limit_what_they_may_run_into(tmp_path: Path) -> None:
    """A groove through the strip at Z -6 and up at feed, then a hole at Z -4 and up by a rapid: only that counts, since
    it would come up out of what ends above -4 - 1. Were it not sacrificial, it would end at -6 - 1."""
    for sacrificial, top in (("true", "Z -5 mm"), ("false", "Z -7 mm")):
        bench = BENCH + SACRIFICIAL.replace("true", sacrificial)
        write_bench(tmp_path, bench)
        (tmp_path / "door.nc").write_text("G21 G90\nG0 Z40\nG0 X260 Y60\nG1 Z-6 F800\nX340\nZ40\nG0 X300 Y60\n"
                                          "G1 Z-4\nG0 Z40\nM30\n")
        assert call(tmp_path, "room", "door.nc", "--setup", "bench.toml", "--page", "room.html").returncode == 0
        (table,) = list(document((tmp_path / "room.html").read_text(encoding="utf-8")).iter("table"))
        rows = {row[0].text: [cell.text for cell in row] for row in table.iter("tr")}
        name = "spoil strip (sacrificial)" if sacrificial == "true" else "spoil strip"
        assert rows[name][1:3] == ["Z -8 mm", top]


def test_a_map_on_which_nothing_is_easy_says_why(tmp_path: Path) -> None:
    write_bench(tmp_path, BENCH.replace("start = [-80.0, -40.0, 60.0]", ""))
    (tmp_path / "door.nc").write_text("G21 G90\nG0 X10 Y10\nG0 Z40\nG1 X20 F100\nM30\n")
    assert call(tmp_path, "room", "door.nc", "--setup", "bench.toml", "--page", "room.html").returncode == 0
    assert "Give machine.start in the setup" in (tmp_path / "room.html").read_text(encoding="utf-8")
