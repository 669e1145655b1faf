"""Two charts about a fluid: how much of it is new, and what came out against what went in."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from joblog.report.charts.svg import INK, LINE, PALE, SOFT, Drawing, shortened, text_width
from joblog.report.language import Language
from joblog.report.model import Chart

_WIDTH = 232.0
_ROW, _BAR = 22.0, 13.0


def renewed_chart(t: Language, key: str, fluid: str, shares: list[Fraction], accent: str) -> Chart:
    """Return bars of the share of new fluid: now, and after each further service.

    ``shares`` are 0..1: the first is now. The last bar is the furthest that is foretold.
    """
    names = [t.say("now")] + [
        t.count("after {n} more", "after {n} more", i) for i in range(1, len(shares))
    ]
    drawing = Drawing(key, _WIDTH, len(shares) * _ROW + 22, accent)
    left = max(text_width(name) for name in names) + 8
    room = _WIDTH - left - 34
    for row, (name, share) in enumerate(zip(names, shares, strict=True)):
        top = row * _ROW + 3
        drawing.text(left - 8, top + 10, name, anchor="end", bold=row == 0)
        drawing.rect(left, top, room, _BAR, fill=PALE, stroke=LINE)
        drawing.rect(
            left,
            top,
            room * float(share),
            _BAR,
            fill=accent if row == 0 else "hatch",
            stroke=accent,
        )
        drawing.text(_WIDTH, top + 10, t.percent(share), anchor="end", bold=row == 0)
    base = len(shares) * _ROW + 1
    drawing.line(left, base, left + room, base, stroke=LINE)
    for quarter in range(5):
        x = left + room * quarter / 4
        drawing.line(x, base, x, base + 3, stroke=SOFT)
        if quarter % 2 == 0:
            anchor = ("start", "middle", "end")[quarter // 2]
            drawing.text(
                x, base + 13, t.percent(Fraction(quarter, 4)), size=7.5, anchor=anchor, fill=SOFT
            )
    title = t.say("New fluid in the unit: {fluid}", fluid=fluid)
    listed = t.listing(
        [f"{name} {t.percent(share)}" for name, share in zip(names, shares, strict=True)]
    )
    text = t.say("Share of the fluid that is new: {listed}.", listed=listed)
    return Chart(key, title, text, drawing.svg(title, text), wide=False)


@dataclass(frozen=True)
class Volumes:
    """What went out and in of one fluid, all in one unit, with each printed."""

    fluid: str
    drained: Fraction
    filled: Fraction
    drained_text: str
    filled_text: str
    low: Decimal | None = None
    high: Decimal | None = None
    specified_text: str = ""


def volume_chart(t: Language, key: str, volumes: Volumes, accent: str) -> Chart:
    """Return two bars, out and in, with the specified range marked across them."""
    names = [t.say("came out"), t.say("went in")]
    rows = [(volumes.drained, volumes.drained_text), (volumes.filled, volumes.filled_text)]
    left = max(text_width(name) for name in names) + 8
    right = max(text_width(text) for _, text in rows) + 6
    room = _WIDTH - left - right
    top_value = max([float(v) for v, _ in rows] + [float(volumes.high or 0), 1e-9]) * 1.06
    drawing = Drawing(key, _WIDTH, 2 * _ROW + 24, accent)
    for row, (name, (value, printed)) in enumerate(zip(names, rows, strict=True)):
        top = row * _ROW + 3
        drawing.text(left - 8, top + 10, name, anchor="end")
        drawing.rect(
            left,
            top,
            room * float(value) / top_value,
            _BAR,
            fill="cross" if row == 0 else accent,
            stroke=INK if row == 0 else accent,
        )
        drawing.text(_WIDTH, top + 10, printed, anchor="end", bold=True)
    base = 2 * _ROW + 2
    drawing.line(left, base, left + room, base, stroke=LINE)
    if volumes.low is not None and volumes.high is not None:
        x1 = left + room * float(volumes.low) / top_value
        x2 = left + room * float(volumes.high) / top_value
        for x in (x1, x2):
            drawing.line(x, 0, x, base + 5, stroke=INK, width=0.8, dash="2 2")
        drawing.line(x1, base + 5, x2, base + 5, stroke=INK, width=1.6)
        label = shortened(volumes.specified_text, _WIDTH, 7.5)
        drawing.text(_WIDTH, base + 17, label, size=7.5, anchor="end", fill=SOFT)
    title = t.say("Out and in: {fluid}", fluid=volumes.fluid)
    text = t.say(
        "{out} came out and {into} went in.", out=volumes.drained_text, into=volumes.filled_text
    )
    if volumes.specified_text:
        text += f" {volumes.specified_text}."
    return Chart(key, title, text, drawing.svg(title, text), wide=False)
