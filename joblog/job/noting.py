"""Notes: when the next words are one, which words of an utterance are, and what stands behind them.

In noise a pause may not end an utterance, and a note takes everything that was said: "... tell the
customer. Reminder reset." What stands at its end as a sentence of its own, and is a phrase of the
job, was meant for the job: asked about.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace

from joblog.audio.types import Utterance
from joblog.job.clocks import Timed, elapsed
from joblog.job.foils import TAG
from joblog.job.lone_no import heard_no
from joblog.job.meaning import Meaning, meaning_of
from joblog.job.typed import note_in, typed_words
from joblog.job.types import JobState
from joblog.sheet.model import Sheet
from joblog.speech.breath import Said
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
    words = text.lower().strip(" .,!")
    return words in ("disregard", "disregard that", "disregard the note", "disregard that note")


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


@dataclass(frozen=True)
class Noted:
    """What was said to a microphone without a job; ``note`` is the note in it, '' where none is.

    ``dictated``: it was heard as free words, of which nobody says how sure they are.
    """

    said: Said
    note: str = ""
    dictated: bool = False


class NoteTaker:
    """Takes the notes of one open microphone without a job, as a job's session takes them."""

    def __init__(self, engine: Engine, sheet: Sheet) -> None:
        self._engine = engine
        self._sheet = sheet
        self._until = -math.inf  # seconds of the source; who begins before dictates

    def expects(self, utterance: Utterance) -> bool:
        """Say whether ``utterance`` is the words of a note."""
        return utterance.started <= self._until

    def dictated(self, utterance: Utterance) -> list[Noted]:
        """Return the note that an expected utterance is, and what was said behind it."""
        text = self._engine.dictate(utterance.samples).strip()
        if not text:
            return [self._plain(utterance, "", Verdict.REJECT, "No words of a note were heard.")]
        self._until = -math.inf
        if takes_back(text):
            return [self._plain(utterance, "disregard", Verdict.ACCEPT)]
        return self._note(utterance, text)

    def look(self, said: Said) -> list[Noted]:
        """Return what was said as it is, or as the note in one breath that it is."""
        hearing = heard_no(self._engine, said.utterance, said.hearing, asked=False)
        said = replace(said, hearing=hearing)
        text = dictated_note(self._engine, said.utterance, hearing)
        if text:
            return self._note(said.utterance, text)
        sure = hearing.verdict is Verdict.ACCEPT
        meant = meaning_of(hearing.text, self._sheet) if sure else None
        if meant is not None and meant.act == "note":
            self._until = said.utterance.ended + NOTE_WAITS
        return [Noted(said)]

    def _note(self, utterance: Utterance, text: str) -> list[Noted]:
        text, phrase = phrase_behind(text, self._sheet)
        noted = replace(self._plain(utterance, "note", Verdict.ACCEPT), note=text)
        why = f"Was it '{phrase}', behind a note?"
        return [noted, *([self._plain(utterance, phrase, Verdict.ASK, why)] if phrase else [])]

    def _plain(
        self, utterance: Utterance, text: str, verdict: Verdict, why: str | None = None
    ) -> Noted:
        heard = Hearing(text, verdict, 0.0, duration=utterance.duration, why=why)
        said = Said(utterance, replace(heard, engine=self._engine.name))
        return Noted(said, dictated=True)
