"""Who speaks before joblog has ended is never heard from the middle of a phrase on unsaid.

The recordings are human speech of pocketsphinx's source distribution; see tests/audio/data.
"""

from __future__ import annotations

import numpy as np
import pytest

from joblog.audio.segment import Mode, Segmenter
from joblog.audio.types import RATE, Beginning, Samples, Utterance
from joblog.audio.voice import CHUNK
from tests.audio.test_segment import hammering, quiet, run, speech

DEAF = 0.4


def trimmed(name: str) -> Samples:
    sound = speech(name)
    loud = np.flatnonzero(np.abs(sound) > 0.05)
    return sound[loud[0] : loud[-1]]


def answered(
    phrase: Samples, begins: float, echo: float = 0.0, around: Samples | None = None
) -> tuple[list[Utterance], float]:
    """Return the utterances of a phrase that begins so long after an answer, and when that ended.

    ``echo`` seconds of the answer's last sound are still heard behind it, at half its level.
    """
    answer = trimmed("cards-001")
    heard = quiet(8) if around is None else around.copy()
    end = 2 * RATE + len(answer)
    rest = answer[-int(echo * RATE) :] if echo else answer[:0]
    heard[2 * RATE : end] += 0.3 * answer
    heard[end : end + len(rest)] += 0.5 * rest
    first = end + int(begins * RATE)
    heard[first : first + len(phrase)] += phrase
    segmenter = Segmenter()
    segmenter.feed(heard[: 2 * RATE])
    segmenter.mute()
    assert segmenter.feed(heard[2 * RATE : end]) == []
    segmenter.unmute(DEAF)
    return run(segmenter, heard[end:]), end / RATE


@pytest.mark.parametrize("begins", [-0.6, -0.3, -0.1])
def test_a_phrase_begun_before_the_answer_has_ended_is_given_as_begun_early(begins: float) -> None:
    found, _ = answered(trimmed("cards-003"), begins)
    assert [u.beginning for u in found] == [Beginning.MISSING]


@pytest.mark.parametrize("around", ["quiet", "tool"])
@pytest.mark.parametrize("begins", [0.2, 0.3, 0.5])
def test_a_phrase_begun_behind_the_answer_is_heard_from_its_first_word_on(
    begins: float, around: str
) -> None:
    noise = None if around == "quiet" else (0.1 * hammering(8)).astype(np.float32)
    found, end = answered(trimmed("cards-003"), begins, around=noise)
    assert len(found) == 1
    assert found[0].beginning is Beginning.HEARD
    assert end - 0.05 <= found[0].started <= end + begins


def test_the_answers_echo_is_no_part_of_the_phrase_behind_it() -> None:
    found, end = answered(trimmed("cards-003"), 0.5, echo=0.2)
    assert len(found) == 1
    assert (
        found[0].beginning is Beginning.PERHAPS_MISSING
    )  # a first word of its own may have sounded like that
    assert found[0].started >= end + 0.2


def test_echo_alone_is_nothing() -> None:
    found, _ = answered(np.zeros(1, np.float32), 1.0, echo=0.35)
    assert found == []


def test_the_next_phrase_is_whole_again() -> None:
    phrase = trimmed("cards-003")
    twice = np.concatenate([phrase, quiet(1), phrase])
    found, _ = answered(twice, -0.3, around=quiet(12))
    assert [u.beginning for u in found] == [Beginning.MISSING, Beginning.HEARD]


@pytest.mark.parametrize("live", [True, False])
def test_a_microphone_that_opens_within_a_phrase_knows_no_beginning(live: bool) -> None:
    sound = np.concatenate([trimmed("cards-003"), quiet(1)])
    (found,) = run(Segmenter(live=live), sound)
    assert (found.beginning is Beginning.MISSING) is live  # a file begins where it was cut


def test_who_waits_after_opening_the_microphone_is_heard_whole() -> None:
    sound = np.concatenate([quiet(0.3), trimmed("cards-003"), quiet(1)])
    (found,) = run(Segmenter(live=True), sound)
    assert found.beginning is Beginning.HEARD


def test_push_to_talk_takes_no_echo_into_its_pre_roll() -> None:
    segmenter = Segmenter(mode=Mode.PUSH)
    segmenter.mute()
    segmenter.unmute(DEAF)
    segmenter.feed(trimmed("cards-001")[: 6 * CHUNK])
    segmenter.press()
    segmenter.feed(quiet(1))
    found = segmenter.release()
    assert found is not None
    assert np.abs(found.samples).max() < 0.01
