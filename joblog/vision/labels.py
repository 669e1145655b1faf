"""Read the labels in a photo: bar codes and two-dimensional codes, so that numbers aren't typed.

Formats that turn up in a workshop: Code 39, Code 128 and Data Matrix or QR (vehicle identification
numbers on door frames and windscreens), EAN/UPC, ITF and Code 128 (bottles and parts bags). What a
text means, such as a VIN and its check digit, is not this room's business.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from joblog.vision.load import load_photo
from joblog.vision.types import Photo, Polygon

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
    with evened-out contrast is taken only where the first finds nothing.
    """
    found = _read(photo, photo.rgb)
    if not found:
        grey = cv2.cvtColor(photo.rgb, cv2.COLOR_RGB2GRAY)
        even = cv2.createCLAHE(clipLimit=3.0, tileGridSize=(8, 8)).apply(grey)
        found = _read(photo, np.ascontiguousarray(even))
    found.sort(key=lambda label: min((x for x, _ in label.outline_px), default=0.0))
    return found


def _read(photo: Photo, picture: Any) -> list[Label]:
    import zxingcpp

    labels: dict[tuple[str, str], Label] = {}
    for code in zxingcpp.read_barcodes(picture):
        text = code.text.strip()
        if not code.valid or not text:
            continue
        spot = code.position
        corners = (spot.top_left, spot.top_right, spot.bottom_right, spot.bottom_left)
        outline = photo.polygon_to_original((corner.x, corner.y) for corner in corners)
        name = _format_name(code.format)
        labels.setdefault((name, text), Label(name, text, outline))
    return list(labels.values())


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
