"""A shop PC that is open for days gives memory back that its libraries have freed.

The C library keeps what threads freed for their next want of it. Twelve-megapixel pictures, sounds
and reports come in many sizes, from many threads, so what is kept grows (docs/bay.md has figures).
"""

from __future__ import annotations

import ctypes
from threading import Event

EVERY = 30.0  # seconds; behind three large photos it takes 0.02 s of a core


def giving_back(stop: Event) -> None:
    """Give freed memory back to the system until ``stop``; only glibc has this, and needs it."""
    try:
        trim = ctypes.CDLL(None).malloc_trim
    except (AttributeError, OSError, TypeError):  # another C library, macOS, Windows
        return
    while not stop.wait(EVERY):
        trim(0)
