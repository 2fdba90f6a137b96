"""The map in a real browser: it opens by itself, passes WCAG 2.2 AA, labels keep off each other, and what is printed is
at 1:1 on both papers."""

from __future__ import annotations

import re
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest

from tests.guarding import write_bench
from tests.page.test_browser import PAPER
from tests.room.calling import call
from tests.room.test_page import BENCH, PROGRAM

MM = 96 / 25.4  # CSS pixels (CSS Values 4, section 6.2)
CROWD = "".join(f'[[obstacles]]\nname = "pin {k}"\nshape = "cylinder"\ncenter = [{210 + 9 * k}.0, {40 + 4 * k}.0]\n'
                "diameter = 6.0\ntop = 9.0\n" for k in range(5))


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("room")
    write_bench(folder, BENCH + CROWD)
    (folder / "door.nc").write_text(PROGRAM)
    made = call(folder, "room", "door.nc", "--setup", "bench.toml", "--page", "room.html", "--step", "4")
    assert made.returncode == 0, made.stderr
    return folder / "room.html"


def test_it_opens_without_a_word_on_the_console_and_asks_for_nothing(page: Any, room: Path) -> None:
    page.goto(room.as_uri())
    assert page.troubles == []
    assert [url for url in page.requests if not url.startswith("data:")] == [room.as_uri()]
    policy = page.get_attribute("meta[http-equiv=Content-Security-Policy]", "content")
    assert "default-src 'none'" in policy and "unsafe" not in policy
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_violation_of_wcag_2_2_aa(page: Any, room: Path, scheme: str) -> None:
    engine = pytest.importorskip("axe_playwright_python.sync_playwright", reason="the accessibility engine is missing")
    page.emulate_media(color_scheme=scheme)
    page.goto(room.as_uri())
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    found = engine.Axe().run(page, options={"runOnly": {"type": "tag", "values": tags}})
    assert len(found.response["passes"]) > 15
    assert found.response["violations"] == [], found.generate_report()


def test_no_label_covers_another(page: Any, room: Path) -> None:
    """With the letters that the browser has: names, heights, and on paper the words of the marks."""
    page.goto(room.as_uri())
    boxes = "all => all.map(e => { const b = e.getBoundingClientRect(); return [b.x, b.y + 0.2 * b.height, b.right," \
            " b.bottom - 0.2 * b.height, e.textContent] })"
    for svg in range(2):
        hold_apart(page.locator(".drawing svg.room").nth(svg).locator(".name, .value").evaluate_all(boxes), 12)
    page.emulate_media(media="print")
    for number in range(page.locator("section.sheet").count()):
        sheet = page.locator("section.sheet").nth(number)
        which = "hard" if number < page.locator("section.sheet").count() / 2 else "easy"
        placed = page.evaluate("""([number, which]) => {
            const svg = document.querySelectorAll('section.sheet svg')[number], to = svg.getScreenCTM();
            return [...document.querySelectorAll('#' + which + '-words text')].map(e => {
                const x = parseFloat(e.getAttribute('x')), y = parseFloat(e.getAttribute('y'));
                const p = new DOMPoint(x, y).matrixTransform(to);
                return [p.x, p.y, e.getAttribute('text-anchor') || 'start', e.textContent] }) }""", [number, which])
        wide = 0.62 * 3.5 * MM
        drawn = [[x - wide * len(t) / 2 * (a == "middle"), y - 2.2 * MM, x + wide * len(t) / (1 + (a == "middle")),
                  y - 0.5 * MM, t] for x, y, a, t in placed]
        words = sheet.locator("svg text").evaluate_all(boxes)
        for one in words:
            hold_apart([one, *(other for other in drawn)], 2, all_of=False)


def hold_apart(labels: list[list[Any]], at_least: int, all_of: bool = True) -> None:
    assert len(labels) >= at_least
    pairs = combinations(labels, 2) if all_of else ((labels[0], other) for other in labels[1:])
    for one, other in pairs:
        apart = one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]
        assert apart, (one, other)


@pytest.mark.parametrize("paper", PAPER)
def test_sheets_are_printed_at_one_to_one(page: Any, room: Path, paper: str) -> None:
    """180 mm by 235 mm on the paper, the line of 100 mm as long as that, one sheet a page, none over its edge."""
    width, height = PAPER[paper]
    page.set_viewport_size({"width": width, "height": height})
    page.goto(room.as_uri())
    page.emulate_media(media="print")
    sheets = page.locator("section.sheet")
    for number in range(sheets.count()):
        box, whole = sheets.nth(number).locator("svg").bounding_box(), sheets.nth(number).bounding_box()
        assert box["width"] == pytest.approx(180 * MM, abs=0.1) and box["height"] == pytest.approx(235 * MM, abs=0.1)
        assert whole["height"] <= height and box["x"] >= 0 and box["x"] + box["width"] <= width
        ruler = sheets.nth(number).locator(".join").evaluate("""path => {
            const last = path.getAttribute('d').split('m0 1h')[1]; return parseFloat(last) * path.getScreenCTM().a }""")
        assert ruler == pytest.approx(100 * MM, abs=0.05)
    data = page.pdf(format=paper, prefer_css_page_size=True)
    pages = len(re.findall(rb"/Type\s*/Page\b", data))
    assert sheets.count() <= pages - 1 <= sheets.count() + 3
