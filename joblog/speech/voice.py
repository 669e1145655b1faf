"""Learning a technician's voice, so that digits in tool noise are heard more surely.

A technician reads a few strings of digits aloud, once, in quiet (:data:`STRINGS`). They are sped up
and slowed down, drowned in made noises, and the second ear's head learns on from them, and from
other words so that it knows them still. Three of twelve strings it does not learn from (two of
eight, one of six); on these it is measured, drowned too, before and after. docs/ear.md has what
that brings for people whom joblog had never heard.

Nothing of the recordings is kept, only the head (0.3 million numbers), by the technician's name. It
is used for what that technician says, and for nobody else.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from joblog.audio.mixing import made_noise, mix
from joblog.audio.types import Samples
from joblog.errors import AudioError
from joblog.speech.head_learning import Row, Weights, learn_on
from joblog.speech.second_ear import DIGITS, Head, SecondEar, log_probabilities, signs
from joblog.speech.whisper.sound import prepare

# Each digit four or five times; of those that are held back, once at least.
STRINGS = (
    "4071", "2953", "8620", "1736", "5948", "0382", "6417", "9205", "7539", "3864", "1520", "9748",
)  # fmt: skip
HELD_BACK = 3  # strings at the end that are not learnt from
FEWEST = 6  # strings, of which this many must be there
MADE, EPOCHS = 2000, 6  # a minute or two on one core
OTHERS = 0.4  # drowned rows of other words, for each of digits
SPEEDS = (0.88, 1.13)
RATIOS = (-2.0, 18.0)  # dB between speech and noise, at the loudest frames
LOUD = 0.9  # share of strings that noise is added to
TRIALS, TRIAL_RATIO = 40, 6.0  # drowned strings that it is measured on, dB

Read = tuple[Samples, tuple[str, ...]]  # one string as read: sound and words


@dataclass(frozen=True)
class Learnt:
    """A head that knows a voice, and how many of ``trials`` strings were right before and after."""

    weights: Weights
    before: int
    after: int
    trials: int


def learn_voice(
    read: Sequence[Read],
    ear: SecondEar,
    seed: int = 1,
    told: Callable[[float], None] = lambda _: None,
    *,
    others: Sequence[Read] = (),
    made: int = MADE,
    epochs: int = EPOCHS,
) -> Learnt:
    """Return what is learnt from strings that one person read; ``told`` hears the share done.

    ``others`` are words by anybody that are no digits: without them the head would forget that
    there are any, and take "wait for it" for "eight four eight". ``made`` drowned strings are made
    of all these, and learnt from ``epochs`` times. Raises AudioError
    where fewer than :data:`FEWEST` strings are there.
    """
    if len(read) < FEWEST:
        raise AudioError(f"Only {len(read)} strings were read; read at least {FEWEST}.")
    rng = np.random.default_rng(seed)
    held = min(HELD_BACK, len(read) // 4)
    rows: list[Row] = []
    wanted = made + (round(OTHERS * made) if others else 0)
    while len(rows) < wanted:
        source = read[: len(read) - held] if len(rows) < made else others
        rows.append(_drowned(source, ear, rng))
        told(0.4 * len(rows) / wanted)
    weights = learn_on(ear.head.weights, rows, epochs, rng, lambda share: told(0.4 + 0.55 * share))
    trials = [_drowned(read[len(read) - held :], ear, rng, TRIAL_RATIO) for _ in range(TRIALS)]
    before, after = _right(ear.head, trials), _right(Head(weights), trials)
    told(1.0)
    return Learnt(weights, before, after, len(trials))


def _drowned(
    read: Sequence[Read], ear: SecondEar, rng: np.random.Generator, ratio: float | None = None
) -> Row:
    """Return what the ear makes of one string, drawn at random, sped up or slowed, and drowned."""
    sound, words = read[int(rng.integers(len(read)))]
    if ratio is None:
        times = np.arange(0, len(sound) - 1, rng.uniform(*SPEEDS))
        sound = np.interp(times, np.arange(len(sound)), sound).astype(np.float32)
    if ratio is not None or rng.random() < LOUD:
        noise = made_noise(len(sound), rng)
        sound = mix(sound, noise, rng.uniform(*RATIOS) if ratio is None else ratio, rng)
    return ear.embed(prepare(sound).samples), signs(words)


def _right(head: Head, trials: Sequence[Row]) -> int:
    """Return how many strings are likelier than any that differs by one digit."""
    right = 0
    for embedded, row in trials:
        others = [
            (*row[:at], sign, *row[at + 1 :])
            for at in range(len(row))
            for sign in range(1, len(DIGITS))
            if sign != row[at]
        ]
        found = log_probabilities(head(embedded), [row, *others])
        right += bool(found[0] > found[1:].max())
    return right
