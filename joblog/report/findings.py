"""Findings and how each ended; corrections, with the old value kept in sight."""

from __future__ import annotations

import re
from decimal import Decimal

from joblog.job.guard_photos import FLAKE_COUNTED_MM
from joblog.job.types import Finding, FindingKind, Photo
from joblog.record.entry import Entry
from joblog.report.context import Context, photo_name, value_name
from joblog.report.expert import entry_value
from joblog.report.model import Correction, Found
from joblog.report.numbers import as_decimal
from joblog.report.past import flake_lengths
from joblog.report.pictures import unusable_words
from joblog.report.sentences import guard_sentence
from joblog.report.text import clean, sentence

_COUNTED = Decimal(str(FLAKE_COUNTED_MM))
_CONFIRMED = re.compile(
    r"^confirmed by (?P<who>.*?): (?P<why>.*?)(?P<after>; done afterwards)?$", re.S
)


def kind_name(c: Context, kind: FindingKind) -> str:
    """Return the name of a kind of finding."""
    t = c.t
    return {
        FindingKind.OUT_OF_ORDER: t.say("out of order"),
        FindingKind.OUT_OF_SPEC: t.say("outside its limits"),
        FindingKind.OUTSIDE_WINDOW: t.say("outside its time"),
        FindingKind.MISSING: t.say("missing"),
        FindingKind.UNSURE: t.say("not sure"),
        FindingKind.CONDITION: t.say("unsafe or not ready"),
        FindingKind.MISMATCH: t.say("amounts do not agree"),
        FindingKind.WRONG_UNIT: t.say("wrong sheet for this unit"),
        FindingKind.OBSERVATION: t.say("observation"),
    }.get(kind, clean(str(kind)))


def for_customer(c: Context, finding: Finding) -> str:
    """Return a finding in the customer's words.

    The guard writes English; in another language its sentence is made anew. Where that can't be,
    the report says what kind of thing it was and at which step, and the guard's own sentence stays
    on the expert's pages.
    """
    photo = unusable_photo(c, finding)
    if photo is not None:
        return unusable_words(c, photo)
    if c.t.code == "en":
        return sentence(finding.customer or finding.text)
    return in_full(c, finding) or _by_kind(c, finding)


def in_full(c: Context, finding: Finding) -> str:
    """Return what the guard's sentence says, made anew in the report's language, '' where not."""
    t, (rule, _, rest) = c.t, finding.key.partition(":")
    photo = next((p for p in c.state.photos if p.entry.id == finding.entry), None)
    if rule == "unsure":
        return t.say("One spoken line was unclear; the program asked.")
    anew = guard_sentence(c, finding)
    if anew or photo is None:
        return anew
    if rule == "level":
        level = as_decimal(photo.measurement.get("level_fraction"))
        if level is not None and level > 1:
            return t.say("The photo shows the fluid level above the upper mark.")
        return t.say("The photo shows the fluid level below the lower mark.")
    return _debris(c, photo, rest.partition(":")[0]) if rule == "debris" else ""


def _debris(c: Context, photo: Photo, what: str) -> str:
    t, lengths = c.t, flake_lengths(photo)
    film = as_decimal(photo.measurement.get("film_coverage"))
    if what == "film" and film is not None:
        return t.say(
            "Fine film covered {share} of the magnet, which is much.", share=t.percent(film)
        )
    if what == "flakes":
        counted = sum(length >= _COUNTED for length in lengths)
        return t.count(
            "The magnet had caught {n} metal flake of {size} and more.",
            "The magnet had caught {n} metal flakes of {size} and more.",
            counted,
            size=c.millimetres(_COUNTED),
        )
    if what == "flake" and lengths:
        size = c.millimetres(max(lengths))
        return t.say("The magnet had caught a metal flake {size} long.", size=size)
    return ""


def unusable_photo(c: Context, finding: Finding) -> Photo | None:
    """Return the photo that a finding calls unusable: its text tells the technician what to do."""
    return next((p for p in c.state.photos if finding.key == f"photo:{p.entry.id}"), None)


def _by_kind(c: Context, finding: Finding) -> str:
    t, step = c.t, c.step_title(finding.step)
    if not step:
        return sentence(kind_name(c, finding.kind))
    texts = {
        FindingKind.OUT_OF_ORDER: t.say("“{step}” was reported out of its order.", step=step),
        FindingKind.OUT_OF_SPEC: t.say("A value at “{step}” was outside its limits.", step=step),
        FindingKind.OUTSIDE_WINDOW: t.say("“{step}” was not done in its time.", step=step),
        FindingKind.MISSING: t.say("Something is missing at “{step}”.", step=step),
        FindingKind.UNSURE: t.say("Something at “{step}” was not sure.", step=step),
        FindingKind.CONDITION: t.say("“{step}” was reported before all was ready.", step=step),
        FindingKind.MISMATCH: t.say("The amounts at “{step}” do not agree.", step=step),
    }
    kind = kind_name(c, finding.kind)
    return texts.get(finding.kind) or sentence(t.say("{step}: {kind}", step=step, kind=kind))


def findings(c: Context) -> tuple[Found, ...]:
    """Return all findings in the order in which they were noticed."""
    return tuple(_found(c, finding) for finding in c.state.findings)


def _found(c: Context, finding: Finding) -> Found:
    open_ = not finding.resolved and finding.kind is not FindingKind.OBSERVATION
    ended = _resolved(c, finding) if finding.resolved else ""
    english = c.t.code == "en"
    # Where the guard's words tell the technician what to do, the report has its own.
    plain = finding.key.startswith(("photo:", "wrench:", "debris:")) if english else False
    whole = bool(unusable_photo(c, finding) or in_full(c, finding))
    if open_:
        ended = c.t.say("still open")
    return Found(
        at=c.t.time(finding.at, seconds=True) if finding.at else "",
        kind=kind_name(c, finding.kind),
        text=sentence(finding.text) if english and not plain else for_customer(c, finding),
        original="" if english or whole else sentence(finding.text),
        resolved=ended,
        open=open_,
        explained=_explained(c, finding),
    )


def _explained(c: Context, finding: Finding) -> str:
    """Return the advisor's words with who said them and when, '' where there are none."""
    text = sentence(clean(c.state.explanations.get(finding.key, "")))
    said = [
        e
        for e in c.state.entries
        if e.kind == "explained" and e.body.get("finding") == finding.key and e.body.get("text")
    ]
    if not text or not said:
        return text
    by, at = clean(said[-1].by), c.t.time(said[-1].at, seconds=True)
    return f"{text} ({by}, {at})" if by else f"{text} ({at})"


def _resolved(c: Context, finding: Finding) -> str:
    confirmed = _CONFIRMED.match(finding.resolved)
    if confirmed:
        said = c.t.say(
            "confirmed by {who}: {why}", who=clean(confirmed["who"]), why=clean(confirmed["why"])
        )
        return f"{said}; {c.t.say('done afterwards')}" if confirmed["after"] else said
    if finding.resolved.startswith("answered: "):
        answer = clean(finding.resolved.removeprefix("answered: "))
        return c.t.say("answered: “{answer}”", answer=answer)
    if finding.resolved.startswith("replaced by: "):
        answer = clean(finding.resolved.removeprefix("replaced by: "))
        return c.t.say("replaced by “{answer}”", answer=answer)
    if finding.resolved.startswith("taken back by "):
        who = clean(finding.resolved.removeprefix("taken back by "))
        return c.t.say("taken back by {who}", who=who)
    known = {
        "corrected": c.t.say("corrected"),
        "tightened again": c.t.say("tightened again"),
        "done afterwards": c.t.say("done afterwards"),
        "taken back": c.t.say("taken back"),
        "photo retaken": c.t.say("photo taken again"),
        "read again inside the window": c.t.say("read again in time"),
    }
    return known.get(finding.resolved, clean(finding.resolved))


def corrections(c: Context) -> tuple[Correction, ...]:
    """Return every entry that corrects or takes back an earlier one, in order."""
    rows = []
    for entry in c.state.entries:
        old = c.by_id.get(entry.supersedes or "")
        if old is not None:
            rows.append(_correction(c, old, entry))
    return tuple(rows)


def _correction(c: Context, old: Entry, new: Entry) -> Correction:
    taken_back = new.kind == "disregarded"
    return Correction(
        what=_what(c, old),
        old=_content(c, old),
        old_at=c.t.time(old.at, seconds=True),
        new=c.t.say("taken back") if taken_back else _content(c, new),
        new_at=c.t.time(new.at, seconds=True),
        how=how_it_was_said(c, new),
    )


def how_it_was_said(c: Context, entry: Entry) -> str:
    """Return how an entry came in, for the table of corrections."""
    heard = c.by_id.get(str(entry.body.get("heard", "")))
    if heard is not None:
        return c.t.say("heard: “{text}”", text=clean(heard.body.get("text", "")))
    by = clean(entry.by)
    return c.t.say("by {who}", who=by) if by else ""


def _what(c: Context, entry: Entry) -> str:
    value = next((v for v in c.state.values if entry in (v.entry, *v.corrected_from)), None)
    if value is not None:
        return value_name(c, value)
    names = {
        "torque": c.t.say("Torque"),
        "quantity": c.t.say("Amount"),
        "reading": c.t.say("Reading"),
        "photo": c.t.say("Photo"),
        "note": c.t.say("Note"),
        "step-done": c.t.say("Step"),
    }
    step = c.step_title(entry.body.get("step"))
    name = names.get(entry.kind, clean(entry.kind))
    return f"{name}, {step}" if step and entry.kind != "step-done" else name


def _content(c: Context, entry: Entry) -> str:
    if "value" in entry.body:
        return entry_value(c, entry)
    if entry.kind == "photo":
        photo = next((p for p in c.state.photos if p.entry.id == entry.id), None)
        if photo is not None:
            return c.t.say("photo {n}", n=c.photo_numbers[entry.id]) + f", {photo_name(c, photo)}"
        return c.t.say("photo")
    if entry.kind == "step-done":
        return c.step_title(entry.body.get("step"))
    return clean(entry.body.get("text", "")) or clean(entry.kind)
