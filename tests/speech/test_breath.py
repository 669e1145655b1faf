"""What counts as said when speech has pauses in it; the recogniser here reads from a list."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from joblog.audio.types import RATE, Beginning, Samples, Utterance
from joblog.speech.breath import (
    GO_ON,
    LONGEST,
    PAUSE,
    Breath,
    Said,
    asked_again,
    joined_sound,
)
from joblog.speech.types import Hearing, Verdict


def uttered(started: float, seconds: float = 1.0) -> Utterance:
    """An utterance with 0.25 s before its first and 0.5 s after its last speech."""
    sound = np.full(round(seconds * RATE), 0.1, np.float32)
    return Utterance(sound, started, lead=0.25, trail=0.5, paused=True)


class Ear:
    """Plays utterances to a breath; what is heard in each sound comes from a list."""

    def __init__(self) -> None:
        self.breath = Breath()
        self.hearings: list[Hearing] = []
        self.lengths: list[float] = []

    def hear(self, samples: Samples) -> Hearing:
        self.lengths.append(len(samples) / RATE)
        return self.hearings.pop(0)

    def heard(self, utterance: Utterance, *texts: str) -> list[Said]:
        """``texts``: 'verdict: words' of the utterance alone, and then of both as one."""
        for text in texts:
            verdict, _, words = text.partition(": ")
            self.hearings.append(Hearing(words, Verdict(verdict), 0.98))
        found = self.breath.heard(utterance, self.hear)
        assert not self.hearings
        return found


def told(found: list[Said]) -> list[tuple[str, str]]:
    return [(said.hearing.text, said.hearing.verdict.value) for said in found]


def test_what_is_complete_counts_at_once_and_is_heard_once() -> None:
    ear = Ear()
    assert told(ear.heard(uttered(1.0), "accept: fill plug loose")) == [
        ("fill plug loose", "accept")
    ]
    assert len(ear.heard(uttered(2.5), "accept: one quart in")) == 1
    assert not ear.breath.waits


@pytest.mark.parametrize("words", ["drain plug forty", "torqued two", "one point", "torque"])
@pytest.mark.parametrize("verdict", ["accept", "ask"])
def test_what_may_go_on_waits_for_silence(words: str, verdict: str) -> None:
    ear, first = Ear(), uttered(1.0)
    assert ear.heard(first, f"{verdict}: {words}") == []
    assert not ear.breath.silent([first], GO_ON - 0.1)
    assert ear.breath.silent([], GO_ON)
    assert told(ear.breath.release()) == [(words, verdict)]
    assert ear.breath.release() == []


def test_silence_that_passed_before_the_hearing_was_ready_is_not_waited_for_again() -> None:
    ear, first = Ear(), uttered(1.0)
    assert not ear.breath.silent([first], GO_ON)
    assert told(ear.heard(first, "accept: drain plug forty")) == [("drain plug forty", "accept")]


def test_push_to_talk_waits_for_nothing() -> None:
    pushed = Utterance(np.zeros(RATE, np.float32), 1.0)
    assert len(Ear().heard(pushed, "accept: drain plug forty")) == 1


def test_a_rest_is_heard_with_its_first_part() -> None:
    ear = Ear()
    ear.heard(uttered(1.0), "accept: drain plug forty")
    found = ear.heard(uttered(2.25), "reject: one", "accept: drain plug forty one foot pounds")
    assert told(found) == [("drain plug forty one foot pounds", "accept")]
    assert not found[0].acted
    assert ear.lengths[-1] == pytest.approx(2.0 - 0.75 + PAUSE, abs=0.01)


def test_two_pauses_in_one_phrase() -> None:
    ear = Ear()
    ear.heard(uttered(1.0), "accept: drain plug torqued two")
    assert ear.heard(uttered(2.25), "reject: x", "accept: drain plug torqued to forty") == []
    found = ear.heard(uttered(3.5), "reject: x", "accept: drain plug torqued to forty one")
    assert found == []
    assert [text for text, _ in told(ear.breath.release())] == ["drain plug torqued to forty one"]


def test_a_rest_that_nobody_understands_has_the_first_part_asked_about() -> None:
    ear = Ear()
    ear.heard(uttered(1.0), "accept: drain plug forty")
    found = ear.heard(uttered(2.25), "reject: x", "reject: y")
    assert told(found) == [("drain plug forty", "ask"), ("x", "reject")]
    assert found[0].doubted


def test_a_phrase_of_its_own_is_no_rest() -> None:
    ear = Ear()
    ear.heard(uttered(1.0), "accept: drain plug forty one")
    found = ear.heard(uttered(2.25), "accept: fill plug loose")
    assert [text for text, _ in told(found)] == ["drain plug forty one", "fill plug loose"]


def test_point_two_behind_something_unclear_is_never_believed_alone() -> None:
    ear = Ear()
    ear.heard(uttered(1.0), "reject: one one liters in")
    found = ear.heard(uttered(2.25), "accept: point two quarts in", "reject: z")
    assert told(found) == [("point two quarts in", "ask")]
    ear.heard(uttered(11.0), "reject: one one liters in")
    found = ear.heard(
        uttered(12.25), "accept: point two quarts in", "accept: one point two quarts in"
    )
    assert told(found) == [("one point two quarts in", "accept")]


def test_a_number_behind_talk_counts_alone_or_is_asked_about() -> None:
    ear = Ear()
    ear.heard(uttered(1.0), "reject: talk")
    found = ear.heard(uttered(2.25), "accept: one quart in", "reject: z")
    assert told(found) == [("one quart in", "accept")]
    ear.heard(uttered(11.0), "reject: talk")
    (said,) = ear.heard(uttered(12.25), "accept: one quart in", "accept: four one quart in")
    assert said.doubted
    assert [a.text for a in said.hearing.alternatives] == ["four one quart in"]


def test_a_rest_after_its_first_part_counted_says_so() -> None:
    ear, first = Ear(), uttered(1.0)
    ear.breath.silent([first], GO_ON)
    ear.heard(first, "accept: drain plug forty")
    late = uttered(2.7)  # its speech begins 1.45 s after the first one's end
    (said,) = ear.heard(late, "reject: x", "accept: drain plug forty one foot pounds")
    assert said.acted
    assert said.first is not None
    assert said.first.text == "drain plug forty"


def test_what_comes_later_is_no_rest() -> None:
    ear = Ear()
    ear.heard(uttered(1.0), "accept: drain plug forty")
    found = ear.heard(uttered(4.0), "accept: one quart in")
    assert [text for text, _ in told(found)] == ["drain plug forty", "one quart in"]


def test_no_more_is_joined_than_can_be_heard() -> None:
    ear = Ear()
    ear.heard(uttered(1.0, LONGEST - 0.2), "accept: drain plug forty")
    found = ear.heard(uttered(LONGEST + 0.9), "reject: x")
    assert told(found) == [("drain plug forty", "ask"), ("x", "reject")]


def test_sound_that_both_pieces_hold_is_joined_once() -> None:
    ramp = np.arange(4 * RATE, dtype=np.float32)
    first = Utterance(ramp[: 2 * RATE], 0.0, trail=0.5, paused=True)
    second = Utterance(ramp[int(1.8 * RATE) :], 1.8, lead=0.4, trail=0.5, paused=True)
    joined = joined_sound(first, second, pause=10.0)
    np.testing.assert_array_equal(joined.samples, ramp)
    assert joined.ended == pytest.approx(4.0)
    shorter = joined_sound(first, second, pause=0.2)
    assert shorter.duration == pytest.approx(3.5)
    assert shorter.samples[-1] == ramp[-1]


def early(utterance: Utterance) -> Utterance:
    return replace(utterance, beginning=Beginning.MISSING)


def test_a_phrase_whose_beginning_is_missing_stays_so_when_it_goes_on() -> None:
    ear = Ear()
    assert ear.heard(early(uttered(1.0)), "accept: drain plug forty") == []
    rest = ["accept: one foot pounds", "accept: drain plug forty one foot pounds"]
    (said,) = ear.heard(uttered(2.5), *rest)
    assert said.begun_early


def test_a_number_behind_what_began_early_is_never_believed_alone() -> None:
    ear = Ear()
    assert len(ear.heard(early(uttered(1.0)), "reject: teen")) == 1
    (said,) = ear.heard(uttered(2.5), "accept: nine quarts in", "reject: ")
    assert said.doubted
    assert said.hearing.verdict is Verdict.ASK


@pytest.mark.parametrize(("text", "missing"), [("four one", True), ("drain plug four one", False)])
def test_only_a_number_needs_more_than_a_pause_before_it(text: str, missing: bool) -> None:
    utterance = replace(uttered(1.0), beginning=Beginning.PERHAPS_MISSING)
    said = Said(utterance, Hearing(text, Verdict.ACCEPT, 0.99))
    assert said.begun_early is missing
    assert (asked_again(said).hearing.verdict is Verdict.ASK) is missing
