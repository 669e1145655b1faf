"""Figures alone, said in answer to a question about a number: "four one".

A question that joblog asks in noise is often about a number, and the answer is said in the same
noise. Figures, one by one, have a second ear, and it may know the voice of who speaks
(:mod:`joblog.speech.voice`). So while such a question waits, what is no clear phrase is heard once
more as figures alone, and counts where that is sure.
"""

from __future__ import annotations

from joblog.job.clocks import Timed, elapsed
from joblog.job.grammar import ANSWER_SECONDS
from joblog.job.meaning import Meaning, meaning_of
from joblog.job.plan_controls import question_for
from joblog.job.said_units import said_values
from joblog.job.types import JobState
from joblog.speech.grammar import Grammar
from joblog.speech.second_ear import DIGITS

FEWEST, MOST = 2, 3  # figures; a single one is too easily heard into other talk
FIGURES = Grammar.from_text(
    f"""#JSGF V1.0;
grammar figures;
<first> = {" | ".join(DIGITS[1:10])};
<figure> = {" | ".join(DIGITS)};
public <figures> = <first> <figure> [<figure>];
""",
    source="figures that answer a question",
)


def asks_for_figures(state: JobState, by: str, now: Timed) -> bool:
    """Say whether a question to ``by`` waits that is about a value, and was asked just now."""
    question = None if state.closed else question_for(state, by)
    if question is None or question.entry.by != by:
        return False
    if elapsed(question.asked, now).seconds > ANSWER_SECONDS:
        return False
    drafts = question.entry.body.get("drafts") or []
    heard = (meaning_of(option, state.sheet) for option in question.options)
    return any("value" in draft["body"] for draft in drafts) or any(m and m.values for m in heard)


def figures_meant(text: str) -> Meaning | None:
    """Return what figures alone mean, None for any other sentence."""
    words = text.split()
    if not FEWEST <= len(words) <= MOST or not all(word in DIGITS for word in words):
        return None
    return Meaning("bare", "", text, said_values(words), span=(0, len(words)))
