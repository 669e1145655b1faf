"""Readings, photos, debris limits, and the unit that a sheet is for."""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction

from joblog.measure.units import UNITS
from joblog.sheet.complaints import Complaint, Found, plain
from joblog.sheet.model import PhotoWanted, Sheet

# Words in the name of a reading that say what kind of unit it has.
_KINDS = {
    "temperature": "temperature", "temp": "temperature", "pressure": "pressure",
    "voltage": "voltage", "torque": "torque",
}  # fmt: skip
_SUCH_AS = {
    "temperature": "degC or degF",
    "pressure": "psi, bar or kPa",
    "voltage": "V",
    "torque": "N.m or lbf.ft",
}
PLUG_MM = (4, 80)
MARKS_MM = (2, 300)


def same_unit(one: str, other: str) -> bool:
    """Compare names of units as people write them: 'KT-6F', 'kt 6f' and 'KT6F' are one."""
    plain_name = re.compile(r"[^a-z0-9]")
    return plain_name.sub("", one.lower()) == plain_name.sub("", other.lower())


def _readings(sheet: Sheet) -> Found:
    for i, step in enumerate(sheet.steps):
        reading = step.reading
        if reading is None:
            continue
        path = ("steps", i, "reading")
        if reading.low is not None and reading.high is not None and reading.low > reading.high:
            yield Complaint(
                path, f"'low' ({reading.low}) is above 'high' ({reading.high}); exchange them"
            )
        elif reading.low and reading.low == reading.high:
            yield Complaint(
                path,
                f"only exactly {plain(reading.low)} would be in specification; write a 'low' and "
                "a 'high' that leave room",
                True,
            )
        known = UNITS.get(reading.unit)
        if known is None:
            continue
        for word in reading.name.lower().split():
            kind = _KINDS.get(word)
            if kind and known.dimension != kind:
                yield Complaint(
                    (*path, "unit"),
                    f"'{reading.name}' is a {kind}, but '{reading.unit}' is a unit of "
                    f"{known.dimension}; write {_SUCH_AS[kind]}",
                )
        for name in ("low", "high"):
            value = getattr(reading, name)
            if value is not None and _absurd(value, reading.unit):
                yield Complaint(
                    (*path, name), f"{value} {reading.unit} can't be read anywhere; check both"
                )


def _absurd(value: Decimal, unit: str) -> bool:
    known = UNITS[unit]
    si = (Fraction(value) + known.offset) * known.factor
    limits: dict[str, tuple[int, int]] = {
        "temperature": (173, 1773),  # kelvins
        "pressure": (-101_325, 10**9),  # pascals above the air's
        "ratio": (0, 10),
        "rotation": (0, 10_000),  # turns a second
        "voltage": (-(10**6), 10**6),
    }
    low, high = limits.get(known.dimension, (-(10**9), 10**9))
    return not low <= si <= high


def _photos(sheet: Sheet) -> Found:
    for i, step in enumerate(sheet.steps):
        if step.photo:
            yield from _photo(("steps", i, "photo"), step.photo)


def _photo(path: tuple[str, int, str], photo: PhotoWanted) -> Found:
    sizes = (
        ("plug_diameter_mm", "plug", PLUG_MM, "the outer diameter of the plug's thread"),
        ("mark_distance_mm", "dipstick", MARKS_MM, "from the lower mark to the upper"),
    )
    for name, kind, (low, high), meaning in sizes:
        value = getattr(photo, name)
        if value is None:
            continue
        if photo.kind != kind:
            yield Complaint(
                (*path, name), f"a photo of the {photo.kind} has no '{name}'; take it out"
            )
        elif not low <= value <= high:
            inches = (
                f"; write {plain(value * Decimal('25.4'))} if it was in inches"
                if low <= value * Decimal("25.4") <= high
                else ""
            )
            yield Complaint(
                (*path, name), f"{value} mm can't be {meaning} ({low} to {high} mm){inches}"
            )


def _debris(sheet: Sheet) -> Found:
    limits = sheet.debris
    if not 0 < limits.film_coverage <= 1:
        share = plain(limits.film_coverage / 100) if 1 < limits.film_coverage <= 100 else "0.8"
        yield Complaint(
            ("debris", "film_coverage"),
            f"a share of the plug lies between 0 and 1, not at {limits.film_coverage}; "
            f"write {share}",
        )
    if not 0 < limits.flake_mm <= 50:
        yield Complaint(
            ("debris", "flake_mm"), f"a flake of {limits.flake_mm} mm can't be; write its length"
        )
    if limits.flakes < 1:
        yield Complaint(("debris", "flakes"), f"{limits.flakes} flakes are none; write 1 or more")


def _applies(sheet: Sheet) -> Found:
    applies = sheet.applies
    for i, exclusion in enumerate(applies.not_to):
        path = ("applies", "not_to", i)
        if any(same_unit(exclusion.unit, one) for one in applies.to):
            yield Complaint(
                (*path, "unit"),
                f"'{exclusion.unit}' stands both under 'to' and under 'not_to'; keep one",
            )
        if exclusion.use == sheet.sheet.key:
            yield Complaint(
                (*path, "use"),
                f"'{exclusion.use}' is this very sheet; name the one that does apply",
            )


def _vin(sheet: Sheet) -> Found:
    pattern = sheet.applies.vin
    if not pattern:
        return
    path = ("applies", "vin")
    try:
        re.compile(pattern)
    except re.error as error:
        yield Complaint(path, f"the VIN pattern is no regular expression ({error}); mend it")
        return
    letters = re.sub(r"\\.|\[[^\]]*\]|\{[^}]*\}|\(\?[^)]*\)", "", pattern)
    if re.search("[a-z]", letters):
        yield Complaint(path, "a VIN is compared in capitals; write the pattern in capitals")
    elif re.search("[IOQ]", letters):
        yield Complaint(path, "no VIN holds the letters I, O and Q (49 CFR 565.13); write 1 or 0")
    elif len(re.sub("[^A-Z0-9]", "", letters)) > 17:
        yield Complaint(path, "a VIN has 17 characters; shorten the pattern")


READING_RULES = (_readings, _photos, _debris, _applies, _vin)
