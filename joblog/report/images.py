"""Photos made small enough to hand over: upright, without location data, one size once."""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from io import BytesIO

from PIL import Image, ImageOps

Media = Callable[[str], bytes]

_QUALITY = 80
_LARGE, _SMALL = 1000, 640  # longest side in pixels: 85 mm at 300 dpi, 55 mm at 300 dpi
_MANY = 24  # above this many photos the file is kept small instead
_WORKERS = 2
_ORIENTATION, _LYING = 274, range(5, 9)  # EXIF 2.32: tag 0x0112; 5 to 8 lie on their side


@dataclass(frozen=True)
class Shown:
    """A picture as the report shows it. ``key`` is the SHA-256 of its bytes.

    ``copied``: made from a copy cleared of its place, for which no hash in the record vouches.
    """

    key: str
    data: bytes
    width: int
    height: int
    copied: bool = False


def _opened(data: bytes) -> Image.Image:
    """Open a picture without decoding it; HEIC needs its reader, where that is installed."""
    if data[4:8] == b"ftyp":
        with contextlib.suppress(ImportError):
            import pi_heif

            pi_heif.register_heif_opener()
    return Image.open(BytesIO(data))


@lru_cache(maxsize=256)
def _shrink(_sha256: str, side: int, source: _Bytes, ratio: Fraction | None = None) -> Shown | None:
    try:
        with _opened(source.let_go()) as opened:
            # A large JPEG is decoded at a fraction of its size, never below what is shown.
            least = side / max(opened.size)
            opened.draft("RGB", (int(opened.width * least), int(opened.height * least)))
            upright = ImageOps.exif_transpose(opened)
            small = _without_band(_on_white(upright), ratio)
            small.thumbnail((side, side), Image.Resampling.LANCZOS, reducing_gap=2.0)
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError, MemoryError):
        return None
    out = BytesIO()
    # A fresh image carries no EXIF, so no place and no owner leave the shop.
    small.save(out, "JPEG", quality=_QUALITY, subsampling=2)
    data = out.getvalue()
    return Shown(hashlib.sha256(data).hexdigest(), data, small.width, small.height)


class _Bytes:
    """Bytes that compare by their hash, and that the cache doesn't keep beside the small picture.

    A phone's photo has several million of them, and the cache some hundred pictures.
    """

    def __init__(self, sha256: str, data: bytes) -> None:
        self.sha256 = sha256
        self.data = data

    def let_go(self) -> bytes:
        """Return the bytes, for the last time."""
        data, self.data = self.data, b""
        return data

    def __hash__(self) -> int:
        return hash(self.sha256)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Bytes) and other.sha256 == self.sha256


def _without_band(image: Image.Image, ratio: Fraction | None) -> Image.Image:
    """Return a measured photo without the band of English words that was set below it.

    ``ratio`` is height over width of the photo itself. The report says the same beneath the
    picture, in the reader's language.
    """
    height = image.height if ratio is None else round(image.width * ratio)
    return image if height >= image.height else image.crop((0, 0, image.width, height))


def _ratio(data: bytes) -> Fraction | None:
    """Return height over width of a photo as it is seen upright, None where it can't be read."""
    try:
        with _opened(data) as opened:
            width, height = opened.size
            turned = opened.getexif().get(_ORIENTATION, 1) in _LYING
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        return None
    return Fraction(width, height) if turned else Fraction(height, width)


def _on_white(image: Image.Image) -> Image.Image:
    if image.mode in {"RGBA", "LA", "PA"} or "transparency" in image.info:
        layer = image.convert("RGBA")
        paper = Image.new("RGBA", layer.size, "white")
        return Image.alpha_composite(paper, layer).convert("RGB")
    return image.convert("RGB")


def shrink(data: bytes, side: int = _LARGE) -> Shown | None:
    """Return a picture no longer than ``side``, or None where it can't be read."""
    sha256 = hashlib.sha256(data).hexdigest()
    return _shrink(sha256, side, _Bytes(sha256, data))


def window(data: bytes, middle: tuple[float, float], span: float, side: int) -> Image.Image | None:
    """Return a square part of a picture, ``side`` pixels large, white beyond the picture's border.

    ``middle`` and ``span`` are in pixels of the upright picture as it was taken, the centre of the
    top left one at (0, 0). None where it can't be read.
    """
    try:
        with _opened(data) as opened:
            full = max(opened.size)
            least = min(1.0, side / span)
            # At least 1: what is far too wide for the picture is white, and fails nobody's report.
            width, height = (max(1, int(n * least)) for n in opened.size)
            opened.draft("RGB", (width, height))
            upright = _on_white(ImageOps.exif_transpose(opened))
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError, MemoryError):
        return None
    factor = max(upright.size) / full
    x, y, half = (middle[0] + 0.5) * factor, (middle[1] + 0.5) * factor, span * factor / 2
    box = (x - half, y - half, x + half, y + half)
    how = Image.Resampling.BICUBIC
    return upright.transform((side, side), Image.Transform.EXTENT, box, how, fillcolor="white")


def forget() -> None:
    """Forget the pictures that were made small; the next report makes them anew."""
    _shrink.cache_clear()


def size_of(data: bytes) -> tuple[int, int]:
    """Return width and height of a picture in pixels."""
    with _opened(data) as opened:
        return opened.width, opened.height


def shown_pictures(
    wanted: Sequence[str],
    media: Media,
    drawn_on: Mapping[str, str] | None = None,
    copies: Media | None = None,
) -> dict[str, Shown]:
    """Return what can be shown of the photos ``wanted`` (SHA-256), by SHA-256.

    A photo that ``media`` doesn't have (KeyError, OSError or any of the house's errors) or that
    can't be read is left out: the report says so in its place. ``copies`` gives a cleared copy of
    one that ``media`` doesn't have. ``drawn_on`` names the photo that a drawing of its measurement
    was made on.
    """
    unique = list(dict.fromkeys(wanted))
    side = _LARGE if len(unique) <= _MANY else _SMALL

    def one(sha256: str) -> Shown | None:
        for source in (media, copies):
            data = _given(source, sha256)
            if data is not None:
                content = sha256 if source is media else hashlib.sha256(data).hexdigest()
                shown = _shrink(content, side, _Bytes(content, data), bare(sha256))
                return replace(shown, copied=source is not media) if shown else None
        return None

    def bare(sha256: str) -> Fraction | None:
        photo = (drawn_on or {}).get(sha256)
        found = (_given(source, photo) for source in (media, copies)) if photo else ()
        data = next((each for each in found if each is not None), None)
        return None if data is None else _ratio(data)  # without it the drawing is shown as it is

    with ThreadPoolExecutor(_WORKERS) as pool:
        found = list(pool.map(one, unique))
    return {sha: shown for sha, shown in zip(unique, found, strict=True) if shown is not None}


def _given(source: Media | None, sha256: str) -> bytes | None:
    """Return what a source gives, None where it has nothing."""
    try:
        return source(sha256) if source else None
    except Exception:  # noqa: BLE001  # whatever the store says, the report goes on without it
        return None


def logo_png(data: bytes) -> bytes | None:
    """Return a logo as PNG of at most 600 pixels, or None where it can't be read."""
    try:
        with _opened(data) as opened:
            logo = ImageOps.exif_transpose(opened).convert("RGBA")
            logo.thumbnail((600, 600), Image.Resampling.LANCZOS)
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError, MemoryError):
        return None
    out = BytesIO()
    logo.save(out, "PNG", optimize=True)
    return out.getvalue()
