"""A gauge no taller than a line of text: where a value lies in its specified range."""

from __future__ import annotations

from fractions import Fraction

from joblog.report.charts.svg import INK, LINE, PALE, Drawing
from joblog.report.language import Number

_WIDTH, _HEIGHT, _MARGIN = 64.0, 12.0, 14.0


def gauge(
    key: str,
    value: Number,
    low: Number | None,
    high: Number | None,
    text: str,
    *,
    upper: Number | None = None,
) -> str:
    """Return an SVG: the range as an outlined bar, the value as a mark; '' without a full range.

    A value outside is drawn outside, at most to the end of the line. Where a range was read,
    ``upper`` is its higher end, and a thick line joins the marks of both.
    """
    if low is None or high is None or high <= low:
        return ""
    wanted = (Fraction(low), Fraction(high))
    shares = [_share(end, wanted) for end in (value, *([] if upper is None else [upper]))]
    span = _WIDTH - 2 * _MARGIN
    drawing = Drawing(key, _WIDTH, _HEIGHT)
    drawing.line(0, 6, _WIDTH, 6, stroke=LINE, width=0.7)
    drawing.rect(_MARGIN, 2.5, span, 7, fill=PALE, stroke=INK, line=0.7)
    places = [min(max(_MARGIN + share * span, 2.0), _WIDTH - 2.0) for share in shares]
    if upper is not None:
        drawing.line(places[0], 6, places[1], 6, stroke=INK, width=2.2)
    for x, share in zip(places, shares, strict=True):
        if 0 <= share <= 1:
            drawing.line(x, 0, x, _HEIGHT, stroke=INK, width=2.2)
        else:  # an open diamond off the bar: seen without colour
            drawing.path(f"M{x:.2f} 1l3.5 5l-3.5 5l-3.5 -5z", fill="#fff", stroke=INK, width=1.2)
    return drawing.svg(text, text)


def _share(value: Number, wanted: tuple[Fraction, Fraction]) -> float:
    low, high = wanted
    return float((Fraction(value) - low) / (high - low))
