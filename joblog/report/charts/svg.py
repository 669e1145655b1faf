"""A small SVG writer with the report's letters, inks and hatchings.

Marks differ by hatching and outline, never by colour alone, and the inks keep their order in
greyscale. Lengths are in points of the printed page, so letters have the same size in all charts.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from xml.sax.saxutils import escape, quoteattr

INK = "#1d2528"
SOFT = "#5a666b"
LINE = "#b9c2c4"
PALE = "#eef1f1"
SANS = "Atkinson Hyperlegible Next"
SIZE = 8.5
_CHARACTER = 0.55  # mean width of a letter, as a share of its size, in the face used


def text_width(text: str, size: float = SIZE) -> float:
    """Return about how wide ``text`` is; good enough to leave room for it."""
    return sum(1.0 if ord(c) > 0x2E7F else _CHARACTER for c in text) * size


def shortened(text: str, width: float, size: float = SIZE) -> str:
    """Return ``text`` cut to about ``width``, with an ellipsis where it was cut."""
    if text_width(text, size) <= width:
        return text
    while text and text_width(text + "…", size) > width:
        text = text[:-1]
    return text.rstrip() + "…"


def n(value: float) -> str:
    """Return a number with at most two decimals, the same on every machine."""
    return f"{value:.2f}".rstrip("0").rstrip(".") or "0"


@dataclass
class Drawing:
    """An SVG document being drawn. ``key`` makes its ids unique on a page with several."""

    key: str
    width: float
    height: float
    accent: str = "#22505c"
    parts: list[str] = field(default_factory=list)

    def rect(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        *,
        fill: str,
        stroke: str = "none",
        line: float = 0.7,
        dash: str = "",
    ) -> None:
        """Draw a rectangle; ``fill`` is a colour, 'none', 'hatch', 'dots' or 'cross'."""
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self.parts.append(
            f'<rect x="{n(x)}" y="{n(y)}" width="{n(max(width, 0))}" height="{n(height)}" '
            f'fill="{self._paint(fill)}" stroke="{stroke}" stroke-width="{n(line)}"{dashes}/>'
        )

    def line(
        self,
        x1: float,
        y1: float,
        x2: float,
        y2: float,
        *,
        stroke: str = INK,
        width: float = 0.7,
        dash: str = "",
    ) -> None:
        """Draw a straight line."""
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self.parts.append(
            f'<line x1="{n(x1)}" y1="{n(y1)}" x2="{n(x2)}" y2="{n(y2)}" stroke="{stroke}" '
            f'stroke-width="{n(width)}"{dashes}/>'
        )

    def path(
        self, data: str, *, fill: str = "none", stroke: str = "none", width: float = 0.7
    ) -> None:
        """Draw a path of SVG commands."""
        self.parts.append(
            f'<path d="{data}" fill="{self._paint(fill)}" stroke="{stroke}" '
            f'stroke-width="{n(width)}"/>'
        )

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        size: float = SIZE,
        anchor: str = "start",
        fill: str = INK,
        bold: bool = False,
    ) -> None:
        """Write ``words`` with their baseline at ``y``."""
        weight = ' font-weight="600"' if bold else ""
        self.parts.append(
            f'<text x="{n(x)}" y="{n(y)}" font-size="{n(size)}" text-anchor="{anchor}" '
            f'fill="{fill}"{weight}>{escape(words)}</text>'
        )

    def _paint(self, fill: str) -> str:
        return f"url(#{self.key}-{fill})" if fill in {"hatch", "dots", "cross"} else fill

    def _patterns(self) -> str:
        key, ink = self.key, self.accent
        return (
            f'<pattern id="{key}-hatch" width="5" height="5" patternUnits="userSpaceOnUse">'
            f'<rect width="5" height="5" fill="#fff"/><path d="M-1 1L1 -1M0 5L5 0M4 6L6 4" '
            f'stroke="{ink}" stroke-width="0.9"/></pattern>'
            f'<pattern id="{key}-dots" width="4" height="4" patternUnits="userSpaceOnUse">'
            f'<rect width="4" height="4" fill="#fff"/><circle cx="2" cy="2" r="0.8" '
            f'fill="{INK}"/></pattern>'
            f'<pattern id="{key}-cross" width="5" height="5" patternUnits="userSpaceOnUse">'
            f'<rect width="5" height="5" fill="#fff"/><path d="M0 0L5 5M0 5L5 0" '
            f'stroke="{SOFT}" stroke-width="0.6"/></pattern>'
        )

    def svg(self, title: str, text: str) -> str:
        """Return the document; ``title`` and ``text`` are what a screen reader says."""
        body = "".join(self.parts)
        used = self._patterns() if "url(#" in body else ""
        ids = f"{self.key}-title {self.key}-desc"
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {n(self.width)} '
            f'{n(self.height)}" width="{n(self.width)}" height="{n(self.height)}" role="img" '
            f"aria-labelledby={quoteattr(ids)} font-family={quoteattr(SANS + ', sans-serif')}>"
            f'<title id="{self.key}-title">{escape(title)}</title>'
            f'<desc id="{self.key}-desc">{escape(text)}</desc>'
            f"{'<defs>' + used + '</defs>' if used else ''}{body}</svg>"
        )
