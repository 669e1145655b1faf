"""Sound as the rest of the house sees it: 16 kHz, one channel, with its origin."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

RATE = 16_000  # samples a second everywhere behind the door of this room

Samples = NDArray[np.float32]


class Beginning(Enum):
    """Whether the first words of an utterance were heard."""

    HEARD = "heard"
    PERHAPS_MISSING = "perhaps missing"  # before a pause in it was joblog's echo, or its own word
    MISSING = "missing"  # it began while joblog still spoke, or before the microphone was open


@dataclass(frozen=True)
class Utterance:
    """One stretch of speech.

    ``samples`` is float32, shape (n,), 16 kHz mono, nominally within -1..1; ``started`` is seconds
    since the source was opened; ``source`` names the microphone, file or phone it came from.
    ``lead`` and ``trail`` are the seconds before its first and after its last speech; ``paused``
    says that a pause of an open microphone ended it: who spoke may go on. ``cut_off`` says that
    joblog itself began to speak in the middle of it, ``beginning`` whether its first words were
    heard. ``among_talk`` says that others were heard talking before it. ``at`` is the time of its
    end on the computer's monotonic clock, in seconds, where several microphones may have heard it.
    """

    samples: Samples
    started: float = 0.0
    source: str = ""
    lead: float = 0.0
    trail: float = 0.0
    paused: bool = False
    cut_off: bool = False
    beginning: Beginning = Beginning.HEARD
    among_talk: bool = False
    at: float | None = None

    @property
    def ended(self) -> float:
        """Seconds since the source was opened at which its samples end."""
        return self.started + self.duration

    @property
    def duration(self) -> float:
        """Length in seconds."""
        return len(self.samples) / RATE
