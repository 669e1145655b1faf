"""Read the labels in a photo: bar codes and two-dimensional codes, so that numbers aren't typed.

Formats that turn up in a workshop: Code 39, Code 128 and Data Matrix or QR (vehicle identification
numbers on door frames and windscreens), EAN/UPC, ITF and Code 128 (bottles and parts bags). What a
text means, such as a VIN and its check digit, is not this room's business.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from joblog.vision.load import load_photo
from joblog.vision.types import Photo, Polygon

BARS = frozenset({"Code 39", "Code 93", "Code 128", "EAN-8", "EAN-13", "UPC-A", "UPC-E"})
ITF = "ITF"  # has no sign for its end: a slanted look reads its beginning as if it were all
LEAST_ITF = 6  # figures: of fewer, any stripes may be one (a bottle's carton has 14)
# The library's names of what is read. Code 39 as its bars say: with all of its readings allowed, a
# part's PN/A-12 comes as PN!-12 ("extended"), and one in ten numbers of six signs as nine other
# figures (Code 32, a medicine's).
_LINES = (
    *("Code39Std", "Code93", "Code128", "EAN8", "EAN13", "UPCA", "UPCE", "ITF", "Codabar"),
    "DataBar",
)
_SQUARES = ("DataMatrix", "QRCode", "MicroQRCode", "RMQRCode", "Aztec", "PDF417")
# Degrees; quarter turns are tried in each look.
TURNS = (7.5, -7.5, 15, -15, 22.5, -22.5, 30, -30, 37.5, -37.5, 45)
LABEL_PX = 2800  # longest side: a Code 39 of 17 signs has about 300 bars side by side


@dataclass(frozen=True)
class Label:
    """One code: its ``format`` ("Code 39", "QR Code", ...), ``text`` and corners in the photo."""

    format: str
    text: str
    outline_px: Polygon = ()

    def to_json(self) -> dict[str, Any]:
        """Return plain JSON values."""
        return {
            "format": self.format,
            "text": self.text,
            "outline_px": [[round(x, 1), round(y, 1)] for x, y in self.outline_px],
        }


def load_for_labels(source: str | Path | bytes) -> Photo:
    """Read a picture at the larger size that fine bars need.

    Raises :class:`~joblog.errors.PhotoError` for a picture that can't be read.
    """
    return load_photo(source, working_side=LABEL_PX)


def read_labels(photo: Photo) -> list[Label]:
    """Return every code that reads without error, from left to right; none is an empty list.

    Each text is what the code's own check digits or error correction let through. A second look
    with evened-out contrast is taken only where the first finds nothing; and where no code of bars
    is found, it is looked for in light bars on dark (a plate that a laser marked) and, as bars are
    read along straight lines and so only nearly upright, in the picture turned.
    """
    found = _read(photo, photo.rgb)
    grey = cv2.cvtColor(photo.rgb, cv2.COLOR_RGB2GRAY)
    if not found:
        even = cv2.createCLAHE(clipLimit=3.0, tileGridSize=(8, 8)).apply(grey)
        found = _read(photo, np.ascontiguousarray(even))
    if not _has_bars(found):
        found += _read(photo, np.ascontiguousarray(255 - grey))
    if not _has_bars(found):
        found += _read_turned(photo, grey)
    found = _whole(found)
    found.sort(key=lambda label: min((x for x, _ in label.outline_px), default=0.0))
    return found


def _has_bars(labels: list[Label]) -> bool:
    return any(label.format in BARS for label in labels)


def _read_turned(photo: Photo, grey: NDArray[Any]) -> list[Label]:
    """Return the codes of bars that the first turn shows at which there are any; ITF of all."""
    height, width = grey.shape
    slanted: list[Label] = []
    for angle in TURNS:
        turn = cv2.getRotationMatrix2D((width / 2, height / 2), angle, 1.0)
        across, down = abs(turn[0, 0]), abs(turn[0, 1])
        size = (
            math.ceil(width * across + height * down),
            math.ceil(width * down + height * across),
        )
        turn[:, 2] += (size[0] - width) / 2, (size[1] - height) / 2  # nothing is cut off
        picture = cv2.warpAffine(grey, turn, size, borderMode=cv2.BORDER_REPLICATE)
        found = _read(photo, picture, cv2.invertAffineTransform(turn))
        if _has_bars(found):
            return [*slanted, *found]
        slanted += found
    return slanted


def _whole(labels: list[Label]) -> list[Label]:
    """Return each code once, without those that are a part of another's ITF."""
    once = list({(label.format, label.text): label for label in labels}.values())
    itf = [label for label in once if label.format == ITF]
    return [label for label in once if not any(_is_part(label, whole) for whole in itf)]


def _is_part(label: Label, whole: Label) -> bool:
    """Say whether an ITF is a piece of a longer one: of its figures, or read in the same place."""
    if label.format != ITF or len(label.text) >= len(whole.text):
        return False
    middle = np.mean(label.outline_px, axis=0)
    place = np.array(whole.outline_px, np.float32)
    inside = cv2.pointPolygonTest(place, (float(middle[0]), float(middle[1])), False) >= 0
    return label.text in whole.text or inside


def _read(photo: Photo, picture: Any, back: NDArray[Any] | None = None) -> list[Label]:
    """Return what ``picture`` holds; one that was turned, for bars alone, has its way ``back``."""
    import zxingcpp

    labels: dict[tuple[str, str], Label] = {}
    names = _LINES if back is not None else _LINES + _SQUARES
    formats = zxingcpp.BarcodeFormats([getattr(zxingcpp.BarcodeFormat, name) for name in names])
    for code in zxingcpp.read_barcodes(picture, formats=formats):
        name, text = _as_printed(_format_name(code.format), code.text.strip())
        if not code.valid or not text or (name == ITF and len(text) < LEAST_ITF):
            continue
        spot = code.position
        corners = (spot.top_left, spot.top_right, spot.bottom_right, spot.bottom_left)
        places = [(float(corner.x), float(corner.y)) for corner in corners]
        if back is not None:
            places = [(x, y) for x, y in np.array([(*place, 1.0) for place in places]) @ back.T]
        outline = photo.polygon_to_original(places)
        if back is not None and name not in BARS | {ITF}:
            continue
        labels.setdefault((name, text), Label(name, text, outline))
    return list(labels.values())


def _as_printed(name: str, text: str) -> tuple[str, str]:
    """Return a UPC as its twelve figures, as the bottle has them; the library puts a 0 before."""
    if name in ("EAN-13", "UPC-A", "UPC-E") and len(text) == 13 and text.startswith("0"):
        return ("UPC-E" if name == "UPC-E" else "UPC-A"), text[1:]
    return name, text


def _format_name(code_format: Any) -> str:
    """Return the trade's name of a format, whatever the library's spelling in its version."""
    raw = str(code_format).rsplit(".", 1)[-1].replace("_", "").replace(" ", "").replace("-", "")
    names = {
        "code39": "Code 39",
        "code93": "Code 93",
        "code128": "Code 128",
        "datamatrix": "Data Matrix",
        "qrcode": "QR Code",
        "microqrcode": "Micro QR Code",
        "pdf417": "PDF417",
        "aztec": "Aztec",
        "itf": "ITF",
        "codabar": "Codabar",
        "ean8": "EAN-8",
        "ean13": "EAN-13",
        "upca": "UPC-A",
        "upce": "UPC-E",
    }
    return names.get(raw.lower(), str(code_format))
