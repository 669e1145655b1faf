"""A gauge no taller than a line of text: where a value lies in its specified range."""

from __future__ import annotations

from fractions import Fraction

from joblog.report.charts.svg import INK, LINE, PALE, Drawing
from joblog.report.language import Number

_WIDTH, _HEIGHT, _MARGIN = 64.0, 12.0, 14.0


def gauge(key: str, value: Number, low: Number | None, high: Number | None, text: str) -> str:
    """Return an SVG: the range as an outlined bar, the value as a mark; '' without a full range.

    A value outside is drawn outside, at most to the end of the line.
    """
    if low is None or high is None or high <= low:
        return ""
    share = float((Fraction(value) - Fraction(low)) / (Fraction(high) - Fraction(low)))
    span = _WIDTH - 2 * _MARGIN
    x = min(max(_MARGIN + share * span, 2.0), _WIDTH - 2.0)
    drawing = Drawing(key, _WIDTH, _HEIGHT)
    drawing.line(0, 6, _WIDTH, 6, stroke=LINE, width=0.7)
    drawing.rect(_MARGIN, 2.5, span, 7, fill=PALE, stroke=INK, line=0.7)
    inside = 0 <= share <= 1
    if inside:
        drawing.line(x, 0, x, _HEIGHT, stroke=INK, width=2.2)
    else:  # an open diamond off the bar: seen without colour
        drawing.path(f"M{x:.2f} 1l3.5 5l-3.5 5l-3.5 -5z", fill="#fff", stroke=INK, width=1.2)
    return drawing.svg(text, text)
