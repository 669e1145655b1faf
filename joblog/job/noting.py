"""Notes: when the next words are one, which words of an utterance are, and what stands behind them.

In noise a pause may not end an utterance, and a note takes everything that was said: "... tell the
customer. Reminder reset." What stands at its end as a sentence of its own, and is a phrase of the
job, was meant for the job: asked about.
"""

from __future__ import annotations

import re

from joblog.audio.types import Utterance
from joblog.job.clocks import Timed, elapsed
from joblog.job.foils import TAG
from joblog.job.meaning import Meaning, meaning_of
from joblog.job.typed import note_in, typed_words
from joblog.job.types import JobState
from joblog.sheet.model import Sheet
from joblog.speech.types import Engine, Hearing, Verdict

NOTE_WAITS = 30  # seconds after 'note' in which the words of the note are expected
NOTE_SECONDS = 1.2  # 'note' alone is shorter; a note with its words is longer

_SENTENCE_END = re.compile(r"(?<=[.!?])\s+")
_NO_WORK = ("control", "note", TAG)  # what nobody misses where it stays in the note


def phrase_behind(text: str, sheet: Sheet) -> tuple[str, str]:
    """Return a dictated note without the phrase at its end, and that phrase, '' where none is.

    The phrase may have been said more than once. A note that is nothing but a phrase is a note.
    """
    sentences = _SENTENCE_END.split(text.strip())
    meant: Meaning | None = None
    while len(sentences) > 1:
        said = meaning_of(typed_words(sentences[-1]), sheet)
        if said is None or said.act in _NO_WORK or (meant is not None and said.gist != meant.gist):
            break
        meant = said
        sentences.pop()
    return " ".join(sentences), meant.text if meant is not None else ""


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
    return note_in(engine.dictate(utterance.samples))
