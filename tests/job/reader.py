"""A recogniser that hears what it is told to hear: hearings of every kind, which no recording gives
on demand. Real sound goes through the real recogniser in test_hearing_for_real."""

from __future__ import annotations

import numpy as np

from joblog.audio.types import RATE, Utterance
from joblog.job.figures import FIGURES
from joblog.speech.types import Alternative, Hearing, Verdict


class Reader:
    """An engine that hears what it is told to hear."""

    name = "reader"
    second_opinion = True

    def __init__(self) -> None:
        self.hearings: list[Hearing] = []
        self.dictation = ""
        self.scores: dict[str, float] = {}

    def hear(self, samples, grammar, *, expected=None, voice=None) -> Hearing:  # noqa: ARG002 - an engine's form
        if grammar is FIGURES:  # what it is told to hear are phrases
            return Hearing("", Verdict.REJECT, 0.0)
        return self.hearings.pop(0)

    def dictate(self, samples) -> str:  # noqa: ARG002 - as above
        return self.dictation

    def compare(self, samples, grammar) -> dict[str, float]:  # noqa: ARG002 - as above
        return self.scores


def listener(job):
    """Return the job with ``hear(text, verdict, *others)``: what is heard next, and its reply."""
    job.engine = Reader()
    job.session.engine = job.engine
    tone = 0.1 * np.sin(np.arange(RATE) * 0.1).astype(np.float32)

    def hear(text, verdict="accept", *others, seconds=1.0, by="Imani Okafor", share=0.4, sure=0.5):
        found = tuple(Alternative(other, share) for other in others)
        hearing = Hearing(text, Verdict(verdict), sure, found, engine="reader")
        job.engine.hearings.append(hearing)
        sound = np.tile(tone, 3)[: int(seconds * RATE)]
        job.clock.advance(3)
        return job.session.hear(Utterance(sound), by=by)

    job.hear = hear
    return job
