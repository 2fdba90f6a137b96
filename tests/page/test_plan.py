"""The plan is to scale: positions read back from the drawing are those of the bench, in millimetres."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from tests.page import pages
from tests.page.reading import by_class, document

BENCH = pages.HEAD + """
[[obstacles]]
name = "turned box"
shape = "box"
center = [60.0, 80.0]
size = [60.0, 20.0]
angle = 30.0
top = 18.0
[[obstacles]]
name = "pin"
shape = "cylinder"
center = [300.0, 100.0]
diameter = 12.0
top = 9.0
[[obstacles]]
name = "fence"
shape = "bar"
from = [0.0, -30.0]
to = [200.0, -30.0]
width = 20.0
top = 25.0
[[obstacles]]
name = "jig"
shape = "outline"
points = [[200.0, 200.0], [260.0, 200.0], [260.0, 240.0], [230.0, 220.0], [200.0, 240.0]]
top = 12.0
"""


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> ET.Element:
    path = pages.drawing(tmp_path_factory.mktemp("plan"), BENCH)
    return _plan(path.read_text(encoding="utf-8"))


def _plan(html: str) -> ET.Element:
    (svg,) = [element for element in document(html).iter("svg") if element.get("id") == "plan"]
    return svg


def _obstacle(plan: ET.Element, number: int) -> ET.Element:
    (group,) = [group for group in by_class(plan, "obstacle") if group.get("data-obstacle") == str(number)]
    return group


def _points(shape: ET.Element) -> list[tuple[float, float]]:
    pairs = [pair.split(",") for pair in (shape.get("points") or "").split()]
    return [(float(x), float(y)) for x, y in pairs]


def test_world_units_are_millimetres_with_y_upward(plan: ET.Element) -> None:
    (world,) = by_class(plan, "world")
    assert world.get("transform") == "scale(1 -1)"
    left, top, width, height = map(float, (plan.get("viewbox") or "").split())
    # Everything from the reach's lower left corner to its upper right one is within the picture, Y turned over.
    assert left <= -100 and left + width >= 500 and top <= -400 and top + height >= 100


def test_a_turned_box_is_where_the_bench_has_it(plan: ET.Element) -> None:
    (shape,) = _obstacle(plan, 0).iter("polygon")
    cos, sin = math.cos(math.radians(30)), math.sin(math.radians(30))
    corners = {(round(60 + x * cos - y * sin, 3), round(80 + x * sin + y * cos, 3))
               for x in (-30, 30) for y in (-10, 10)}
    assert {(round(x, 3), round(y, 3)) for x, y in _points(shape)} == corners


def test_a_cylinder_is_a_circle(plan: ET.Element) -> None:
    (shape,) = _obstacle(plan, 1).iter("circle")
    assert tuple(float(shape.get(name) or "nan") for name in ("cx", "cy", "r")) == (300.0, 100.0, 6.0)


def test_a_bar_has_round_ends(plan: ET.Element) -> None:
    (shape,) = _obstacle(plan, 2).iter("path")
    numbers = [float(n) for n in re.findall(r"-?\d+\.?\d*", shape.get("d") or "")]
    assert {tuple(numbers[0:2]), tuple(numbers[7:9]), tuple(numbers[9:11]), tuple(numbers[16:18])} == {
        (0.0, -20.0), (0.0, -40.0), (200.0, -40.0), (200.0, -20.0)}
    assert numbers[2:4] == [10.0, 10.0]


def test_an_outline_has_its_points(plan: ET.Element) -> None:
    (shape,) = _obstacle(plan, 3).iter("polygon")
    assert set(_points(shape)) == {(200, 200), (260, 200), (260, 240), (230, 220), (200, 240)}


def test_stock_and_reach_are_drawn(plan: ET.Element) -> None:
    for name, numbers in (("stock", (0, 0, 400, 300)), ("reach", (-100, -100, 600, 500))):
        (shape,) = by_class(plan, name)
        assert tuple(float(shape.get(k) or "nan") for k in ("x", "y", "width", "height")) == numbers


def test_every_obstacle_is_named_with_its_top(plan: ET.Element) -> None:
    words = [" ".join(span.text or "" for span in label) for label in by_class(plan, "name")]
    for name, top in (("turned box", 18), ("pin", 9), ("fence", 25), ("jig", 12)):
        assert f"{name} top Z {top}" in words


def test_names_do_not_cover_each_other(tmp_path: Path) -> None:
    crowd = "".join(f'[[obstacles]]\nname = "dowel number {k}"\nshape = "cylinder"\ncenter = [{100 + 14 * (k % 6)}.0,'
                    f' {100 + 14 * (k // 6)}.0]\ndiameter = 8.0\ntop = {k + 1}.0\n' for k in range(24))
    svg = _plan(pages.drawing(tmp_path, pages.HEAD + crowd).read_text(encoding="utf-8"))
    boxes = []
    size = float(svg.get("data-letter") or "nan")
    for label in by_class(svg, "name"):
        rows = [(float(r.get("x") or "nan"), float(r.get("y") or "nan"), len(r.text or "")) for r in label]
        # Half of a letter's height is its mean width, at the least (common practice, no source).
        boxes.append((min(x for x, _, _ in rows), min(y for _, y, _ in rows) - 0.7 * size,
                      max(x + 0.5 * size * n for x, _, n in rows), max(y for _, y, _ in rows) + 0.1 * size))
    assert len(boxes) == 25
    for k, one in enumerate(boxes):
        for other in boxes[k + 1 :]:
            assert one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]


def test_cuts_rapids_and_the_swept_corridor_are_where_the_program_runs(tmp_path: Path) -> None:
    made = pages.review(tmp_path, "G0 X20 Y150\nG0 Z5\nG1 Z-2 F1200\nG1 Y190\nG2 X40 Y210 I20 J0\nG1 X20 Y150\nG0 Z5\n"
                                  "G0 X200 Y150\nG1 Z-2\nG0 Z60\n")
    svg = _plan(made.html)
    (cuts,) = [path for path in by_class(svg, "cuts") if path.tag == "path"]
    points = [tuple(map(float, pair)) for pair in re.findall(r"(-?[\d.]+) (-?[\d.]+)", cuts.get("d") or "")]
    for x, y in ((20, 150), (20, 190), (40, 210)):
        assert min(math.dist((x, y), p) for p in points) < 0.05
    # The middle of the quarter circle about (40, 190).
    middle = (40 - 20 * math.sqrt(0.5), 190 + 20 * math.sqrt(0.5))
    assert min(math.dist(middle, p) for p in points) < 2.0
    corridor, *others = by_class(svg, "corridor")
    assert {other.get("d") for other in others} <= {corridor.get("d")}
    assert float(corridor.get("data-radius-mm") or "nan") == 3.0
    numbers = [float(n) for n in re.findall(r"-?\d+\.?\d*", corridor.get("d") or "")]
    assert {tuple(numbers[0:2]), tuple(numbers[7:9]), tuple(numbers[9:11]), tuple(numbers[16:18])} == {
        (20.0, 153.0), (20.0, 147.0), (200.0, 147.0), (200.0, 153.0)}


def test_the_collet_nut_sweeps_at_its_own_width(tmp_path: Path) -> None:
    wall = pages.CLAMP.replace("top = 25.0", "top = 58.0").replace("center = [100.0, 150.0]", "center = [100.0, 185.0]")
    # 20 mm beside the clamp's side at Z 5: the cutter passes, the nut (radius 20, from 45 up) comes within 3 + 1 + 1.
    made = pages.review(tmp_path, pages.CROSSING, pages.HEAD + wall)
    (corridor, *_) = by_class(_plan(made.html), "corridor")
    assert corridor.get("data-part") == "collet nut"
    assert float(corridor.get("data-radius-mm") or "nan") == 20.0


def test_a_way_round_and_the_mended_way_are_drawn(repaired: pages.Made) -> None:
    svg = _plan(repaired.html)
    ways = by_class(svg, "mended")
    assert any("20 150" in (way.get("d") or "") and "200 150" in (way.get("d") or "") for way in ways)


def test_an_obstacle_that_a_cut_meets_says_so(refused: pages.Made) -> None:
    svg = _plan(refused.html)
    assert by_class(svg, "met")
    assert any("a move meets it" in "".join(label.itertext()) for label in by_class(svg, "name"))
    (way,) = by_class(svg, "meeting")
    assert "20 150" in (way.get("d") or "")
