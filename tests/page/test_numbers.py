"""The numbers of the page are those of the log."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from tests.page import pages
from tests.page.reading import document

KEYS = ("programmed_z_mm", "needed_z_mm", "written_z_mm", "added_s")


def test_every_change_of_the_log_is_on_the_page_with_its_numbers(repaired: pages.Made) -> None:
    root = document(repaired.html)
    changes = repaired.records("change")
    assert len(changes) >= 2
    for change in changes:
        articles = [a for a in root.iter("article")
                    if a.get("data-line") == str(change["line"]) and a.get("data-kind") == change["kind"]]
        assert len(articles) == 1
        shown = {d.get("data-log"): d for d in articles[0].iter("dd") if d.get("data-log")}
        for key in KEYS:
            value = shown[key].get("data-value")
            assert (float(value) if value else None) == change[key]
        written = "".join(shown["written_z_mm"].itertext())
        assert written == f"{change['written_z_mm']:g} mm"


def test_the_totals_are_those_of_the_summary(repaired: pages.Made) -> None:
    (summary,) = repaired.records("summary")
    shown = {d.get("data-log"): "".join(d.itertext()) for d in document(repaired.html).iter("dd") if d.get("data-log")}
    for key in ("blocks", "rapids", "cuts", "changes", "findings"):
        assert int(shown[key].replace(",", "")) == summary[key]


def test_the_digests_are_those_of_the_run(repaired: pages.Made) -> None:
    (run,) = repaired.records("run")
    shown = {c.get("data-log"): c.text for c in document(repaired.html).iter("code") if c.get("data-log")}
    assert shown == {key: run[key] for key in ("program_sha256", "setup_sha256")}


def test_a_finding_has_its_depth_its_text_and_its_advice(refused: pages.Made) -> None:
    (finding,) = [f for f in refused.records("finding") if f["kind"] == "cut-contact"]
    root = document(refused.html)
    (article,) = [a for a in root.iter("article") if a.get("data-kind") == "cut-contact"]
    (depth,) = [d for d in article.iter("dd") if d.get("data-log") == "by_mm"]
    assert float(depth.get("data-value") or "nan") == finding["by_mm"]
    sentence = " ".join("".join(p.itertext()) for p in article.iter("p"))
    text, advice = finding["text"].split("; ", 1)
    assert text[1:] in sentence and advice in sentence


def test_assumptions_are_listed(repaired: pages.Made) -> None:
    words = "".join(document(repaired.html).itertext())
    assumptions = repaired.records("assumption")
    assert assumptions
    for record in assumptions:
        assert record["text"] in words


def test_inches_are_shown_where_the_setup_is_in_inches(tmp_path: Path) -> None:
    inches = """
format = 1
units = "inch"
[program]
starts_in = ["G20", "G90", "G17"]
[machine]
start = [0.0, 0.0, 4.0]
[[tools]]
number = 1
diameter = 0.25
[[obstacles]]
name = "clamp"
shape = "box"
center = [4.0, 6.0]
size = [2.0, 1.0]
top = 1.0
"""
    made = pages.review(tmp_path, "G0 X1 Y6\nG0 Z0.2\nG1 Z-0.1 F50\nG0 Z0.2\nG0 X8 Y6\nG1 Z-0.1\nG0 Z3\n", inches)
    change = made.records("change")[0]
    (article,) = [a for a in document(made.html).iter("article") if a.get("data-line") == str(change["line"])]
    (written,) = [d for d in article.iter("dd") if d.get("data-log") == "written_z_mm"]
    number, unit = "".join(written.itertext()).split()
    assert unit == "in"
    assert float(number) == pytest.approx(change["written_z_mm"] / 25.4, abs=1e-5)
    assert float(written.get("data-value") or "nan") == change["written_z_mm"]


def test_the_side_view_marks_the_levels_where_they_are(repaired: pages.Made) -> None:
    root = document(repaired.html)
    change = repaired.records("change")[0]
    (article,) = [a for a in root.iter("article") if a.get("data-line") == str(change["line"])]
    lines = {line.get("class"): line for line in article.iter("line") if (line.get("class") or "").startswith("level")}
    assert float(lines["level written"].get("y1") or "nan") == change["written_z_mm"]
    # 25 mm of clamp, 1 mm of tolerance, 3 mm above it, 1 mm for the corner: the rule of the contract, by hand.
    assert float(lines["level needed"].get("y1") or "nan") == 30.0
    tools = [shape for shape in article.iter("polygon") if (shape.get("class") or "").startswith("tool")]
    assert len(tools) == 2
    for shape, tip in zip(tools, (5.0, 30.0), strict=True):
        points = [tuple(map(float, pair.split(","))) for pair in (shape.get("points") or "").split()]
        assert min(z for _, z in points) == tip
        widths = {round(max(x for x, z in points if z == height) - min(x for x, z in points if z == height), 3)
                  for height in (tip, tip + 40.0 + 30.0)}
        assert widths == {6.0, 70.0}


def test_what_is_left_above_the_obstacle_is_the_written_height_less_its_top(repaired: pages.Made) -> None:
    change = repaired.records("change")[0]
    (article,) = [a for a in document(repaired.html).iter("article") if a.get("data-line") == str(change["line"])]
    rows = {"".join(row[0].itertext()): "".join(row[1].itertext()) for row in article.iter("div")
            if len(row) == 2 and row[0].tag == "dt"}
    assert rows["left above the obstacle as measured"] == f"{change['written_z_mm'] - 25.0:g} mm"


def test_the_hunk_shows_the_blocks_of_the_log(repaired: pages.Made) -> None:
    for change in repaired.records("change"):
        (article,) = [a for a in document(repaired.html).iter("article") if a.get("data-line") == str(change["line"])]
        rows = [span for span in article.iter("span") if "own" in (span.get("class") or "").split()]
        shown = {mark: [_block(row) for row in rows if (row.get("class") or "").startswith(mark)]
                 for mark in ("out", "in")}
        assert shown == {"out": change["before"], "in": change["after"]}


def _block(row: ET.Element) -> str:
    return (row[0].tail or "").removesuffix("\n")[3:]
