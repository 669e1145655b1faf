"""Questions about what was heard unclearly, in the sheet's own words and its figures.

What was said may be a scrap of the grammar ("rear left done is done"): asked is the step's name,
and a value digit by digit beside what it is of. What was chosen so is chosen and not asked again.
"""

from __future__ import annotations

from collections.abc import Sequence

from joblog.job.drafts import Draft, Plan
from joblog.job.meaning import Meaning
from joblog.job.numbers import Number
from joblog.job.plan import plan
from joblog.job.ranges import ends, ends_of, said_ends
from joblog.job.settling import either, numbered
from joblog.job.types import JobState
from joblog.job.values import step_named
from joblog.job.wording import step_name


def asked_anyway(state: JobState, meant: Sequence[Meaning | None]) -> Plan | None:
    """Return the question that the unclear hearing would lead to anyway, so that one is enough.

    For two options it is one that offers just their two values.
    """
    first, *others = meant
    made = plan(state, first) if first is not None else Plan()
    asked = made.drafts[0].body if len(made.drafts) == 1 else {}
    if first is None or asked.get("about") != "value":
        return None
    offered = {ends_of(draft["body"]) for draft in asked["drafts"]}
    for other in others:
        if other is None or _but_value(other) != _but_value(first):
            return None
        if offered != {_plain(first), _plain(other)}:
            return None
    return made


def _plain(meaning: Meaning) -> tuple[Number, ...]:
    return meaning.values[0].ends if meaning.values else ()


def _but_value(meaning: Meaning) -> tuple[object, ...]:
    return (meaning.tag, meaning.correction, meaning.which, meaning.wrench, meaning.unit)


def chosen(state: JobState, meaning: Meaning) -> Meaning:
    """Return ``meaning`` as it was asked about and chosen: what it sounds like is settled."""
    plain = meaning.with_values(meaning.values[:1])
    if _draft(plan(state, plain)) is not None:
        return plain
    return meaning.with_values(tuple(v for v in meaning.values if v.doubt != "sound"))


def in_words(state: JobState, meant: Sequence[Meaning | None], heard: Sequence[str]) -> str:
    """Return the question which of one or two sentences was meant, without the answers."""
    drafts = [_draft(plan(state, chosen(state, m))) if m else None for m in meant]
    named = [_named(state, d, m) if d and m else None for d, m in zip(drafts, meant, strict=True)]
    if len(named) == 2 and named[0] and named[1] and named[0][0] == named[1][0] != "":
        return either(named[0][0], named[0][1], named[1][1])
    whole = [", ".join(filter(None, n)) if n else "" for n in named]
    options = [w or h for w, h in zip(whole, heard, strict=True)]
    if len(options) == 1:
        return f"{options[0]}?"
    first, second = options if options[0] != options[1] else heard
    return f"First, {first}, or second, {second}?"


def _draft(made: Plan) -> Draft | None:
    """Return the step or value that a plan records, None where it does anything else."""
    kinds = ("step-done", "torque", "quantity", "reading")
    one = made.drafts[0] if len(made.drafts) == 1 else None
    return one if one is not None and one.kind in kinds else None


def _named(state: JobState, draft: Draft, meaning: Meaning) -> tuple[str, str] | None:
    """Return what a draft is of, and its value in words; None where there are none for it."""
    body, step = draft.body, step_named(state.sheet, draft.body.get("step"))
    lead = "correction, " if meaning.correction else ""
    if draft.kind == "step-done":
        return ("", step_name(step)) if step else None
    value = said_ends(*ends(body), str(body["unit"]))
    if draft.kind == "quantity":
        one = len(state.fluids) == 1
        return ("", f"{lead}{value} {body['direction']}") if one else None
    if draft.kind == "torque":
        name = f"torque {step.torque.fastener}" if step and step.torque else ""
    else:
        name = str(body.get("name", ""))
    _, _, wrench = meaning.text.replace(" using ", " with ").partition(" with ")
    return f"{lead}{numbered(name, draft)}", f"{value}, with {wrench}" if wrench else value
