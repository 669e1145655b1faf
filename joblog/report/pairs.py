"""A plug as it was found and afterwards, side by side at the same scale, from the photos alone.

The two windows show the same width in mm, each with the magnet in its middle, and the same bar.
No words are drawn: the report says beneath, in the reader's language, what they are.
"""

from __future__ import annotations

import hashlib
from fractions import Fraction
from io import BytesIO
from typing import NamedTuple

from PIL import Image, ImageDraw

from joblog.job.types import JobState, Photo
from joblog.report.context import Context, photo_name
from joblog.report.images import Media, Shown, window
from joblog.report.model import Pair
from joblog.report.numbers import as_decimal
from joblog.report.past import plug_step
from joblog.report.pictures import photo_sha

_SIDE, _GAP = 640, 20  # pixels: 81 mm at 200 dpi
_FIELD = 1.35  # what a window shows, in widths of the plug
_MOST_BAR = 0.35  # of a window's width


class _Seen(NamedTuple):
    """Where a photo shows the magnet, in pixels of the upright original, and its scale."""

    x: float
    y: float
    mm_per_px: float
    plug_mm: float


def pairs(c: Context, shown: dict[str, Shown]) -> tuple[Pair, ...]:
    """Return each plug's photos as found and afterwards, where both were measured."""
    return tuple(
        _pair(c, before, after, image)
        for before, after in _measured(c.state)
        if (image := shown.get(pair_key(before, after)))
    )


def _pair(c: Context, before: Photo, after: Photo, image: Shown) -> Pair:
    numbers = [c.photo_numbers[photo.entry.id] for photo in (before, after)]
    names = [photo_name(c, photo) for photo in (before, after)]
    bar = _bar_mm(_field(before, after))
    told = c.t.say(
        "Left: {before} (photo {first}). Right: {after} (photo {second}). Both at the same scale; "
        "the bar is {length}.",
        before=names[0],
        after=names[1],
        first=numbers[0],
        second=numbers[1],
        length=c.millimetres(Fraction(str(bar)), None),
    )
    return Pair(told, image.key, pair_key(before, after), image.width, image.height)


def pair_key(before: Photo, after: Photo) -> str:
    """Return the name under which the picture of a pair is kept beside the photos."""
    return f"{photo_sha(before)}+{photo_sha(after)}"


def pair_pictures(state: JobState, media: Media) -> dict[str, Shown]:
    """Return the pictures of all pairs of which both originals are at hand."""
    made = {}
    for before, after in _measured(state):
        try:
            data = [media(photo_sha(photo)) for photo in (before, after)]
        except Exception:  # noqa: BLE001  # whatever the store says, the report goes on without it
            continue
        picture = _drawn(data, before, after)
        if picture is not None:
            made[pair_key(before, after)] = picture
    return made


def _measured(state: JobState) -> list[tuple[Photo, Photo]]:
    """Return each plug's last measured photo afterwards, with the last one as found before it."""
    plugs: dict[str, list[Photo]] = {}
    for photo in state.photos:
        if photo.kind == "plug" and photo.usable and photo_sha(photo) and _seen(photo):
            plugs.setdefault(plug_step(state, photo), []).append(photo)
    found = []
    for photos in plugs.values():
        after = max((at for at, photo in enumerate(photos) if photo.phase == "after"), default=0)
        before = [photo for photo in photos[:after] if photo.phase == "before"]
        found += [(photo, photos[after]) for photo in before[-1:]]
    return found


def _seen(photo: Photo) -> _Seen | None:
    magnet = photo.measurement.get("magnet")
    center = magnet.get("center_px") if isinstance(magnet, dict) else None
    if not isinstance(center, list | tuple) or len(center) != 2:
        return None
    scale, width = (photo.measurement.get(key) for key in ("mm_per_px", "plug_diameter_mm"))
    numbers = [as_decimal(value) for value in (*center, scale, width)]
    if any(number is None for number in numbers):
        return None
    x, y, mm_per_px, plug_mm = (float(number or 0) for number in numbers)
    return _Seen(x, y, mm_per_px, plug_mm) if mm_per_px > 0 and plug_mm > 0 else None


def _field(before: Photo, after: Photo) -> float:
    """Return how many mm the two windows show."""
    return _FIELD * max(seen.plug_mm for photo in (before, after) if (seen := _seen(photo)))


def _bar_mm(field: float) -> float:
    """Return the longest round length that the bar may have."""
    return max(mm for mm in (0.5, 1, 2, 5, 10, 20, 50) if mm <= max(_MOST_BAR * field, 0.5))


def _drawn(data: list[bytes], before: Photo, after: Photo) -> Shown | None:
    field = _field(before, after)
    whole = Image.new("RGB", (2 * _SIDE + _GAP, _SIDE), "white")
    for place, (photo, one) in enumerate(zip((before, after), data, strict=True)):
        seen = _seen(photo)
        half = seen and window(one, (seen.x, seen.y), field / seen.mm_per_px, _SIDE)
        if half is None:
            return None
        _draw_bar(half, _bar_mm(field) / field * _SIDE)
        whole.paste(half, (place * (_SIDE + _GAP), 0))
    out = BytesIO()
    whole.save(out, "JPEG", quality=80, subsampling=2)
    content = out.getvalue()
    return Shown(hashlib.sha256(content).hexdigest(), content, whole.width, whole.height)


def _draw_bar(half: Image.Image, pixels: float) -> None:
    """Draw a bar with an end on either side, white in black: it shows on any picture."""
    draw, x, y, tick = ImageDraw.Draw(half), 24.0, _SIDE - 32.0, 14.0
    for colour, more in (("black", 3), ("white", 0)):
        boxes = [(x, y - 3, x + pixels, y + 3)]
        boxes += [(at - 2, y - tick, at + 2, y + tick) for at in (x, x + pixels)]
        for left, top, right, bottom in boxes:
            draw.rectangle((left - more, top - more, right + more, bottom + more), fill=colour)
