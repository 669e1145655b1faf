"""The job as a time line: steps, photos, findings, and waits with their reading windows."""

from __future__ import annotations

from dataclasses import dataclass, field

from joblog.report.charts.svg import (
    INK,
    LINE,
    PALE,
    SOFT,
    Drawing,
    shortened,
    text_width,
)
from joblog.report.language import Language
from joblog.report.model import Chart

_WIDTH, _LEFT, _LANE = 482.0, 118.0, 19.0
_NICE_SECONDS = (10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 28800, 86400)


@dataclass(frozen=True)
class Wait:
    """A wait and its window, in seconds from the start of the job; ``closes`` may be open-ended."""

    name: str
    start: float
    opens: float
    closes: float | None
    readings: tuple[float, ...] = ()
    taken: str = ""  # when they were, in words: '34 s'


@dataclass(frozen=True)
class Moments:
    """What happened when, in seconds from the start of the job."""

    length: float
    steps: list[tuple[int, float]] = field(default_factory=list)
    photos: list[float] = field(default_factory=list)
    findings: list[float] = field(default_factory=list)
    waits: list[Wait] = field(default_factory=list)


def timeline_chart(t: Language, key: str, moments: Moments, clock: list[str], accent: str) -> Chart:
    """Return the time line; ``clock`` is the time of day at the start and at the end."""
    length = max(moments.length, 1.0)
    scale = (_WIDTH - _LEFT - 8) / length
    lanes = 1 + bool(moments.photos) + bool(moments.findings) + len(moments.waits)
    height = 30 + lanes * _LANE + 20
    drawing = Drawing(key, _WIDTH, height, accent)
    _axis(t, drawing, length, scale, clock)
    y = 34.0
    _lane(drawing, y, t.say("steps"))
    _steps(drawing, moments.steps, y, scale)
    if moments.photos:
        y += _LANE
        _lane(drawing, y, t.say("photos"))
        for at in moments.photos:
            drawing.rect(_LEFT + at * scale - 2.5, y - 2.5, 5, 5, fill=INK)
    if moments.findings:
        y += _LANE
        _lane(drawing, y, t.say("findings"))
        for at in moments.findings:
            x = _LEFT + at * scale
            drawing.path(f"M{x:.2f} {y - 4:.2f}l4 4l-4 4l-4 -4z", fill="#fff", stroke=INK, width=1)
    for wait in moments.waits:
        y += _LANE
        _lane(drawing, y, wait.name)
        _wait(drawing, wait, y, scale, length)
    _legend(t, drawing, moments, height)
    title = t.say("The job as a time line")
    text = _in_words(t, moments, clock)
    return Chart(key, title, text, drawing.svg(title, text))


def _axis(t: Language, drawing: Drawing, length: float, scale: float, clock: list[str]) -> None:
    height = drawing.height
    step = next((s for s in _NICE_SECONDS if length / s <= 8), 86400)
    drawing.text(_LEFT, 8, clock[0], bold=True)
    drawing.text(_WIDTH, 8, clock[1], anchor="end", bold=True)
    second = 0
    while second <= length:
        x = _LEFT + second * scale
        drawing.line(x, 22, x, height - 22, stroke=LINE, width=0.5)
        if x < _WIDTH - 20:
            drawing.text(
                x, 20, t.span(second) if second else "0", size=7, anchor="middle", fill=SOFT
            )
        second += step


def _lane(drawing: Drawing, y: float, name: str) -> None:
    lines = _two_lines(name)
    for i, line in enumerate(lines):
        drawing.text(0, y + 3 + 8.5 * (i - (len(lines) - 1) / 2), line)
    drawing.line(_LEFT, y, _WIDTH, y, stroke=LINE, width=0.4)


def _two_lines(name: str) -> list[str]:
    """Return a lane's name as one line or two; what two can't hold is cut with an ellipsis."""
    room, words = _LEFT - 8, name.split()
    first = next(
        (n for n in range(len(words), 0, -1) if text_width(" ".join(words[:n]), 8) <= room), 1
    )
    parts = [" ".join(words[:first]), " ".join(words[first:])]
    return [shortened(part, room, 8) for part in parts if part]


def _steps(drawing: Drawing, steps: list[tuple[int, float]], y: float, scale: float) -> None:
    free = 0.0
    for number, at in steps:
        x = _LEFT + at * scale
        drawing.line(x, y - 5, x, y + 5, stroke=drawing.accent, width=1.6)
        width = text_width(str(number), 7)
        if x - width / 2 >= free:  # a number that would touch the one before is left out
            drawing.text(x, y - 6.5, str(number), size=7, anchor="middle")
            free = x + width / 2 + 2


def _wait(drawing: Drawing, wait: Wait, y: float, scale: float, length: float) -> None:
    def at(seconds: float) -> float:
        return _LEFT + min(max(seconds, 0.0), length) * scale

    end = length if wait.closes is None else wait.closes
    drawing.rect(
        at(wait.start),
        y - 4,
        at(wait.opens) - at(wait.start),
        8,
        fill="hatch",
        stroke=SOFT,
        line=0.5,
    )
    drawing.rect(
        at(wait.opens), y - 6, max(at(end) - at(wait.opens), 2), 12, fill=PALE, stroke=INK, line=1.1
    )
    for reading in wait.readings:
        x = at(reading)
        drawing.path(f"M{x - 3.5:.2f} {y - 7:.2f}h7l-3.5 7z", fill=INK)


def _legend(t: Language, drawing: Drawing, moments: Moments, height: float) -> None:
    if not moments.waits:
        return
    x, y = _LEFT, height - 10
    drawing.rect(x, y, 14, 7, fill="hatch", stroke=SOFT, line=0.5)
    x = _key(drawing, x + 18, y, t.say("waiting"))
    drawing.rect(x, y - 1, 14, 9, fill=PALE, stroke=INK, line=1.1)
    x = _key(drawing, x + 18, y, t.say("time to read"))
    drawing.path(f"M{x:.2f} {y:.2f}h7l-3.5 7z", fill=INK)
    _key(drawing, x + 11, y, t.say("reading taken"))


def _key(drawing: Drawing, x: float, y: float, words: str) -> float:
    drawing.text(x, y + 6.5, words, size=7.5)
    return x + text_width(words, 7.5) + 14


def _in_words(t: Language, moments: Moments, clock: list[str]) -> str:
    parts = [
        t.say(
            "From {start} to {end}: {steps}, {photos}, {findings}.",
            start=clock[0],
            end=clock[1],
            steps=t.count("{n} step", "{n} steps", len(moments.steps)),
            photos=t.count("{n} photo", "{n} photos", len(moments.photos)),
            findings=t.count("{n} finding", "{n} findings", len(moments.findings)),
        )
    ]
    for wait in moments.waits:
        opens = t.span(round(wait.opens - wait.start))
        said = t.say("{name}: wait {opens}", name=wait.name, opens=opens)
        if wait.closes is not None:
            closes = t.span(round(wait.closes - wait.start))
            said = t.say(
                "{name}: read between {opens} and {closes}",
                name=wait.name,
                opens=opens,
                closes=closes,
            )
        if wait.taken:
            said += "; " + t.say("read at {taken}", taken=wait.taken)
        parts.append(said + ".")
    return " ".join(parts)
