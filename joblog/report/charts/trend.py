"""One figure over several services: a dot a service, joined by a line, each with its number."""

from __future__ import annotations

from dataclasses import dataclass

from joblog.report.charts.svg import INK, LINE, PALE, SOFT, Drawing
from joblog.report.language import Language
from joblog.report.model import Chart

_WIDTH, _PLOT, _TOP = 232.0, 40.0, 14.0
_MOST = 6  # services that fit side by side with their dates


@dataclass(frozen=True)
class Point:
    """One service: its date as printed, the value, and the value as printed."""

    date: str
    value: float
    printed: str


def trend_chart(
    t: Language,
    key: str,
    title: str,
    points: list[Point],
    accent: str,
    *,
    band: tuple[float, float] | None = None,
) -> Chart:
    """Return the trend, latest at the right and solid; ``band`` is the range that is right."""
    shown = points[-_MOST:]
    top = max([p.value for p in shown] + [band[1] if band else 0.0, 1e-9]) * 1.05
    bottom = min([0.0, *(p.value for p in shown)])
    base = _TOP + _PLOT
    drawing = Drawing(key, _WIDTH, base + 18, accent)

    def height(value: float) -> float:
        return base - _PLOT * (value - bottom) / (top - bottom)

    if band:
        low, high = height(band[0]), height(band[1])
        drawing.rect(0, high, _WIDTH, low - high, fill=PALE, stroke=LINE, dash="3 2")
    drawing.line(0, base, _WIDTH, base, stroke=LINE)
    step = _WIDTH / len(shown)
    places = [(step * (i + 0.5), height(p.value)) for i, p in enumerate(shown)]
    if len(places) > 1:
        path = "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in places)
        drawing.path(path, stroke=SOFT, width=1.1)
    for i, (point, (x, y)) in enumerate(zip(shown, places, strict=True)):
        last = i == len(shown) - 1
        circle = f"M{x - 3:.2f} {y:.2f}a3 3 0 1 0 6 0a3 3 0 1 0 -6 0z"
        drawing.path(circle, fill=accent if last else "#fff", stroke=INK, width=1.1)
        drawing.text(x, y - 6, point.printed, size=8, anchor="middle", bold=last)
        drawing.text(x, base + 12, point.date, size=7, anchor="middle", fill=SOFT)
    listed = t.listing([f"{p.date}: {p.printed}" for p in shown])
    return Chart(key, title, f"{listed}.", drawing.svg(title, f"{listed}."), wide=False)
