"""Findings and how each ended; corrections, with the old value kept in sight."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal

from joblog.job.guard_ended import ENDED
from joblog.job.guard_photos import FLAKE_COUNTED_MM
from joblog.job.guard_wanted import DROPPED
from joblog.job.levels import near_mark
from joblog.job.photos import photo_of, taken_with
from joblog.job.told_meter import KIND as METER
from joblog.job.told_meter import told_by
from joblog.job.types import Finding, FindingKind, Photo
from joblog.record.entry import Entry
from joblog.report.context import Context, photo_name, value_name_at
from joblog.report.ending import end_of, ended_words, reason_words
from joblog.report.kinds import kind_name
from joblog.report.model import Correction, Found
from joblog.report.numbers import as_decimal
from joblog.report.past import flake_lengths
from joblog.report.pictures import unusable_words
from joblog.report.sentences import guard_sentence
from joblog.report.telling import entry_value
from joblog.report.text import clean, sentence

# Rules whose sentence holds a value with its unit, or seconds.
_VALUED = ("spec", "wrench", "quantity", "drained", "came-out", "window", "meter")
_COUNTED = Decimal(str(FLAKE_COUNTED_MM))


def for_customer(c: Context, finding: Finding) -> str:
    """Return a finding in the customer's words.

    The guard writes English; in another language its sentence is made anew, and in English where
    it holds a value, so that all pages give it in the same unit. Where that can't be, the report
    says what kind of thing it was and at which step, and the guard's own sentence stays on the
    expert's pages.
    """
    anew = in_full(c, finding)
    if unusable_photo(*_then(c, finding)):
        return anew
    if c.t.code == "en":
        # The guard's own words, save where a value has to be told in the reader's units.
        return anew if anew and _valued(finding) else sentence(finding.customer or finding.text)
    return anew or _by_kind(c, finding)


def _valued(finding: Finding) -> bool:
    key = finding.key.split(":", 2)[-1] if finding.key.startswith(ENDED) else finding.key
    return key.partition(":")[0] in _VALUED


def _then(c: Context, finding: Finding) -> tuple[Context, Finding]:
    """Return job and finding as somebody confirmed it, where it is so no more; else as they are.

    Of a photo that was taken back, say, the job of now knows nothing.
    """
    if not finding.key.startswith(ENDED):
        return c, finding
    confirmed, _, key = finding.key.removeprefix(ENDED).partition(":")
    return c.before(confirmed), replace(finding, key=key)


def in_full(c: Context, finding: Finding) -> str:
    """Return what the guard's sentence says, made anew in the report's language, '' where not."""
    c, finding = _then(c, finding)
    rule, _, rest = finding.key.partition(":")
    unusable = unusable_photo(c, finding)
    if unusable is not None:
        return unusable_words(c, unusable)
    photo = next((p for p in c.state.photos if p.entry.id == finding.entry), None)
    if rule == "unsure":
        return _unclear(c, finding)
    anew = guard_sentence(c, finding)
    if anew or photo is None:
        return anew
    if rule in ("level", "shots"):
        return _level(c, photo, rule)
    return _debris(c, photo, rest.partition(":")[0]) if rule == "debris" else ""


def _level(c: Context, photo: Photo, rule: str) -> str:
    if rule == "shots":
        shots = str(1 + len(taken_with(photo)))
        return c.t.say("{n} photos of the dipstick showed different levels.", n=shots)
    near = near_mark(photo)
    if near == "upper":
        return c.t.say(
            "The photo shows the fluid level near the upper mark; the photo can't tell whether it "
            "is above it."
        )
    if near:
        return c.t.say(
            "The photo shows the fluid level near the lower mark; the photo can't tell whether it "
            "is below it."
        )
    level = as_decimal(photo.level[0])
    if level is not None and level > 1:
        return c.t.say("The photo shows the fluid level above the upper mark.")
    return c.t.say("The photo shows the fluid level below the lower mark.")


def _unclear(c: Context, finding: Finding) -> str:
    t, asked = c.t, c.by_id.get(finding.entry or "")
    lead = t.say("One spoken line was unclear; the program asked.")
    if asked is not None and asked.source == "hand":
        lead = t.say("One typed line was unclear; the program asked.")
    dropped = end_of(finding) == DROPPED
    return f"{lead} {t.say('Nothing was recorded of it.')}" if dropped else lead


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
            "{n} metal flake of {size} and more was found on the magnet; more may not be seen.",
            "{n} metal flakes of {size} and more were found on the magnet; more may not be seen.",
            counted,
            size=c.millimetres(_COUNTED),
        )
    if what == "flake" and lengths:
        size = c.millimetres(max(lengths))
        return t.say(
            "The longest metal flake found on the magnet is {size} long; smaller ones may not be "
            "seen.",
            size=size,
        )
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
    timed = sorted(((noticed(c, f), f) for f in c.state.findings), key=lambda pair: pair[0])
    if c.set_back:
        timed.sort(key=lambda pair: _recorded_at(c, *pair))
    return tuple(_found(c, finding, at) for at, finding in timed)


def _recorded_at(c: Context, at: str, finding: Finding) -> int:
    """Return the place in the record of what a finding is about; the last where nothing tells."""
    entry = c.by_id.get(finding.entry or "")
    if entry:
        return entry.seq
    return max((e.seq for e in c.state.entries if e.at == at), default=len(c.state.entries))


def noticed(c: Context, finding: Finding) -> str:
    """Return when a finding was noticed (RFC 3339), '' where nothing tells.

    What is noticed of a sum has no moment of its own: it is that of the last amount.
    """
    entry = c.by_id.get(finding.entry or "")
    if finding.at or entry:
        return finding.at or (entry.at if entry else "")
    key = finding.key.split(":")[1:2]
    pours = [
        v.entry.at
        for v in c.state.values
        if [v.entry.body.get("fluid")] == key and v.step == finding.step
    ]
    return pours[-1] if pours else ""


def _found(c: Context, finding: Finding, at: str) -> Found:
    open_ = not finding.resolved and finding.kind is not FindingKind.OBSERVATION
    english = c.t.code == "en"
    whole = bool(in_full(c, finding))
    options = english and finding.key.startswith("unsure:")  # what was asked is for the expert
    return Found(
        at=c.when(at) if at else "",
        kind=kind_name(c, finding.kind),
        text=sentence(finding.text) if options else for_customer(c, finding),
        original="" if english or whole else sentence(finding.text),
        resolved=c.t.say("still open") if open_ else ended_words(c, finding),
        open=open_,
        explained=_explained(c, finding),
    )


def _explained(c: Context, finding: Finding) -> str:
    """Return the advisor's words with who said them and when, '' where there are none."""
    text = sentence(clean(c.state.explanation(finding.key)))
    if not text:
        return ""
    said = c.state.explained[finding.key]
    by, at = clean(said.by), c.when(said.at)
    return f"{text} ({by}, {at})" if by else f"{text} ({at})"


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
        old_at=c.when(old.at),
        new=c.t.say("taken back") if taken_back else _content(c, new),
        new_at=c.when(new.at),
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
        return value_name_at(c, value)
    if entry.kind in ("job-opened", METER):
        return c.t.say("Hour meter") if _in_hours(entry) else c.t.say("Odometer")
    names = {
        "torque": c.t.say("Torque"),
        "quantity": c.t.say("Amount"),
        "reading": c.t.say("Reading"),
        "photo": c.t.say("Photo"),
        "note": c.t.say("Note"),
        "step-done": c.t.say("Step"),
        "part": c.t.say("Part"),
        "clock": c.t.say("Clock"),
        "confirmed": c.t.say("Confirmation"),
    }
    step = c.step_title(_step_of(c, entry))
    name = names.get(entry.kind, clean(entry.kind))
    return f"{name}, {step}" if step and entry.kind != "step-done" else name


def _content(c: Context, entry: Entry) -> str:
    if "value" in entry.body or "high" in entry.body:
        return entry_value(c, entry)
    telling: dict[str, Callable[[Context, Entry], str]] = {
        "photo": _photo_content,
        "step-done": lambda c, e: c.step_title(e.body.get("step")),
        "confirmed": lambda c, e: reason_words(c, clean(e.body.get("reason", ""))),
        "part": _part_content,
        "clock": _clock_content,
        "job-opened": _meter_content,
    }
    told = telling.get(entry.kind)
    return (told(c, entry) if told else clean(entry.body.get("text", ""))) or clean(entry.kind)


def _photo_content(c: Context, entry: Entry) -> str:
    name = photo_name(c, photo_of(entry))
    number = c.photo_numbers.get(entry.id)  # None for one that was taken back, or corrected
    return name if number is None else c.t.say("photo {n}", n=number) + f", {name}"


def _in_hours(entry: Entry) -> bool:
    told = told_by(entry)
    return told is not None and told.unit == "h"


def _meter_content(c: Context, entry: Entry) -> str:
    told = told_by(entry)
    if told:
        return c.meter(told.value, told.unit)
    return clean((entry.body.get("unit") or {}).get("odometer") or "") or c.t.say("not told")


def _step_of(c: Context, entry: Entry) -> str | None:
    """Return the step that an entry belongs to; a confirmation's is that of its finding."""
    if entry.kind != "confirmed":
        return entry.body.get("step")
    key = c.history.key_now(str(entry.body.get("finding")))
    return next((f.step for f in c.state.findings if f.key == key), None)


def _part_content(c: Context, entry: Entry) -> str:
    key = str(entry.body.get("part", ""))
    part = next((p for p in c.state.sheet.parts if p.key == key), None)
    name = c.t.sheet(part.name) if part else clean(key)
    if entry.body.get("state") == "new":
        return c.t.say("{part}: new", part=name)
    return c.t.say("{part}: used again", part=name)


def _clock_content(c: Context, entry: Entry) -> str:
    if entry.body.get("name") == "fan-cycle":
        return c.t.say("one run of the cooling fan")
    if entry.body.get("event") == "start":
        return c.t.say("stop watch started")
    return c.t.say("stop watch stopped")
