"""What the page says of a program: never more than was found, and never less than a person must know."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from tests.page import pages
from tests.page.reading import by_class, document

TALL = """
[[obstacles]]
name = "tall clamp"
shape = "box"
center = [110.0, 150.0]
size = [40.0, 60.0]
top = 130.0
"""


def _rows(article: ET.Element) -> dict[str, str]:
    return {"".join(row[0].itertext()): "".join(row[1].itertext()) for row in article.iter("div")
            if len(row) == 2 and row[0].tag == "dt"}


def _article(html: str, line: int) -> ET.Element:
    (article,) = [a for a in document(html).iter("article") if a.get("data-line") == str(line)]
    return article


def _obstacles(html: str) -> dict[str, str]:
    """The table of obstacles: what the page says of each."""
    (section,) = [s for s in document(html).iter("section") if s.get("aria-labelledby") == "obstacles-title"]
    rows = [["".join(cell.itertext()).strip() for cell in row] for row in section.iter("tr")]
    return {row[0]: row[-1] for row in rows[1:]}


def test_of_a_program_that_is_not_understood_nothing_good_is_said(tmp_path: Path) -> None:
    made = pages.review(tmp_path, "M777 P3\n" + pages.CROSSING.replace("G0 X200 Y150", "G0 X20 Y160"))
    assert made.exit == 4
    assert "nothing comes near" not in made.html
    assert _obstacles(made.html)["left clamp"] == "nothing found, as far as the program was read"


def test_an_obstacle_that_nothing_comes_near_is_told_from_one_that_something_does(tmp_path: Path) -> None:
    far = pages.CLAMP.replace("left clamp", "far clamp").replace("[100.0, 150.0]", "[350.0, 20.0]")
    said = _obstacles(pages.review(tmp_path, pages.CROSSING, pages.HEAD + pages.CLAMP + far).html)
    assert said == {"left clamp": "rapids were led clear of it", "far clamp": "nothing comes near"}


def test_a_bench_without_obstacles_is_no_proof_of_anything(tmp_path: Path) -> None:
    made = pages.review(tmp_path, pages.CROSSING, pages.HEAD)
    assert any("nothing stands on the table" in "".join(p.itertext()) for p in by_class(document(made.html), "warn"))


@pytest.mark.parametrize("which, words", [("repaired", "“left clamp”"), ("refused", "line 4")])
def test_the_verdict_names_what_is_wrong(which: str, words: str, request: pytest.FixtureRequest) -> None:
    (verdict,) = by_class(document(request.getfixturevalue(which).html), "verdict")
    assert words in "".join(verdict.itertext())


def test_a_rapid_out_of_an_unknown_height_is_told_without_a_depth(tmp_path: Path) -> None:
    made = pages.review(tmp_path, "G0 X20 Y150\nG0 Z5\nG1 Z-2 F1200\nG0 Z60\n",
                        pages.HEAD.replace("start = [0.0, 0.0, 100.0]\n", "") + pages.CLAMP)
    sentence = "".join(_article(made.html, 1)[1].itertext())
    assert "its height is not known" in sentence and "inf" not in sentence


def test_where_the_tool_is_led_round_the_page_says_what_is_left_beside(tmp_path: Path) -> None:
    low = pages.HEAD.replace("z = [-40.0, 120.0]", "z = [-40.0, 30.0]").replace("0.0, 100.0]", "0.0, 30.0]")
    made = pages.review(tmp_path, pages.CROSSING.replace("Z60", "Z30"), low + TALL)
    (round_it,) = [c for c in made.records("change") if c["kind"] == "detour"]
    article = _article(made.html, round_it["line"])
    rows = _rows(article)
    assert not any("above" in name for name in rows)
    # Beside the clamp the spindle, 35 mm wide on each side, keeps 1 (tolerance) + 3 (beside) + 1 (corner) away.
    assert 5.0 <= float(rows["left beside the obstacle as measured"].split()[0]) < 5.1
    assert by_class(article, "programmed-tool") and not by_class(article, "written-tool")


def test_a_retract_says_what_the_rapid_after_it_needs(repaired: pages.Made) -> None:
    """The retract of line 4 is raised for the rapid of line 5, which runs at the height that it was programmed to."""
    change = next(c for c in repaired.records("change") if c["line"] == 4)
    article = _article(repaired.html, 4)
    rows = _rows(article)
    assert change["programmed_z_mm"] == 5.0 and rows["programmed Z"] == "5 mm"
    assert rows["needed by the rapid of line 5"] == "30 mm"
    levels = ["".join(word.itertext()) for word in by_class(article, "value")]
    assert levels == ["programmed Z 5 mm", "needed Z 30 mm", "written Z 30 mm"]


def test_a_long_way_is_shown_round_its_tightest_place(tmp_path: Path) -> None:
    wide = pages.HEAD.replace("x = [-100.0, 500.0]", "x = [-100.0, 4000.0]")
    made = pages.review(tmp_path, "G0 X20 Y150\nG0 Z5\nG1 Z-2 F1200\nG0 Z5\nG0 X3900 Y150\nG1 Z-2\nG0 Z60\n",
                        wide + pages.CLAMP)
    article = _article(made.html, 4)
    (side,) = by_class(article, "side")
    (inner,) = [svg for svg in side.iter("svg") if svg is not side]
    left, _, width, height = map(float, (inner.get("viewbox") or "").split())
    assert height > 0.15 * width and width < 1500
    # The clamp stands from X70 to X130, which is 50 to 110 along the way from X20.
    assert left < 50 and left + width > 110
    words = "".join(side.itertext())
    assert "distance along the way: 3880 mm; shown are" in words and "X 20  Y 150" in words


def test_a_screw_on_a_large_bench_gets_a_ring(tmp_path: Path) -> None:
    screw = '[[obstacles]]\nname = "screw"\nshape = "cylinder"\ncenter = [300.0, 200.0]\ndiameter = 4.0\ntop = 3.0\n'
    wide = pages.HEAD.replace("x = [-100.0, 500.0]", "x = [-100.0, 900.0]")
    root = document(pages.review(tmp_path, pages.CROSSING, wide + pages.CLAMP + screw).html)
    (ring,) = by_class(root, "ring")
    assert (ring.get("cx"), ring.get("cy")) == ("300", "-200")
    assert any("ring is not to scale" in "".join(note.itertext()) for note in by_class(root, "note"))


def test_names_keep_off_the_ways(tmp_path: Path) -> None:
    """A row of low blocks with a rapid over all of them: no name lies on its line."""
    row = "".join(f'[[obstacles]]\nname = "block {k}"\nshape = "box"\ncenter = [{80 + 60 * k}.0, 150.0]\n'
                  "size = [20.0, 20.0]\ntop = 12.0\n" for k in range(5))
    made = pages.review(tmp_path, pages.CROSSING.replace("X200", "X390"), pages.HEAD + row)
    (plan,) = [svg for svg in document(made.html).iter("svg") if svg.get("id") == "plan"]
    size = float(plan.get("data-letter") or "nan")
    names = [label for label in by_class(plan, "name") if label.get("data-names")]
    assert len(names) == 5
    for label in names:
        tops = [-float(span.get("y") or "nan") for span in label]
        assert min(tops) - 0.1 * size > 150 or max(tops) + 0.7 * size < 150
