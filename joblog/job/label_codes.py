"""What the bar codes on a label say: whether a part or fluid of the sheet has that number."""

from __future__ import annotations

import re

from joblog.job.types import Photo
from joblog.sheet.model import Sheet

SHORTEST = 4  # signs: of fewer, 'EX-18-AL' may hold any


def codes_on(photo: Photo) -> list[str]:
    """Return the texts of the bar codes that were read in a photo."""
    codes = photo.measurement.get("labels") or photo.measurement.get("codes") or ()
    if not isinstance(codes, list | tuple):
        return []
    found = [code.get("text", "") if isinstance(code, dict) else code for code in codes]
    return [text for text in found if isinstance(text, str) and text]


def is_number(code: str, number: str | None) -> bool:
    """Say whether ``code`` is the number of a part or name of a fluid, or one holds the other."""
    one, other = code.strip().casefold(), (number or "").strip().casefold()
    if not one or not other:
        return False
    short, long = sorted((one, other), key=len)
    whole = re.search(rf"(?<![^\W_]){re.escape(short)}(?![^\W_])", long)
    return one == other or (len(short) >= SHORTEST and whole is not None)


def codes_told(sheet: Sheet, photo: Photo) -> str:
    """Return what the codes on a label are of, for a screen; '' for none, and for a VIN."""
    if photo.measurement.get("vin"):
        return ""
    named = [(p.name, p.number) for p in sheet.parts]
    named += [(f.name, f.specification) for f in sheet.fluids]
    lines = []
    for code in dict.fromkeys(codes_on(photo)):
        names = [name for name, number in named if is_number(code, number)]
        of = " and ".join(dict.fromkeys(names)) or "no part or fluid of this sheet has that number"
        lines.append(f"{code}: {of}.")
    return " ".join(lines)
