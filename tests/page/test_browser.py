"""The page in a real browser: it opens by itself, is used by mouse and keyboard, prints, and passes WCAG 2.2 AA."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from tests.page import pages

# What is left of a sheet of paper within margins of 12 mm, in CSS pixels (96 to the inch).
PAPER = {"A4": (703, 1032), "Letter": (725, 965)}


def _chosen(page: Any) -> tuple[list[str], list[str], list[str]]:
    """Which item the list, the plan and the side views show as chosen."""
    row = page.eval_on_selector_all("#list [aria-current=true]", "all => all.map(e => e.dataset.item)")
    plan = page.eval_on_selector_all("#plan g.item.chosen", "all => all.map(e => e.dataset.item)")
    seen = page.eval_on_selector_all("article.detail", "all => all.filter(e => !e.hidden).map(e => e.id.slice(5))")
    return row, plan, seen


@pytest.mark.parametrize("which", ["repaired", "refused"])
def test_it_opens_without_a_word_on_the_console_and_asks_for_nothing(
        page: Any, which: str, request: pytest.FixtureRequest) -> None:
    made = request.getfixturevalue(which)
    page.goto(made.path.as_uri())
    assert page.troubles == []
    assert [url for url in page.requests if not url.startswith("data:")] == [made.path.as_uri()]


def test_the_policy_forbids_what_is_not_the_pages_own(page: Any, repaired: pages.Made) -> None:
    page.goto(repaired.path.as_uri())
    policy = page.get_attribute("meta[http-equiv=Content-Security-Policy]", "content")
    assert "default-src 'none'" in policy and "unsafe" not in policy
    page.evaluate("""() => {
        const script = document.createElement('script'); script.textContent = 'window.taken = true';
        const style = document.createElement('style'); style.textContent = 'body { display: none }';
        document.body.append(script, style);
    }""")
    assert page.evaluate("window.taken") is None
    assert page.is_visible("h1")
    assert len(page.troubles) == 2


def test_choosing_in_the_list_shows_it_in_the_plan_and_from_its_side(page: Any, repaired: pages.Made) -> None:
    page.goto(repaired.path.as_uri())
    assert _chosen(page) == (["1"], ["1"], ["1"])
    page.click("#row-2")
    assert _chosen(page) == (["2"], ["2"], ["2"])
    assert page.is_visible("#item-2 svg.side") and not page.is_visible("#item-1")


def test_choosing_in_the_plan_shows_it_in_the_list(page: Any, repaired: pages.Made) -> None:
    page.goto(repaired.path.as_uri())
    page.click("#plan a.mark[data-item='2'] .plate", force=True)
    assert _chosen(page) == (["2"], ["2"], ["2"])


def test_the_keyboard_alone_does_all(page: Any, repaired: pages.Made) -> None:
    page.goto(repaired.path.as_uri())
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    for _ in range(10):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == "row-1":
            break
    assert page.evaluate("document.activeElement.id") == "row-1"
    page.keyboard.press("ArrowDown")
    assert page.evaluate("document.activeElement.id") == "row-2"
    assert _chosen(page) == (["2"], ["2"], ["2"])
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "item-2"
    page.keyboard.press("Escape")
    assert page.evaluate("document.activeElement.id") == "row-2"
    page.keyboard.press("Home")
    assert _chosen(page)[0] == ["1"]
    page.focus("#plan a.mark[data-item='1']")
    page.keyboard.press("ArrowRight")
    assert page.evaluate("document.activeElement.dataset.item") == "2"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "item-2"
    page.keyboard.press("Escape")
    assert page.evaluate("document.activeElement.closest('#plan') !== null")


def test_coming_closer_shows_the_chosen_one_larger_and_back(page: Any, repaired: pages.Made) -> None:
    page.goto(repaired.path.as_uri())
    before = page.locator("#plan g.item.chosen .programmed").bounding_box()["width"]
    page.click("#nearer")
    assert page.locator("#plan g.item.chosen .programmed").bounding_box()["width"] > 1.3 * before
    page.click("#all")
    assert page.locator("#plan g.item.chosen .programmed").bounding_box()["width"] == pytest.approx(before, abs=1)


def test_without_script_everything_is_there(chromium: Any, repaired: pages.Made) -> None:
    tab = chromium.browser.new_context(java_script_enabled=False).new_page() if chromium.browser else None
    if tab is None:  # a context with a profile of its own has no browser to open another one from
        html = re.sub(r"<script>.*</script>", "", repaired.html, flags=re.S)
        tab = chromium.new_page()
        tab.set_content(html)
    shown = tab.eval_on_selector_all("article.detail", "all => all.every(e => e.getClientRects().length > 0)")
    assert shown is True
    tab.close()


@pytest.mark.parametrize("paper", PAPER)
@pytest.mark.parametrize("which", ["repaired", "refused"])
def test_it_fits_the_paper(page: Any, which: str, paper: str, request: pytest.FixtureRequest) -> None:
    width, height = PAPER[paper]
    page.set_viewport_size({"width": width, "height": height})
    page.goto(request.getfixturevalue(which).path.as_uri())
    page.emulate_media(media="print")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    articles = page.eval_on_selector_all("article.detail", "all => all.map(e => e.getBoundingClientRect().height)")
    assert articles and all(0 < tall <= height for tall in articles)
    assert page.locator("#plan").bounding_box()["height"] <= height
    for svg in page.locator("svg.side").all():
        box = svg.bounding_box()
        assert box["x"] >= 0 and box["x"] + box["width"] <= width
    assert not page.is_visible("#nearer") and page.is_visible("dl.sign")


def test_it_prints_as_a_document_of_some_pages(page: Any, repaired: pages.Made, tmp_path: Path) -> None:
    page.goto(repaired.path.as_uri())
    sheets = {}
    for paper in PAPER:
        data = page.pdf(format=paper, prefer_css_page_size=True)
        sheets[paper] = len(re.findall(rb"/Type\s*/Page\b", data))
    assert all(1 <= count <= 12 for count in sheets.values())


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("which", ["repaired", "refused", "drawing"])
def test_no_violation_of_wcag_2_2_aa(page: Any, which: str, scheme: str, request: pytest.FixtureRequest,
                                     tmp_path: Path) -> None:
    engine = pytest.importorskip("axe_playwright_python.sync_playwright", reason="the accessibility engine is missing")
    path = pages.drawing(tmp_path, pages.HEAD + pages.CLAMP) if which == "drawing" else \
        request.getfixturevalue(which).path
    page.emulate_media(color_scheme=scheme)
    page.goto(path.as_uri())
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    for state in ("as it opens", "another one chosen, and closer", "as it prints"):
        if state.startswith("another") and which != "drawing":
            page.locator("#list a").last.click()
            page.click("#nearer")
        elif state == "as it prints":
            page.emulate_media(media="print")
        found = engine.Axe().run(page, options={"runOnly": {"type": "tag", "values": tags}})
        assert len(found.response["passes"]) > 20
        assert found.response["violations"] == [], f"{state}: {found.generate_report()}"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_line_of_the_plan_stands_out_from_its_ground(page: Any, repaired: pages.Made, scheme: str) -> None:
    """WCAG 2.2, 1.4.11: 3 to 1 for what a person needs to see; the engine measures text alone."""
    page.emulate_media(color_scheme=scheme)
    page.goto(repaired.path.as_uri())
    colours = page.evaluate("""() => {
        const of = (selector, name) => getComputedStyle(document.querySelector(selector))[name];
        return {ground: of('#plan .field', 'fill'), lines: ['#plan .programmed', '#plan .mended', '#plan .tightest',
            '#plan .obstacle > polygon', '#plan .reach', '#plan .plate'].map(s => of(s, 'stroke'))};
    }""")
    for line in colours["lines"]:
        assert _contrast(line, colours["ground"]) >= 3.0


@pytest.mark.parametrize("which", ["repaired", "refused"])
def test_a_narrow_window_needs_no_scrolling_sideways(page: Any, which: str, request: pytest.FixtureRequest) -> None:
    """WCAG 2.2, 1.4.10 Reflow: 320 CSS pixels."""
    page.set_viewport_size({"width": 320, "height": 800})
    page.goto(request.getfixturevalue(which).path.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= 320


def _contrast(one: str, other: str) -> float:
    """Contrast of two colours, WCAG 2.2, "contrast ratio" and "relative luminance"."""
    shades = []
    for colour in (one, other):
        red, green, blue = (int(n) / 255 for n in re.findall(r"\d+", colour)[:3])
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in (red, green, blue)]
        shades.append(0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2])
    high, low = max(shades), min(shades)
    return (high + 0.05) / (low + 0.05)
