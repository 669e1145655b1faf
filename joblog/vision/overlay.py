"""The measured photo: what was measured, drawn so that a customer sees it at arm's length.

One number in large print below the picture, the outline of what was measured, a bar for scale and,
on a dipstick, the marks (0 % and 100 %) and the level. Words stand below the picture alone, so that
a report in another language can cut them off; they come from ``WORDS`` and can be replaced.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from joblog.vision.overlay_pen import (
    DASHED,
    DOTTED,
    SOLID,
    TOP_FIRST,
    Pen,
    Spot,
    captioned,
)
from joblog.vision.types import (
    DipstickReading,
    Ellipse,
    FluidReading,
    Photo,
    PlugReading,
    Point,
    Reading,
)

WORDS: Mapping[str, str] = {
    "level": "Level {percent} %",
    "below": "Level {percent} % below the lower mark",
    "above": "Level {percent} % above the upper mark",
    "level_detail": "± {percent} % of the distance between the marks",
    "film": "Film on {percent} % of the magnet",
    "film_detail": "give or take {percent} %",
    "no_flakes": "no metal flakes of 0.3 mm or more found; small ones may not be seen",
    "one_flake": "1 metal flake found, {length} mm long; smaller ones may not be seen",
    "flakes": "{count} metal flakes found, the longest {length} mm; smaller ones may not be seen",
    "fluid": "Fluid colour, lightness {lightness} of 100",
    "fluid_detail": "L* {l}  a* {a}  b* {b}, the paper taken as white",
    "not_measured": "Not measured",
}
SMALL, LARGE = 0.85, 1.1  # of the pen's size: marks and lengths, and the level itself
PLUG_FIELD = 1.35  # side of a compared picture, in plug diameters


def draw_overlay(
    photo: Photo, reading: Reading, *, max_px: int = 1600, words: Mapping[str, str] = WORDS
) -> Image.Image:
    """Return a copy of the photo, long side about ``max_px`` at most, with the reading drawn on it.

    A reading that isn't usable gives the photo with its reason below. ``words`` replaces the
    English words, key by key.
    """
    said = {**WORDS, **words}
    factor = _factor(photo, max_px)
    image = Image.fromarray(photo.rgb)
    if factor != 1.0:
        size = (round(image.width * factor), round(image.height * factor))
        image = image.resize(size, Image.Resampling.LANCZOS)
    pen = Pen(image)
    if not reading.usable:
        return captioned(image, said["not_measured"], reading.why or "")

    def at(point: Point) -> Point:
        x, y = ((value + 0.5) / photo.scale * factor - 0.5 for value in point)
        return x, y

    place = _Placing(at, photo.scale / factor)
    if isinstance(reading, DipstickReading):
        return _dipstick(pen, reading, place, said)
    if isinstance(reading, PlugReading):
        return _plug(pen, reading, place, said)
    return _fluid(pen, reading, place, said)


def overlay_jpeg(
    photo: Photo, reading: Reading, max_px: int = 1600, *, words: Mapping[str, str] = WORDS
) -> bytes:
    """Return :func:`draw_overlay` as a JPEG without any notes of the camera's."""
    buffer = io.BytesIO()
    draw_overlay(photo, reading, max_px=max_px, words=words).save(
        buffer, "JPEG", quality=88, optimize=True
    )
    return buffer.getvalue()


@dataclass(frozen=True)
class _Placing:
    """Where a point of the original lies in the drawn picture; ``shrink`` is original per drawn."""

    at: Callable[[Point], Point]
    shrink: float

    def __call__(self, point: Point) -> Point:
        return self.at(point)


def _factor(photo: Photo, max_px: int) -> float:
    """Return how much to enlarge or shrink: words need about 900 pixels to be crisp."""
    long_side = max(photo.rgb.shape[:2])
    return float(min(max_px / long_side, max(1.0, 900 / long_side)))


def _dipstick(
    pen: Pen, reading: DipstickReading, place: _Placing, said: Mapping[str, str]
) -> Image.Image:
    lower, upper, wet = (
        place(p) for p in (reading.lower_mark_px, reading.upper_mark_px, reading.wet_edge_px) if p
    )
    edges = [place(p) for p in reading.blade_edges_at_level_px]
    across = np.subtract(edges[1], edges[0]) if len(edges) == 2 else np.array([0.0, 60.0])
    _blade_sides(pen, [place(p) for p in reading.axis_px], float(np.hypot(*across)) / 2)
    level = reading.level_fraction or 0.0
    lines = [
        _Line(wet, across * 1.1, _percent(level), SOLID, 2.2, LARGE),
        _Line(lower, across * 0.75, _percent(0.0), DASHED, 1.0, SMALL),
        _Line(upper, across * 0.75, _percent(1.0), DASHED, 1.0, SMALL),
    ]
    for line in reversed(lines):
        pen.path(line.ends, style=line.style, weight=line.weight)
        pen.keep_clear(line.ends)
    for line in lines:
        _named_line(pen, line)
    if reading.mark_distance_mm:
        pixels = float(np.hypot(*np.subtract(upper, lower)))
        pen.scale_bar(reading.mark_distance_mm / max(pixels, 1.0))
    title = _level_words(reading.level_fraction or 0.0, said)
    detail = said["level_detail"].format(percent=_whole(reading.level_uncertainty or 0.0))
    return captioned(pen.image, title, detail)


def _blade_sides(pen: Pen, axis: list[Point], half: float) -> None:
    """Draw the blade's two sides thinly, dotted, next to its axis; words keep off the blade."""
    if len(axis) < 3:
        return
    points = np.array(axis)
    along = np.gradient(points, axis=0)
    along /= np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-9)[:, None]
    normal = np.stack([-along[:, 1], along[:, 0]], axis=1)
    sides = [
        [(float(x), float(y)) for x, y in points + sign * half * 1.06 * normal] for sign in (-1, 1)
    ]
    for side in sides:
        pen.path(side, style=DOTTED, weight=0.6)
    pen.keep_clear([*sides[0], *reversed(sides[1])])


def _percent(share: float) -> str:
    """Return a place between the marks in figures, which every reader understands."""
    return f"{_whole(share)} %"


def _whole(share: float) -> int:
    """Return a share in whole per cent, of what is recorded and as the report rounds it."""
    return int((Decimal(f"{share:.4f}") * 100).to_integral_value(ROUND_HALF_UP))


def _tenths(length_mm: float) -> str:
    """Return a length to a tenth, of what is recorded and as the report rounds it."""
    return str(Decimal(f"{length_mm:.3f}").quantize(Decimal("0.1"), ROUND_HALF_UP))


def _level_words(level: float, said: Mapping[str, str]) -> str:
    """Return the level in words: between the marks from the lower one, outside from the nearer."""
    percent = _whole(level)
    if percent < 0:
        return said["below"].format(percent=-percent)
    if percent > 100:
        return said["above"].format(percent=percent - 100)
    return said["level"].format(percent=percent)


@dataclass(frozen=True)
class _Line:
    """A line straight across the blade at ``spot``; ``half`` is half of it."""

    spot: Point
    half: NDArray[np.float64]
    name: str
    style: tuple[float, float]
    weight: float
    scale: float  # of its name

    @property
    def ends(self) -> list[Point]:
        x, y = self.spot
        dx, dy = (float(v) for v in self.half)
        return [(x + dx, y + dy), (x - dx, y - dy)]


def _named_line(pen: Pen, line: _Line) -> None:
    """Write a line's name at one of its ends, the one with more room first, or further out."""
    width, height = pen.image.size
    ends = sorted(line.ends, key=lambda p: -min(p[0], width - p[0]) - min(p[1], height - p[1]))
    spots = []
    for reach in (0.5, 1.2, 2.0, 3.0):
        for end in ends:
            away = np.subtract(end, line.spot)
            away = away / max(float(np.hypot(*away)), 1e-9) * pen.size * reach
            if abs(away[0]) > abs(away[1]) * 0.5:
                anchor = "lm" if away[0] > 0 else "rm"
            else:
                anchor = "mt" if away[1] > 0 else "mb"
            spots.append(Spot((end[0] + float(away[0]), end[1] + float(away[1])), anchor, end))
    pen.words(spots, line.name, scale=line.scale)


def _plug(pen: Pen, reading: PlugReading, place: _Placing, said: Mapping[str, str]) -> Image.Image:
    rim = _ring(reading.rim, place) if reading.rim else []
    pen.path(rim, closed=True, style=DASHED)
    magnet = _ring(reading.magnet, place) if reading.magnet else []
    if magnet:
        pen.path(magnet, closed=True)
        pen.keep_clear(magnet)
    for outline in reading.film_outlines_px:
        pen.path([place(p) for p in outline], closed=True, style=DOTTED, weight=0.6)
    for number, flake in enumerate(reading.flakes):
        edge = [place(p) for p in flake.outline_px]
        pen.path(edge, closed=True, weight=0.8)
        if number == 0 and edge:
            _flake_label(pen, edge, f"{_tenths(flake.length_mm)} mm", magnet or edge)
    if rim:
        pen.keep_clear(rim)
    if reading.mm_per_px:
        pen.scale_bar(reading.mm_per_px * place.shrink)
    title = said["film"].format(percent=_whole(reading.film_coverage or 0.0))
    detail = _flake_words(reading, said)
    if reading.film_uncertainty is not None:
        doubt = said["film_detail"].format(percent=_whole(reading.film_uncertainty))
        detail = f"{doubt}; {detail}"
    return captioned(pen.image, title, detail)


def _flake_label(pen: Pen, flake: list[Point], label: str, magnet: list[Point]) -> None:
    """Write a flake's length beside the magnet, with a line to it: it covers nothing measured."""
    gap = pen.size * 0.5
    (left, top), (right, bottom) = np.min(magnet, axis=0), np.max(magnet, axis=0)
    east, west = max(flake), min(flake)
    north, south = min(flake, key=lambda p: p[1]), max(flake, key=lambda p: p[1])
    spots = [
        Spot((max(east[0], float(right)) + gap, east[1]), "lm", east),
        Spot((min(west[0], float(left)) - gap, west[1]), "rm", west),
        Spot((north[0], min(north[1], float(top)) - gap), "mb", north),
        Spot((south[0], max(south[1], float(bottom)) + gap), "mt", south),
    ]
    pen.words(spots, label, scale=SMALL)


def _flake_words(reading: PlugReading, said: Mapping[str, str]) -> str:
    count = len(reading.flakes)
    length = _tenths(reading.longest_flake_mm or 0.0)
    if count == 0:
        return said["no_flakes"]
    key = "one_flake" if count == 1 else "flakes"
    return said[key].format(count=count, length=length)


def _ring(ellipse: Ellipse, place: _Placing) -> list[Point]:
    turn = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    angle = np.radians(ellipse.angle_deg)
    a, b = ellipse.semi_axes
    x, y = a * np.cos(turn), b * np.sin(turn)
    xs = ellipse.center[0] + x * np.cos(angle) - y * np.sin(angle)
    ys = ellipse.center[1] + x * np.sin(angle) + y * np.cos(angle)
    return [place((float(px), float(py))) for px, py in zip(xs, ys, strict=True)]


def _fluid(
    pen: Pen, reading: FluidReading, place: _Placing, said: Mapping[str, str]
) -> Image.Image:
    outline = [place(p) for p in reading.blot_outline_px]
    pen.path(outline, closed=True, style=DASHED)
    if len(outline) > 2:
        pen.keep_clear(outline)
    if reading.srgb:
        _patch(pen, reading.srgb)
    lab = reading.lab or (0.0, 0.0, 0.0)
    detail = said["fluid_detail"].format(l=round(lab[0]), a=round(lab[1]), b=round(lab[2]))
    return captioned(pen.image, said["fluid"].format(lightness=round(lab[0])), detail)


def _patch(pen: Pen, colour: tuple[int, int, int]) -> None:
    """Fill an empty corner with the colour that was measured."""
    side, edge = max(pen.image.size) / 10, pen.width
    x, y = pen.corner(side, side, order=TOP_FIRST)
    for more, fill in ((2 * edge, (0, 0, 0)), (edge, (255, 255, 255)), (0, colour)):
        pen.draw.rectangle((x - more, y - more, x + side + more, y + side + more), fill=fill)


def side_by_side(
    before: tuple[Photo, PlugReading],
    after: tuple[Photo, PlugReading],
    *,
    names: tuple[str, str] = ("before", "after"),
    side_px: int = 760,
    words: Mapping[str, str] = WORDS,
) -> Image.Image:
    """Return two plug photos beside each other at the same scale in mm, with what was measured.

    A reading without a scale (not usable) is shown whole, and its caption says why.
    """
    usable = [r for _, r in (before, after) if r.usable and r.mm_per_px and r.magnet]
    field = max((_field_mm(r) for r in usable), default=0.0)
    said = {**WORDS, **words}
    halves = [
        _half(photo, reading, name, field_mm=field, side_px=side_px, said=said)
        for (photo, reading), name in zip((before, after), names, strict=True)
    ]
    gap = round(side_px / 40)
    height = max(half.height for half in halves)
    whole = Image.new("RGB", (2 * side_px + gap, height), (255, 255, 255))
    whole.paste(halves[0], (0, 0))
    whole.paste(halves[1], (side_px + gap, 0))
    return whole


def _field_mm(reading: PlugReading) -> float:
    return PLUG_FIELD * float(reading.plug_diameter_mm or 2 * (reading.magnet_diameter_mm or 10.0))


def _half(
    photo: Photo,
    reading: PlugReading,
    name: str,
    *,
    field_mm: float,
    side_px: int,
    said: Mapping[str, str],
) -> Image.Image:
    if not (reading.usable and reading.mm_per_px and reading.magnet):
        image = Image.fromarray(photo.rgb)
        image.thumbnail((side_px, side_px))
        square = Image.new("RGB", (side_px, side_px), (255, 255, 255))
        square.paste(image, ((side_px - image.width) // 2, (side_px - image.height) // 2))
        return captioned(square, f"{name}: {said['not_measured']}", reading.why or "")
    # pixels of the working picture that the field covers, and where it starts
    span = field_mm / reading.mm_per_px / photo.scale
    x, y = ((value + 0.5) / photo.scale for value in reading.magnet.center)
    box = (x - span / 2, y - span / 2, x + span / 2, y + span / 2)
    square = Image.fromarray(photo.rgb).transform(
        (side_px, side_px), Image.Transform.EXTENT, box, Image.Resampling.BICUBIC, fillcolor="white"
    )
    factor = side_px / span

    def at(point: Point) -> Point:
        return (
            ((point[0] + 0.5) / photo.scale - box[0]) * factor - 0.5,
            ((point[1] + 0.5) / photo.scale - box[1]) * factor - 0.5,
        )

    drawn = _plug(Pen(square), reading, _Placing(at, photo.scale / factor), said)
    return _named(drawn, name)


def _named(image: Image.Image, name: str) -> Image.Image:
    pen = Pen(image)
    at = (pen.size * 0.6, pen.size * 0.4)
    pen.words([Spot(at, "lt", at)], name, scale=LARGE)
    return image
