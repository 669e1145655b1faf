"""Lines and words that stay legible on any picture, in print and in greyscale.

Lines are white inside a black halo, words black on a white plate; meanings are told apart by the
kind of line (solid, dashed, dotted) and by words, never by colour. The font is Pillow's own.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from PIL import Image, ImageDraw, ImageFont

Pixel = tuple[float, float]
SOLID = (1.0, 0.0)
DASHED = (5.0, 3.0)
DOTTED = (1.2, 2.2)
# Of a picture's long side: words so large are 7 points high where the report shows it 45 mm wide.
WORDS_PER_SIDE = 15


@lru_cache(maxsize=16)
def font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    """Return Pillow's built-in font at a size in pixels."""
    return ImageFont.load_default(size)


class Pen:
    """Draws on one picture; ``width`` is a line's width in pixels, ``size`` that of words."""

    def __init__(self, image: Image.Image) -> None:
        self.image = image
        self.draw = ImageDraw.Draw(image)
        long_side = max(image.size)
        self.width = max(2, round(long_side / 400))
        self.size = max(14, round(long_side / WORDS_PER_SIDE))

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

    def words(self, at: Pixel, text: str, *, anchor: str = "lm", scale: float = 1.0) -> None:
        """Write a word near a point, kept inside the picture; ``anchor`` is Pillow's."""
        face = font(round(self.size * scale))
        pad, edge = round(self.size * scale / 6), max(2, round(self.width / 2))
        left, top, right, bottom = self.draw.textbbox(at, text, font=face, anchor=anchor)
        width, height = self.image.size
        room = pad + edge
        x = max(0, room - left) - max(0, right - width + room)
        y = max(0, room - top) - max(0, bottom - height + room)
        plate = [left + x - pad, top + y - pad, right + x + pad, bottom + y + pad]
        self.draw.rectangle(
            [v + d for v, d in zip(plate, (-edge, -edge, edge, edge), strict=True)], fill=(0, 0, 0)
        )
        self.draw.rectangle(plate, fill=(255, 255, 255))
        self.draw.text((at[0] + x, at[1] + y), text, font=face, anchor=anchor, fill=(0, 0, 0))

    def scale_bar(self, mm_per_px: float) -> None:
        """Draw a bar of a round length in the lower left corner, with its length in mm."""
        length = _round_length(0.22 * self.image.width * mm_per_px)
        pixels = length / mm_per_px
        x, y = self.size * 0.4, self.image.height - self.size * 0.4
        tick = self.size * 0.25
        self.path([(x, y - tick), (x, y), (x + pixels, y), (x + pixels, y - tick)], weight=1.3)
        self.words((x + pixels / 2, y - tick * 1.6), f"{length:g} mm", anchor="mb", scale=0.85)


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
    large = _fitting(title, max(20, round(width / 17)), width)
    small = max(13, round(width / 34))
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
    """Return the text in lines that fit; a single word may be longer."""
    lines: list[str] = []
    probe = ImageDraw.Draw(Image.new("RGB", (8, 8)))
    for word in text.split():
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
