"""What becomes of a hearing that is not clear, or was said into something: asked, never guessed.

An unclear sentence is never recorded as fact. It becomes an ``asked`` entry with the best two
sentences that mean different things; *affirm*, *negative*, *first*, *second* or the sentence said
again settle it (:mod:`joblog.job.settled_question`).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from joblog.job.asking import asked_anyway, in_words
from joblog.job.drafts import Draft, Plan
from joblog.job.foils import MEND, TAG
from joblog.job.meaning import Meaning, meaning_of
from joblog.job.plan import QUESTIONS
from joblog.job.said_units import said_values
from joblog.job.targets import last_value
from joblog.job.types import JobState
from joblog.job.wording import capital
from joblog.sheet.model import Sheet
from joblog.speech.breath import Said
from joblog.speech.number_words import ONES
from joblog.speech.types import Alternative, Hearing, Verdict

ANSWERS = ("affirm", "negative", "first", "second")
MEANING_SURE = 0.97  # from here on the wording may be unclear, but not what it means
ANSWERED = ("help", "torque", "amount", "fluid")  # questions that are answered though unclear
LEAD_FIGURES = ("two", "three", "eight")  # what 'okay' before an amount is heard as
LIKELY = 0.05  # an alternative less likely than this is not worth asking about
ASKED = 0.20  # a phrase less likely than this is not asked about beside its foil
SPOKEN_INTO = "Say again: joblog spoke while you did."
BEGUN_EARLY = "Say again: joblog was still speaking when you began, so the beginning is missing."
POINT_SURE = (
    0.99  # 'zero point five' was heard at 0.988 to 0.998, 'uh, five' as that at 0.98 at most
)
CUT_SECONDS = 5.0  # what joblog spoke into is asked for again up to this length: a radio is longer


def heard_body(hearing: Hearing) -> dict[str, Any]:
    """Return the body of a ``heard`` entry; confidences are text, for a record holds no floats."""
    return {
        "text": hearing.text,
        "verdict": hearing.verdict.value,
        "confidence": f"{hearing.confidence:.4f}",
        "alternatives": [
            {"text": a.text, "confidence": f"{a.confidence:.4f}"} for a in hearing.alternatives
        ],
        "engine": hearing.engine,
        "why": hearing.why or "",
        "seconds": f"{hearing.seconds:.3f}",
        "duration": f"{hearing.duration:.3f}",
    }


def question_plan(sheet: Sheet, hearing: Hearing, state: JobState | None = None) -> Plan:
    """Return the question that an unclear hearing leads to; with ``state`` in the sheet's words."""
    options = distinct_options(sheet, hearing)
    meant = [meaning_of(option, sheet) for option in options]
    # Whether somebody asked the time is not worth a question that must be answered before the end.
    if all(m is not None and m.act == "control" and m.target in QUESTIONS for m in meant):
        return Plan(spoken="Say again.", shown=hearing.why or "That was not clear.", tone="again")
    anyway = asked_anyway(state, meant) if state is not None and meant else None
    if anyway is not None:
        return anyway
    # Two clips less.
    heard = [option.replace(" using ", " with ").replace(" between ", " ") for option in options]
    if state is not None:
        question = in_words(state, meant, heard)
    elif len(heard) > 1:
        question = f"First, {heard[0]}, or second, {heard[1]}?"
    else:
        question = f"{heard[0]}?"
    answers = "" if len(options) > 1 else " Affirm or negative."
    body = {"question": question, "options": options, "about": "hearing"}
    spoken = capital(question) + answers
    return Plan((Draft("asked", body),), spoken=spoken, shown=spoken, tone="again")


def sure_of_meaning(sheet: Sheet, hearing: Hearing) -> bool:
    """Say whether all likely wordings of an unclear hearing mean the same thing.

    Confidences are probabilities of sentences; that of a meaning is the sum over its sentences.
    """
    meaning = meaning_of(hearing.text, sheet) if hearing.text else None
    if meaning is None:
        return False
    same = [
        a
        for a in hearing.alternatives
        if (m := meaning_of(a.text, sheet)) and m.gist == meaning.gist
    ]
    return hearing.confidence + sum(a.confidence for a in same) >= MEANING_SURE


def only_asks(sheet: Sheet, hearing: Hearing) -> Meaning | None:
    """Return the question that an unclear hearing may be answered as: that is its best reading.

    'Help' and what asks for the sheet's values. Nothing is recorded by it, and the answer says what
    was heard. Where something to record is likely too, joblog asks about that: a step or value must
    not be lost.
    """
    if hearing.verdict is not Verdict.ASK:
        return None
    likely = [a.text for a in hearing.alternatives if a.confidence >= LIKELY]
    best, *others = (meaning_of(text, sheet) if text else None for text in (hearing.text, *likely))
    if best is None or best.act != "control" or best.target not in ANSWERED:
        return None
    return best if all(other is None or other.act == "control" for other in others) else None


def says_it_is_not_done(sheet: Sheet, hearing: Hearing) -> bool:
    """Say whether the best reading of a hearing is a foil, and no phrase is likely beside it."""
    readings = [(hearing.text, 1.0), *((a.text, a.confidence) for a in hearing.alternatives)]
    meant = [(meaning_of(text, sheet) if text else None, sure) for text, sure in readings]
    best, *others = meant
    foil = best[0] is not None and best[0].act == TAG
    return foil and not any(m and m.act != TAG and sure >= ASKED for m, sure in others)


def against_recorded(state: JobState, whole: Hearing, part: Hearing, heard: str) -> Hearing | None:
    """Return what to ask where a phrase, heard whole, differs from what its first part recorded.

    ``heard`` is the entry of the first part. None where nothing of it was recorded: then the whole
    is taken as it was heard; or where both mean the same.
    """
    recorded = any(value.entry.body.get("heard") == heard for value in state.values)
    meant, before = meaning_of(whole.text, state.sheet), meaning_of(part.text, state.sheet)
    if not recorded or (meant is not None and before is not None and meant.gist == before.gist):
        return None
    corrected = f"correction {whole.text}"
    text = corrected if meaning_of(corrected, state.sheet) is not None else whole.text
    why = "The phrase went on after its first part had been recorded."
    return replace(whole, text=text, verdict=Verdict.ASK, alternatives=(), why=why)


def missed(sheet: Sheet, said: Said) -> str:
    """Return what to show where something was said while joblog spoke, so that words are missing.

    Then it must be said again. "" where it counts as it was heard, is asked about, or may as well
    be others who talk.
    """
    utterance, hearing = said.utterance, said.hearing
    unclear = hearing.verdict is Verdict.REJECT
    own = utterance.duration <= CUT_SECONDS
    if said.begun_early:
        others = unclear and (utterance.among_talk or not own)
        return "" if others or _only_asks(sheet, hearing) else BEGUN_EARLY
    return SPOKEN_INTO if utterance.cut_off and unclear and own else ""


def doubtful(state: JobState, said: Said, before: str) -> Hearing | None:
    """Return what to ask about where something was said with a pause or into joblog's own words.

    However clear the sound, more may belong to it. None where it counts as it was heard. ``before``
    is the entry of its first part.
    """
    hearing = said.hearing
    if hearing.verdict is Verdict.REJECT:
        return None
    mended = as_correction(state, hearing)
    if mended is not None:
        return mended
    if said.doubted or (said.utterance.cut_off and not _only_asks(state.sheet, hearing)):
        return hearing
    told = to_behind_pause(state.sheet, hearing, said.first)
    told = told if told is not hearing else behind_a_lead(state.sheet, hearing)
    if told is not hearing:
        return told
    if said.first is None or not said.acted:
        return None
    return against_recorded(state, hearing, said.first, before)


def as_correction(state: JobState, hearing: Hearing) -> Hearing | None:
    """Return what to ask about where a value is mended without the word: 'no, forty two'.

    None for others, and where nothing like it was recorded or a question is open that it may be
    about.
    """
    meant = meaning_of(hearing.text, state.sheet) if hearing.text else None
    if meant is None or (meant.act, meant.target) != (TAG, MEND):
        return None
    text = " ".join(["correction", *meant.text.split()[slice(*meant.span)]])
    meaning = meaning_of(text, state.sheet)
    if meaning is None or state.waiting:
        return None
    if last_value(state, [v.unit for v in meaning.values if v.unit]) is None:
        return None  # 'yes' would lead to nothing
    why = "It sounded as if it corrects what was recorded."
    return replace(hearing, text=text, verdict=Verdict.ASK, alternatives=(), why=why)


def _only_asks(sheet: Sheet, hearing: Hearing) -> bool:
    """Say whether a clear hearing is a question to joblog: to answer it records nothing."""
    meaning = meaning_of(hearing.text, sheet) if hearing.verdict is Verdict.ACCEPT else None
    return meaning is not None and meaning.act == "control" and meaning.target in QUESTIONS


def to_behind_pause(sheet: Sheet, whole: Hearing, first: Hearing | None) -> Hearing:
    """Return what to ask where a pause behind 'to' had it heard as the figure 'two'.

    "Torqued to ... forty one" sounds as "two forty one"; "two ... seven" are two figures.
    """
    meant = meaning_of(whole.text, sheet) if first is not None else None
    if first is None or meant is None or meant.span == (0, 0):
        return whole
    words, (start, end) = whole.text.split(), meant.span
    rest = said_values(words[start + 1 : end])
    if words[start] != "two" or first.text.split()[start : start + 1] != ["two"]:
        return whole
    text = " ".join([*words[:start], "to", *words[start + 1 :]])
    if not rest or rest[0].value < 10 or meaning_of(text, sheet) is None:
        return whole
    why = "It was said with a pause: 'to', or the figure two?"
    return replace(whole, text=text, verdict=Verdict.ASK, alternatives=(), why=why)


def behind_a_lead(sheet: Sheet, hearing: Hearing) -> Hearing:
    """Return what to ask where a lead before an amount may have been heard as its first figure.

    "Okay, one liter" sounds as "two one liters" or "eight one liters", "uh, one" as "zero point
    one". Hardly anybody says amounts figure by figure, so these are always asked about.
    """
    words = hearing.text.split()
    figures = len(words) > 1 and words[0] in LEAD_FIGURES and words[1] in ONES
    point = words[:2] in (["zero", "point"], ["oh", "point"]) and hearing.confidence < POINT_SURE
    meant = meaning_of(hearing.text, sheet) if figures or point else None
    rest = " ".join(words[2 if point else 1 :])
    other = meaning_of(rest, sheet) if meant is not None else None
    if hearing.verdict is not Verdict.ACCEPT or meant is None or other is None:
        return hearing
    if meant.tag != other.tag or meant.text != hearing.text:
        return hearing
    beside = (Alternative(rest, hearing.confidence),)
    why = f"Was it '{hearing.text}', or '{rest}' behind a word that joins?"
    return replace(hearing, verdict=Verdict.ASK, alternatives=beside, why=why)


def distinct_options(sheet: Sheet, hearing: Hearing) -> list[str]:
    """Return at most two sentences that could have been said and mean different things."""
    texts = [hearing.text, *(a.text for a in hearing.alternatives if a.confidence >= LIKELY)]
    options: list[str] = []
    gists: list[object] = []
    for text in texts:
        meaning = meaning_of(text, sheet) if text else None
        if meaning is not None and (meaning.target in (*ANSWERS, "help") or meaning.act == TAG):
            continue  # an unclear answer is no answer: nobody is asked whether they said 'first'
        if meaning is not None and meaning.gist not in gists:
            options.append(meaning.text)
            gists.append(meaning.gist)
    return options[:2]
