"""The report as one HTML file: no script, no outside address, printable.

Words are escaped by the template engine; drawings are this room's own. A content security policy
in the page forbids scripts and every request, so even a mistake here could load nothing.
"""

from __future__ import annotations

import base64
from functools import lru_cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined, Template
from markupsafe import Markup

from joblog.report.fonts import FOLDER
from joblog.report.model import Report

_TEMPLATES = Path(__file__).with_name("templates")
_FACES = (
    ("Literata", "400", "Literata-400.woff2"),
    ("Literata", "600", "Literata-600.woff2"),
    ("Atkinson Hyperlegible Next", "400", "AtkinsonHyperlegibleNext-400.woff2"),
    ("Atkinson Hyperlegible Next", "600", "AtkinsonHyperlegibleNext-600.woff2"),
    ("Atkinson Hyperlegible Mono", "400", "AtkinsonHyperlegibleMono-400.woff2"),
)


def _svg(text: str) -> Markup:
    """Mark one of this room's own drawings as safe; its words were escaped when it was drawn."""
    if not text.startswith("<svg "):
        raise ValueError("only this room's drawings are put into a page unescaped")
    return Markup(text)  # drawn by charts.svg and build


@lru_cache
def _template() -> Template:
    environment = Environment(
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["svg"] = _svg
    return environment.get_template("report.html.j2")


@lru_cache
def _style() -> str:
    faces = "".join(
        f'@font-face{{font-family:"{family}";font-weight:{weight};font-display:swap;'
        f"src:url(data:font/woff2;base64,{_encoded((FOLDER / name).read_bytes())})}}"
        for family, weight, name in _FACES
    )
    return faces + (_TEMPLATES / "report.css").read_text(encoding="utf-8")


def _encoded(data: bytes) -> str:
    return base64.b64encode(data).decode()


def _kind(data: bytes) -> str:
    return "png" if data.startswith(b"\x89PNG") else "jpeg"


def render_html(report: Report) -> str:
    """Return the whole report as one HTML document."""
    images = {
        key: f"data:image/{_kind(data)};base64,{_encoded(data)}"
        for key, data in report.images.items()
    }
    css = Markup(f":root{{--accent:{report.shop.accent}}}" + _style())  # no words in it
    return _template().render(r=report, l=report.labels, css=css, images=_Images(images))


class _Images(dict[str, str]):
    """Data addresses by key; a picture that isn't at hand is ''."""

    def __missing__(self, key: str) -> str:
        return ""
