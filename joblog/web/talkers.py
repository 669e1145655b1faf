"""``joblog bench talkers``: how long many talkers wait for their answers on one machine.

Each talker is a bay of its own that speaks one recorded command every ten seconds, at a moment of
its own; all share the pool and the recogniser as they do in the shop. The wait runs from the end of
the utterance to its answer. It needs commands and a grammar as ``joblog bench speech`` takes them.
"""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import numpy as np

from joblog.audio.files import read_audio
from joblog.audio.types import Samples
from joblog.errors import InputError
from joblog.speech.engines import get_engine
from joblog.speech.grammar import Grammar
from joblog.speech.types import Engine
from joblog.web.pool import BusyError, FairPool

EVERY = 10.0  # seconds between the phrases of one talker


@dataclass
class Waits:
    """What the talkers met: seconds from the end of speech to each answer, and refusals."""

    seconds: list[float] = field(default_factory=list)
    refused: int = 0
    lock: threading.Lock = field(default_factory=threading.Lock)


def run(folder: Path, talkers: tuple[int, ...], seconds: float) -> None:
    """Print the waits for each number of talkers."""
    if min(talkers) < 1 or seconds < EVERY:
        raise InputError(f"Give at least one talker and {EVERY:.0f} seconds, so that each speaks.")
    paths = sorted((folder / "commands").glob("*.flac"))[:40]
    if not paths:
        raise InputError(f"{folder} has no commands/*.flac; give a labelled speech folder.")
    grammar = Grammar.from_file(folder / "commands" / "commands.gram")
    sounds = [read_audio(path).samples for path in paths]
    engine = get_engine()
    engine.hear(sounds[0], grammar)  # the first answer also builds the grammar's tokens
    for count in talkers:
        waits = measure(engine, grammar, sounds, count, seconds)
        p50, p95 = np.percentile(waits.seconds, [50, 95])
        print(
            f"{count:3} talkers: {len(waits.seconds)} answers, median {p50:.2f} s, "
            f"95 % {p95:.2f} s, refused {waits.refused}",
            flush=True,
        )


def measure(
    engine: Engine, grammar: Grammar, sounds: list[Samples], count: int, seconds: float
) -> Waits:
    """Let ``count`` talkers speak for ``seconds``, and return how long they waited."""
    pool, waits, begun = FairPool(), Waits(), time.perf_counter()
    rng = np.random.default_rng(1)
    starts = rng.uniform(0, EVERY, count)

    def talk(number: int) -> None:
        due, turn = begun + starts[number], number
        while due < begun + seconds:
            time.sleep(max(0.0, due - time.perf_counter()))
            sound = sounds[turn % len(sounds)]
            ended = time.perf_counter()
            try:
                pool.submit(f"bay-{number}", partial(engine.hear, sound, grammar)).result()
            except BusyError:
                with waits.lock:
                    waits.refused += 1
            else:
                with waits.lock:
                    waits.seconds.append(time.perf_counter() - ended)
            due, turn = due + EVERY, turn + count

    threads = [threading.Thread(target=talk, args=(number,)) for number in range(count)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    pool.close()
    return waits
