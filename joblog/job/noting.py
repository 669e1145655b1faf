"""A note that goes on with a phrase of the job: "... tell the customer. Reminder reset."

In noise a pause may not end an utterance, and a note takes everything that was said. What stands at
its end as a sentence of its own, and is a phrase of the job, was meant for the job: asked about.
"""

from __future__ import annotations

import re

from joblog.job.foils import TAG
from joblog.job.meaning import Meaning, meaning_of
from joblog.job.typed import typed_words
from joblog.sheet.model import Sheet

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
