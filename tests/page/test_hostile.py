"""Names and comments can be anything, and stay text."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.page import pages
from tests.page.reading import document

MARKUP = "<script>document.title='taken'</script><img src=x onerror=alert(1)>"
NAMES = {
    "markup": MARKUP,
    "end of a style": "</style></script></title><b>bold</b>",
    "quotes": "\"'`{{7*7}}{%raw%}&amp;&#60;",
    "turned round": "left\u202eright\u2066\u200b",
    "long": "A" * 10_000,
}


def _quoted(name: str) -> str:
    return '"' + "".join(f"\\U{ord(c):08X}" if not c.isalnum() else c for c in name) + '"'


def _made(folder: Path, name: str) -> pages.Made:
    comment = name.replace("(", "[").replace(")", "]")[:3000]
    program = pages.CROSSING.replace("(over)", f"({comment})")
    return pages.review(folder, program, pages.HEAD + pages.CLAMP.replace('"left clamp"', _quoted(name)),
                        name=f"{name[:200]}.nc")


@pytest.mark.parametrize("kind", NAMES)
def test_names_and_comments_make_no_element(tmp_path: Path, kind: str) -> None:
    plain = document(_made(tmp_path / "plain", "clamp").html)
    hostile = document(_made(tmp_path / "hostile", NAMES[kind]).html)
    assert sorted(e.tag for e in hostile.iter() if e.tag not in ("tspan", "line", "text")) == sorted(
        e.tag for e in plain.iter() if e.tag not in ("tspan", "line", "text"))
    known = {a for e in plain.iter() for a in e.attrib}
    assert {a for e in hostile.iter() for a in e.attrib} <= known


@pytest.mark.parametrize("kind", NAMES)
def test_names_and_comments_are_shown_as_they_are(tmp_path: Path, kind: str, page: Any) -> None:
    made = _made(tmp_path, NAMES[kind])
    page.goto(made.path.as_uri())
    words = page.inner_text("body")
    name = NAMES[kind]
    if kind == "turned round":
        assert "left\\u202eright\\u2066\\u200b" in words
        assert not set(words) & set("\u202e\u2066\u200b")
    else:
        assert name in words
    assert page.title().startswith("Review of ")
    assert page.troubles == [] and page.evaluate("document.images.length") == 0
    # A name of any length breaks into lines: the page is never wider than its window.
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_a_comment_of_a_program_is_shown_in_its_hunk(tmp_path: Path, page: Any) -> None:
    made = _made(tmp_path, MARKUP)
    page.goto(made.path.as_uri())
    hunks = "\n".join(page.locator("pre.hunk").all_text_contents())
    assert MARKUP.replace("(", "[").replace(")", "]") in hunks
