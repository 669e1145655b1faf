"""What is unclear to one recogniser and clear to two: the same numbers in both counts.

The recogniser that learnt the phrases learnt few numbers as people say them: of "forty one" alone
it makes "four two one", and "twelve to fourteen" is unsure in noise. The one that takes notes
learnt from people who talk and writes such numbers well, but knows no phrase. So where a value is
not clear, joblog looks at what the second writes: the same numbers are no coincidence, and the
value is taken as if it had been clear. All that is asked about a clear value is asked of it, too.

The numbers alone say nothing of what they are of: "wheel lug torque forty one" is heard as that of
the fill plug, where the sheet has no wheel lug. So the words before the first number must be the
same in both as well, and those behind the value must be written, too.

In two things both err together, and it counts only what was nearly clear: figures said one by one
(at 6 dB, of 217 strings of two or three digits by people whom neither had heard, unclear and the
same in both, 20 were wrong), and what sounds like another number ("four two", "fourteen").
"""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction

from joblog.audio.types import Utterance
from joblog.job.denials import denies
from joblog.job.figures import figures_alone, number_alone
from joblog.job.foils import TAG
from joblog.job.free_words import FIGURES, NUMBERS, numbers_in, of_the_same, runs
from joblog.job.listening import LIKELY
from joblog.job.meaning import Meaning, meaning_of
from joblog.job.ranges import ends_of
from joblog.job.typed import ranges_apart, typed_words
from joblog.job.types import Question
from joblog.sheet.model import Sheet
from joblog.speech.number_words import ONES, PARTS, SOUNDS_LIKE
from joblog.speech.types import Engine, Hearing, Verdict

UNCLEAR = 0.5  # less sure than this, other words may have been said: "is it" for "is"
NEARLY_CLEAR = 0.8  # of those 217 strings 149 were above it, 8 of them wrong
_WITH_A_NUMBER = NUMBERS | {"to", "and"}
_NO_NUMBERS = frozenset({*PARTS, "a", "an"})  # in a value: 'two and a half' holds the number two


def agreed(
    engine: Engine, utterance: Utterance, hearing: Hearing, sheet: Sheet, question: Question | None
) -> Hearing:
    """Return an unclear hearing as a clear one where the second recogniser has the same numbers.

    ``question`` is the one that a number alone may answer, if any.
    """
    if hearing.verdict is not Verdict.ASK or not hearing.text or not engine.second_opinion:
        return hearing
    meant = meaning_of(hearing.text, sheet)
    alone = number_alone(hearing.text, sheet) if meant is None and question is not None else None
    if alone is None and (meant is None or not _only_value_unsure(meant, hearing, sheet)):
        return hearing
    free = engine.dictate(utterance.samples)
    free_words = typed_words(ranges_apart(free))
    written = numbers_in(free_words)
    if not written or denies(free, hearing.text):
        return hearing
    if alone is not None and question is not None:
        said_alone = _WITH_A_NUMBER.issuperset(re.findall("[a-z]{2,}", free.lower()))
        offered = _offered(question, sheet)
        text = _answer(hearing, sheet, written, offered) if said_alone else ""
    else:
        same = meant is not None and _same(hearing, written) and _whole(meant, free_words)
        text = hearing.text if same else ""
    if not text:
        return hearing
    why = f"Heard as '{hearing.text}', not clearly; free words were '{free.strip()}'."
    return replace(hearing, text=text, verdict=Verdict.ACCEPT, alternatives=(), why=why)


def _only_value_unsure(meant: Meaning, hearing: Hearing, sheet: Sheet) -> bool:
    """Say whether all that may have been said is of one thing, and only its value is in doubt."""
    if not meant.values or meant.act == TAG:
        return False
    likely = [a.text for a in hearing.alternatives if a.confidence >= LIKELY]
    others = [meaning_of(text, sheet) for text in likely]
    return all(other is not None and _alike(other, meant) for other in others)


def _alike(other: Meaning, meant: Meaning) -> bool:
    """Say whether another meaning differs in its value at most; it may leave the unit out."""
    return other.unit in ("", meant.unit) and _about(other) == _about(meant)


def _about(meaning: Meaning) -> tuple[object, ...]:
    return (meaning.tag, meaning.correction, meaning.which, meaning.wrench)


def _same(hearing: Hearing, written: list[Fraction]) -> bool:
    """Say whether a phrase holds the numbers ``written``, and is sure enough for that to count."""
    both_err = any(FIGURES.issuperset(run) or _like_another(run) for run in runs(hearing.text))
    least = NEARLY_CLEAR if both_err else UNCLEAR
    return hearing.confidence >= least and numbers_in(hearing.text) == written


def _whole(meant: Meaning, free: str) -> bool:
    """Say whether free words are of the thing that is meant, its value without parts ('half')."""
    said = meant.text.split()[slice(*meant.span)]
    parts = not _NO_NUMBERS.isdisjoint(said) or not PARTS.keys().isdisjoint(free.split())
    return not parts and of_the_same(meant, free)


def _like_another(run: list[str]) -> bool:
    """Say whether a number sounds like another: 'forty' like 'fourteen', but not 'forty one'."""
    followed = zip(run, [*run[1:], ""], strict=True)
    return any(word in SOUNDS_LIKE and after not in ONES for word, after in followed)


def _answer(hearing: Hearing, sheet: Sheet, written: list[Fraction], offered: set[Fraction]) -> str:
    """Return the number alone that was said, '' where that is not sure.

    It is one of those that the question offers, however it was heard, or it was heard well. Where
    one offered sounds like another ('thirty', 'thirteen'), both may err: then it is not sure. Nor
    is it where another one that is offered was heard.
    """
    best = numbers_in(hearing.text)
    if best != written and offered.issuperset(best):
        return ""
    heard = [hearing.text, *(other.text for other in hearing.alternatives)]
    fit = [text for text in heard if numbers_in(text) == written and not figures_alone(text)]
    meant = ((text, number_alone(text, sheet)) for text in fit)
    text, number = next(((text, m) for text, m in meant if m is not None), ("", None))
    if number is None:
        return ""
    plain, *others = number.values
    if any(offered.intersection(other.ends) for other in others if other.doubt == "sound"):
        return ""
    sure = text == hearing.text and hearing.confidence >= NEARLY_CLEAR
    return text if sure or offered.issuperset(plain.ends) else ""


def _offered(question: Question, sheet: Sheet) -> set[Fraction]:
    """Return the values that a question offers."""
    drafts = question.entry.body.get("drafts") or []
    values = {end for draft in drafts for end in ends_of(draft["body"])}
    heard = (meaning_of(option, sheet) for option in question.options)
    values |= {end for m in heard if m and m.values for end in m.values[0].ends}
    return {Fraction(value) for value in values}
