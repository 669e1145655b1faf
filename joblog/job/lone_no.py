"""A lone 'no' or 'nope', which is heard as 'note', and other ways to say no to a question.

The recogniser that learnt the phrases never learnt 'nope', and hears "that isn't right" as what it
knows. The one that takes notes tells them apart. While a question waits for its answer, a no is
'negative'; otherwise it is a no to nothing. It never opens a note, which would take the next phrase
for its words.
"""

from __future__ import annotations

import re
from dataclasses import replace
from functools import lru_cache

import numpy as np

from joblog.audio.types import Utterance
from joblog.job.foils import NO
from joblog.speech.grammar import Grammar
from joblog.speech.types import Engine, Hearing, Verdict

NOTE, NEGATIVE = "note", "negative"
LONE_SECONDS = 2.5  # one word with the silence around it; a note in one breath may be longer
LONGEST = 4.0  # seconds of 'no, that is not correct'
SURE_NOTE = 2.0  # natural log; of 27 'note' 21 were above it, of 81 'no', 'nope', 'nah' 5
UNCLEAR = "It may have been 'note', or 'no'."

_NOES = r"(?:(?:no|nope|nah|know)\b\s*)"  # 'no that is wrong' is written as 'know that's wrong'
_WRONG = r"(?:that|it)(?:(?: isn't|'s not| is not) (?:right|correct)|(?:'s| is) wrong)"
_SAYS_NO = re.compile(f"{_NOES}+(?:{_WRONG})?|{_WRONG}")


@lru_cache(maxsize=1)
def _short() -> Grammar:
    return Grammar.from_text(
        f"#JSGF V1.0;\ngrammar short;\npublic <short> = {NOTE} | {NO} | nope | nah | no no;\n"
    )


def says_no(free: str) -> bool:
    """Say whether free words are nothing but a no."""
    said = " ".join(re.sub(r"[.,!]", " ", free.lower()).split())
    return _SAYS_NO.fullmatch(said) is not None


def heard_no(engine: Engine, utterance: Utterance, hearing: Hearing, *, asked: bool) -> Hearing:
    """Return the hearing as it is, or what it is where somebody just said no.

    ``asked`` says whether a question waits for its answer.
    """
    if hearing.verdict is not Verdict.REJECT and hearing.text in (NOTE, NO):
        if utterance.duration > LONE_SECONDS:
            return hearing
        return _lone(_note_over_no(engine, utterance), hearing, asked=asked)
    others = hearing.verdict is Verdict.REJECT and utterance.among_talk
    unclear = hearing.verdict is not Verdict.ACCEPT and hearing.text and not others
    if not asked or not unclear or utterance.duration > LONGEST:
        return hearing
    return _negative(hearing) if says_no(engine.dictate(utterance.samples)) else hearing


def _lone(note: float, hearing: Hearing, *, asked: bool) -> Hearing:
    if not asked:
        no = hearing.text == NOTE and note < 0
        return replace(hearing, text=NO, verdict=Verdict.ACCEPT, alternatives=()) if no else hearing
    if note < (0 if hearing.text == NOTE else SURE_NOTE):
        return _negative(hearing)
    if hearing.text == NOTE and note >= SURE_NOTE:
        return hearing
    return replace(hearing, text="", verdict=Verdict.ASK, alternatives=(), why=UNCLEAR)


def _negative(hearing: Hearing) -> Hearing:
    why = f"Heard as '{hearing.text}'; free words said no."
    return replace(hearing, text=NEGATIVE, verdict=Verdict.ACCEPT, alternatives=(), why=why)


def _note_over_no(engine: Engine, utterance: Utterance) -> float:
    """Return by how much 'note' is likelier than every no, as a natural log."""
    scores = engine.compare(utterance.samples, _short())
    if not scores:  # this engine can't
        return -np.inf if says_no(engine.dictate(utterance.samples)) else np.inf
    no = [score for text, score in scores.items() if text != NOTE]
    if NOTE not in scores or not no:
        return np.inf if NOTE in scores else -np.inf
    return scores[NOTE] - float(np.logaddexp.reduce(no))
