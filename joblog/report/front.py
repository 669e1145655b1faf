"""The page for the customer: what, why, found, means, next; short words, short sentences."""

from __future__ import annotations

from decimal import Decimal

from joblog.job.explanations import notes_told, notes_untold
from joblog.job.guard_ended import ENDED
from joblog.job.guard_undone import UNDONE
from joblog.job.levels import near_mark
from joblog.job.order import all_before
from joblog.job.types import Finding, FindingKind, FluidState, StepState, StepStatus
from joblog.report.context import Context
from joblog.report.due import due
from joblog.report.ending import doubted, ended_words
from joblog.report.findings import for_customer
from joblog.report.language import Language
from joblog.report.measured import measured
from joblog.report.model import Fact, Front, Measured, Picture
from joblog.report.numbers import as_decimal
from joblog.report.past import Past, flake_lengths, level_at_end, past_of, plug_as_found
from joblog.report.pictures import front_pictures
from joblog.report.signing import how_signed, unknown_entries
from joblog.report.text import clean, sentence
from joblog.report.verdict import (
    counting,
    job_verdict,
    let_stand,
    observations,
    steps_left,
    still_open,
)

_DONE_SHOWN, _DONE_LEAST = 6, 3
_FOUND_SHOWN = 4
_HARDLY = Decimal("0.005")  # less of a magnet's face under film would round to 0 per cent


def front(c: Context, pictures: tuple[Picture, ...], signature: str) -> Front:
    """Return the first page. ``signature`` is an image key or ''."""
    rows, left = measured(c), steps_left(c)
    # The page holds so much: what was not as it should be needs more room than what was.
    standing = {for_customer(c, f) for f in (*still_open(c), *let_stand(c))}
    done, more = _done(c, max(_DONE_SHOWN - len(standing), _DONE_LEAST))
    signed = c.state.signatures[-1] if c.state.signatures else None
    return Front(
        verdict=job_verdict(c, rows),
        came_for=_came_for(c),
        done=done,
        found=_found(c, rows),
        means=_means(c, rows),
        due=None if left else due(c),
        next=(*_next(c, left), *unknown_entries(c)),
        pictures=front_pictures(c, pictures),
        people=people(c),
        signature=signature,
        signed=clean(signed.body.get("name", "")) if signed else "",
        typed=how_signed(c),
        more=more,
    )


def _came_for(c: Context) -> tuple[str, ...]:
    lines = []
    complaint = c.opened("complaint")
    if complaint:
        lines.append(c.t.say("You told us: “{text}”", text=complaint))
    # The sheet's summary is written before anything is done: it says what the work is for.
    summary = sentence(c.t.sheet(c.state.sheet.sheet.summary))
    lines.append(c.t.say("What was planned: {summary}", summary=summary))
    return tuple(lines)


def _next(c: Context, left: int) -> tuple[str, ...]:
    """Return what the customer should do, where the job did not end as planned."""
    if c.aborted:
        ask = c.t.say("This service still has to be done. Please ask us how to go on.")
        return (*_not_filled(c), ask)
    if c.state.closed and left:
        return (
            *_not_filled(c),
            c.t.count(
                "{n} step was not recorded as done. Please ask us if the service is complete.",
                "{n} steps were not recorded as done. Please ask us if the service is complete.",
                left,
            ),
        )
    return ()


def _not_filled(c: Context) -> tuple[str, ...]:
    """Return a warning for each fluid that was drained and is not known to have been filled."""
    done = [s.step.pour for s in c.done if s.step.pour]
    lines = []
    for fluid in c.state.fluids:
        ways = {pour.direction for pour in done if pour.fluid == fluid.key}
        out = fluid.poured_out or "out" in ways or _let_out(c, fluid)
        if out and not (fluid.poured_in or "in" in ways):
            name = c.t.sheet(fluid.name)
            lines.append(
                c.t.say(
                    "{fluid} was drained, and no new fluid is on record. "
                    "It must not run before it is filled.",
                    fluid=name,
                )
            )
    return tuple(lines)


def _let_out(c: Context, fluid: FluidState) -> bool:
    """Say whether a step was done that lets ``fluid`` out, measured or not, or one that follows it.

    Which steps those are the sheet says: they set a condition that filling ends.
    """
    sheet, done = c.state.sheet, {s.step.key for s in c.done}
    pours = [s for s in sheet.steps if s.pour and s.pour.fluid == fluid.key]
    fills = {s.key for s in pours if s.pour and s.pour.direction == "in"}
    ended = {condition for s in pours if s.key in fills for condition in s.clears}
    lets_out = {s.key for s in sheet.steps if ended.intersection(s.sets)}
    before = {key: all_before(sheet, s) | {key} for s in sheet.steps if (key := s.key) in done}
    return any(lets_out & keys and not fills & keys for keys in before.values())


def _weight(state: StepState) -> int:
    """How much a step tells the customer: things measured or photographed tell most."""
    step = state.step
    return 2 * bool(state.values or state.photos) + bool(step.torque or step.pour or step.parts)


def _done(c: Context, most: int) -> tuple[tuple[str, ...], str]:
    """Return what was done, at most ``most`` of it, and a line about the rest.

    A sheet's sentence says that a step went well, so a step isn't told so where a finding stands.
    """
    doubtful = doubted(c)
    whole = [s for s in c.done if s.status is StepStatus.DONE and s.step.key not in doubtful]
    told = [s for s in whole if s.step.customer]
    best = sorted(told, key=lambda s: -_weight(s))[:most]
    keys = {s.step.key for s in best}
    lines = [sentence(c.t.sheet(s.step.customer)) for s in told if s.step.key in keys]
    rest = len(c.done) - len(keys)
    if not lines and rest:  # the sheet has no sentence for the customer
        return (_all_done(c, rest),), ""
    more = c.t.count(
        "And {n} more step; all are listed under “Order of work”.",
        "And {n} more steps; all are listed under “Order of work”.",
        rest,
    )
    return tuple(lines), more if rest > 0 else ""


def _all_done(c: Context, n: int) -> str:
    return c.t.count(
        "{n} step of the work was done; it is listed under “Order of work”.",
        "{n} steps of the work were done; all are listed under “Order of work”.",
        n,
    )


def _found(c: Context, rows: tuple[Measured, ...]) -> tuple[str, ...]:
    lines = _values_found(c, rows) + _volumes_found(c) + _level_found(c) + _plug_found(c)
    # What a plug had caught is told as figures already; what it means is said below.
    told = [
        _with_reason(c, f)
        for f in (*_by_weight(still_open(c)), *_by_weight(let_stand(c)), *observations(c))
        if not f.key.startswith("debris:") and f.kind is not FindingKind.MISMATCH
    ]
    told = list(dict.fromkeys(told))
    lines += told[:_FOUND_SHOWN]
    left = len(told) - _FOUND_SHOWN
    if left > 0:
        lines.append(
            c.t.count(
                "{n} more finding is on the pages behind.",
                "{n} more findings are on the pages behind.",
                left,
            )
        )
    return (*lines, *_notes_found(c))


def _notes_found(c: Context) -> tuple[str, ...]:
    """Return what the advisor tells of the technician's notes, and that there are others."""
    lines = tuple(sentence(clean(text)) for text in notes_told(c.state))
    untold = len(notes_untold(c.state))
    more = c.t.count(
        "The technician left {n} note: it is on the pages behind.",
        "The technician left {n} notes: they are on the pages behind.",
        untold,
    )
    return (*lines, more) if untold else lines


def _by_weight(findings: list[Finding]) -> list[Finding]:
    """Return findings with those first that tell the customer most: values before what is missing.

    Not all of them fit on the first page. What was not sure, such as a photo, comes between.
    """
    later = {FindingKind.UNSURE: 1, FindingKind.OUT_OF_ORDER: 2, FindingKind.MISSING: 2}
    return sorted(findings, key=lambda f: later.get(f.kind, 0))


def _with_reason(c: Context, finding: Finding) -> str:
    """Return a finding for the customer, and who confirmed it why, where somebody did."""
    reason = sentence(ended_words(c, finding)) if finding.resolved else ""
    return " ".join(x for x in (for_customer(c, finding), reason) if x)


def _values_found(c: Context, rows: tuple[Measured, ...]) -> list[str]:
    judged = counting(rows)
    outside = [row for row in judged if row.inside is False]
    if not judged:
        return []
    if not outside:
        return [
            c.t.count(
                "We checked {n} value. It is within its limits.",
                "We checked {n} values. All are within their limits.",
                len(judged),
            )
        ]
    # Names hold commas themselves: "Torque, drain plug".
    names = "; ".join(row.what for row in outside)
    checked = c.t.count("We checked {n} value.", "We checked {n} values.", len(judged))
    if len(outside) == 1:
        return [f"{checked} {c.t.say('Outside its limits: {names}.', names=names)}"]
    return [f"{checked} {c.t.say('Outside their limits: {names}.', names=names)}"]


def _volumes_found(c: Context) -> list[str]:
    lines = []
    for fluid in c.state.fluids:
        said, into = "", c.quantity(fluid.poured_in, fluid.unit)
        out = c.quantity(fluid.poured_out, fluid.unit)
        if fluid.again:
            said = c.t.say(
                "In all, {into} of new fluid went in and {out} came out, part of it new fluid.",
                into=c.quantity(fluid.all_in, fluid.unit),
                out=c.quantity(fluid.all_out, fluid.unit),
            )
        elif fluid.poured_out and fluid.poured_in:
            said = c.t.say(
                "{out} of old fluid came out and {into} of new fluid went in.", out=out, into=into
            )
        elif fluid.poured_in:
            said = c.t.say("{amount} of new fluid went in.", amount=into)
        elif fluid.poured_out and not _told_of(c, f"came-out:{fluid.key}:"):
            said = c.t.say("{amount} of old fluid came out.", amount=out)
        lines += [_of_fluid(c, fluid, said)] if said else []
    if lines and not c.amounts_agree:
        unlike = [f for f in c.state.findings if f.kind is FindingKind.MISMATCH]
        reasons = [sentence(ended_words(c, f)) for f in unlike if f.resolved]
        lines.append(" ".join([c.t.say("These amounts do not agree."), *dict.fromkeys(reasons)]))
    return lines


def _of_fluid(c: Context, fluid: FluidState, said: str) -> str:
    """Return what is said of a fluid, with its name in front where the job has several."""
    if len(c.state.fluids) < 2:
        return said
    told = said[:1].lower() + said[1:]
    return c.t.say("{fluid}: {said}", fluid=c.t.sheet(fluid.name), said=told)


def _told_of(c: Context, key: str) -> bool:
    return any(f.key.startswith(key) for f in c.state.findings)


def _level_found(c: Context) -> list[str]:
    photo = level_at_end(c.state)
    level = as_decimal(photo.level[0]) if photo else None
    if photo is None or level is None or not 0 <= level <= 1 or near_mark(photo):
        return []  # a level outside, or too near a mark to tell, is told with the findings
    if (photo.step or "") in doubted(c):  # read too early, say, or with the vehicle not level
        return [
            c.t.say(
                "The photo shows the fluid level at {share} of the way from the lower to the "
                "upper mark.",
                share=c.share(level),
            )
        ]
    return [
        c.t.say(
            "The fluid level is right: {share} of the way from the lower to the upper mark.",
            share=c.share(level),
        )
    ]


def _plug_found(c: Context) -> list[str]:
    photo = plug_as_found(c.state)
    if photo is None:
        return []
    t, lengths = c.t, flake_lengths(photo)
    film = as_decimal(photo.measurement.get("film_coverage"))
    parts = []
    if film is not None and film < _HARDLY:
        parts.append(t.say("The magnet in the plug had hardly any metal dust on its face."))
    elif film is not None:
        parts.append(
            t.say(
                "The magnet in the plug had fine metal dust on {share} of its face.",
                share=t.percent(film),
            )
        )
    if lengths:
        parts.append(
            t.count(
                "We found {n} flake on it, {size} long; smaller ones may not be seen.",
                "We found {n} flakes on it, the longest {size}; smaller ones may not be seen.",
                len(lengths),
                size=c.millimetres(max(lengths)),
            )
        )
    else:
        parts.append(t.say("We found no flakes on it; small ones may not be seen."))
    return [" ".join(parts)]


def _means(c: Context, rows: tuple[Measured, ...]) -> tuple[str, ...]:
    # What was said of a finding before it ended stands with it, on the pages behind.
    explained = [c.state.explanation(f.key) for f in c.state.findings if not _said_before(c, f)]
    lines = _renewed_means(c) + _plug_means(c)
    lines += [sentence(text) for text in dict.fromkeys(explained) if clean(text)]
    untroubled = not (still_open(c) or let_stand(c) or observations(c) or notes_told(c.state))
    outside = any(row.inside is False for row in counting(rows))
    if c.state.closed == "finished" and untroubled and not outside and counting(rows):
        lines.append(c.t.say("Nothing that we measured calls for more work now."))
    return tuple(lines)


def _said_before(c: Context, finding: Finding) -> bool:
    """Say whether a finding is so no more and was explained, if at all, while it was so."""
    said = c.state.explained.get(finding.key)
    ended = finding.key.startswith((ENDED, UNDONE))
    return ended and said is not None and said.body.get("finding") != finding.key


def _renewed_means(c: Context) -> list[str]:
    lines = []
    for fluid in c.state.fluids:
        if fluid.renewed is None or not c.worked_out(fluid.key):
            continue
        share = c.t.percent(fluid.renewed)
        if fluid.renewed >= Decimal("0.95"):
            said = c.t.say("Nearly all of the fluid is new now.")
        elif fluid.again:
            said = c.t.say("At least {share} of the fluid is new now.", share=share)
        else:
            said = c.t.say(
                "About {share} of the fluid is new now. "
                "The rest stays inside when the old fluid is drained, as it should.",
                share=share,
            )
        lines.append(_of_fluid(c, fluid, said))
    return lines


def _plug_means(c: Context) -> list[str]:
    photo = plug_as_found(c.state)
    if photo is None:
        return []
    lines, lengths = [], flake_lengths(photo)
    limits = c.state.sheet.debris
    film = as_decimal(photo.measurement.get("film_coverage"))
    dusty = film is None or film >= _HARDLY
    if dusty and not any(f.key.startswith("debris:") for f in observations(c)):
        lines.append(c.t.say("Fine dust on the magnet is normal wear."))
    elif lengths and max(lengths) >= limits.flake_mm:
        lines.append(
            c.t.say(
                "A flake that the eye can see is not normal wear. "
                "Ask us how to find out where it comes from."
            )
        )
    now = past_of(c.state)
    before = next((p for p in reversed(c.earlier) if p.same_plug(now)), None)
    if before is not None:
        lines.append(_compared(c, before, max(lengths, default=None)))
    return lines


def _compared(c: Context, before: Past, now: Decimal | None) -> str:
    t = c.t
    earlier = as_decimal(before.longest_mm)
    then = c.millimetres(earlier) if earlier is not None else t.say("none")
    today = c.millimetres(now) if now is not None else t.say("none")
    if before.closed == "aborted":  # the plug may have been cleaned in it
        return t.say(
            "Longest flake found in the job of {date}, which was stopped: {then}. Now: {today}.",
            date=t.date(before.at),
            then=then,
            today=today,
        )
    return t.say(
        "Longest flake found at the last service ({date}): {then}. Now: {today}.",
        date=t.date(before.at),
        then=then,
        today=today,
    )


def _others(c: Context) -> list[str]:
    """Return who else reported work that counts, such as who took the job over.

    Not who sent a photo: that may be a phone's name, a folder's or a camera's.
    """
    work = {s.entry.by for s in c.done if s.entry and s.entry.kind != "photo"}
    work |= {value.entry.by for value in c.state.values}
    named = {clean(c.opened(role)).casefold() for role in ("technician", "advisor")} | {""}
    known = {name.casefold(): name for name in sorted(clean(name) for name in work)}
    return [name for folded, name in sorted(known.items()) if folded not in named]


def people(c: Context) -> tuple[Fact, ...]:
    """Return who did the job, who looked after it, and when."""
    t: Language = c.t
    technician, others = c.opened("technician"), _others(c)
    facts = [
        Fact(t.say("Technician"), technician or t.listing(others)),
        Fact(t.say("Also worked on it"), t.listing(others) if technician else ""),
        Fact(t.say("Advisor"), c.opened("advisor")),
    ]
    if c.state.entries:
        start, end = c.state.entries[0].at, c.state.entries[-1].at
        day, until = t.date(start), t.date(end)
        if c.set_back:
            when = t.say("{date}; the computer's clock was set back during the job", date=day)
        elif day == until:
            when = t.say("{date}, {start} to {end}", date=day, start=t.time(start), end=t.time(end))
        else:  # over night
            when = t.say(
                "{date}, {start} to {until}, {end}",
                date=day,
                start=t.time(start),
                until=until,
                end=t.time(end),
            )
        facts.append(Fact(t.say("When"), when))
    return tuple(fact for fact in facts if fact.text)
