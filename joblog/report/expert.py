"""The pages for the expert: the order of work, cautions and notes."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from joblog.job.explanations import note_key, notes_withdrawn
from joblog.job.guard_wanted import missing_key
from joblog.job.types import FindingKind, Photo, StepState, StepStatus, Value
from joblog.job.values import converted
from joblog.record.entry import Entry
from joblog.report.context import Context, how_known, value_name
from joblog.report.ending import stands
from joblog.report.kinds import kind_name, lacking
from joblog.report.model import Caution, Fact, Step
from joblog.report.pictures import describe
from joblog.report.quantity import reader_units
from joblog.report.telling import value_said
from joblog.report.text import clean, sentence

_PHOTOS_TOLD = 4  # more photos of one step than these are only numbered in the order of work


def steps(c: Context) -> tuple[Step, ...]:
    """Return the order of work as it was, then the steps that were not done."""
    rows = [_step(c, state, i) for i, state in enumerate(c.done, 1)]
    left = [s for s in c.state.steps if s.status is StepStatus.OPEN]
    rows += [_step(c, state, len(rows) + i) for i, state in enumerate(left, 1)]
    return tuple(rows)


def _step(c: Context, state: StepState, number: int) -> Step:
    t = c.t
    done = state.status is not StepStatus.OPEN
    details = _source(c, state) + _done_before(c, state)
    details += _amounts(c, state.values)
    details += _photos(c, state.photos)
    if state.missing and done:
        missing = t.listing([lacking(c, state.step, missing_key(state, m)) for m in state.missing])
        details.append(t.say("still missing: {what}", what=missing))
    details += _see_findings(c, state)
    status = t.say("done") if state.status is StepStatus.DONE else t.say("done, not complete")
    if not done:
        status = t.say("optional, not done") if state.step.optional else t.say("not done")
    at = c.when(state.at) if state.at else ""
    return Step(number, t.sheet(state.step.title), at, status, done, tuple(details))


def _source(c: Context, state: StepState) -> list[str]:
    """Return how it is known that a step was done, and how sure; a photo is told as one."""
    if state.entry is None or state.entry.id in c.photo_numbers:
        return []
    return [", ".join(x for x in how_known(c, state.entry) if x)]


def _done_before(c: Context, state: StepState) -> list[str]:
    """Return when a step was done before it was undone, or done once more: the order of work."""
    told = [m for m in c.state.marks if m.step == state.step.key]
    now = next((m.root.seq for m in told if m.root.at == state.at), None)
    earlier = [m for m in told if now is None or m.root.seq < now]
    said = [m for m in earlier if m.entry.kind == "step-done"]
    # Without a word a value marks the step, the first of several; a photo only leads up to a word.
    said = said or [m for m in earlier if m.entry.kind in ("quantity", "torque")][:1]
    times = [c.when(m.root.at) for m in said]
    return [c.t.say("done before: {times}", times=c.t.listing(times))] if times else []


def _see_findings(c: Context, state: StepState) -> list[str]:
    """Return a pointer to each kind of finding that stands at a step; missing things are told."""
    kinds = [
        f.kind
        for f in c.state.findings
        if f.step == state.step.key and f.kind is not FindingKind.MISSING and stands(f)
    ]
    return [
        c.t.say("see the finding: {kind}", kind=kind_name(c, kind)) for kind in dict.fromkeys(kinds)
    ]


def _photos(c: Context, photos: tuple[Photo, ...]) -> list[str]:
    """Return a line a photo, or only their numbers where they are many."""
    numbers = [c.photo_numbers[photo.entry.id] for photo in photos]
    if len(photos) > _PHOTOS_TOLD:
        return [c.t.say("photos {numbers}", numbers=c.t.listing([str(n) for n in numbers]))]
    lines = []
    for photo, number in zip(photos, numbers, strict=True):
        words = describe(c, photo)
        said = " ".join(x for x in (words.figure, words.caption) if x)
        lines.append(c.t.say("photo {n}: {said}", n=number, said=said))
    return lines


def _amounts(c: Context, values: tuple[Value, ...]) -> Iterator[str]:
    """Yield 'name: value' for each name: amounts of fluid add up, of the rest the last one counts.

    A temperature read or a bolt tightened twice has its earlier values told as earlier.
    """
    grouped: dict[str, list[Value]] = {}
    for value in values:
        grouped.setdefault(value_name(c, value), []).append(value)
    for name, group in grouped.items():
        shown = [c.judged(value) for value in group]
        if group[0].entry.kind == "quantity":
            yield f"{name}: {_added(c, group)}"
        elif shown[:-1]:
            yield c.t.say(
                "{name}: {value} (earlier: {others})",
                name=name,
                value=shown[-1],
                others=c.t.listing(shown[:-1]),
            )
        else:
            yield f"{name}: {shown[0]}"


def _added(c: Context, pours: list[Value]) -> str:
    """Return amounts joined by plus signs as they were recorded, and their sum where converted."""
    if len(pours) == 1:
        return c.quantity(pours[0].value, pours[0].unit)
    parts, unit = " + ".join(value_said(c, pour) for pour in pours), pours[0].unit
    exact = [converted(pour.value, pour.unit, unit) for pour in pours]
    if unit in reader_units(unit, c.units) or None in exact:
        return parts
    total = c.quantity(sum((x for x in exact if x is not None), Fraction(0)), unit)
    return f"{total} ({c.t.say('recorded as {said}', said=parts)})"


def cautions(c: Context) -> tuple[Caution, ...]:
    """Return the cautions of the sheet."""
    return tuple(
        Caution(sentence(c.t.sheet(x.text)), clean(x.source or "")) for x in c.state.sheet.cautions
    )


def notes(c: Context) -> tuple[Fact, ...]:
    """Return the notes with their times, and what the customer is told of them.

    Dictated ones say that nobody checked them. One that was taken back stands here, too, where the
    customer was told of it.
    """
    withdrawn = {one.note.id: one for one in notes_withdrawn(c.state)}
    found = []
    for e in sorted([*c.state.notes, *(x.note for x in withdrawn.values())], key=lambda e: e.seq):
        text = sentence(clean(e.body.get("text", "")))
        if e.body.get("dictated"):
            text = c.t.say("{text} (Written down by the machine; words not checked.)", text=text)
        gone = withdrawn.get(e.id)
        words = sentence(clean(gone.told if gone else c.state.explanation(note_key(e))))
        if words:
            text = c.t.say("{text} Told to the customer: {words}", text=text, words=words)
        if gone:
            text = _taken_back(c, text, gone.back)
        found.append(Fact(c.when(e.at), text))
    return tuple(found)


def _taken_back(c: Context, text: str, back: Entry) -> str:
    who, at = clean(back.by), c.when(back.at)
    how = c.t.say("taken back by {who}", who=who) if who else c.t.say("taken back")
    return c.t.say(
        "{text} Then {how} ({at}): page 1 says no more of it.", text=text, how=how, at=at
    )
