"""The level that a photo of the dipstick shows, with its doubt, in words; what it can't tell."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from joblog.job.photos import taken_with
from joblog.job.types import Finding, FindingKind, Photo
from joblog.measure.numbers import rounded

LOWER, UPPER = 0.0, 1.0


def level_of(photo: Photo) -> tuple[float, float] | None:
    """Return a dipstick's level and its doubt, as shares of the mark distance; None for none."""
    level, doubt = photo.level
    if photo.kind != "dipstick" or not photo.usable or not isinstance(level, int | float):
        return None
    return float(level), float(doubt or 0.0)


def percent(share: float) -> int:
    """Return a share in whole per cent, rounded as the report rounds it: halves away from zero."""
    return int(rounded(Decimal(str(share)) * 100, 0))


def near_mark(photo: Photo) -> str:
    """Return the mark ('upper', 'lower') to which the doubt of the level reaches; '' for none.

    On which side of it the level is, the photo can't tell.
    """
    found = level_of(photo)
    if found is None:
        return ""
    level, doubt = found
    side = "upper" if level > (LOWER + UPPER) / 2 else "lower"
    return side if abs(level - (UPPER if side == "upper" else LOWER)) <= doubt > 0 else ""


def level_words(photo: Photo) -> tuple[str, str]:
    """Return the level said and shown with its doubt; ('', '') where there is none."""
    found = level_of(photo)
    if found is None:
        return "", ""
    level, doubt = found
    share, give = percent(level), f", give or take {percent(doubt)} %" if doubt else ""
    if share > 100:
        return "", f"{share - 100} % of the mark distance above the upper mark{give}"
    if share < 0:
        return "", f"{-share} % of the mark distance below the lower mark{give}"
    return f"{share}", f"{share} % of the way from the lower to the upper mark{give}"


def level_findings(photo: Photo, retaken: bool) -> Iterator[Finding]:
    """Yield that a level lies outside the marks, or that the photo can't tell whether it does."""
    found, near = level_of(photo), near_mark(photo)
    if found is None or (LOWER <= found[0] <= UPPER and not near):
        return
    side = "above the upper" if found[0] > UPPER else "below the lower"
    text = f"Level {side} mark ({found[0]:.2f}; 0 is the lower mark, 1 the upper)."
    spoken, customer = f"Level {side} mark.", f"The photo shows the fluid level {side} mark."
    if near:
        wrong = "above it" if near == "upper" else "below it"
        cant = f"the photo can't tell whether it is {wrong}."
        text = (
            f"Level near the {near} mark ({found[0]:.2f} ± {found[1]:.2f}; 0 is the lower mark, "
            f"1 the upper): {cant} A second photo makes it surer."
        )
        spoken = "Level not sure. Take it again."
        customer = f"The photo shows the fluid level near the {near} mark; {cant}"
    yield Finding(
        key=f"level:{photo.entry.id}",
        kind=FindingKind.UNSURE if near else FindingKind.OUT_OF_SPEC,
        text=text,
        spoken=spoken,
        step=photo.step,
        entry=photo.entry.id,
        at=photo.entry.at,
        resolved="photo retaken" if retaken else "",
        customer=customer,
    )


def disagreement(photo: Photo, retaken: bool) -> Finding:
    """Return the finding that shots of the dipstick, one behind the other, differ too much."""
    why = str(photo.together.get("why") or "the shots disagree").removeprefix("the shots ")
    return Finding(
        key=f"shots:{photo.entry.id}",
        kind=FindingKind.UNSURE,
        text=f"The photos of the dipstick {why}.",
        spoken="Level not sure. Take it again.",
        step=photo.step,
        entry=photo.entry.id,
        at=photo.entry.at,
        resolved="photo retaken" if retaken else "",
        customer=f"{1 + len(taken_with(photo))} photos of the dipstick showed different levels.",
    )
