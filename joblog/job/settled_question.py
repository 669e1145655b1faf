"""What settles the question that waits: an option said again, or another value in its place."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from joblog.job.drafts import Draft, Plan
from joblog.job.meaning import Meaning, meaning_of
from joblog.job.plan import plan
from joblog.job.plan_controls import answered, question_for, settle
from joblog.job.plan_values import like
from joblog.job.ranges import ends_of
from joblog.job.run_together import number_apart
from joblog.job.said_units import SaidValue
from joblog.job.types import JobState, Question
from joblog.measure.units import unit_of
from joblog.sheet.model import Sheet
from joblog.speech.types import Hearing


def settled_by(state: JobState, sheet: Sheet, said: Meaning | Hearing, by: str) -> Plan | None:
    """Return what settles the pending question where ``said`` repeats one of its options.

    Another value for the same thing settles it too: then the new value counts. None where ``said``
    has nothing to do with the question, or there is none.
    """
    question = question_for(state, by)
    if question is None:
        return None
    if isinstance(said, Hearing):
        meaning = meaning_of(said.text, sheet) if said.text else None
        return None if meaning is None else _repeated(question, sheet, meaning)
    figures = said.act == "bare" and not said.correction
    if figures:  # they stand for the value that was asked about, in the unit it was said in
        values = _in_unit(question, sheet, said.values)
        if not values:
            return None
        said = replace(said, correction=True, values=values)
    about = _about_question(state, question, sheet, said, by)
    repeated = _repeated(question, sheet, about if figures and about else said)
    if repeated is not None:
        return repeated
    if about is None and not _replaces(question, sheet, said, by):
        return None
    made = plan(state, about or _of_same(_numbers(question, sheet), said), by=by)
    if made.drafts:  # else it is refused, and the question still waits
        closing = Draft("answered", answered(question, said.text).body | {"how": "replaced"})
        made = replace(made, drafts=(closing, *made.drafts))
    return made


def _replaces(question: Question, sheet: Sheet, said: Meaning, by: str) -> bool:
    """Say whether ``said`` is another value for what the question is about."""
    if said.act == "control" or _of_another(_numbers(question, sheet), said):
        return False
    if said.correction and question.entry.by != by:
        return False  # who corrects means what they said themselves
    return any(_alike(said.tag, tag) for tag in _tags(question, sheet))


def _about_question(
    state: JobState, question: Question, sheet: Sheet, said: Meaning, by: str
) -> Meaning | None:
    """Return what a correction means where it is about the value just asked about, else None.

    What is asked about is not recorded yet: the correction is a new value in its place, and no
    earlier one is touched, unless the question itself came of a correction. It is for the same
    fastener, by the same wrench.
    """
    if not said.correction or question.entry.by != by:
        return None
    drafts, tag = _drafts(question), str(question.entry.body.get("tag", ""))
    asked = _asked_for(drafts[0], tag, said) if drafts else _heard_as(question, sheet, said)
    if asked is None or _recorded_since(state, question, drafts, said):
        return None
    return None if _of_another(_numbers(question, sheet), said) else asked


def _asked_for(asked: Draft, tag: str, said: Meaning) -> Meaning | None:
    """Return ``said`` as it is meant in place of the draft ``asked``, None where it is not."""
    if asked.kind == "step-done":
        return None
    if said.act == "bare":
        fits = _of_unit(said, str(asked.body.get("unit", "")))
    else:
        fits = _alike(said.tag, tag)
    if not fits:
        return None
    meant = like(said, asked.kind, asked.body)
    if said.act != "bare" and asked.kind == "quantity":
        meant = replace(meant, act=said.act)  # 'another half' counts in containers
    return replace(meant, correction=asked.supersedes is not None)


def _heard_as(question: Question, sheet: Sheet, said: Meaning) -> Meaning | None:
    """Return ``said`` as it is meant in place of an unclear hearing of one thing's value."""
    heard = [m for option in question.options if (m := meaning_of(option, sheet))]
    kinds = {(m.tag, m.correction, m.which, m.wrench) for m in heard}
    if len(kinds) != 1 or not heard[0].values:
        return None
    first = heard[0]
    fits = _of_unit(said, first.unit) if said.act == "bare" else _alike(said.tag, first.tag)
    if not fits:
        return None
    return replace(
        first,
        text=said.text,
        values=said.values,
        which=said.which or first.which,
        wrench=said.wrench or first.wrench,
    )


def _of_unit(said: Meaning, unit: str) -> bool:
    """Say whether the value ``said`` is of the dimension of ``unit``; either may be ''."""
    both = said.unit and unit
    return not both or unit_of(said.unit).dimension == unit_of(unit).dimension


def _drafts(question: Question) -> list[Draft]:
    return [Draft.from_json(fields) for fields in question.entry.body.get("drafts") or []]


def _in_unit(
    question: Question, sheet: Sheet, values: tuple[SaidValue, ...]
) -> tuple[SaidValue, ...]:
    """Return values without a unit in the one of all options; none where these have several."""
    units = {str(draft.body.get("unit", "")) for draft in _drafts(question)}
    units |= {m.unit for option in question.options if (m := meaning_of(option, sheet))}
    if len(units) > 1 and not all(value.unit for value in values):
        return ()
    one = units.pop() if units else ""
    return tuple(replace(value, unit=value.unit or one) for value in values)


def _recorded_since(
    state: JobState, question: Question, drafts: list[Draft], said: Meaning
) -> bool:
    """Say whether who was asked has reported a value since that a correction could be about."""
    mine = (
        v.entry
        for v in state.values
        if v.entry.seq > question.entry.seq and v.entry.by == question.entry.by
    )
    vague = not drafts or (said.act == "bare" and not said.unit)
    return any(vague or entry.kind == drafts[0].kind for entry in mine)


def _numbers(question: Question, sheet: Sheet) -> set[str]:
    """Return the numbers of the fasteners that a question is about, where there are several."""
    found = {str(draft.body.get("which", "")) for draft in _drafts(question)}
    heard = [meaning_of(option, sheet) for option in question.options]
    return (found | {meaning.which for meaning in heard if meaning}) - {""}


def _of_another(asked: set[str], said: Meaning) -> bool:
    """Say whether ``said`` names another of several fasteners than those ``asked`` about."""
    return bool(asked and said.which) and said.which not in (*asked, "all")


def _of_same(asked: set[str], said: Meaning) -> Meaning:
    """Return ``said`` of the one fastener ``asked`` about, where it can't be of another."""
    one = len(asked) == 1 and asked != {"all"} and not said.which
    return said.of_number(*asked) if one and number_apart(said) is None else said


def _repeated(question: Question, sheet: Sheet, meaning: Meaning) -> Plan | None:
    drafts = question.entry.body.get("drafts") or []
    for index, option in enumerate(question.options):
        if drafts:
            same = index < len(drafts) and _same_draft(drafts[index], meaning)
            if same and meaning.tag == question.entry.body.get("tag"):
                return settle(question, index, meaning.text)
            continue
        other = meaning_of(option, sheet)
        if other is not None and other.gist == meaning.gist:
            return settle(question, index, meaning.text)
    return None


def _same_draft(draft: dict[str, Any], meaning: Meaning) -> bool:
    if draft["kind"] == "step-done":  # the tags are compared, too
        return True
    if meaning.which and meaning.which != str(draft["body"].get("which", "")):
        return False  # of another fastener, though of the same value
    return bool(meaning.values) and ends_of(draft["body"]) == meaning.values[0].ends


def _alike(one: str, other: str) -> bool:
    """Say whether two tags are about the same thing: named alike, or one of them 'at hand'."""
    act, _, target = one.partition(":")
    other_act, _, other_target = other.partition(":")
    if act.removesuffix("-at") != other_act.removesuffix("-at"):
        return False
    return target == other_target or "here" in (target, other_target)


def _tags(question: Question, sheet: Sheet) -> set[str]:
    tags = {str(question.entry.body.get("tag", ""))}
    for option in question.options:
        meaning = meaning_of(option, sheet)
        if meaning is not None:
            tags.add(meaning.tag)
    return tags - {""}
