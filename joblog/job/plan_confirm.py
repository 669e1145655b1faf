"""'Confirm because ...': which finding a reason lets stand; where that isn't plain, it is asked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from joblog.job.controls import REASONS
from joblog.job.drafts import Draft, Plan, refusal
from joblog.job.foremost import SAY_WHY, foremost
from joblog.job.foremost import told as as_told
from joblog.job.meaning import Meaning
from joblog.job.told import Choice, Told, reasoned, together
from joblog.job.types import Finding, JobState
from joblog.job.wording import and_more, capital

WHICH = "What is the reason for?"
WANTS_LOOSENED = "confirm because loosened and checked"  # in the advice on one too tight
PAIR = 2  # 'first' and 'second' are the answers that there are


def plan_confirm(state: JobState, meaning: Meaning, told: Told, by: str) -> Plan:
    """Return what 'confirm because ...' leads to: the finding that was named stands, so reasoned.

    Where several were named or listed, it is asked which of them the reason is for. Where none was
    named lately, nobody knows either: the one that is next is named, and the reason is to be said
    again. Questions are answered, not confirmed.
    """
    open_ones = reasoned(state.open_findings)
    if not open_ones:
        return refusal("Nothing to confirm.", "Nothing to confirm: no finding is open.")
    reason = meaning.own_reason or (REASONS[meaning.reason][1] if meaning.reason else "")
    if not reason:
        return Plan(
            spoken=SAY_WHY,
            shown="Say 'confirm because' and one of: "
            + "; ".join(pattern.split(" |")[0] for pattern, _ in REASONS.values())
            + ". Typed, any words are a reason.",
            tone="again",
        )
    groups = together([f for f in open_ones if f.key in told.several])
    wanting = together([f for f in open_ones if WANTS_LOOSENED in f.advice])
    if meaning.reason == "loosened" and wanting:
        named = [g for g in wanting if any(f.key in (*told.keys, *told.several) for f in g)]
        if not named:  # what was named aloud is something else
            return _name_it(state, [f for group in wanting for f in group])
        if len(wanting) == 1:
            return _confirmed(wanting[0], reason)
    if len(groups) > 1:
        among = tuple(tuple(f.key for f in group) for group in groups)
        return _which(state, Choice(among, reason, by))
    heard = [f for f in open_ones if f.key in told.keys]
    return _confirmed(heard, reason) if heard else _name_it(state, open_ones)


def plan_choice(state: JobState, word: str, choice: Choice) -> Plan:
    """Return what the answer ``word`` to the question which finding a reason is for leads to."""
    if word == "affirm":
        return replace(_which(state, choice), spoken="First, or second?")
    if word == "negative" and choice.among[PAIR:]:
        return _which(state, replace(choice, among=choice.among[PAIR:]))
    if word == "disregard":
        return Plan(spoken="Disregarded.", shown="Disregarded: nothing is confirmed.")
    if word == "negative":
        return Plan(spoken="Nothing noted.", shown="Nothing is confirmed.", tone="again")
    keys = choice.among[0 if word == "first" else 1]
    named = [f for f in reasoned(state.open_findings) if f.key in keys]
    return _confirmed(named, choice.reason) if named else refusal("Nothing to confirm.")


def choices(state: JobState, choice: Choice) -> list[str]:
    """Return the findings that are asked about, in words."""
    texts = []
    for keys in choice.among[:PAIR]:
        found = as_told(state.sheet, [f for f in state.findings if f.key in keys])
        texts.append(" ".join(dict.fromkeys(f.text for f in found)))
    return texts


def _which(state: JobState, choice: Choice) -> Plan:
    """Ask which of two findings the reason is for; 'negative' asks of those that are left."""
    if len(choice.among) == 1:
        left_open = [f for f in state.open_findings if f.key in choice.among[0]]
        return _name_it(state, left_open) if left_open else refusal("Nothing to confirm.")
    names = [
        next((f.spoken.rstrip(".") for f in state.findings if f.key in keys), "")
        for keys in choice.among[:PAIR]
    ]
    texts = [text.rstrip(".") for text in choices(state, choice)]
    left = len(choice.among) - PAIR
    rest = f" {left} more: say “negative”." if left else ""
    return Plan(
        spoken=f"First, {names[0]}, or second, {names[1]}? {and_more(left)}".strip(),
        shown=f"Nothing is confirmed yet. {WHICH} First: {texts[0]}. Second: {texts[1]}. "
        f"Say “first” or “second”.{rest}",
        tone="again",
        choice=choice,
    )


def _confirmed(findings: Sequence[Finding], reason: str) -> Plan:
    return Plan(tuple(Draft("confirmed", {"finding": f.key, "reason": reason}) for f in findings))


def _name_it(state: JobState, findings: Sequence[Finding]) -> Plan:
    """Name the finding that a reason would be for, and ask for it once more."""
    one = foremost(as_told(state.sheet, findings))
    return Plan(
        spoken=f"{capital(one.spoken)} {SAY_WHY}",
        shown=f"Nothing is confirmed yet. {one.text} Say “confirm because” and the reason, if that "
        "is what it is for.",
        tone="again",
    )
