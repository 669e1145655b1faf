"""Debris on the plug by size class: this service beside earlier ones."""

from __future__ import annotations

from dataclasses import dataclass

from joblog.report.charts.svg import INK, LINE, SOFT, Drawing, text_width
from joblog.report.language import Language
from joblog.report.model import Chart

_WIDTH, _PLOT, _BOTTOM = 482.0, 58.0, 34.0
_FILLS = ("hatch", "dots", "cross", "none")


@dataclass(frozen=True)
class Sizes:
    """How many flakes of each size class one service found."""

    name: str  # the service's date
    counts: dict[str, int]


def debris_chart(
    t: Language, key: str, classes: list[tuple[str, str]], services: list[Sizes], accent: str
) -> Chart:
    """Return grouped columns: a group a size class, a column a service, this one solid and last.

    ``classes`` are (letter, size range as printed), small to large.
    """
    drawing = Drawing(key, _WIDTH, _PLOT + _BOTTOM + 18, accent)
    top = max([1, *(n for s in services for n in s.counts.values())])
    fills = [*_FILLS[: len(services) - 1][::-1], accent]
    _legend(drawing, services, fills)
    left, base = 20.0, 18 + _PLOT
    group = (_WIDTH - left) / max(len(classes), 1)
    column = min(14.0, (group - 8) / max(len(services), 1))
    for mark in sorted({0, top // 2, top}):
        y = base - _PLOT * 0.86 * mark / top
        drawing.line(left, y, _WIDTH, y, stroke=LINE, width=0.5)
        drawing.text(left - 4, y + 3, str(mark), size=7.5, anchor="end", fill=SOFT)
    for place, (letter, size) in enumerate(classes):
        middle = left + group * (place + 0.5)
        x = middle - column * len(services) / 2
        for service, fill in zip(services, fills, strict=True):
            count = service.counts.get(letter, 0)
            height = _PLOT * 0.86 * count / top
            if count:
                drawing.rect(
                    x + 0.5, base - height, column - 1, height, fill=fill, stroke=INK, line=0.6
                )
                drawing.text(x + column / 2, base - height - 2, str(count), size=7, anchor="middle")
            x += column
        drawing.text(middle, base + 11, letter, size=8.5, anchor="middle", bold=True)
        drawing.text(middle, base + 21, size, size=7, anchor="middle", fill=SOFT)
    drawing.line(left, base, _WIDTH, base, stroke=INK, width=0.8)
    axis = t.say("size class of ISO 16232, longest side in millimetres")
    drawing.text(_WIDTH, base + 32, axis, size=7, anchor="end", fill=SOFT)
    title = t.say("Flakes found on the plug by size")
    text = " ".join(_in_words(t, s, classes) for s in services)
    return Chart(key, title, text, drawing.svg(title, text))


def _legend(drawing: Drawing, services: list[Sizes], fills: list[str]) -> None:
    x = 20.0
    for service, fill in zip(services, fills, strict=True):
        drawing.rect(x, 1, 9, 8, fill=fill, stroke=INK, line=0.6)
        drawing.text(x + 13, 8.5, service.name)
        x += text_width(service.name) + 28


def _in_words(t: Language, service: Sizes, classes: list[tuple[str, str]]) -> str:
    found = [
        t.say(
            "{n} of class {letter} ({size} mm)",
            n=t.number(service.counts[letter]),
            letter=letter,
            size=size,
        )
        for letter, size in classes
        if service.counts.get(letter)
    ]
    return t.say(
        "{when}: {what}.", when=service.name, what=t.listing(found) or t.say("no flakes found")
    )
