"""Reads a page's HTML back as a tree, by the standard library's parser alone."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from html.parser import HTMLParser

EMPTY = {"meta", "link", "br", "hr", "img", "input"}
CLOSED_BY_NEXT = {"td": {"td", "th", "tr"}, "th": {"td", "th", "tr"}, "tr": {"tr", "tbody"}}


class _Tree(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root = ET.Element("document")
        self.open = [self.root]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        while tag in CLOSED_BY_NEXT.get(self.open[-1].tag, ()):
            self.open.pop()
        element = ET.SubElement(self.open[-1], tag, {name: value or "" for name, value in attrs})
        if tag not in EMPTY:
            self.open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in EMPTY:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        while self.open[-1].tag != tag:
            assert self.open[-1].tag in CLOSED_BY_NEXT, f"</{tag}> closes <{self.open[-1].tag}>"
            self.open.pop()
        self.open.pop()

    def handle_data(self, data: str) -> None:
        if len(self.open[-1]):
            self.open[-1][-1].tail = (self.open[-1][-1].tail or "") + data
        else:
            self.open[-1].text = (self.open[-1].text or "") + data


def document(html: str) -> ET.Element:
    """The tree of a page. An AssertionError where its elements are not nested as they should be."""
    parser = _Tree()
    parser.feed(html)
    parser.close()
    return parser.root


def by_class(root: ET.Element, name: str) -> list[ET.Element]:
    """All elements that have a class, in order."""
    return [element for element in root.iter() if name in (element.get("class") or "").split()]
