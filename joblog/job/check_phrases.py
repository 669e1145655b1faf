"""A sheet's phrases beside everything else that can be said on its job.

These rules need the job's grammar, so they stand here and not in the sheet's room; ``joblog sheet
check`` and the opening of a job ask both.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice

from joblog.errors import JoblogError
from joblog.job.aloud import digits, fastener_words, words_of
from joblog.job.controls import CONTROLS
from joblog.job.grammar import grammar_for_sheet, grammar_text
from joblog.job.phrases import phrases_of
from joblog.job.said_units import unit_words
from joblog.sheet.check_words import compilable, forms_of
from joblog.sheet.complaints import Complaint, Found
from joblog.sheet.model import Sheet, Step
from joblog.sheet.soundalike import sound_alikes
from joblog.speech.grammar import Grammar

# Words that must never mean a step: answers and orders that people say to a machine anyway.
RESERVED = frozenset(
    "yes no y n okay undo cancel stop help repeat correction confirm affirm negative note notes"  # noqa: SIM905 - legible
    " one two three four five six seven eight nine ten zero first second".split()
)
LEADS = ("note ", "notes ", "correction ", "confirm ")  # what begins so is a note, a correction ...
MOST_REMARKS = 20  # nobody reads more of them at once
COMPARED = 12  # forms of one step that are compared by sound


def reserved_phrases(sheet: Sheet) -> Found:
    """Tell phrases of steps that already mean something on every job, or on this one."""
    others = _without_steps(sheet)
    if others is None:
        return
    for i, step in enumerate(sheet.steps):
        for j, phrase in enumerate(step.say):
            for form in _forms(phrase):
                meaning = _meaning(form, others)
                if meaning:
                    yield Complaint(
                        ("steps", i, "say", j),
                        f"the phrase '{form}' {meaning}; say what has been done, in two to four "
                        "words of its own",
                    )
                    break


def _meaning(form: str, others: Grammar) -> str:
    if form in RESERVED:
        return "is kept for answers and orders"
    lead = next((lead for lead in LEADS if form.startswith(lead)), "")
    if lead:
        return f"begins with '{lead.strip()}', which is kept for every job"
    parse = others.parse(form)
    if parse is None:
        return ""
    tag = next((t for t in parse.tags if t != "correction"), "")
    does = next((p.does for p in CONTROLS if p.tag == tag), "")
    return f"is kept on every job: it {does}" if does else f"already means '{tag}' on this job"


def _without_steps(sheet: Sheet) -> Grammar | None:
    if not compilable(sheet):
        return None
    try:
        text = grammar_text(sheet, steps=False, bare=True)
        return Grammar.for_reading(text, source="the other phrases")
    except JoblogError:
        return None  # names or units that can't be spoken are told by rules of their own


def _forms(phrase: str) -> list[str]:
    try:
        return forms_of(phrase)
    except JoblogError:
        return []


def unsayable_values(sheet: Sheet) -> Found:
    """Tell specified values that the grammar has no words for, and names that mean another step."""
    if not compilable(sheet):
        return
    try:
        grammar = grammar_for_sheet(sheet)
        known = {p.tag for p in phrases_of(sheet)}
    except JoblogError:
        return
    for i, step in enumerate(sheet.steps):
        if step.torque and f"torque:{step.key}" in known:
            torque = step.torque
            said = f"{fastener_words(step)} torqued to {digits(torque.value)}"
            said += f" {unit_words(torque.unit)}"
            parse = grammar.parse(said)
            if parse is None:
                yield Complaint(
                    ("steps", i, "torque", "value"),
                    f"'{said}' can't be said: values go up to 999 with two decimals; use a larger "
                    "unit or a rounder number",
                )
        if step.reading:
            yield from _unsayable_limits(i, step, grammar)


def _unsayable_limits(i: int, step: Step, grammar: Grammar) -> Found:
    assert step.reading is not None
    for field in ("low", "high"):
        limit = getattr(step.reading, field)
        if limit is None or limit < 0:
            continue
        said = f"{words_of(step.reading.name)} {digits(limit)} {unit_words(step.reading.unit)}"
        if grammar.parse(said) is None:
            yield Complaint(
                ("steps", i, "reading", field),
                f"'{said}' can't be said: a value at this limit could not be reported",
                remark=True,
            )


def sound_alike_remarks(sheet: Sheet) -> Found:
    """Remark on phrases that a noisy shop could take for each other, or for a procedure word."""
    if not compilable(sheet):
        return
    places = {step.key: i for i, step in enumerate(sheet.steps)}
    spoken = {step.key: list(islice(_all_forms(step), COMPARED)) for step in sheet.steps}
    controls = {p.tag: _forms(p.pattern) for p in CONTROLS if "<" not in p.pattern}
    for found in sound_alikes({**spoken, **controls})[:MOST_REMARKS]:
        place = places.get(found.second_means, places.get(found.first_means))
        if place is not None:
            yield Complaint(("steps", place, "say"), str(found), remark=True)


def _all_forms(step: Step) -> Iterator[str]:
    for phrase in step.say:
        yield from _forms(phrase)


PHRASE_RULES = (reserved_phrases, unsayable_values)
REMARK_RULES = (sound_alike_remarks,)
