"""Lines and words that stay legible on any picture, in print and in greyscale.

Lines are white inside a black halo, words black on a white plate; meanings are told apart by the
kind of line (solid, dashed, dotted) and by words, never by colour. The font is Pillow's own.

Words find their own place: of several the first that covers least of what was measured and of what
stands there already.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from PIL import Image, ImageDraw, ImageFont

Pixel = tuple[float, float]
SOLID = (1.0, 0.0)
DASHED = (5.0, 3.0)
DOTTED = (1.2, 2.2)
# Of a picture's long side: words so large are 7 points high where the report shows it 45 mm wide.
WORDS_PER_SIDE = 15
BOTTOM_FIRST = ("bottom left", "bottom right", "top left", "top right")
TOP_FIRST = ("top right", "top left", "bottom right", "bottom left")
_BUSY_PX = 4  # of the picture, one of the map of what must not be covered
_MEASURED, _WORDS = 1, 8  # how bad it is to cover the thing measured, and other words


@lru_cache(maxsize=16)
def font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    """Return Pillow's built-in font at a size in pixels."""
    return ImageFont.load_default(size)


class Spot(NamedTuple):
    """A place for a word: ``anchor`` is Pillow's, ``start`` where a thin line to it begins."""

    at: Pixel
    anchor: str
    start: Pixel


class Pen:
    """Draws on one picture; ``width`` is a line's width in pixels, ``size`` that of words."""

    def __init__(self, image: Image.Image) -> None:
        self.image = image
        self.draw = ImageDraw.Draw(image)
        long_side = max(image.size)
        self.width = max(2, round(long_side / 400))
        self.size = max(14, round(long_side / WORDS_PER_SIDE))
        self._busy = Image.new("L", [side // _BUSY_PX + 1 for side in image.size])

    def path(
        self,
        points: Sequence[Pixel],
        *,
        closed: bool = False,
        style: tuple[float, float] = SOLID,
        weight: float = 1.0,
    ) -> None:
        """Draw a line through points, (x, y) pixels, in a style: on and off in line widths."""
        if len(points) < 2:
            return
        route = [*points, points[0]] if closed else list(points)
        width = max(1, round(self.width * weight))
        pieces = _pieces(route, style, width)
        for colour, extra in (((0, 0, 0), 2 * max(1, round(width * 0.6))), ((255, 255, 255), 0)):
            for piece in pieces:
                self.draw.line(piece, fill=colour, width=width + extra, joint="curve")

    def keep_clear(self, points: Sequence[Pixel]) -> None:
        """Say that words had better not cover the area (or line) with these corners."""
        corners = [(x / _BUSY_PX, y / _BUSY_PX) for x, y in points]
        draw = ImageDraw.Draw(self._busy)
        if len(corners) > 2:
            draw.polygon(corners, fill=_MEASURED)
        draw.line(corners, fill=_MEASURED, width=2)

    def covers(self, box: Sequence[float]) -> float:
        """Return how much of a box (left, top, right, bottom) covers what should stay clear."""
        left, top, right, bottom = (max(0, int(v / _BUSY_PX)) for v in box)
        busy = np.asarray(self._busy)[top : bottom + 1, left : right + 1]
        return round(float(busy.mean()), 1) if busy.size else 0.0

    def words(self, spots: Sequence[Spot], text: str, *, scale: float = 1.0) -> None:
        """Write a word at the spot, of several, best first, where it covers least.

        It is kept inside the picture.
        """
        plates = [self._plate(spot.at, text, spot.anchor, scale) for spot in spots]
        best = min(range(len(plates)), key=lambda i: self.covers(plates[i]))
        if spots[best].start != spots[best].at:
            self.path([spots[best].start, spots[best].at], weight=0.6)
        self._write(plates[best], text, scale)

    def _plate(self, at: Pixel, text: str, anchor: str, scale: float) -> list[float]:
        """Return the box of the white plate of a word, moved into the picture."""
        pad, edge = round(self.size * scale / 6), max(2, round(self.width / 2))
        box = self.draw.textbbox(at, text, font=font(round(self.size * scale)), anchor=anchor)
        left, top, right, bottom = box[0] - pad, box[1] - pad, box[2] + pad, box[3] + pad
        width, height = self.image.size
        x = max(0, edge - left) - max(0, right - width + 1 + edge)
        y = max(0, edge - top) - max(0, bottom - height + 1 + edge)
        return [left + x, top + y, right + x, bottom + y]

    def _write(self, plate: list[float], text: str, scale: float) -> None:
        edge = max(2, round(self.width / 2))
        self.draw.rectangle(
            [v + d for v, d in zip(plate, (-edge, -edge, edge, edge), strict=True)], fill=(0, 0, 0)
        )
        self.draw.rectangle(plate, fill=(255, 255, 255))
        middle = ((plate[0] + plate[2]) / 2, (plate[1] + plate[3]) / 2)
        face = font(round(self.size * scale))
        left, top, right, bottom = self.draw.textbbox((0, 0), text, font=face)
        start = (middle[0] - (left + right) / 2, middle[1] - (top + bottom) / 2)
        self.draw.text(start, text, font=face, fill=(0, 0, 0))
        self.take(plate)

    def take(self, box: Sequence[float]) -> None:
        """Say that something stands in a box (left, top, right, bottom)."""
        ImageDraw.Draw(self._busy).rectangle([v / _BUSY_PX for v in box], fill=_WORDS)

    def corner(self, width: float, height: float, order: Sequence[str]) -> tuple[float, float]:
        """Return left and top of a box in the corner where it covers least.

        ``order`` names the corners, best first: "bottom left", "top right" and so on.
        """
        margin = self.size * 0.4
        left, top = margin, margin
        right, bottom = self.image.width - margin - width, self.image.height - margin - height
        spots = [
            (left if "left" in name else right, top if "top" in name else bottom) for name in order
        ]
        return min(spots, key=lambda spot: self.covers((*spot, spot[0] + width, spot[1] + height)))

    def scale_bar(self, mm_per_px: float) -> None:
        """Draw a bar of a round length in an empty corner, with its length in mm above it."""
        length = _round_length(0.3 * min(self.image.size) * mm_per_px)
        pixels, tick, text = length / mm_per_px, self.size * 0.22, f"{length:g} mm"
        plate = self._plate((self.image.width / 2, self.image.height / 2), text, "mm", 0.85)
        wide, high = plate[2] - plate[0], plate[3] - plate[1]
        apart = self.size * 0.2 + self.width * 2
        box = (max(pixels, wide), high + apart + 2 * tick)
        x, y = self.corner(*box, order=BOTTOM_FIRST)
        self._write([x, y, x + wide, y + high], text, 0.85)
        middle = y + high + apart + tick
        for spot in (x, x + pixels):
            self.path([(spot, middle - tick), (spot, middle + tick)], weight=1.6)
        self.path([(x, middle), (x + pixels, middle)], weight=2.4)
        self.take((x, y, x + box[0], y + box[1]))


def _pieces(route: Sequence[Pixel], style: tuple[float, float], width: int) -> list[list[Pixel]]:
    """Cut a route into the drawn pieces of its style."""
    if style[1] == 0:
        return [list(route)]
    points = np.asarray(route, np.float64)
    run = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    on, off = style[0] * width * 1.5, style[1] * width * 1.5
    pieces = []
    for start in np.arange(0, run[-1], on + off):
        end = min(start + on, run[-1])
        within = (run > start) & (run < end)
        places = np.concatenate([[start], run[within], [end]])
        x, y = (np.interp(places, run, points[:, k]) for k in range(2))
        pieces.append([(float(a), float(b)) for a, b in zip(x, y, strict=True)])
    return pieces


def _round_length(length: float) -> float:
    """Return the largest 1, 2 or 5 times a power of ten that isn't above ``length``."""
    power = 10.0 ** np.floor(np.log10(max(length, 1e-6)))
    return float(max(step * power for step in (1, 2, 5) if step * power <= length + 1e-12))


def captioned(image: Image.Image, title: str, line: str = "") -> Image.Image:
    """Return the picture with a white band below: one large line, and small ones."""
    width = image.width
    large = _fitting(title, max(20, round(width / 16)), width)
    small = max(13, round(width / 26))  # on a phone, 390 pixels wide, as large as its other text
    pad = round(large * 0.35)
    lines = _broken(line, small, width - 2 * pad)
    height = pad + large + round(small * 1.35) * len(lines) + pad
    whole = Image.new("RGB", (width, image.height + height), (255, 255, 255))
    whole.paste(image, (0, 0))
    draw = ImageDraw.Draw(whole)
    y = image.height + pad + large / 2
    draw.text((pad, y), title, font=font(large), anchor="lm", fill=(0, 0, 0))
    y += large / 2 + small * 0.75
    for part in lines:
        draw.text((pad, y), part, font=font(small), anchor="lm", fill=(0, 0, 0))
        y += small * 1.35
    return whole


def _broken(text: str, size: int, room: float) -> list[str]:
    """Return the text in lines that fit; a single word, or figure and unit, may be longer."""
    lines: list[str] = []
    probe = ImageDraw.Draw(Image.new("RGB", (8, 8)))
    for word in re.split(r"(?<!\d) ", text) if text else []:
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and probe.textlength(longer, font=font(size)) <= room:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def _fitting(text: str, size: int, width: int) -> int:
    """Return the largest size up to ``size`` at which a line of text fits."""
    probe = ImageDraw.Draw(Image.new("RGB", (8, 8)))
    length = probe.textlength(text, font=font(size)) if text else 0
    room = width - 0.8 * size
    return size if length <= room else max(10, int(size * room / length))
