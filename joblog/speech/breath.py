"""A phrase said with a pause in it: "drain plug forty ... one foot pounds".

The segmenter ends an utterance after half a second of silence, and a technician who reads a wrench
may take longer between two words. So what ends in a number without a unit, or in a word that wants
one, is not acted on before :data:`GO_ON` seconds of silence; if speech goes on within that time,
the sound of both is heard as one. What is complete waits for nothing.

One :class:`Breath` belongs to one open microphone and holds one utterance at most.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from joblog.audio.types import RATE, Beginning, Samples, Utterance
from joblog.speech.accept import NUMBER_WORDS
from joblog.speech.types import Alternative, Hearing, Verdict

GO_ON = 1.2  # seconds of silence after which an unfinished phrase counts as all that was said
JOIN = 1.5  # a rest that begins within so many seconds of silence still belongs to what was cut
PAUSE = 0.2  # seconds of the pause that are kept where pieces are joined; more is heard worse
LONGEST = 15.0  # seconds that the recogniser hears
WANTING = NUMBER_WORDS | {
    "to",
    "too",
    "at",
    "is",
    "torque",
    "torqued",
    "tight",
    "and",
    "correction",
}
Hear = Callable[[Samples], Hearing]


@dataclass(frozen=True)
class Said:
    """What counts as said: its sound and what was heard in it.

    ``first`` is what was heard in its first part alone, where it was joined of two; ``acted`` says
    that it had counted as said already; ``doubted`` that more may belong to it, so that it must be
    asked about, however clear it was.
    """

    utterance: Utterance
    hearing: Hearing
    first: Hearing | None = None
    acted: bool = False
    doubted: bool = False

    @property
    def begun_early(self) -> bool:
        """Whether its first words are missing, since joblog was still speaking.

        A number is often said with pauses, so one before it shows no beginning where something was
        heard before the pause.
        """
        if self.utterance.beginning is Beginning.PERHAPS_MISSING:
            return like_a_rest(self.hearing)
        return self.utterance.beginning is Beginning.MISSING


class Breath:
    """Decides when what was heard counts as said. Safe to share between threads."""

    def __init__(self) -> None:
        self.entry = ""  # for the session: the record's entry of what counted last
        self._last: Said | None = None
        self._waits = False
        self._newest: Utterance | None = None  # its silence is still to come
        self._over: Utterance | None = None  # its silence has passed
        self._lock = threading.Lock()

    @property
    def waits(self) -> bool:
        """Whether something waits for its rest, or for silence."""
        return self._waits

    def heard(self, utterance: Utterance, hear: Hear) -> list[Said]:
        """Take the next utterance; return what counts as said now, in order."""
        with self._lock:
            first, waits = self._last, self._waits
            self._last, self._waits = None, False
        alone = Said(utterance, hear(utterance.samples))
        before = [first] if first is not None and waits else []
        if first is None or not _near(first.utterance, utterance):
            return before + self._settle(alone)
        if waits:
            return self._went_on(first, alone, hear)
        return self._continued(first, alone, hear)

    def silent(self, ended: Sequence[Utterance], pause: float) -> bool:
        """Note which utterances a piece of sound ended, and how long nobody has spoken behind it.

        True says that silence has decided about what waits: :meth:`release` it. ``pause`` without
        end is the end of the sound.
        """
        with self._lock:
            self._newest = ended[-1] if ended else self._newest
            if self._newest is None or pause < GO_ON:
                return False
            self._over, self._newest = self._newest, None
            last = self._last.utterance if self._waits and self._last is not None else None
            return last is not None and _same_end(last, self._over)

    def release(self) -> list[Said]:
        """Return what waited: nothing more belongs to it."""
        with self._lock:
            waited = [self._last] if self._waits and self._last is not None else []
            self._waits = False
        return waited

    def _settle(self, said: Said) -> list[Said]:
        """Count ``said``, or keep it waiting where it may go on."""
        with self._lock:
            self._last = said if said.utterance.paused else None
            over = self._over is not None and _same_end(self._over, said.utterance)
            self._waits = self._last is not None and not over and unfinished(said.hearing)
            return [] if self._waits else [said]

    def _went_on(self, first: Said, alone: Said, hear: Hear) -> list[Said]:
        """Speech followed what waited: hear both as one, unless the second stands by itself."""
        sure = alone.hearing.verdict is Verdict.ACCEPT
        if sure and not like_a_rest(alone.hearing):
            return [first, *self._settle(alone)]
        whole = _whole(first, alone, hear)
        if whole is not None and whole.hearing.verdict is not Verdict.REJECT:
            return self._settle(whole)
        if sure:
            return [first, *self._settle(alone)]
        # Something was said behind the number and not understood: perhaps the rest of it.
        return [_doubted(first), *self._settle(alone)]

    def _continued(self, first: Said, alone: Said, hear: Hear) -> list[Said]:
        """Speech followed what was acted on, or ignored, already."""
        rest = like_a_rest(alone.hearing)
        if first.hearing.verdict is Verdict.REJECT:
            return self._after_unclear(first, alone, hear) if rest else self._settle(alone)
        if not unfinished(first.hearing):
            return self._settle(alone)
        if alone.hearing.verdict is Verdict.ACCEPT and not rest:
            return self._settle(alone)
        whole = _whole(first, alone, hear)
        if whole is None or whole.hearing.verdict is Verdict.REJECT:
            return self._settle(alone)
        return self._settle(replace(whole, acted=True))

    def _after_unclear(self, first: Said, alone: Said, hear: Hear) -> list[Said]:
        """What fits nothing was followed by what begins like a rest: "one ... point two quarts"."""
        whole = _whole(first, alone, hear)
        single = alone.hearing
        if whole is None or whole.hearing.verdict is Verdict.REJECT:
            missing = first.utterance.beginning is Beginning.MISSING
            part = missing or single.text.startswith("point ")
            doubt = part and single.verdict is Verdict.ACCEPT
            return self._settle(_doubted(alone) if doubt else alone)
        either = single.verdict is not Verdict.REJECT and not single.text.startswith("point ")
        if either and whole.hearing.text != single.text:
            other = Alternative(whole.hearing.text, single.confidence)
            return self._settle(_doubted(alone, other))
        return self._settle(whole)


def unfinished(hearing: Hearing) -> bool:
    """Say whether more may belong to what was heard: it ends in a number, or wants one."""
    words = hearing.text.split()
    return hearing.verdict is not Verdict.REJECT and bool(words) and words[-1] in WANTING


def like_a_rest(hearing: Hearing) -> bool:
    """Say whether what was heard begins with a number, as the rest of a phrase may."""
    return hearing.text.partition(" ")[0] in NUMBER_WORDS


def asked_again(said: Said) -> Said:
    """Return what is to be said again as unclear: its first words are missing."""
    if not said.begun_early or said.hearing.verdict is Verdict.REJECT:
        return said
    why = "Its beginning is missing: the microphone heard nothing before."
    return replace(said, hearing=replace(said.hearing, verdict=Verdict.ASK, why=why))


def _doubted(said: Said, *others: Alternative) -> Said:
    """Return ``said`` as something to be asked about, beside ``others``."""
    hearing = said.hearing
    if hearing.verdict is Verdict.REJECT:
        return said
    why = "It was said with a pause, and more may belong to it."
    rest = others or hearing.alternatives
    asked = replace(hearing, verdict=Verdict.ASK, alternatives=rest, why=why)
    return replace(said, hearing=asked, doubted=True)


def _same_end(one: Utterance, other: Utterance) -> bool:
    return abs(one.ended - other.ended) < 1 / RATE


def _near(first: Utterance, second: Utterance) -> bool:
    """Say whether ``second`` began soon enough after ``first`` to be its rest."""
    silence = second.started + second.lead - (first.ended - first.trail)
    return first.paused and 0 <= silence <= JOIN


def _whole(first: Said, second: Said, hear: Hear) -> Said | None:
    """Return both as one, None where that is longer than can be heard."""
    joined = joined_sound(first.utterance, second.utterance)
    return None if joined.duration > LONGEST else Said(joined, hear(joined.samples), first.hearing)


def joined_sound(first: Utterance, second: Utterance, pause: float = PAUSE) -> Utterance:
    """Return both utterances as one, the pause between them shortened to ``pause`` seconds.

    It ends when the second does; what it is shorter by counts as its beginning later.
    """
    twice = max(0.0, first.ended - second.started)  # the same sound at both ends
    rest = second.samples[round(twice * RATE) :]
    silence = first.trail + max(0.0, second.lead - twice)
    cut = max(0, round((silence - pause) * RATE))
    ahead = min(cut // 2, max(0, round((second.lead - twice) * RATE)))
    behind = min(cut - ahead, round(first.trail * RATE))
    sound = np.concatenate([first.samples[: len(first.samples) - behind], rest[ahead:]])
    started = second.ended - len(sound) / RATE
    return replace(
        second,
        samples=sound,
        started=started,
        lead=first.lead,
        beginning=first.beginning,
    )
