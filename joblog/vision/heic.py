"""A phone's HEIC photos: Pillow reads them with one more part, which not every shop has."""

from __future__ import annotations


def can_be_read(data: bytes) -> bool:
    """Let Pillow know HEIC where ``data`` is such a photo; False where the part for it lacks.

    Says nothing of other kinds of pictures: True.
    """
    if data[4:8] != b"ftyp" or data[8:12] in (b"avif", b"avis"):
        return True
    try:
        import pi_heif
    except ImportError:
        return False
    pi_heif.register_heif_opener()
    return True
