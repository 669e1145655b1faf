"""Cutting a stream of sound into utterances.

Open microphone: an utterance starts where the voice detector finds speech in two chunks that stand
out of the background, reaches back over the pre-roll, and ends after a hang-over without speech.
Push to talk: it lasts as long as the button is held. While joblog speaks the segmenter is muted and
hears nothing, not even the echo.

A radio or a colleague further off may talk on when the near talker has ended, and the detector
can't tell one from the other. So where others were heard before, an utterance ends, too, where it
stays far below its own loudest. Beside tools alone it does not: a phrase may end quietly.

Who begins before joblog has ended is heard from the middle of a phrase on, and "fourteen point
nine" would become "point nine". So what was said right behind an answer must have a pause before
it; else it is given as begun early.

Nothing grows with the length of the stream: what is kept is the pre-roll and one utterance.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np

from joblog.audio.types import RATE, Beginning, Samples, Utterance
from joblog.audio.voice import (
    CHUNK,
    CHUNK_SECONDS,
    SILENT_DB,
    Background,
    SileroDetector,
    VoiceDetector,
    level_db,
    mean_level,
)


class Mode(Enum):
    """When the microphone listens."""

    OPEN = "open"
    PUSH = "push"


class Phase(Enum):
    """What the segmenter does now; see the table of moves in the class."""

    WAITING = "waiting"
    SPEAKING = "speaking"
    HELD = "held"
    MUTED = "muted"


@dataclass(frozen=True)
class Cut:
    """Where utterances start and end; times in seconds, probabilities 0..1, levels in dB.

    The values were chosen on the noise set; docs/segmentation.md has the measurements.
    """

    preroll: float = 0.5
    hangover: float = 0.5
    hangover_in_talk: float = 0.8
    longest: float = 15.0
    shortest: float = 0.15  # of likely speech
    opens: float = 0.3
    stays: float = 0.1
    under: float = 10.0  # dB below the loudest of an utterance: others talk on
    under_for: float = 1.0
    apart: float = 0.128  # of no speech between an answer and a phrase that begins behind it


LOUD = 4  # chunks over which loudness is taken, so that one weak sound is no silence


@dataclass
class _Chunk:
    samples: Samples
    speech: float
    level: float
    loud: float = -120.0  # the level of the last chunks together


def _chunks(seconds: float) -> int:
    return max(1, round(seconds / CHUNK_SECONDS))


class Segmenter:
    """Takes frames of any length, gives utterances.

    Moves: WAITING -> SPEAKING (voice found) -> WAITING (hang-over, or the longest length);
    WAITING -> HELD (``press``) -> WAITING (``release``); any -> MUTED (``mute``) -> WAITING
    (``unmute``). ``source`` names the origin of the utterances; ``live`` says that its first sound
    may be the middle of a phrase, as that of a microphone may.
    """

    def __init__(
        self,
        source: str = "",
        mode: Mode = Mode.OPEN,
        cut: Cut | None = None,
        detector: VoiceDetector | None = None,
        live: bool = False,
    ) -> None:
        self.mode = mode
        self.phase = Phase.WAITING
        self.level = -120.0
        self._source = source
        self._cut = cut or Cut()
        self._detector = detector or SileroDetector()
        self._background = Background()
        self._rest: Samples = np.zeros(0, np.float32)
        self._levels: deque[float] = deque(maxlen=LOUD)
        self._before: deque[_Chunk] = deque(maxlen=_chunks(self._cut.preroll))
        self._utterance: list[_Chunk] = []
        self._cut_off: list[Utterance] = []
        self._quiet = 0
        self._seen = 0  # chunks since the source was opened
        self._silent = 0
        self._unmute_at: int | None = None
        self._hears_from = 0 if live else -1  # the chunk from which on it hears (again)
        self._opened = 0  # chunks of the utterance up to where it was found
        self._spoke: int | None = None  # chunks seen when the last speech ended

    @property
    def pause(self) -> float:
        """Seconds of sound since the last speech ended; 0 while somebody speaks."""
        if self.phase in (Phase.SPEAKING, Phase.HELD):
            return 0.0
        return np.inf if self._spoke is None else (self._seen - self._spoke) * CHUNK_SECONDS

    @property
    def seconds(self) -> float:
        """Seconds of sound since the source was opened."""
        return self._seen * CHUNK_SECONDS

    @property
    def floor(self) -> float:
        """Level of the noise around, in dB below full scale."""
        return self._background.floor

    def feed(self, samples: Samples) -> list[Utterance]:
        """Take the next samples (float32, 16 kHz mono); return the utterances that ended."""
        sound = np.concatenate([self._rest, samples.astype(np.float32, copy=False)])
        whole = len(sound) - len(sound) % CHUNK
        self._rest = sound[whole:]
        ended, self._cut_off = self._cut_off, []
        for start in range(0, whole, CHUNK):
            utterance = self._step(np.nan_to_num(sound[start : start + CHUNK]))
            if utterance is not None:
                ended.append(utterance)
        return ended

    def flush(self) -> list[Utterance]:
        """Return what was being said when the source ended."""
        ended = self.feed(np.zeros(-len(self._rest) % CHUNK, np.float32)) if len(self._rest) else []
        if self.phase is Phase.SPEAKING:
            last = self._end()
            return ended + ([last] if last else [])
        held = self.release()
        return ended + ([held] if held else [])

    def press(self) -> None:
        """Push to talk: the button is down, collect from the pre-roll on.

        Who presses while only the echo is waited for is heard at once: nothing said is lost.
        """
        echo = self.phase is Phase.MUTED and self._unmute_at is not None
        if self.mode is Mode.PUSH and (self.phase is Phase.WAITING or echo):
            self.phase = Phase.HELD
            self._utterance = list(self._before)

    def release(self) -> Utterance | None:
        """Push to talk: the button is up; return what was said, None where there is too little."""
        if self.phase is not Phase.HELD:
            return None
        self.phase = Phase.WAITING
        kept, self._utterance = self._utterance, []
        self._before.clear()
        enough = len(kept) - (self._before.maxlen or 0) >= _chunks(self._cut.shortest)
        return self._made(kept, self._seen - len(kept)) if enough else None

    def mute(self) -> None:
        """Hear nothing from now on: joblog itself speaks.

        What was being said until now is not lost: the next ``feed`` gives it, as cut off.
        """
        cut_off = self._end() if self.phase is Phase.SPEAKING else self.release()
        if cut_off is not None:
            self._cut_off.append(replace(cut_off, paused=False, cut_off=True))
        self.phase = Phase.MUTED
        self._unmute_at = None
        self._utterance = []
        self._before.clear()

    def unmute(self, after_s: float = 0.3) -> None:
        """Listen again ``after_s`` seconds of sound from now, when the echo has gone."""
        if self.phase is Phase.MUTED:
            self._unmute_at = self._seen + round(after_s / CHUNK_SECONDS)
            self._levels.clear()
            self._detector.reset()

    def _step(self, samples: Samples) -> Utterance | None:
        self._seen += 1
        self.level = level_db(samples)
        if self.phase is Phase.MUTED:
            if self._unmute_at is None:
                return None
            if self._seen < self._unmute_at:
                if self.mode is Mode.OPEN:
                    self._before.append(self._heard(samples))
                return None
            self.phase = Phase.WAITING
            self._hears_from = self._seen - 1
        if self.mode is Mode.PUSH:
            return self._step_held(_Chunk(samples, 0.0, self.level))
        chunk = self._heard(samples)
        if self.phase is Phase.SPEAKING:
            return self._step_speaking(chunk)
        self._background.add(chunk.level, chunk.speech)
        last = [*self._before, chunk][-2:]
        self._before.append(chunk)
        sure = len(last) == 2 and all(part.speech >= self._cut.opens for part in last)
        if sure and max(part.level for part in last) >= self._level_to("starts"):
            self.phase = Phase.SPEAKING
            self._utterance = list(self._before)
            self._opened = len(self._utterance)
            self._before.clear()
            self._quiet = 0
        return None

    def _heard(self, samples: Samples) -> _Chunk:
        self._levels.append(self.level)
        return _Chunk(samples, self._speech(samples), self.level, mean_level(self._levels))

    def _level_to(self, what: str) -> float:
        """Level in dB that speech needs to start or to stay."""
        margins = self._background.margins
        margin = margins.starts if what == "starts" else margins.stays
        return -np.inf if margin is None else self._background.floor + margin

    def _step_held(self, chunk: _Chunk) -> Utterance | None:
        if self.phase is not Phase.HELD:
            self._before.append(chunk)
            return None
        self._utterance.append(chunk)
        return self.release() if len(self._utterance) >= _chunks(self._cut.longest) else None

    def _step_speaking(self, chunk: _Chunk) -> Utterance | None:
        self._utterance.append(chunk)
        heard = chunk.speech >= self._cut.stays and chunk.level >= self._level_to("stays")
        self._quiet = 0 if heard else self._quiet + 1
        talk = self._background.talks
        if self._quiet >= _chunks(self._cut.hangover_in_talk if talk else self._cut.hangover):
            return self._end()
        under = self._under() if self._background.may_talk_on else []
        long = _chunks(self._cut.under_for)
        if len(under) > long and all(under[-long:]):
            return self._end_near(under, long)
        if len(self._utterance) >= _chunks(self._cut.longest):
            return self._split()
        return None

    def _under(self) -> list[bool]:
        """Say of each chunk of the utterance whether only others can be talking in it."""
        loudest = max(chunk.loud for chunk in self._utterance)
        below = min(loudest - self._cut.under, self._background.ceiling)
        return [chunk.loud < below for chunk in self._utterance]

    def _end_near(self, under: list[bool], long: int) -> Utterance | None:
        """End where the near talker did, though others talk on, and begin where they began.

        What others said before and after is background from now on.
        """
        last = first = len(under) - 1 - under[::-1].index(False)
        while first > 0 and not all(under[max(0, first - long) : first]):
            first -= 1
        start = max(0, first - _chunks(self._cut.preroll) - LOUD) if first >= long else 0
        for chunk in self._utterance[:start] + self._utterance[last + 1 :]:
            self._background.add(chunk.level, chunk.speech)
        self._quiet = len(under) - 1 - last
        self._utterance = self._utterance[start:]
        self._opened -= start
        return self._end()

    def _speech(self, samples: Samples) -> float:
        """Probability of speech; the model rests while there is digital silence."""
        if self.level > SILENT_DB:
            self._silent = 0
            return self._detector.probability(samples)
        self._silent += 1
        if self._silent == _chunks(self._cut.hangover):
            self._detector.reset()
        return 0.0

    def _pause_in(self, lead: list[_Chunk]) -> int | None:
        """Return where the last pause begins in the sound up to where speech was found, if any.

        Where others talk on further off, what is far below the phrase counts as a pause.
        """
        under = self._under() if self._background.may_talk_on else [False] * len(lead)
        silent = [c.speech < self._cut.stays or low for c, low in zip(lead, under, strict=False)]
        long = _chunks(self._cut.apart)
        pauses = [k for k in range(len(silent) - long + 1) if all(silent[k : k + long])]
        while len(pauses) > 1 and pauses[-2] == pauses[-1] - 1:
            pauses.pop()
        return pauses[-1] if pauses else None

    def _end(self) -> Utterance | None:
        beginning = Beginning.HEARD
        if self._seen - len(self._utterance) <= self._hears_from:
            pause = self._pause_in(self._utterance[: max(0, self._opened)])
            if pause is None:
                beginning = Beginning.MISSING
            elif any(c.speech >= self._cut.opens for c in self._utterance[:pause]):
                beginning = Beginning.PERHAPS_MISSING
            self._utterance = self._utterance[pause or 0 :]
        kept, self._utterance = self._utterance, []
        self.phase = Phase.WAITING
        self._before.clear()
        self._before.extend(kept[-self._quiet :] if self._quiet else [])
        self._spoke = self._seen - self._quiet
        started = self._seen - len(kept)
        sure = [place for place, chunk in enumerate(kept) if chunk.speech >= self._cut.opens]
        early = sum(started + place < self._hears_from for place in sure)
        echo = early if beginning is Beginning.MISSING else 0
        if len(sure) - echo < _chunks(self._cut.shortest):
            return None
        made = self._made(kept, started)
        return replace(
            made,
            lead=sure[0] * CHUNK_SECONDS,
            trail=self._quiet * CHUNK_SECONDS,
            paused=True,
            beginning=beginning,
            among_talk=self._background.may_talk_on,
        )

    def _split(self) -> Utterance:
        """End at the least likely speech of the last three seconds and carry on from there.

        So long a stretch may be a radio that was taken for a voice: it counts as background, and
        what follows must stand out of it.
        """
        window = min(len(self._utterance) - 1, _chunks(3.0))
        tail = [chunk.speech for chunk in self._utterance[-window:]]
        cut = len(self._utterance) - window + int(np.argmin(tail))
        started = self._seen - len(self._utterance)
        kept, self._utterance = self._utterance[:cut], self._utterance[cut:]
        for chunk in kept:
            self._background.add(chunk.level, chunk.speech)
        return self._made(kept, started)

    def _made(self, chunks: list[_Chunk], started: int) -> Utterance:
        samples = np.concatenate([chunk.samples for chunk in chunks])
        return Utterance(samples, started * CHUNK / RATE, self._source)
