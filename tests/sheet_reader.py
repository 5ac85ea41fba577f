"""Reads a site sheet or index as a browser would: elements, text, and what is forbidden in them."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser
from itertools import pairwise

_ALONE = {"meta", "br", "link", "img", "input", "hr"}


@dataclass
class Element:
    tag: str
    attributes: dict[str, str]
    inside: list[Element] = field(default_factory=list)
    text: str = ""

    def all(self, tag: str) -> list[Element]:
        found = [self] if self.tag == tag else []
        return found + [each for child in self.inside for each in child.all(tag)]

    def every(self) -> list[Element]:
        return [self] + [each for child in self.inside for each in child.every()]

    def words(self) -> str:
        return self.text + "".join(child.words() for child in self.inside)


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Element("root", {})
        self.open = [self.root]
        self.comments: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        each = Element(tag, {name: value or "" for name, value in attrs})
        self.open[-1].inside.append(each)
        if tag not in _ALONE:
            self.open.append(each)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.open[-1].inside.append(Element(tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        assert self.open[-1].tag == tag, f"</{tag}> closes <{self.open[-1].tag}>"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        self.open[-1].text += data

    def handle_comment(self, data: str) -> None:
        self.comments.append(data)


def read_page(text: str) -> Element:
    """Return the document; every element that is opened is closed in its place."""
    reader = _Reader()
    reader.feed(text)
    reader.close()
    assert len(reader.open) == 1, "an element is left open"
    return reader.root


def assert_sound(text: str) -> Element:
    """Hold a page against what every page of ours keeps, and return it."""
    assert text.startswith("<!DOCTYPE html>")
    page = read_page(text)
    (document,) = page.all("html")
    assert document.attributes["lang"] == "en"
    everything = page.every()
    ids = [each.attributes["id"] for each in everything if "id" in each.attributes]
    assert len(ids) == len(set(ids))
    _assert_nothing_runs_or_loads(text, everything)
    _assert_readable_by_ear(page, everything)
    return page


def _assert_nothing_runs_or_loads(text: str, everything: list[Element]) -> None:
    policies = [each.attributes.get("content", "") for each in everything
                if each.attributes.get("http-equiv") == "Content-Security-Policy"]  # fmt: skip
    assert policies
    assert policies[0].startswith("default-src 'none'; style-src 'unsafe-inline'")
    tags = {each.tag for each in everything}
    assert not tags & {"script", "img", "iframe", "object", "embed", "link", "image", "use", "base"}
    for each in everything:
        assert not [name for name in each.attributes if name.startswith("on") or name == "src"]
        assert "href" not in each.attributes or each.tag == "a"
    assert not re.findall(r"url\((?!#)", text)
    assert "@import" not in text
    ids = {each.attributes.get("id") for each in everything}
    assert set(re.findall(r"url\(#([^)]*)\)", text)) <= ids


def _assert_readable_by_ear(page: Element, everything: list[Element]) -> None:
    assert len(page.all("title")) > 0
    levels = [int(each.tag[1]) for each in everything if re.fullmatch("h[1-6]", each.tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    for table in page.all("table"):
        assert table.inside[0].tag == "caption"
        assert table.inside[0].words().strip()
        assert table.all("th")
        assert all(each.attributes.get("scope") in {"col", "row"} for each in table.all("th"))
    for drawing in page.all("svg"):
        assert drawing.attributes["role"] == "img"
        assert drawing.all("title")[0].words().strip()
