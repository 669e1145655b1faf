"""Take the place out of a picture that leaves the shop.

Phones write where a photo was taken into EXIF, XMP and IPTC notes, and into further pictures or
clips appended behind the first. So nothing is searched for: only the parts known to be needed for
showing the picture are copied, a colour profile without its words, and the picture data itself
stays bit for bit. A kind of file that can't be taken apart like this is saved anew as JPEG.
"""

from __future__ import annotations

import io
import re
import struct
import zlib

from PIL import ExifTags, Image, ImageOps

from joblog.errors import PhotoError
from joblog.vision.heic import can_be_read
from joblog.vision.profile import without_words

_JPEG_START = b"\xff\xd8"
_PNG_START = b"\x89PNG\r\n\x1a\n"
_PNG_KEPT = {
    b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS",
    b"cHRM", b"gAMA", b"sBIT", b"sRGB", b"bKGD", b"pHYs",
    b"acTL", b"fcTL", b"fdAT",
}  # fmt: skip
_KEPT_TAGS = (
    ExifTags.Base.Orientation,
    ExifTags.Base.Make,
    ExifTags.Base.Model,
    ExifTags.Base.DateTime,
)
_NEXT_MARKER = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")
_SOS, _EOI, _APP0, _APP1, _APP2, _APP14, _APP15, _COM = (
    0xDA, 0xD9, 0xE0, 0xE1, 0xE2, 0xEE, 0xEF, 0xFE,
)  # fmt: skip
_ICC, _MOST_ICC = b"ICC_PROFILE\x00", 65_519  # ICC.1:2022 B.4: in segments, each with its number
_LARGEST_ICC = 2**24  # bytes unpacked of a PNG's profile: a few hundred kilobytes are usual
_JFIF, _ADOBE = 14, 12  # bytes of these headers: ITU-T T.871 10.1, T.872 6.5.3


def strip_location(data: bytes) -> bytes:
    """Return the picture without any note of where it was taken.

    JPEG and PNG keep their picture data bit for bit, with orientation, time and camera model;
    every other kind comes back as JPEG. Raises :class:`~joblog.errors.PhotoError` for what can't
    be read, because it mustn't leave the shop unchecked.
    """
    try:
        if data.startswith(_JPEG_START):
            return _strip_jpeg(data)
        if data.startswith(_PNG_START):
            return _strip_png(data)
        return _save_anew(data)
    except (OSError, SyntaxError, ValueError, IndexError, KeyError, TypeError) as error:
        raise PhotoError(_REFUSAL) from error
    except (struct.error, zlib.error, Image.DecompressionBombError) as error:
        raise PhotoError(_REFUSAL) from error


_REFUSAL = (
    "the photo can't be cleared of its location notes because it is damaged: "
    "leave it out of what is sent, or take a new photo."
)


def _kept_exif(data: bytes) -> bytes:
    """Return a new EXIF block with the harmless notes only, or nothing."""
    with Image.open(io.BytesIO(data)) as image:
        old = image.getexif()
        new = Image.Exif()
        for tag in _KEPT_TAGS:
            if tag in old:
                new[tag] = old[tag]
        return new.tobytes() if len(new) else b""


def _strip_jpeg(data: bytes) -> bytes:
    out = [_JPEG_START]
    exif = _kept_exif(data)
    if exif:
        body = exif if exif.startswith(b"Exif\x00\x00") else b"Exif\x00\x00" + exif
        out.append(struct.pack(">BBH", 0xFF, _APP1, len(body) + 2) + body)
    profile = _jpeg_profile(data)
    at, in_scan = 2, False
    while True:
        found = _NEXT_MARKER.search(data, at)
        if found is None:
            raise ValueError("no end of image")
        marker = data[found.start() + 1]
        if marker == _EOI:  # what follows are further pictures and clips, with notes of their own
            out.append(data[at : found.end()])
            return b"".join(out)
        (length,) = struct.unpack_from(">H", data, found.end())
        end = found.end() + length
        if in_scan:
            out.append(data[at : found.start()])  # picture data in front of the marker
        if marker == _APP2 and data.startswith(_ICC, found.end() + 2):
            out += profile  # all of it where its first segment stood
            profile = []
        kept = _kept_body(marker, data[found.end() + 2 : end])
        if kept is not None:
            out.append(struct.pack(">BBH", 0xFF, marker, len(kept) + 2) + kept)
        at, in_scan = end, marker == _SOS


def _kept_body(marker: int, body: bytes) -> bytes | None:
    """Return what is kept of a segment, None where it goes as a whole.

    The headers of pixel density and colour transform have a fixed length; what stands behind is a
    thumbnail or a note.
    """
    if marker == _APP0:
        is_whole = body.startswith(b"JFIF\x00") and len(body) >= _JFIF
        return body[: _JFIF - 2] + b"\x00\x00" if is_whole else None  # a thumbnail of 0 by 0
    if marker == _APP14:
        return body[:_ADOBE] if body.startswith(b"Adobe") and len(body) >= _ADOBE else None
    return None if _APP0 <= marker <= _APP15 or marker == _COM else body


def _jpeg_profile(data: bytes) -> list[bytes]:
    """Return the segments of a JPEG's colour profile without its words; Pillow reads its parts."""
    with Image.open(io.BytesIO(data)) as image:
        profile = without_words(image.info.get("icc_profile") or b"")
    parts = [profile[at : at + _MOST_ICC] for at in range(0, len(profile), _MOST_ICC)]
    bodies = [_ICC + bytes((n, len(parts))) + part for n, part in enumerate(parts, 1)]
    return [struct.pack(">BBH", 0xFF, _APP2, len(body) + 2) + body for body in bodies]


def _png_profile(chunk: bytes) -> bytes:
    """Return an iCCP chunk whose profile has no words, nothing where it holds none."""
    _, _, packed = chunk.partition(b"\x00")
    profile = without_words(zlib.decompressobj().decompress(packed[1:], _LARGEST_ICC))
    return b"ICC\x00\x00" + zlib.compress(profile, 9) if profile else b""


def _strip_png(data: bytes) -> bytes:
    exif = _kept_exif(data).removeprefix(b"Exif\x00\x00")
    out = [_PNG_START]
    at = len(_PNG_START)
    while at < len(data):
        (length,) = struct.unpack_from(">I", data, at)
        name = data[at + 4 : at + 8]
        if name == b"iCCP":
            body = _png_profile(data[at + 8 : at + 8 + length])
            out.append(_png_chunk(name, body) if body else b"")
        elif name in _PNG_KEPT:
            out.append(data[at : at + 12 + length])
        if name == b"IHDR" and exif:
            out.append(_png_chunk(b"eXIf", exif))
        at += 12 + length
        if name == b"IEND":
            return b"".join(out)
    raise ValueError("no end of image")


def _png_chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def _save_anew(data: bytes) -> bytes:
    can_be_read(data)  # where it can't, Pillow says that it doesn't know the kind
    with Image.open(io.BytesIO(data)) as image:
        profile = without_words(image.info.get("icc_profile") or b"")
        upright = ImageOps.exif_transpose(image).convert("RGB")
        upright.info.clear()  # a GIF's comment would be written into the JPEG
        out = io.BytesIO()
        upright.save(out, "JPEG", quality=92, icc_profile=profile or None)
        return out.getvalue()
