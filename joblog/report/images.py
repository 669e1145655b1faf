"""Photos made small enough to hand over: upright, without location data, one size once."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from io import BytesIO

from PIL import Image, ImageOps

Media = Callable[[str], bytes]

_QUALITY = 80
_LARGE, _SMALL = 1000, 640  # longest side in pixels: 85 mm at 300 dpi, 55 mm at 300 dpi
_MANY = 24  # above this many photos the file is kept small instead
_WORKERS = 2


@dataclass(frozen=True)
class Shown:
    """A picture as the report shows it. ``key`` is the SHA-256 of its bytes."""

    key: str
    data: bytes
    width: int
    height: int


@lru_cache(maxsize=256)
def _shrink(_sha256: str, side: int, source: _Bytes) -> Shown | None:
    try:
        with Image.open(BytesIO(source.data)) as opened:
            # A large JPEG is decoded at a fraction of its size, never below what is shown.
            least = side / max(opened.size)
            opened.draft("RGB", (int(opened.width * least), int(opened.height * least)))
            upright = ImageOps.exif_transpose(opened)
            small = _on_white(upright)
            small.thumbnail((side, side), Image.Resampling.LANCZOS, reducing_gap=2.0)
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError, MemoryError):
        return None
    out = BytesIO()
    # A fresh image carries no EXIF, so no place and no owner leave the shop.
    small.save(out, "JPEG", quality=_QUALITY, subsampling=2)
    data = out.getvalue()
    return Shown(hashlib.sha256(data).hexdigest(), data, small.width, small.height)


@dataclass(frozen=True)
class _Bytes:
    """Bytes that compare by their hash, so that the cache needn't compare pictures."""

    sha256: str
    data: bytes

    def __hash__(self) -> int:
        return hash(self.sha256)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Bytes) and other.sha256 == self.sha256


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


def forget() -> None:
    """Forget the pictures that were made small; the next report makes them anew."""
    _shrink.cache_clear()


def size_of(data: bytes) -> tuple[int, int]:
    """Return width and height of a picture in pixels."""
    with Image.open(BytesIO(data)) as opened:
        return opened.width, opened.height


def shown_pictures(wanted: Sequence[str], media: Media) -> dict[str, Shown]:
    """Return what can be shown of the photos ``wanted`` (SHA-256), by SHA-256.

    A photo that ``media`` doesn't have (KeyError, OSError or any of the house's errors) or that
    can't be read is left out: the report says so in its place.
    """
    unique = list(dict.fromkeys(wanted))
    side = _LARGE if len(unique) <= _MANY else _SMALL

    def one(sha256: str) -> Shown | None:
        try:
            data = media(sha256)
        except Exception:  # noqa: BLE001  # whatever the store says, the report goes on without it
            return None
        return _shrink(sha256, side, _Bytes(sha256, data))

    with ThreadPoolExecutor(_WORKERS) as pool:
        found = list(pool.map(one, unique))
    return {sha: shown for sha, shown in zip(unique, found, strict=True) if shown is not None}


def logo_png(data: bytes) -> bytes | None:
    """Return a logo as PNG of at most 600 pixels, or None where it can't be read."""
    try:
        with Image.open(BytesIO(data)) as opened:
            logo = ImageOps.exif_transpose(opened).convert("RGBA")
            logo.thumbnail((600, 600), Image.Resampling.LANCZOS)
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError, MemoryError):
        return None
    out = BytesIO()
    logo.save(out, "PNG", optimize=True)
    return out.getvalue()
