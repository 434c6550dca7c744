"""A page as a browser would meet it, without one."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from itertools import pairwise

FETCHING = {"src", "srcset", "action", "formaction", "data", "poster", "background", "ping"}
VOID = {"meta", "link", "br", "img", "input", "hr"}


class Seen(HTMLParser):
    """What a browser would meet: elements in their order with attributes, and text."""

    def __init__(self, page: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []
        self.depth: list[str] = []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        assert len(attrs) == len(dict(attrs)), f"an attribute twice in {tag}"
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.depth.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.depth.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text.append(data)

    def of(self, *tags: str) -> list[tuple[str, dict[str, str | None]]]:
        return [element for element in self.elements if element[0] in tags]


def text_of(page: str) -> str:
    """Return what one reads, with every space an ordinary one."""
    return re.sub(r"\s+", " ", " ".join(Seen(page).text)).replace("\xa0", " ")


def assert_harmless(page: str) -> None:
    """Nothing in a page runs, and nothing of it is fetched."""
    seen = Seen(page)
    assert not seen.of("script", "iframe", "object", "embed", "form", "base", "img", "video", "audio", "source")
    for tag, attributes in seen.elements:
        assert not [name for name in attributes if name.startswith("on") or name in FETCHING], tag
        href = attributes.get("href")
        assert href is None or href.startswith("#") or href == "data:,", href
    assert "url(" not in page
    assert "@import" not in page
    (policy,) = (a["content"] for _, a in seen.of("meta") if a.get("http-equiv") == "Content-Security-Policy")
    assert policy is not None
    assert policy.startswith("default-src 'none'")


def assert_audible(page: str) -> None:
    """What is drawn can be heard: landmarks, headings, tables, and pictures that are named or passed over."""
    seen = Seen(page)
    assert not seen.depth
    assert [tag for tag, _ in seen.of("header", "main", "footer")] == ["header", "main", "footer"]
    levels = [int(tag[1]) for tag, _ in seen.of("h1", "h2", "h3", "h4")]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(later - earlier <= 1 for earlier, later in pairwise(levels))
    assert len(seen.of("table")) == len(seen.of("caption"))
    assert all("scope" in attributes or attributes.get("aria-hidden") == "true" for _, attributes in seen.of("th"))
    for _, attributes in seen.of("svg"):
        assert attributes.get("aria-hidden") or attributes.get("aria-label") or attributes.get("focusable") == "false"


def assert_links_lead_somewhere(page: str) -> None:
    """Every name of an anchor is there once, and every link and every use of a mark leads to one."""
    seen = Seen(page)
    ids = [attributes["id"] for _, attributes in seen.elements if "id" in attributes]
    assert len(ids) == len(set(ids))
    assert {attributes["aria-labelledby"] for _, attributes in seen.of("section")} <= set(ids)
    assert {str(attributes["href"])[1:] for _, attributes in seen.of("a", "use")} <= set(ids)


def assert_quoted(page: str) -> None:
    """Every attribute is quoted."""
    for tag in re.findall(r"<[a-z][^<>]*>", page):
        assert not re.search(r"=\s*[^\"\s>]", re.sub(r'"[^"]*"', '""', tag)), tag
