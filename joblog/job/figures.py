"""A number said alone in answer to a question about one: "forty one", or "four one".

A question that joblog asks in noise is often about a number, and the answer is said in the same
noise. While such a question waits, a number alone is heard beside all other phrases. Figures one by
one have a second ear, and it may know the voice of who speaks (:mod:`joblog.speech.voice`): they
are heard once more as nothing but figures, and count where both times they are the same.
"""

from __future__ import annotations

from dataclasses import replace

from joblog.job.grammar import grammar_for_sheet
from joblog.job.meaning import Meaning, from_parse, meaning_of
from joblog.job.plan_controls import gone_by, question_for
from joblog.job.ranges import ends_of
from joblog.job.typed import ranges_apart, typed_words
from joblog.job.types import JobState, Reply
from joblog.job.wording import capital
from joblog.record.clock import Moment
from joblog.sheet.model import Sheet
from joblog.speech.grammar import Grammar
from joblog.speech.second_ear import DIGITS
from joblog.speech.types import Hearing, Verdict

FEWEST, MOST = 2, 3  # figures one by one
FIGURES = Grammar.from_text(
    f"""#JSGF V1.0;
grammar figures;
<first> = {" | ".join(DIGITS[1:10])};
<figure> = {" | ".join(DIGITS)};
public <figures> = <first> <figure> [<figure>];
""",
    source="figures that answer a question",
)


def asks_for_number(state: JobState, by: str, now: Moment) -> bool:
    """Say whether a question to ``by`` waits that is about a value, and is fresh."""
    question = None if state.closed else question_for(state, by)
    if question is None or question.entry.by != by or gone_by(state, question, by, now):
        return False
    drafts = question.entry.body.get("drafts") or []
    heard = (meaning_of(option, state.sheet) for option in question.options)
    return any(ends_of(draft["body"]) for draft in drafts) or any(m and m.values for m in heard)


def number_alone(text: str, sheet: Sheet) -> Meaning | None:
    """Return what a number or a range alone means, None for any other sentence."""
    said = typed_words(ranges_apart(text))  # '12-14'; spoken words stay as they are
    parse = grammar_for_sheet(sheet, numbers=True).parse(said) if said else None
    meant = None if parse is None else from_parse(parse)
    return meant if meant is not None and meant.act == "bare" and not meant.correction else None


def answers_nothing(meant: Meaning) -> Reply:
    """Return what to say where a number alone fits no question: it was said, and it is not lost."""
    spoken = "That unit does not fit. Say it again." if meant.unit else "Say again."
    shown = f"{capital(meant.text)}: a number alone that fits no question. Nothing was recorded; "
    return Reply(spoken, f"{shown}say what it is of, with its unit.", "again")


def figures_alone(text: str) -> bool:
    """Say whether a sentence is two or three figures, one by one."""
    words = text.split()
    return FEWEST <= len(words) <= MOST and all(word in DIGITS for word in words)


def confirmed(found: Hearing, figures: Hearing) -> Hearing:
    """Return what counts of a sound heard among all phrases, and then as figures: what both say."""
    if figures.verdict is Verdict.ACCEPT and _plain(figures.text) == _plain(found.text):
        return figures
    return replace(found, verdict=Verdict.ASK, why=f"Was it '{found.text}'?")


def _plain(text: str) -> str:
    return text.replace("zero", "oh")
