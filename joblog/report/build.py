"""From the job to the report: pure, the same job and options give the same report."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.metadata import version
from pathlib import Path
from typing import Any
from xml.sax.saxutils import quoteattr

import segno

from joblog import __version__
from joblog.errors import UsageError
from joblog.job.types import JobState, Value
from joblog.report import expert, findings
from joblog.report.context import Context
from joblog.report.front import front
from joblog.report.history import odometer, services
from joblog.report.images import Media, Shown, logo_png, shown_pictures, size_of
from joblog.report.labels import labels
from joblog.report.language import Language
from joblog.report.measured import measured
from joblog.report.model import Fact, Report, Shop
from joblog.report.pairs import pair_pictures, pairs
from joblog.report.past import Past, past_of
from joblog.report.pictures import image_sha, photo_sha, pictures, shown_sha
from joblog.report.quantity import Paper, Units
from joblog.report.settings import ShopSettings
from joblog.report.supplies import supplies
from joblog.report.text import clean, sentence
from joblog.report.visuals import charts

FORMAT = 1  # of report.json; a reader refuses a higher one


@dataclass(frozen=True)
class Options:
    """How a report is told; kept inside it, so that it can be made again and compared."""

    language: str = "en"
    units: Units = "us"
    paper: Paper = "a4"
    settings: ShopSettings = ShopSettings()  # noqa: RUF009  # frozen
    earlier: tuple[Past, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return plain JSON."""
        return {
            "format": FORMAT,
            "language": self.language,
            "units": self.units,
            "paper": self.paper,
            "settings": self.settings.model_dump(mode="json"),
            "earlier": [past.to_dict() for past in self.earlier],
            "versions": versions(),
        }


@lru_cache
def versions() -> dict[str, str]:
    """Return the versions of what decides a report's words and pages.

    ``report`` is a hash over this room's own files (code, layout, catalogues, fonts), ``rules``
    one over the rooms that judge a record: a page made before one of them changed must not be
    called altered.
    """
    room = Path(__file__).parent
    return {
        "joblog": __version__,
        "report": _hash_of(room),
        "rules": _hash_of(*(room.parent / name for name in ("job", "measure", "sheet"))),
        "babel": version("babel"),
        "typst": version("typst"),
    }


def _hash_of(*rooms: Path) -> str:
    digest = hashlib.sha256()
    for room in rooms:
        for path in sorted(room.rglob("*"), key=lambda p: p.relative_to(room).as_posix()):
            if path.suffix in {".py", ".typ", ".po", ".ttf", ".otf"}:
                name = path.relative_to(room).as_posix().encode()
                digest.update(name + b"\0" + path.read_bytes())
    return digest.hexdigest()[:16]


def core(state: JobState) -> dict[str, Any]:
    """Return the job in plain JSON, in no language and no other unit than recorded."""
    return {
        "final_hash": state.final_hash,
        "closed": state.closed,
        "steps": [[s.step.key, str(s.status), s.at] for s in state.steps],
        "values": [
            [v.entry.id, _figures(v), v.unit, v.within, [old.id for old in v.corrected_from]]
            for v in state.values
        ],
        "fluids": [[f.key, str(f.poured_in), str(f.poured_out), f.unit] for f in state.fluids],
        "photos": [[p.entry.id, p.kind, p.usable, image_sha(p)] for p in state.photos],
        "findings": [[f.key, str(f.kind), f.resolved] for f in state.findings],
    }


def _figures(value: Value) -> str | list[str]:
    """Return a value as text; of a range both ends."""
    one = str(value.value)
    return one if value.upper is None else [one, str(value.upper)]


def build_report(
    state: JobState,
    media: Media,
    *,
    language: str = "en",
    units: Units = "us",
    paper: Paper = "a4",
    settings: ShopSettings | None = None,
    history: Sequence[JobState] = (),
    copies: Media | None = None,
) -> Report:
    """Return the report on ``state``.

    ``media`` gives the bytes of a photo by its SHA-256 and may raise for one that isn't at hand:
    the report then says so in its place. ``copies`` gives cleared copies of such photos: they are
    shown as what they are. ``history`` are earlier jobs of the same unit, in any order. Raises
    InputError for an unknown language, UsageError for unknown units or paper.
    """
    if units not in ("us", "metric", "both"):
        raise UsageError(f"units {units!r} are unknown; choose us, metric or both")
    if paper not in ("a4", "letter"):
        raise UsageError(f"the paper {paper!r} is unknown; choose a4 or letter")
    earlier = [past_of(job) for job in history if job.job != state.job and job.entries]
    kept = settings or ShopSettings()
    options = Options(
        language, units, paper, kept, tuple(sorted(earlier, key=lambda p: (p.at, p.job)))
    )
    wanted = [shown_sha(photo) for photo in state.photos]
    wanted += [ref.sha256 for entry in state.signatures[-1:] for ref in entry.media]
    drawn_on = {image_sha(photo): photo_sha(photo) for photo in state.photos}
    bare = {drawn: photo for drawn, photo in drawn_on.items() if photo not in {"", drawn}}
    shown = shown_pictures([sha for sha in wanted if sha], media, bare, copies)
    return assemble(state, shown | pair_pictures(state, media), options)


def assemble(state: JobState, shown: dict[str, Shown], options: Options) -> Report:
    """Return the report on ``state`` with the pictures ``shown`` (by the original's SHA-256)."""
    t = Language.find(options.language, options.settings.time_zone)
    c = Context(state, t, options.units, options.settings, options.earlier)
    images = {picture.key: picture.data for picture in shown.values()}
    shop = _shop(c, images)
    all_pictures, said = pictures(c, shown), labels(t)
    qr_text = f"joblog job={state.job} sha256={state.final_hash}" if state.entries else ""
    return Report(
        language=t.locale.language,
        direction=t.direction,
        paper=options.paper,
        units=options.units,
        kind="service",
        title=_title(c),
        kicker=t.say("Service report"),
        subtitle=t.sheet(state.sheet.sheet.title),
        order=c.opened("order"),
        shop=shop,
        facts=_facts(c),
        front=front(c, all_pictures, _signature(c, shown)),
        charts=charts(c),
        measured=measured(c),
        steps=expert.steps(c),
        supplies=supplies(c),
        findings=findings.findings(c),
        corrections=findings.corrections(c),
        notes=expert.notes(c),
        cautions=expert.cautions(c),
        pictures=all_pictures,
        pairs=pairs(c, shown),
        history=services(c, options.earlier),
        example=_example(c),
        closing=_closing(c),
        record=_record(c),
        final_hash=state.final_hash,
        qr=_qr(qr_text, said["qr"]),
        qr_text=qr_text,
        created_at=state.entries[-1].at if state.entries else "",
        times=_times(c),
        labels=said,
        made_with=options.to_dict(),
        core=core(state),
        images=images,
    )


def _signature(c: Context, shown: dict[str, Shown]) -> str:
    """Return the last signature's picture: an earlier one's would stand beside another's name."""
    last = [ref.sha256 for entry in c.state.signatures[-1:] for ref in entry.media]
    return next((shown[sha256].key for sha256 in last if sha256 in shown), "")


def _title(c: Context) -> str:
    names = [c.opened("unit", name) for name in ("year", "make", "model")]
    others = (c.opened("unit", name) for name in ("type", "plate", "vin"))
    named = " ".join(x for x in names if x) or next((x for x in others if x), "")
    return named or c.t.say("Vehicle not named")


def _shop(c: Context, images: dict[str, bytes]) -> Shop:
    s = c.settings
    name = clean(s.name) or c.opened("shop", "name")
    lines = [clean(x) for x in s.address] or [c.opened("shop", "address")]
    lines += [clean(x) for x in (s.phone or c.opened("shop", "phone"), s.email, s.web)]
    key, ratio, png = "", "1", logo_png(base64.b64decode(s.logo)) if s.logo else None
    if png is not None:
        key = hashlib.sha256(png).hexdigest()
        images[key] = png
        width, height = size_of(png)
        ratio = f"{width / height:.3f}"
    alt = c.t.say("Logo of {shop}", shop=name) if key else ""
    return Shop(name, tuple(x for x in lines if x), key, alt, ratio, s.accent)


def _facts(c: Context) -> tuple[Fact, ...]:
    t = c.t
    meter = odometer(c, c.opened("unit", "odometer"), c.opened("unit", "odometer_unit") or "km")
    hours = c.opened("unit", "odometer_unit") == "h"
    facts = [
        Fact(t.say("Customer"), c.opened("customer", "name")),
        Fact(t.say("Registration"), c.opened("unit", "plate")),
        Fact(t.say("VIN"), c.opened("unit", "vin")),
        Fact(t.say("Hour meter") if hours else t.say("Odometer"), meter),
    ]
    return tuple(fact for fact in facts if fact.text)


def _example(c: Context) -> Fact | None:
    if not c.state.sheet.sheet.example:
        return None
    text = c.t.say(
        "The values on the job sheet used here are examples. Before real work they "
        "must be replaced by those of the vehicle's own service information."
    )
    return Fact(c.t.say("Example values"), text)


def _closing(c: Context) -> tuple[Fact, ...]:
    t = c.t
    rules = t.say(
        "The vehicle's own service information rules over this report. Work on "
        "vehicles is for trained people who may do it by law."
    )
    facts = [Fact(t.say("What rules"), rules)]
    if c.settings.warranty:
        facts.append(Fact(t.say("Warranty"), sentence(c.settings.warranty)))
    if c.settings.disclaimer:
        facts.append(Fact(t.say("From the shop"), sentence(c.settings.disclaimer)))
    return tuple(facts)


def _record(c: Context) -> tuple[Fact, ...]:
    t, state = c.t, c.state
    entries = state.entries
    sheet = state.sheet.sheet
    facts = [Fact(t.say("Job"), state.job)]
    if entries:
        facts.append(Fact(t.say("Entries"), _entries_line(c)))
    revision = t.say(
        "{title}, revision {revision}", title=t.sheet(sheet.title), revision=clean(sheet.revision)
    )
    facts.append(Fact(t.say("Job sheet"), revision))
    facts.append(
        Fact(
            t.say("How to check"),
            t.say(
                "Each entry carries the hash of the one before it, so that a change shows. Whoever "
                "keeps the final hash sees it, too, if all was written anew. "
                "The PDF holds the record; “joblog verify report.pdf” takes it out "
                "and says whether record and report agree."
            ),
        )
    )
    return tuple(fact for fact in facts if fact.text)


def _entries_line(c: Context) -> str:
    t, entries = c.t, c.state.entries
    heard = [str(e.body.get("verdict", "")) for e in entries if e.kind == "heard"]
    line = t.count(
        "{n} entry, from {start} to {end}",
        "{n} entries, from {start} to {end}",
        len(entries),
        start=t.moment(entries[0].at),
        end=t.moment(entries[-1].at),
    )
    if heard:
        taken, asked, ignored = (heard.count(v) for v in ("accept", "ask", "reject"))
        line += "; " + t.say(
            "{n} spoken lines: {taken} taken, {asked} asked back, {ignored} ignored as chatter",
            n=t.number(len(heard)),
            taken=t.number(taken),
            asked=t.number(asked),
            ignored=t.number(ignored),
        )
    return line


def _times(c: Context) -> str:
    """Return which times the report shows; the record keeps UTC."""
    start = c.state.entries[0].at if c.state.entries else ""
    return c.t.say("Times: {zone}", zone=c.t.zone_name(start)) if start else ""


def _qr(text: str, alt: str) -> str:
    """Return the QR code as one SVG path, black on white, with its quiet zone."""
    if not text:
        return ""
    code = segno.make_qr(text, error="m")
    border = 4
    side = code.symbol_size(scale=1, border=0)[0] + 2 * border
    cells = [
        f"M{x + border} {y + border}h1v1h-1z"
        for y, row in enumerate(code.matrix)
        for x, dark in enumerate(row)
        if dark
    ]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {side} {side}" role="img" '
        f'aria-label={quoteattr(alt)} shape-rendering="crispEdges">'
        f'<rect width="{side}" height="{side}" fill="#fff"/>'
        f'<path d="{"".join(cells)}" fill="#000"/></svg>'
    )
