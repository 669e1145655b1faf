"""VINs among what the bar codes of a label say."""

from __future__ import annotations

import re
from collections.abc import Iterable

from joblog.measure.vin import LENGTH, VinReport, check_vin

# Labels carry more than the VIN: a leading I where it came by import, other fields beside it.
_VIN = re.compile(rf"(?<![A-Z0-9])I?([A-HJ-NPR-Z0-9]{{{LENGTH}}})(?![A-Z0-9])")


def vins_in(texts: Iterable[str]) -> list[str]:
    """Return the VINs in what a label's codes say: those with a right check digit, else all.

    Figures alone, and signs inside a web address, are a part's or a bottle's number unless the
    check digit is right.
    """
    found = [vin for text in texts for vin in _VIN.findall(text.upper()) if _may_be(vin, text)]
    found = list(dict.fromkeys(found))
    return [vin for vin in found if check_vin(vin).check_fits] or found


def _may_be(vin: str, text: str) -> bool:
    return check_vin(vin).check_fits or not (vin.isdigit() or "://" in text)


def vin_trouble(report: VinReport) -> str:
    """Return '' for a VIN that can be right, else one sentence."""
    if report.acceptable:
        return ""
    problem = report.problem or ""
    kind, _, detail = problem.partition("_")
    if kind == "length":
        return f"A VIN has {LENGTH} characters, this has {detail}; read it once more."
    if kind == "forbidden":
        return f"'{problem[-1]}' is never part of a VIN; I, O and Q are 1 or 0. Read it once more."
    return f"{report.vin} doesn't fit its check digit; read it once more at the vehicle."


def label_vin(texts: Iterable[str], own: str = "") -> tuple[str, str]:
    """Return the VIN that a label's codes hold, '' for none, and what is wrong with it or ''.

    Of several it is that of the vehicle at hand, ``own``, where it is among them.
    """
    found = vins_in(texts)
    vin = next((vin for vin in found if same_vin(vin, own)), found[0] if found else "")
    return vin, vin_trouble(check_vin(vin)) if vin else ""


def as_vin(text: str) -> str:
    """Return a code's text without the I that Code 39 labels put before a VIN; others as it is."""
    found = _VIN.fullmatch(text.upper())
    return found[1] if found and len(text) > LENGTH and _may_be(found[1], text) else text


def same_vin(vin: str, own: str) -> bool:
    """Say whether a label's VIN is ``own``, of which a shop may keep the end alone."""
    plain = check_vin(own).vin
    return bool(plain) and vin.endswith(plain)


def unlike_ends(vin: str, own: str, least: int = 6) -> tuple[str, str]:
    """Return the ends of two VINs, so long that the difference is among them."""
    plain = check_vin(own).vin
    lengths = (n for n in range(least, LENGTH) if vin[-n:] != plain[-n:])
    length = next(lengths, LENGTH)
    return vin[-length:], plain[-length:]
