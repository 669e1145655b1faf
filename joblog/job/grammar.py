"""The phrase grammar of a job, generated from the one list of phrases."""

from __future__ import annotations

from functools import lru_cache

from joblog.job.clocks import Timed, elapsed
from joblog.job.controls import REASONS, Phrase
from joblog.job.foils import (
    DENIAL,
    DENIALS,
    MEND,
    MENDS,
    NO,
    TAG,
    TORQUE,
    VAGUE,
    foils_of,
)
from joblog.job.phrases import phrases_of
from joblog.job.types import JobState
from joblog.job.value_foils import denied_values, vague_values
from joblog.job.value_rules import ranged_dimensions, value_rules
from joblog.sheet.model import Sheet
from joblog.speech.grammar import Grammar

# What people say before they say something. Left out, a lead is heard as a part of what follows it:
# 'okay, one quart in' as 'zero point one quarts in'.
LEADS = ("uh", "um", "okay", "so", "now", "alright")
ANSWER_SECONDS = 120  # how long after a question its answers are listened for


def grammar_text(
    sheet: Sheet,
    *,
    answering: bool = True,
    steps: bool = True,
    bare: bool = False,
    numbers: bool = False,
) -> str:
    """Return the JSGF text (W3C Note 2000) of everything that can be said on a job of ``sheet``.

    Without ``answering`` the answers to a question are left out, without ``steps`` what marks the
    steps. ``bare`` are the phrases alone, without what may be heard beside them: leads and foils.
    With ``numbers`` a number alone can be said, or a range, in answer to a question about one.
    """
    phrases = [
        p
        for p in phrases_of(sheet)
        if (answering or not p.answers) and (steps or not p.tag.startswith("step:"))
    ]
    rules = [f"<p{i}> = {phrase.pattern};" for i, phrase in enumerate(phrases)]
    plain = [f"<p{i}> {{{phrase.tag}}}" for i, phrase in enumerate(phrases)]
    corrections = [plain[i] for i, phrase in enumerate(phrases) if phrase.correctable]
    beside, marks = ([], []) if bare else _beside(sheet, phrases, answering)
    figures = ["<bare-value> {bare}"]
    figures += ["<bare-range-value> {bare}"] if ranged_dimensions(sheet) else []
    corrections += figures
    said = [*plain, "<correction> {correction}", *marks, *(figures if numbers else [])]
    lines = [
        "#JSGF V1.0 UTF-8 en;",
        f"grammar {sheet.sheet.key.replace('-', '_')};",
        "",
        f"public <command> = {'' if bare else '[<lead>] '}<said>;",
        "<said> =",
        "    " + "\n  | ".join(said) + ";",
        "",
        *rules,
        f"<correction> = correction ({' | '.join(corrections)});",
        *beside,
        f"<reason> = {_reasons()};",
        "",
        *value_rules(sheet),
    ]
    return "\n".join(lines) + "\n"


def _beside(sheet: Sheet, phrases: list[Phrase], answering: bool) -> tuple[list[str], list[str]]:
    """Return the rules of what may be heard beside the phrases, and their tagged uses."""
    vague = vague_values(sheet)
    rules = [f"<lead> = {' | '.join(LEADS)};", f"<foil> = {_foils(sheet, phrases)};"]
    rules += [f"<vague> = {' | '.join(vague)};"] if vague else []
    rules += [f"<mend> = {MENDS};"]
    uses = [f"<foil> {{{TAG}}}", f"<mend> {{{TAG}:{MEND}}}"]
    uses += [f"<vague> {{{TAG}:{VAGUE}}}"] if vague else []
    if answering:
        rules.append(f"<denial> = {DENIALS};")
        uses.append(f"<denial> {{{TAG}:{DENIAL}}}")
    return rules, uses


def _foils(sheet: Sheet, phrases: list[Phrase]) -> str:
    torque = [TORQUE] if any(step.torque for step in sheet.steps) else []
    return " | ".join([NO, *foils_of(phrases), *torque, *denied_values(sheet)])


def _reasons() -> str:
    return " | ".join(f"({pattern}) {{reason:{key}}}" for key, (pattern, _) in REASONS.items())


def grammar_for_sheet(sheet: Sheet, *, answering: bool = True, numbers: bool = False) -> Grammar:
    """Return the compiled grammar of ``sheet``; the same sheet is compiled once."""
    return _compiled(grammar_text(sheet, answering=answering, numbers=numbers), sheet.sheet.key)


def phrase_words(sheet: Sheet) -> frozenset[str]:
    """Return the words of the phrases of ``sheet``, without those that are only heard."""
    return frozenset(_compiled(grammar_text(sheet, bare=True), sheet.sheet.key).vocabulary)


def grammar_for_state(
    state: JobState, now: Timed, *, numbers: bool = False, choosing: bool = False
) -> Grammar:
    """Return the grammar of what may be said now: answers only shortly after a question.

    With ``numbers`` that question is about a number, which may be said alone; ``choosing`` says
    that one waits which is in no record.

    A question that nobody answers stays open, but is then settled by saying the thing again: the
    short answers are too easily heard into other speech to be listened for all day.
    """
    answering = choosing or awaits_answer(state, now)
    return grammar_for_sheet(state.sheet, answering=answering, numbers=numbers)


def awaits_answer(state: JobState, now: Timed) -> bool:
    """Say whether a question was asked so lately that its answer is listened for."""
    asked = [q.asked for q in state.waiting]
    return any(elapsed(entry, now).seconds <= ANSWER_SECONDS for entry in asked)


@lru_cache(maxsize=48)  # 1 MB each; a sheet has three, and one of bare words: twelve sheets
def _compiled(text: str, name: str) -> Grammar:
    return Grammar.for_reading(text, source=f"grammar of sheet '{name}'")


def phrase_for(sheet: Sheet, tag: str) -> Phrase | None:
    """Return the phrase that carries ``tag``, or None."""
    return next((phrase for phrase in phrases_of(sheet) if phrase.tag == tag), None)
