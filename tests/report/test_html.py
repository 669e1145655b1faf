"""The HTML file: whole, inert, accessible."""

from __future__ import annotations

import re
from collections.abc import Callable
from html.parser import HTMLParser
from itertools import pairwise
from typing import Any

import pytest

from joblog.report.html import render_html
from joblog.report.model import Report

_VOID = {"meta", "img", "br", "link", "hr", "input"}


class Page(HTMLParser):
    """Collects tags and text, and notices tags that aren't closed."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str]]] = []
        self.text: list[str] = []
        self.stack: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, {k: v or "" for k, v in attrs}))
        if tag not in _VOID:
            self.stack.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, {k: v or "" for k, v in attrs}))

    def handle_endtag(self, tag: str) -> None:
        assert self.stack.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.stack and self.stack[-1] != "style":
            self.text.append(data)

    def named(self, name: str) -> list[dict[str, str]]:
        return [attrs for tag, attrs in self.tags if tag == name]


@pytest.mark.parametrize("name", ["full", "aborted", "empty", "hostile"])
def test_the_page_is_whole_and_fetches_nothing(
    name: str, request: pytest.FixtureRequest, make: Callable[..., Report]
) -> None:
    html = render_html(make(request.getfixturevalue(name)))
    page = Page(html)
    assert page.stack == []
    kinds = {tag for tag, _ in page.tags}
    assert not kinds & {"script", "iframe", "object", "embed", "form", "link", "base", "a"}
    for _, attrs in page.tags:
        assert not [k for k in attrs if k.startswith("on")]
        for key in ("src", "href", "xlink:href", "data", "action", "style"):
            assert attrs.get(key, "data:").startswith("data:")
    style = html[html.index("<style>") : html.index("</style>")]
    assert set(re.findall(r"url\((\w+:)", style)) == {"data:"}
    policy = next(m for m in page.named("meta") if "http-equiv" in m)
    assert policy["content"].startswith("default-src 'none'")


def test_hostile_text_is_read_as_text(hostile: Any, make: Callable[..., Report]) -> None:
    html = render_html(make(hostile))
    text = "".join(Page(html).text)
    assert "<script>alert(1)</script>" in text
    assert "{{7*7}} {%raw%}" in text
    assert "49" not in text.split("{{7*7}}")[0][-40:]
    assert "\u202e" not in html
    assert "\x00" not in html
    assert "\x1b" not in html


def test_a_screen_reader_finds_language_headings_and_alternatives(
    full: Any, make: Callable[..., Report], earlier: list[Any]
) -> None:
    page = Page(render_html(make(full, language="es", history=earlier)))
    assert page.named("html")[0]["lang"] == "es"
    assert all(image["alt"] for image in page.named("img"))
    assert all(cell.get("scope") in {"col", "row"} for cell in page.named("th"))
    levels = [int(tag[1]) for tag, _ in page.tags if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))
    drawings = [s for s in page.named("svg") if "aria-labelledby" in s or "aria-label" in s]
    assert len(drawings) == len(page.named("svg"))
    ids = [attrs["id"] for _, attrs in page.tags if "id" in attrs]
    assert len(ids) == len(set(ids))


def test_html_says_what_the_report_says(full: Any, make: Callable[..., Report]) -> None:
    report = make(full)
    text = "".join(Page(render_html(report)).text)
    wanted = [report.front.verdict, *report.front.done, *report.front.found, report.final_hash]
    wanted += [m.what for m in report.measured] + [s.title for s in report.steps]
    wanted += [f.text for f in report.findings] + [c.text for c in report.cautions]
    wanted += [f.text for f in (*report.closing, *report.record)]
    assert [x for x in wanted if x not in text] == []


def test_the_same_report_gives_the_same_page(full: Any, make: Callable[..., Report]) -> None:
    assert render_html(make(full)) == render_html(make(full))
