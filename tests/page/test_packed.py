"""The page of more changes than are drawn: what its script unpacks and draws is what the guard said, item by item."""

from __future__ import annotations

import base64
import json
import random
import re
import tempfile
import time
import zlib
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from gcode_guard import picture
from gcode_guard.record.page import write_review
from gcode_guard.record.page_model import Item, ReviewPage
from gcode_guard.record.page_pack import Packed, Packer
from tests.page import pages

CLAMPS = pages.CLAMP + """
[[obstacles]]
name = "jig, with an <i>odd</i> name"
shape = "outline"
points = [[260.0, 100.0], [320.0, 100.0], [320.0, 140.0], [290.0, 120.0], [260.0, 140.0]]
top = 12.0
[[obstacles]]
name = "pin"
shape = "cylinder"
center = [300.0, 220.0]
diameter = 12.0
top = 9.0
[[obstacles]]
name = "slanting rail"
shape = "bar"
from = [40.0, 40.0]
to = [220.0, 80.0]
width = 14.0
top = 30.0
"""
TALL = """
[[obstacles]]
name = "tall clamp"
shape = "box"
center = [110.0, 150.0]
size = [40.0, 60.0]
top = 130.0
"""
INCHES = """
format = 1
units = "inch"
[program]
starts_in = ["G20", "G90", "G17"]
[machine]
start = [0.0, 0.0, 4.0]
rapid_rate = [200.0, 200.0, 80.0]
acceleration = [16.0, 16.0, 8.0]
[[tools]]
number = 1
diameter = 0.25
[[obstacles]]
name = "clamp"
shape = "box"
center = [4.0, 6.0]
size = [2.0, 1.0]
top = 1.015625
"""
ROUND = """G0 X20 Y120
G0 Z5
G1 Z-2 F1200
G0 Z5 (a <b>bold</b> comment; 00.50 -0 1.2.3)
N40 G0 X360 Y.5
G1 Z-2
G0 Z5
G0 X20.25 Y290
G1 Z-2
G0 Z5
G0 Y20.123
X220 Y90
G1 Z-2
G0 Z60
X300 Y220
G81 X300 Y235 Z-2 R3 F300
X280 Y235
G80
G0 Z60
M30
"""
LOW = pages.HEAD.replace("z = [-40.0, 120.0]", "z = [-40.0, 30.0]").replace("0.0, 100.0]", "0.0, 30.0]")
BENT = pages.HEAD.replace('rapid_path = "straight"\n', "")
NOWHERE = pages.HEAD.replace("start = [0.0, 0.0, 100.0]\n", "")
CASES = {
    "lifts": (ROUND, pages.HEAD + CLAMPS),
    "bent rapids": (ROUND, BENT + CLAMPS),
    "led round": (pages.CROSSING.replace("Z60", "Z30"), LOW + TALL),
    "from an unknown place": ("G0 X20 Y150\nG0 Z5\nG1 Z-2 F1200\nG0 Z60\n", NOWHERE + CLAMPS),
    "inches": ("G0 X1 Y6\nG0 Z0.2\nG1 Z-0.1 F50\nG0 Z0.2\nG0 X8 Y6\nG1 Z-0.1\nG0 Z3\n", INCHES),
    "refused": (pages.CUTTING.replace("G0 Z60", "G0 Z5\nG0 X20 Y150\nG1 Z-2\nG0 Z60"), pages.HEAD + CLAMPS),
    "not understood": ("M777 P3\n" + pages.CROSSING, pages.HEAD + CLAMPS),
    "out of reach": ("G0 X900 Y10\nG0 Z60\n", pages.HEAD + CLAMPS),
    "in the stock": ("G0 X20 Y20\nG0 Z5\nG1 Z-2 F1200\nG0 X40 Y20\nG0 Z60\n", pages.HEAD + CLAMPS),
    "cutter alone": (ROUND, re.sub(r"\[spindle\]\n.*\n", "", pages.HEAD) + CLAMPS),
}
FACTS = """root => [...root.querySelectorAll('dl.facts > div')].map(row => [...row.children]).map(([name, value]) => [
    name.textContent, value.textContent, value.dataset.log || '', Number(value.dataset.value || NaN) || 0])"""
SHAPES = """root => [...root.querySelectorAll('svg.side *')].filter(
    e => !e.closest('.words') && e.className.baseVal).map(e =>
    [e.tagName, e.className.baseVal,
     [...e.attributes].filter(a => a.name !== 'class').map(a => a.value).join(' ')])"""
WORDS = "root => [...root.querySelectorAll('svg.side text')].map(e => e.textContent)"
IN_PLAN = """root => [...root.querySelectorAll('path, rect')].filter(e => !e.closest('.mark')).map(e =>
    [e.tagName, e.className.baseVal,
     ['d', 'x', 'y', 'width', 'height', 'rx'].map(n => e.getAttribute(n) || '').join(' ')])"""


def _packed(folder: Path, monkeypatch: pytest.MonkeyPatch, *case: str) -> pages.Made:
    monkeypatch.setattr(picture, "MOST_WHOLE", 0)
    return pages.review(folder, *case)


def _opened(page: Any, made: pages.Made) -> None:
    page.goto(made.path.as_uri())
    page.wait_for_selector("#rows li")


def _choose(page: Any, number: int) -> None:
    page.click(f"#rows a[data-item='{number}']")
    page.wait_for_selector(f"#rows a[data-item='{number}'][aria-current]")


def _until(page: Any, question: str) -> None:
    """Waits until something holds; the policy of the page forbids the library's own way."""
    for _ in range(600):
        if page.evaluate(question):
            return
        page.wait_for_timeout(50)
    raise AssertionError(question)


def _same_shapes(drawn: list[list[str]], expected: list[list[str]]) -> None:
    """The same shapes in the same order, every number within 0.2 mm: circles are polygons of different corners."""
    assert [shape[:2] for shape in drawn] == [shape[:2] for shape in expected]
    for (*_, ours), (*kind, theirs) in zip(drawn, expected, strict=True):
        numbers = [[float(n) for n in re.findall(r"-?\d+(?:\.\d+)?", text)] for text in (ours, theirs)]
        if kind[1] == "floor":  # as many points as steps seen in the samples
            numbers = [[min(found), max(found)] for found in numbers]
        assert numbers[0] == pytest.approx(numbers[1], abs=0.2), kind


@pytest.mark.parametrize("case", CASES)
def test_every_item_is_drawn_as_on_a_page_of_few(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, page: Any,
                                                 case: str) -> None:
    few = pages.review(tmp_path / "few", *CASES[case])
    page.goto(few.path.as_uri())
    rows = page.locator("#list li").all_text_contents()
    articles = page.eval_on_selector_all("article.detail", "all => all.map(e => e.textContent)")
    kinds = page.eval_on_selector_all("article.detail",
                                      "all => all.map(e => [e.dataset.line, e.dataset.kind, e.className])")
    facts = page.eval_on_selector_all("article.detail", f"all => all.map({FACTS})")
    shapes = page.eval_on_selector_all("article.detail", f"all => all.map({SHAPES})")
    numbers = page.eval_on_selector_all("article.detail", "all => all.map(e => e.id.slice(5))")
    in_plan = {n: page.evaluate(f"n => {{ const g = document.querySelector(`#plan g.item[data-item='${{n}}']`);"
                                f" return g ? ({IN_PLAN})(g) : []; }}", n) for n in numbers}
    words = page.eval_on_selector_all("article.detail", f"all => all.map({WORDS})")
    _opened(page, _packed(tmp_path / "many", monkeypatch, *CASES[case]))
    assert page.locator("#rows li").all_text_contents() == rows and rows
    for place, number in enumerate(numbers):
        _choose(page, int(number))
        chosen = page.locator("#chosen")
        assert [chosen.get_attribute(name) for name in ("data-line", "data-kind", "class")] == kinds[place]
        assert _plain(chosen.evaluate("e => e.textContent")) == _plain(articles[place])
        assert chosen.evaluate(FACTS) == facts[place]
        _same_shapes(chosen.evaluate(SHAPES), shapes[place])
        assert sorted(chosen.evaluate(WORDS)) == sorted(words[place])
        if kinds[place][1] != "cut-contact":  # of these the few have every cut of the program marked
            picked = page.evaluate(f"({IN_PLAN})(document.querySelector('#plan g.picked'))")
            _same_shapes(picked, in_plan[number])
    assert page.troubles == []


def _plain(text: str) -> str:
    return re.sub(r"\s+", "", text)


def _rows_of_clips(count: int, comment: str = "") -> str:
    """Rapids over the clamp and back, on lines of their own, with a cut at each end."""
    lines = ["G0 X20 Y140", "G0 Z5", "G1 Z-2 F1200"]
    for k in range(count):
        lines += ["G0 Z5" + comment, f"G0 X{200 if k % 2 == 0 else 20} Y{140 + k % 20}.{k:03d}", "G1 Z-2"]
    return "\n".join([*lines, "G0 Z60", "M30", ""])


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> pages.Made:
    """A page of more changes than are drawn, and than a row of the list can hold."""
    return pages.review(tmp_path_factory.mktemp("many"), _rows_of_clips(170), pages.HEAD + pages.CLAMP)


def test_the_numbers_of_every_change_are_those_of_the_log(many: pages.Made, page: Any) -> None:
    changes = many.records("change")
    assert len(changes) > picture.MOST_WHOLE
    _opened(page, many)
    assert page.evaluate("document.getElementById('listed').textContent") == f"1 to 100 of {len(changes)}"
    shown = page.evaluate("""async count => { const shown = [], e = document.getElementById('chosen');
        for (let place = 0; place < count; place++) {
            const values = Object.fromEntries([...e.querySelectorAll('dd[data-log]')].map(d => [d.dataset.log,
                d.dataset.value === '' ? null : Number(d.dataset.value)]));
            const own = mark => [...e.querySelectorAll(`.hunk .own.${mark}`)].map(
                row => row.lastChild.textContent.slice(3, -1));
            shown.push({line: Number(e.dataset.line), kind: e.dataset.kind, before: own('out'), after: own('in'),
                        ...values});
            document.getElementById('next').click();
            const next = `#rows a[data-place='${Math.min(place + 1, count - 1)}'][aria-current]`;
            while (!document.querySelector(next)) { await new Promise(done => setTimeout(done)); }
        }
        return shown; }""", len(changes))
    keys = ("line", "kind", "before", "after", "programmed_z_mm", "needed_z_mm", "written_z_mm", "added_s")
    assert shown == [{key: change[key] for key in keys} for change in changes]


def test_it_opens_by_itself_and_keeps_the_policy(many: pages.Made, page: Any) -> None:
    _opened(page, many)
    assert page.troubles == []
    assert [url for url in page.requests if not url.startswith("data:")] == [many.path.as_uri()]
    policy = page.get_attribute("meta[http-equiv=Content-Security-Policy]", "content")
    assert "default-src 'none'" in policy and "unsafe" not in policy


def test_the_keyboard_alone_does_all(many: pages.Made, page: Any) -> None:
    count = len(many.records("change"))
    current = "document.activeElement.dataset.place"
    _opened(page, many)
    for _ in range(12):
        page.keyboard.press("Tab")
        if page.evaluate(current) == "0":
            break
    steps = [("ArrowDown", "1"), ("PageDown", "101"), ("ArrowUp", "100"), ("ArrowUp", "99"), ("End", str(count - 1)),
             ("ArrowDown", str(count - 1)), ("Home", "0")]
    for key, place in steps:
        page.keyboard.press(key)
        _until(page, f"{current} === '{place}'")
        assert page.get_attribute(f"#place-{place}", "aria-current") == "true"
        line = page.get_attribute("#chosen", "data-line")
        assert f"line {line} " in page.text_content(f"#place-{place}")
    page.keyboard.press("Enter")
    _until(page, "document.activeElement.id === 'chosen'")
    page.keyboard.press("Escape")
    assert page.evaluate(current) == "0"


def test_a_line_is_found_by_its_number(many: pages.Made, page: Any) -> None:
    lines = [change["line"] for change in many.records("change")]
    _opened(page, many)
    for asked, found, said in ((lines[250], lines[250], "201 to 300"), (lines[251] + 1, None, "nearest"),
                               (1, lines[0], "nearest"), (10**9, lines[-1], "nearest")):
        page.fill("#goto-line", str(asked))
        page.keyboard.press("Enter")
        _until(page, f"document.getElementById('listed').textContent.includes('{said}')")
        line = int(page.get_attribute("#chosen", "data-line"))
        assert line == found if found is not None else abs(line - asked) == 1
        assert page.evaluate("document.activeElement.getAttribute('aria-current')") == "true"
    page.fill("#goto-line", "twelve")
    page.keyboard.press("Enter")
    _until(page, "document.getElementById('listed').textContent.includes('number of a line')")


def test_buttons_turn_the_list_and_marks_in_the_plan_choose(many: pages.Made, page: Any) -> None:
    _opened(page, many)
    assert page.is_disabled("#earlier") and page.is_disabled("#previous")
    page.click("#later")
    page.wait_for_selector("#place-100[aria-current]")
    assert page.text_content("#listed").startswith("101 to 200")
    page.click("#earlier")
    page.wait_for_selector("#place-0[aria-current]")
    mark = page.locator("#plan a.mark:not(.quiet)").last
    number = mark.get_attribute("data-item")
    mark.locator(".plate").click(force=True)
    page.wait_for_selector(f"#rows a[data-item='{number}'][aria-current]")
    assert page.locator("#plan g.picked").count() == 1
    wide = page.locator("#plan g.picked .programmed").bounding_box()["width"]
    page.click("#nearer")
    assert page.locator("#plan g.picked .programmed").bounding_box()["width"] > 1.3 * wide


def test_without_script_and_on_paper_the_deepest_are_there_and_the_rest_is_counted(many: pages.Made, page: Any) -> None:
    count = len(many.records("change"))
    said = f"the {picture.DRAWN_CHANGES} changes with the greatest lifts, of {count} changes and findings"
    _opened(page, many)
    assert not page.is_visible("#list")
    page.emulate_media(media="print")
    assert page.is_visible("#list") and not page.is_visible("#rows") and not page.is_visible("#chosen")
    page.emulate_media(media="screen")
    page.set_content(re.sub(r"<script>.*?</script>", "", many.html, flags=re.S))
    assert said in page.inner_text("main")
    articles = "all => all.filter(e => e.getClientRects().length > 0).length"
    assert page.eval_on_selector_all("article[id^='item-']", articles) == picture.DRAWN_CHANGES
    assert not page.is_visible("#rows")


def test_a_browser_that_cannot_unpack_says_so_and_shows_the_drawn_ones(many: pages.Made, page: Any) -> None:
    page.add_init_script("delete window.DecompressionStream")
    page.goto(many.path.as_uri())
    page.wait_for_selector("#unpackable")
    assert page.is_visible("#unpackable") and page.is_visible("#list") and not page.is_visible("#rows")


@pytest.mark.parametrize("count, mark", [(170, ""), (320, "\u0002")])
def test_hostile_names_and_comments_stay_text(tmp_path: Path, page: Any, count: int, mark: str) -> None:
    """A control character is not understood: then there are as many findings."""
    setup = pages.HEAD + pages.CLAMP.replace("left clamp", "<img src=x onerror=alert(1)>\\u202e{{7*7}}")
    comment = f"(<script>document.title='taken'</script> {mark}\u202e 'quotes\" &amp; 1e5 </script><!-- )"
    made = pages.review(tmp_path, _rows_of_clips(count, " " + comment), setup)
    _opened(page, made)
    page.click("#next")
    page.wait_for_selector("#place-1[aria-current]")
    assert page.evaluate("document.images.length") == 0 and page.title() == "Review of part.nc"
    shown = "<script>document.title='taken'</script> " + mark.replace("\u0002", "\\x02")
    assert f"{shown}\\u202e 'quotes\" &amp; 1e5 </script><!--" in page.text_content("#chosen")
    if not mark:
        assert "<img src=x onerror=alert(1)>\\u202e{{7*7}}" in page.text_content("#rows")
    assert page.troubles == []


def test_the_ways_of_all_changes_do_not_hide_what_stands_there(many: pages.Made) -> None:
    """What comes later in the drawing lies above."""
    assert many.html.rindex('class="programmed brief"') < many.html.index('data-obstacle="0"')


def test_a_mark_holds_its_number(many: pages.Made, page: Any) -> None:
    _opened(page, many)
    inside = page.evaluate("""() => [...document.querySelectorAll('#plan a.mark:not(.quiet)')].map(mark => {
        const [plate, text] = ['.plate', 'text'].map(part => mark.querySelector(part).getBoundingClientRect());
        return plate.left <= text.left && text.right <= plate.right && plate.top <= text.top + 2;
    })""")
    assert len(inside) > 5 and all(inside)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_violation_of_wcag_2_2_aa(many: pages.Made, page: Any, scheme: str) -> None:
    engine = pytest.importorskip("axe_playwright_python.sync_playwright", reason="the accessibility engine is missing")
    page.emulate_media(color_scheme=scheme)
    _opened(page, many)
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    for state in ("as it opens", "further on, and closer", "as it prints"):
        if state == "further on, and closer":
            page.click("#later")
            page.wait_for_selector("#place-100[aria-current]")
            page.click("#nearer")
        elif state == "as it prints":
            page.emulate_media(media="print")
        found = engine.Axe().run(page, options={"runOnly": {"type": "tag", "values": tags}})
        assert len(found.response["passes"]) > 20
        assert found.response["violations"] == [], f"{state}: {found.generate_report()}"


def test_a_narrow_window_needs_no_scrolling_sideways(many: pages.Made, page: Any) -> None:
    page.set_viewport_size({"width": 320, "height": 800})
    _opened(page, many)
    assert page.evaluate("document.documentElement.scrollWidth") <= 320


def test_what_does_not_fit_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, page: Any) -> None:
    from gcode_guard.record import page as page_module
    from gcode_guard.record import page_pack

    monkeypatch.setattr(page_pack, "CHUNK", 50)
    made = pages.review(tmp_path / "all", _rows_of_clips(170), pages.HEAD + pages.CLAMP)
    assert "did not fit" not in made.html and "without the lines round" not in made.html
    blocks = re.findall(r'<script type="application/octet-stream" id="packed-\d+[^"]*">.*?</script>\n', made.html)
    sizes = [len(block) for block in blocks]
    assert len(sizes) > 8
    least = made.path.stat().st_size - sum(sizes) + page_module.SAID
    for room, words in ((sum(sizes) - sizes[-1] // 2, "are shown without the lines round them"),
                        (sum(sizes) // 2, "did not fit")):
        monkeypatch.setattr(page_module, "LARGEST", least + room)
        made = pages.review(tmp_path / words[:3], _rows_of_clips(170), pages.HEAD + pages.CLAMP)
        assert words in made.html
        _opened(page, made)
        page.focus("#place-0")
        page.keyboard.press("End")
        _until(page, "Number(document.activeElement.dataset.place) > 0")
        there = int(page.evaluate("document.activeElement.dataset.place")) + 1
        said = re.search(r"([\d,]+) changes from line ([\d,]+) on did not fit", made.html)
        lines = [change["line"] for change in made.records("change")]
        assert there == len(lines) - (int(said[1].replace(",", "")) if said else 0)
        if said:
            assert lines[there] == int(said[2].replace(",", ""))
        else:
            assert "left out" in page.text_content("#chosen")
    assert page.troubles == []


def test_the_log_and_the_blocks_hold_the_same_changes(many: pages.Made) -> None:
    header = re.search(r'id="packed">(.*?)<', many.html)
    assert header is not None
    told = json.loads(zlib.decompress(base64.b64decode(header[1])))
    assert told["count"] == len(many.records("change")) == sum(count for _, _, count, _, _ in told["chunks"])


def test_a_page_of_very_many_changes_is_small_and_opens_fast(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                                             page: Any) -> None:
    path = tmp_path / "many.html"
    with closing(_crowded(tmp_path, monkeypatch)) as crowded, open(path, "wb") as out:
        write_review(out, crowded)
    assert path.stat().st_size < 5_000_000
    slowness, times = pages.slowness(), []
    for _ in range(3):  # other tests may run beside this one: the best of three counts
        started = time.monotonic()
        page.goto(path.as_uri())
        page.wait_for_selector("#rows li")
        times.append(time.monotonic() - started)
        page.goto("about:blank")
    assert min(times) < 2.0 * slowness


def _crowded(folder: Path, monkeypatch: pytest.MonkeyPatch) -> ReviewPage:
    """A page of 20,000 packed changes at places of their own, with all that may be drawn besides."""
    taken: list[Item] = []
    monkeypatch.setattr(picture, "MOST_WHOLE", 0)
    monkeypatch.setattr(Packer, "add", lambda packer, item: taken.append(item))
    made = pages.model(folder, pages.CROSSING)
    monkeypatch.undo()
    item = next(item for item in taken if item.sight is not None)
    draw, packers = random.Random(3), [Packer(tempfile.TemporaryFile(), made.setup) for _ in range(3)]
    for k in range(20_000):
        x, y = draw.uniform(5, 390), draw.uniform(5, 290)
        ends = (x, y, 5.0), (x + draw.uniform(-40, 40), y + draw.uniform(-40, 40), 5.0)
        sight = replace(item.sight, start=ends[0], end=ends[1])
        packers[1].add(replace(item, number=k + 1, line=4 + 3 * k, sight=sight, programmed=[list(ends)],
                               mended=[list(ends)]))
    packers[0].blobs = packers[2].blobs = packers[1].blobs
    assert made.packed is not None and made.items
    tools = made.packed.tools
    made.close()
    made.packed = Packed(packers, False, tools)
    made.items = [replace(made.items[0], number=k + 1, line=4 + 3 * k) for k in range(picture.DRAWN_CHANGES)]
    made.backdrop = pages.full_backdrop()
    return made
