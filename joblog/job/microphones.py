"""One phrase that several microphones of a job hear counts once.

The wall screen and the phone in the pocket may both listen: "two quarts in" must not become four.
What a second microphone heard at the same time as something that was acted on, or asked about, is
kept with its sound and no more comes of it. Where both are clear and mean different things, two
people may have spoken: then joblog asks about the second.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Hashable
from dataclasses import dataclass, replace

from joblog.audio.types import Utterance
from joblog.job.meaning import meaning_of
from joblog.sheet.model import Sheet
from joblog.speech.types import Hearing, Verdict

SHARED = 0.5  # of the shorter sound must lie within the other's time; clocks differ by some 0.1 s
KEPT = 8  # utterances that are remembered: a few seconds
HEARD_TWICE = "Another microphone of this job heard the same; it counts once."
AT_ONCE = "It was said while another microphone heard something else."


@dataclass(frozen=True)
class _Taken:
    """When which microphone heard something; its sound lies in the record, not in memory, too."""

    source: str
    at: float
    duration: float
    gist: Hashable


class Microphones:
    """What the microphones of one job heard last and joblog took; for one thread at a time."""

    def __init__(self) -> None:
        self._taken: deque[_Taken] = deque(maxlen=KEPT)

    def took(self, utterance: Utterance, gist: Hashable = None) -> None:
        """Note that an utterance was acted on or asked about; ``gist`` is its meaning, if known."""
        if utterance.at is not None:
            taken = _Taken(utterance.source, utterance.at, utterance.duration, gist)
            self._taken.append(taken)

    def twin(self, utterance: Utterance) -> _Taken | None:
        """Return what another microphone heard at the same time, if joblog took that."""
        others = (t for t in self._taken if t.source != utterance.source)
        return next((t for t in others if _same_time(t, utterance)), None)

    def beside(self, utterance: Utterance, hearing: Hearing, sheet: Sheet) -> Hearing | None:
        """Return the hearing as it counts where another microphone heard at that time; else None.

        As rejected, or to be asked about.
        """
        twin = self.twin(utterance)
        if twin is None:
            return None
        gist = gist_of(hearing, sheet)
        differs = None not in (gist, twin.gist) and gist != twin.gist
        if differs and hearing.verdict is Verdict.ACCEPT:
            return replace(hearing, verdict=Verdict.ASK, alternatives=(), why=AT_ONCE)
        return replace(hearing, verdict=Verdict.REJECT, why=HEARD_TWICE)


def gist_of(hearing: Hearing, sheet: Sheet) -> Hashable:
    """Return what a hearing means, apart from its wording; None where it is no phrase."""
    meaning = meaning_of(hearing.text, sheet) if hearing.text else None
    return meaning.gist if meaning is not None else None


def _same_time(one: _Taken, other: Utterance) -> bool:
    if other.at is None:
        return False
    shared = min(one.at, other.at) - max(one.at - one.duration, other.at - other.duration)
    return shared >= SHARED * min(one.duration, other.duration)
