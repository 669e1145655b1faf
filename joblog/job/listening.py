"""From a hearing to a plan: questions about unclear speech, and their answers.

An unclear sentence is never recorded as fact. It becomes an ``asked`` entry with the best two
sentences that mean different things; *affirm*, *negative*, *first*, *second* or the sentence said
again settle it.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from joblog.audio.types import Utterance
from joblog.job.asking import asked_anyway, in_words
from joblog.job.clocks import Timed, elapsed
from joblog.job.drafts import Draft, Plan
from joblog.job.foils import TAG
from joblog.job.meaning import Meaning, meaning_of
from joblog.job.numbers import number
from joblog.job.plan import QUESTIONS, plan
from joblog.job.plan_controls import answered, question_for, settle
from joblog.job.plan_values import like
from joblog.job.run_together import number_apart
from joblog.job.said_units import said_values
from joblog.job.types import JobState, Question
from joblog.job.wording import capital
from joblog.measure.units import unit_of
from joblog.sheet.model import Sheet
from joblog.speech.breath import Said
from joblog.speech.types import Engine, Hearing, Verdict

ANSWERS = ("affirm", "negative", "first", "second")
MEANING_SURE = 0.97  # from here on the wording may be unclear, but not what it means
LIKELY = 0.05  # an alternative less likely than this is not worth asking about
ASKED = 0.20  # a phrase less likely than this is not asked about beside its foil
NOTE_WAITS = 30  # seconds after 'note' in which the words of the note are expected
CUT_SECONDS = 5.0  # what joblog spoke into is asked for again up to this length: a radio is longer
NOTE_SECONDS = 1.2  # 'note' alone is shorter; a note with its words is longer


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
    heard = [option.replace(" using ", " with ") for option in options]  # one clip less
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


def asks_for_help(sheet: Sheet, hearing: Hearing) -> bool:
    """Say whether an unclear hearing may be answered as 'help': that is its best reading.

    Nothing is recorded by it, and whoever asked something else learns what can be said now. Where
    something to record is likely too, joblog asks about that: a step or value must not be lost.
    """
    if hearing.verdict is not Verdict.ASK:
        return False
    likely = [a.text for a in hearing.alternatives if a.confidence >= LIKELY]
    best, *others = (meaning_of(text, sheet) if text else None for text in (hearing.text, *likely))
    if best is None or best.target != "help":
        return False
    return all(other is None or other.act == "control" for other in others)


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


def missed(said: Said) -> bool:
    """Say whether joblog spoke into words so that nothing of them can be understood."""
    unclear = said.hearing.verdict is Verdict.REJECT
    return said.utterance.cut_off and unclear and said.utterance.duration <= CUT_SECONDS


def doubtful(state: JobState, said: Said, before: str) -> Hearing | None:
    """Return what to ask about where something was said with a pause or into joblog's own words.

    However clear the sound, more may belong to it. None where it counts as it was heard. ``before``
    is the entry of its first part.
    """
    hearing = said.hearing
    if hearing.verdict is Verdict.REJECT:
        return None
    if said.doubted or (said.utterance.cut_off and not _only_asks(state.sheet, hearing)):
        return hearing
    told = to_behind_pause(state.sheet, hearing, said.first)
    if told is not hearing:
        return told
    if said.first is None or not said.acted:
        return None
    return against_recorded(state, hearing, said.first, before)


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
    repeated = _repeated(question, sheet, said)
    if repeated is not None:
        return repeated
    about = _about_question(state, question, sheet, said, by)
    if about is not None or _replaces(question, sheet, said, by):
        made = plan(state, about or _of_same(_numbers(question, sheet), said), by=by)
        closing = Draft("answered", answered(question, said.text).body | {"how": "replaced"})
        return Plan((closing, *made.drafts), made.spoken, made.shown, made.tone, replan=made.replan)
    return None


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
    return meaning.value is not None and number(draft["body"].get("value", "0")) == meaning.value


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


def note_pending(state: JobState, by: str, now: Timed) -> str | None:
    """Return the id of the question after which the next utterance of ``by`` is a note.

    After half a minute it no longer is: a 'note' heard by mistake must not swallow later words.
    """
    for question in reversed(state.questions):
        if question.about == "note" and question.entry.by == by:
            waited = elapsed(question.entry, now)
            return question.entry.id if waited.sure and waited.seconds <= NOTE_WAITS else None
    return None


def takes_back(text: str) -> bool:
    """Say whether dictated or typed text is the procedure word 'disregard' and no note."""
    return text.lower().strip(" .,!") in ("disregard", "disregard that")


def dictated_note(engine: Engine, utterance: Utterance, hearing: Hearing) -> str:
    """Return the words after 'note' where the utterance is a note in one breath, else ''.

    The grammar can't hold free words, so such an utterance fits nothing well: only then is the
    unrestricted path asked, and only what it hears beginning with 'note' counts.
    """
    if hearing.verdict is Verdict.ACCEPT and hearing.text != "note":
        return ""
    if utterance.duration < NOTE_SECONDS:
        return ""
    return note_words(engine.dictate(utterance.samples))


def note_words(text: str) -> str:
    """Return what follows a leading 'note', else ''."""
    head, _, rest = text.strip().partition(" ")
    if head.lower().strip(".,:;!") not in ("note", "notes"):
        return ""
    return rest.strip(" ,:;.-")
