"""One figure over several services: a dot a service, joined by a line, each with its number."""

from __future__ import annotations

from dataclasses import dataclass

from joblog.report.charts.svg import INK, LINE, PALE, SOFT, Drawing, text_width
from joblog.report.language import Language
from joblog.report.model import Chart

_WIDTH, _PLOT, _TOP = 232.0, 40.0, 14.0
MOST = 6  # services that fit side by side with their dates
_DATES = 7.0  # size of their letters


@dataclass(frozen=True)
class Point:
    """One service: its date as printed, the value, and the value as printed.

    Without a value it was not measured then, and ``printed`` says so: the line is broken there.
    """

    date: str
    value: float | None
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
    shown = points[-MOST:]
    known = [p.value for p in shown if p.value is not None]
    top = max([*known, band[1] if band else 0.0, 1e-9]) * 1.05
    bottom = min([0.0, *known])
    base, step = _TOP + _PLOT, _WIDTH / len(shown)
    dates = [_lines(p.date, step - 2) for p in shown]
    drawing = Drawing(key, _WIDTH, base + 10 + 8 * max(map(len, dates)), accent)

    def height(value: float) -> float:
        return base - _PLOT * (value - bottom) / (top - bottom)

    if band:
        low, high = height(band[0]), height(band[1])
        drawing.rect(0, high, _WIDTH, low - high, fill=PALE, stroke=LINE, dash="3 2")
    drawing.line(0, base, _WIDTH, base, stroke=LINE)
    places = [
        (step * (i + 0.5), None if p.value is None else height(p.value))
        for i, p in enumerate(shown)
    ]
    for piece in _unbroken(places):
        path = "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in piece)
        drawing.path(path, stroke=SOFT, width=1.1)
    for i, (point, (x, y)) in enumerate(zip(shown, places, strict=True)):
        last = i == len(shown) - 1
        if y is None:
            told = _lines(point.printed, step - 2)
            for row, word in enumerate(reversed(told)):
                drawing.text(x, base - 4 - 8 * row, word, size=_DATES, anchor="middle", fill=SOFT)
        else:
            wide = text_width(point.printed, 8)
            drawing.rect(x - wide / 2, y - 13, wide, 8.5, fill=PALE if band else "#fff")
            drawing.text(x, y - 6, point.printed, size=8, anchor="middle", bold=last)
            circle = f"M{x - 3:.2f} {y:.2f}a3 3 0 1 0 6 0a3 3 0 1 0 -6 0z"
            drawing.path(circle, fill=accent if last else "#fff", stroke=INK, width=1.1)
        for row, words in enumerate(dates[i]):
            drawing.text(x, base + 12 + 8 * row, words, size=_DATES, anchor="middle", fill=SOFT)
    listed = t.listing([f"{p.date}: {p.printed}" for p in shown])
    return Chart(key, title, f"{listed}.", drawing.svg(title, f"{listed}."), wide=False)


def _unbroken(places: list[tuple[float, float | None]]) -> list[list[tuple[float, float]]]:
    """Return the pieces of the line, broken where there is no value."""
    pieces: list[list[tuple[float, float]]] = [[]]
    for x, y in places:
        if y is None:
            pieces.append([])
        else:
            pieces[-1].append((x, y))
    return [piece for piece in pieces if len(piece) > 1]


def _lines(text: str, room: float) -> list[str]:
    """Return words in as many lines as it takes to stay beside their neighbours'."""
    lines: list[str] = []
    for word in text.split():
        if lines and text_width(f"{lines[-1]} {word}", _DATES) <= room:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return [line.rstrip(",") for line in lines]
