"""What the recogniser says it heard, before anyone believes it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING, Any, Protocol

from joblog.audio.types import Samples

if TYPE_CHECKING:
    from joblog.speech.second_ear import Head


class Verdict(StrEnum):
    """What to do with a hearing: believe it, ask back, or ignore it."""

    ACCEPT = "accept"
    ASK = "ask"
    REJECT = "reject"


@dataclass(frozen=True)
class Alternative:
    """One in-grammar sentence (lower-case words) and how likely it is, 0..1."""

    text: str
    confidence: float


@dataclass(frozen=True)
class Hearing:
    """The recogniser's answer for one utterance.

    ``text`` is the best in-grammar sentence ('' where nothing was found), ``confidence`` the
    calibrated probability (0..1) that every word of it is right, ``alternatives`` the next best
    sentences, best first, without ``text`` itself. ``seconds`` is the time from having the samples
    to having the answer, ``duration`` that of the sound. ``why`` says in plain words why the
    verdict is not ACCEPT.
    """

    text: str
    verdict: Verdict
    confidence: float
    alternatives: tuple[Alternative, ...] = ()
    seconds: float = 0.0
    duration: float = 0.0
    engine: str = ""
    why: str | None = None


class Engine(Protocol):
    """A recogniser: ours, or another behind the same interface."""

    name: str
    second_opinion: bool  # what ``dictate`` writes was heard by another recogniser than ``hear``'s

    def hear(
        self,
        samples: Samples,
        grammar: Any,
        *,
        expected: Mapping[str, float] | None = None,
        voice: Head | None = None,
    ) -> Hearing:
        """Find the sentence of ``grammar`` (joblog.speech.grammar.Grammar) that was spoken.

        ``expected`` maps tags of the grammar to log-probability bonuses (natural log, small): what
        the job expects next is a prior, never a wall. ``voice`` knows who speaks, for an engine
        that can learn voices (:mod:`joblog.speech.voice`); others take no notice of it.
        """

    def dictate(self, samples: Samples) -> str:
        """Write down free speech, for notes."""

    def compare(self, samples: Samples, grammar: Any) -> Mapping[str, float]:
        """Return the natural-log likelihood of the sentences of a small ``grammar``.

        By the recogniser that takes notes, which learnt no phrases; empty where nothing can be
        said of it.
        """
