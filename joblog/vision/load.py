"""Photos into the house: any picture a phone or camera makes, as upright 8-bit sRGB.

Rules, in this order:

1. What isn't a picture, is cut short or would need too much memory is refused with one sentence.
2. A JPEG is decoded at the smallest of its built-in sizes that is still large enough to measure
   in, so a 12-megapixel photo costs a tenth of a second, and a 100-megapixel panorama no more
   memory than any other photo. Other kinds are decoded whole and made smaller in bands.
3. The EXIF orientation is applied once; embedded colour profiles are turned into sRGB; alpha is
   laid over white; 16 bits become 8; of an animated picture the first frame is taken, and said so.
4. Of the picture's own notes only those in ``SAFE_EXIF`` go on: never a place, a name or a serial
   number.
"""

from __future__ import annotations

import hashlib
import io
import stat
import struct
import warnings
import zlib
from pathlib import Path

import cv2
import numpy as np
from PIL import ExifTags, Image, ImageCms, ImageOps, UnidentifiedImageError

from joblog.errors import PhotoError
from joblog.vision.heic import can_be_read
from joblog.vision.location import strip_location
from joblog.vision.types import Photo, Rgb

__all__ = ["Photo", "Rgb", "load_photo", "strip_location"]

WORKING_SIDE = 1400  # pixels on the long side: enough to see 0.3 mm on a plug that fills a third
MIN_SIDE = 32  # pixels on the short side; below it there is nothing to look at
MAX_BYTES = 200_000_000
# Decoded whole, at 4 bytes a pixel: 200 MB. With the file's own bytes and all else the program then
# takes up to 0.6 GB, for labels 0.75 GB (measured with 49 MP of 32-bit grey in a file of 196 MB).
MAX_PIXELS = 50_000_000
LARGE = 16_000_000  # pixels from which on a picture is made smaller before anything copies it
_BAND = 256  # rows that are made smaller at a time
MAX_JPEG_PIXELS = 160_000_000  # decoded reduced

# Pillow's own guard warns from 89 megapixels on; ours is stricter where it matters (see above) and
# lets a phone's panorama through, so its limit is set to ours.
Image.MAX_IMAGE_PIXELS = MAX_JPEG_PIXELS
warnings.filterwarnings("ignore", category=Image.DecompressionBombWarning)  # ours is one sentence

SAFE_EXIF = (
    "Make",
    "Model",
    "DateTimeOriginal",
    "OffsetTimeOriginal",
    "ExposureTime",
    "FNumber",
    "ISOSpeedRatings",
    "FocalLength",
    "FocalLengthIn35mmFilm",
    "Flash",
)
_EXIF_IFD = 0x8769
_INDEXED = ("P", "PA", "LA", "La", "RGBa", "1")  # modes that are turned into RGBA first
_BROKEN = (OSError, SyntaxError, ValueError, TypeError, KeyError, IndexError, EOFError)


def load_photo(source: str | Path | bytes, *, working_side: int = WORKING_SIDE) -> Photo:
    """Read a picture file, or its bytes, for measuring.

    ``working_side`` is the greatest length in pixels of the long side of ``Photo.rgb``; a smaller
    picture is never enlarged. Raises :class:`~joblog.errors.PhotoError` for anything that isn't a
    whole picture of a bearable size.
    """
    name = "the photo" if isinstance(source, bytes) else Path(source).name
    data = source if isinstance(source, bytes) else _read(Path(source))
    if not data:
        raise PhotoError(f"{name} is empty: copy the photo again from the camera.")
    try:
        with _open(data, name) as image:
            return _photo(image, data, name, working_side)
    except (*_BROKEN, struct.error, zlib.error, MemoryError, OverflowError) as error:
        raise PhotoError(
            f"{name} is damaged or cut short: copy it again from the camera, or take a new photo."
        ) from error


def _read(path: Path) -> bytes:
    try:
        status = path.stat()
        if not (stat.S_ISREG(status.st_mode) or stat.S_ISDIR(status.st_mode)):
            raise PhotoError(f"{path.name} is no file but a device or a pipe: name a photo's file.")
        if status.st_size > MAX_BYTES:
            raise PhotoError(
                f"{path.name} is larger than {MAX_BYTES // 1_000_000} MB: "
                "take a single photo in the camera's normal mode."
            )
        return path.read_bytes()
    except OSError as error:
        reason = error.strerror or "can't be read"
        raise PhotoError(f"{path.name} can't be opened ({reason}): check the file.") from error


def _open(data: bytes, name: str) -> Image.Image:
    """Open without decoding; HEIC needs the optional reader."""
    if not can_be_read(data):
        raise PhotoError(
            f"{name} is a HEIC photo, which needs one more part: install joblog[heic], "
            "or set the phone's camera to 'most compatible' (JPEG)."
        )
    try:
        image = Image.open(io.BytesIO(data))
    except (Image.DecompressionBombError, Image.DecompressionBombWarning) as error:
        raise _too_large(name) from error
    except UnidentifiedImageError as error:
        raise PhotoError(
            f"{name} is no picture that can be read, whatever its name says: "
            "use a JPEG, PNG or HEIC photo."
        ) from error
    reduced = image.format in ("JPEG", "MPO")
    if image.width * image.height > (MAX_JPEG_PIXELS if reduced else MAX_PIXELS):
        raise _too_large(name)
    if min(image.size) < MIN_SIDE:
        raise PhotoError(
            f"{name} is only {image.width} x {image.height} pixels: "
            "take a new photo in the camera's normal mode."
        )
    return image


def _too_large(name: str) -> PhotoError:
    return PhotoError(
        f"{name} has too many pixels to be opened safely: "
        "take a single photo in the camera's normal mode, not a panorama or a scan."
    )


def _photo(image: Image.Image, data: bytes, name: str, working_side: int) -> Photo:
    exif = image.getexif()
    full = image.size
    frames = getattr(image, "n_frames", 1) if image.format != "MPO" else 1
    if image.format in ("JPEG", "MPO"):
        image.draft("RGB", (working_side, working_side))
    image.load()
    orientation = exif.get(ExifTags.Base.Orientation, 1) if image.format != "HEIF" else 1
    smaller = image
    factor = _factor(max(image.size), working_side)
    if image.width * image.height > LARGE and factor > 1:
        smaller = _reduced(image, factor, orientation)
    upright = ImageOps.exif_transpose(smaller)
    turned = orientation in (5, 6, 7, 8)
    width, height = full[::-1] if turned else full
    rgb = _working_size(upright, (width, height), working_side)
    safe = _safe_exif(exif)
    return Photo(
        rgb=rgb,
        sha256=hashlib.sha256(data).hexdigest(),
        size=(width, height),
        scale=max(width, height) / max(rgb.shape[:2]),
        exif=safe,
        taken_at=_taken_at(safe),
        note=f"the first of {frames} frames was measured" if frames > 1 else None,
        name=name,
    )


def _factor(side: int, working_side: int) -> int:
    """Return the whole number to divide by: half as much again as needed stays, if 2 allows it."""
    return max(2 * side // (3 * working_side), min(2, side // working_side))


def _reduced(image: Image.Image, factor: int, orientation: int) -> Image.Image:
    """Return the picture at a whole fraction of its size, not yet upright.

    It goes band by band: a second whole picture, or one of wider numbers, is never in memory.
    """
    rows = factor * max(1, _BAND // factor)
    small = None
    for top in range(0, image.height, rows):
        band = image.crop((0, top, image.width, min(top + rows, image.height)))
        if band.mode in _INDEXED:
            band = band.convert("RGBA")
        elif band.mode.startswith("I;"):
            band = band.convert("I")
        band = band.reduce(factor)
        if small is None:
            small = Image.new(band.mode, (band.width, -(-image.height // factor)))
        small.paste(band, (0, top // factor))
    assert small is not None  # no picture is empty
    small.info["icc_profile"] = image.info.get("icc_profile")
    small.getexif()[ExifTags.Base.Orientation] = orientation
    return small


def _working_size(image: Image.Image, full: tuple[int, int], working_side: int) -> Rgb:
    """Return 8-bit sRGB no larger than the working size."""
    factor = min(1.0, working_side / max(full))
    size = max(1, round(full[0] * factor)), max(1, round(full[1] * factor))
    if size != image.size and image.mode in ("RGB", "L", "CMYK", "RGBA"):
        pixels = cv2.resize(np.asarray(image), size, interpolation=cv2.INTER_AREA)
        profile = image.info.get("icc_profile")
        image = Image.fromarray(pixels, image.mode)
        image.info["icc_profile"] = profile
    pixels = np.asarray(_to_srgb(image), dtype=np.uint8)
    if pixels.shape[1::-1] != size:
        pixels = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA).astype(np.uint8)
    return np.ascontiguousarray(pixels)


def _to_srgb(image: Image.Image) -> Image.Image:
    if image.mode.startswith(("I", "F")):
        return _deep_grey(image)
    if image.mode in _INDEXED:
        image = image.convert("RGBA")
    if image.mode == "RGBA":
        white = Image.new("RGBA", image.size, "white")
        white.alpha_composite(image)
        white.info["icc_profile"] = image.info.get("icc_profile")
        image = white
    return _from_profile(image)


def _deep_grey(image: Image.Image) -> Image.Image:
    """Return more than 8 bits of grey as 8: by the full 16-bit range, or by its own if larger."""
    values = np.array(image, dtype=np.float64)  # changed in place: no further array of its size
    top = float(values.max(initial=0.0))
    is_float = image.mode.startswith("F")
    full = (1.0 if top <= 1.0 else top) if is_float else max(65535.0, top)
    values /= full
    values *= 255.0
    return Image.fromarray(np.clip(values, 0, 255, out=values).astype(np.uint8)).convert("RGB")


def _from_profile(image: Image.Image) -> Image.Image:
    """Return sRGB: a phone's wide-gamut profile would shift a fluid's colour by several units."""
    profile = image.info.get("icc_profile")
    if profile and image.mode in ("RGB", "RGBA", "CMYK"):
        image = image.convert("RGB") if image.mode == "RGBA" else image
        try:
            source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            turned = ImageCms.profileToProfile(
                image, source, ImageCms.createProfile("sRGB"), outputMode="RGB"
            )
        except (ImageCms.PyCMSError, OSError):  # a profile of another kind: colours as they are
            turned = None
        if turned is not None:
            return turned
    return image.convert("RGB")


def _safe_exif(exif: Image.Exif) -> dict[str, str]:
    """Return the allowed notes as text."""
    try:
        values = {**dict(exif), **dict(exif.get_ifd(_EXIF_IFD))}
    except (*_BROKEN, struct.error):  # notes that can't be read are no reason to refuse a photo
        values = {}
    named = {ExifTags.TAGS.get(tag, ""): value for tag, value in values.items()}
    return {
        key: str(named[key]).strip("\x00 ")
        for key in SAFE_EXIF
        if key in named and not isinstance(named[key], bytes)
    }


def _taken_at(exif: dict[str, str]) -> str | None:
    """Return EXIF's ``2026:11:25 09:30:00`` as ISO 8601, with its offset where there is one."""
    text = exif.get("DateTimeOriginal", "")
    date, _, clock = text.partition(" ")
    if len(text) != 19 or date.startswith("0000"):
        return None
    return f"{date.replace(':', '-')}T{clock}{exif.get('OffsetTimeOriginal', '')}"
