"""Each photo with what was measured in it, in words."""

from __future__ import annotations

from fractions import Fraction
from typing import NamedTuple

from joblog.job.label_codes import codes_on
from joblog.job.photo_faults import Fault, fault_of
from joblog.job.types import Photo
from joblog.record.entry import Entry
from joblog.report.colour import colour_name
from joblog.report.context import Context, photo_name
from joblog.report.images import Shown
from joblog.report.model import Picture
from joblog.report.numbers import as_decimal, as_lab
from joblog.report.past import flake_lengths
from joblog.report.text import clean

_ON_FRONT = 3


class Words(NamedTuple):
    """The main figure of a photo, what it is, and the rest of what was measured."""

    figure: str
    caption: str
    details: tuple[str, ...] = ()


def image_sha(photo: Photo) -> str:
    """Return the SHA-256 of the picture with the measurement drawn, if any, else of the photo."""
    return _media(photo.entry, "overlay") or _media(photo.entry, "photo")


def photo_sha(photo: Photo) -> str:
    """Return the SHA-256 of the photo as it was taken, '' where there is none."""
    return _media(photo.entry, "photo")


def shown_sha(photo: Photo) -> str:
    """Return the SHA-256 of the picture to show.

    Of a photo of no use that is the photo alone: drawn on the other stands what the technician was
    told to do.
    """
    return image_sha(photo) if photo.usable else _media(photo.entry, "photo") or image_sha(photo)


def _media(entry: Entry, role: str) -> str:
    return next((ref.sha256 for ref in entry.media if ref.role == role), "")


def pictures(c: Context, shown: dict[str, Shown]) -> tuple[Picture, ...]:
    """Return every photo of the job, in order."""
    return tuple(_picture(c, photo, shown) for photo in c.state.photos)


def _picture(c: Context, photo: Photo, shown: dict[str, Shown]) -> Picture:
    words = describe(c, photo)
    image = shown.get(shown_sha(photo))
    title = photo_name(c, photo)
    number = c.photo_numbers[photo.entry.id]
    measured = f"{words.figure} {words.caption}".strip()
    alt = c.t.say("Photo {n}, {title}: {measured}.", n=number, title=title, measured=measured)
    if photo.entry.media and image is None:
        words = words._replace(details=(*words.details, c.t.say("The picture is not at hand.")))
    if image and image.copied:
        told = c.t.say("A copy without the place it was taken; the record can't vouch for it.")
        words = words._replace(details=(*words.details, told))
    return Picture(
        number=number,
        title=title,
        figure=words.figure,
        caption=words.caption,
        details=words.details,
        alt=alt,
        image=image.key if image else "",
        original=_media(photo.entry, "photo") or image_sha(photo),
        at=c.when(photo.entry.at),
        usable=photo.usable,
        width=image.width if image else 4,
        height=image.height if image else 3,
        copied=bool(image and image.copied),
    )


def describe(c: Context, photo: Photo) -> Words:
    """Return what was measured in ``photo``, in the reader's language."""
    if not photo.usable:
        if photo.kind not in ("plug", "dipstick", "fluid"):
            return Words("", c.t.say("taken for the record"))
        again = taken_again(c, photo)
        n = c.photo_numbers[again.entry.id] if again else 0
        details = (c.t.say("Taken again: photo {n}.", n=n),) if again else ()
        return Words("", c.t.say("not usable, as {why}", why=_why(c, photo)), details)
    describing = {"plug": _plug, "dipstick": _dipstick, "fluid": _fluid, "label": _label}
    return describing.get(photo.kind, _other)(c, photo)


def taken_again(c: Context, photo: Photo) -> Photo | None:
    """Return the usable photo that stands for an unusable one, None where there is none."""
    later = [p for p in c.state.photos if p.entry.seq > photo.entry.seq and p.usable]
    return next((p for p in later if (p.kind, p.step) == (photo.kind, photo.step)), None)


def unusable_words(c: Context, photo: Photo) -> str:
    """Return that a photo was of no use, why, and whether it was taken again.

    What the technician was told to do about it (hold still, wipe the lens) is not the reader's.
    """
    t, why, step = c.t, _why(c, photo), c.step_title(photo.step)
    what = step or photo_name(c, photo)
    if taken_again(c, photo) is None:
        return t.say("The photo for “{what}” was not usable, as {why}.", what=what, why=why)
    return t.say(
        "A first photo for “{what}” was not usable, as {why}; it was taken again.",
        what=what,
        why=why,
    )


def _why(c: Context, photo: Photo) -> str:
    """Return in the reader's language what was wrong with a photo."""
    t, fault = c.t, fault_of(photo.measurement.get("why"))
    if fault in (Fault.NO_MARKS, Fault.TWO_MARKS):
        return t.say("the marks of the dipstick could not be made out in it")
    known = {
        Fault.BLURRED: t.say("it was blurred"),
        Fault.DARK: t.say("it was too dark"),
        Fault.BRIGHT: t.say("it was too bright"),
        Fault.GLARE: t.say("light was reflected in it"),
        Fault.FAR: t.say("it was taken from too far away"),
        Fault.SMALL_DROP: t.say("it was taken from too far away"),
        Fault.CUT_OFF: t.say("it did not show the whole part"),
        Fault.NO_COLOR: t.say("it was taken without colors"),
        Fault.HIDDEN: t.say("something covered what was to be measured"),
        Fault.NO_FIT: t.say("the dipstick's marks did not fit the known distance between them"),
        Fault.NO_EDGE: t.say("the edge of the fluid could not be made out in it"),
        Fault.NO_CODE: t.say("no bar code could be read in it"),
    }
    words = known.get(fault) if fault else None
    return words or t.say("nothing could be measured in it")


def _plug(c: Context, photo: Photo) -> Words:
    t = c.t
    lengths = flake_lengths(photo)
    film = as_decimal(photo.measurement.get("film_coverage"))
    known = _give_or_take(c, photo, "film_uncertainty")
    covered = t.say("fine film on {share} of the magnet", share=t.percent(film)) if film else ""
    covered = ", ".join((covered, *known)) if covered else ""
    size = _magnet(c, photo)
    if lengths:
        more = tuple(x for x in (covered, *size) if x)
        # Of the small ones half are not seen (docs/plug.md), so none is called the only one.
        words = t.count(
            "long, {n} flake found; smaller ones may not be seen",
            "the longest of {n} flakes found; smaller ones may not be seen",
            len(lengths),
        )
        return Words(c.millimetres(max(lengths)), words, more)
    if film is not None:
        words = t.say("of the magnet under fine film, no flakes found; small ones may not be seen")
        return Words(t.percent(film), words, (*known, *size))
    return Words("", t.say("no flakes found; small ones may not be seen"), size)


def _magnet(c: Context, photo: Photo) -> tuple[str, ...]:
    """Return how large the magnet is and how sure that is: film on its edge hides where it ends."""
    magnet = as_decimal(photo.measurement.get("magnet_diameter_mm"))
    if magnet is None:
        return ()
    size = c.t.say("magnet {size} across", size=c.millimetres(magnet))
    return (", ".join((size, *_give_or_take(c, photo, "magnet_uncertainty"))),)


def _give_or_take(c: Context, photo: Photo, what: str) -> tuple[str, ...]:
    """Return how far off a measurement may be; () where its record doesn't say, as older ones."""
    doubt = as_decimal(photo.measurement.get(what))
    return () if doubt is None else (c.t.say("give or take {doubt}", doubt=c.t.percent(doubt)),)


def _dipstick(c: Context, photo: Photo) -> Words:
    t = c.t
    level = as_decimal(photo.measurement.get("level_fraction"))
    if level is None:
        return Words("", t.say("not measured"))
    details = _give_or_take(c, photo, "level_uncertainty")
    if level > 1:
        return Words(
            c.share(level - 1), t.say("of the mark distance above the upper mark"), details
        )
    if level < 0:
        return Words(c.share(-level), t.say("of the mark distance below the lower mark"), details)
    return Words(c.share(level), t.say("of the way from the lower to the upper mark"), details)


def _fluid(c: Context, photo: Photo) -> Words:
    lab = as_lab(photo.measurement.get("lab"))
    if lab is None:
        return Words("", c.t.say("not measured"))
    figures = "  ".join(
        f"{axis} {c.t.number(Fraction(x), 0)}"
        for axis, x in zip(("L*", "a*", "b*"), lab, strict=True)
    )
    meaning = c.t.say(
        "L* says how light it is (0 black, 100 white), a* how red (below 0 how green), "
        "b* how yellow (below 0 how blue)"
    )
    caption = c.t.say("colour of the fluid on white paper")
    return Words(colour_name(c.t, *lab), caption, (figures, meaning))


def _label(c: Context, photo: Photo) -> Words:
    codes = codes_in(photo)
    if not codes:
        return Words("", c.t.say("taken for the record"))
    return Words("", c.t.say("bar code read"), tuple(codes))


def _other(c: Context, _photo: Photo) -> Words:
    return Words("", c.t.say("taken for the record"))


def codes_in(photo: Photo) -> list[str]:
    """Return the texts of the bar codes that were read in a photo."""
    return [clean(text) for text in codes_on(photo)]


def front_pictures(c: Context, all_of_them: tuple[Picture, ...]) -> tuple[Picture, ...]:
    """Return up to three pictures that tell the customer most, in the order of the job.

    A cleared copy is not among them: page 1 has no room to say what it is.
    """
    by_number = {picture.number: picture for picture in all_of_them}
    chosen: dict[int, int] = {}
    for rank, (kind, phase) in enumerate(
        [
            ("plug", "before"),
            ("dipstick", "after"),
            ("plug", "after"),
            ("fluid", "before"),
            ("dipstick", "before"),
            ("fluid", "after"),
            ("plug", "once"),
            ("dipstick", "once"),
            ("fluid", "once"),
            ("label", "once"),
        ]
    ):
        for photo in reversed(c.state.photos):
            number = c.photo_numbers[photo.entry.id]
            picture = by_number[number]
            fits = (photo.kind, photo.phase) == (kind, phase) and photo.usable
            if fits and picture.image and not picture.copied:
                chosen.setdefault(number, rank)
                break
    best = sorted(chosen, key=lambda number: chosen[number])[:_ON_FRONT]
    return tuple(by_number[number] for number in sorted(best))
