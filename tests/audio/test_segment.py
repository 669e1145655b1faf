"""Cutting streams: whole utterances, nothing for noise alone, constant memory, muting."""

from __future__ import annotations

import tracemalloc
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from joblog.audio.files import read_audio
from joblog.audio.segment import Cut, Mode, Phase, Segmenter
from joblog.audio.types import RATE, Samples, Utterance

DATA = Path(__file__).parent / "data"
RNG = np.random.default_rng(3)
Noise = Callable[[float], Samples]


def speech(name: str) -> Samples:
    samples = read_audio(DATA / f"{name}.flac").samples
    return (samples * (0.5 / np.abs(samples).max())).astype(np.float32)


def quiet(seconds: float, level: float = 1e-3) -> Samples:
    return (level * RNG.standard_normal(int(seconds * RATE))).astype(np.float32)


def hiss(seconds: float) -> Samples:
    """Gusts of an air gun: white noise, on and off."""
    gate = np.repeat(RNG.random(int(seconds * 2) + 1) > 0.4, RATE // 2)[: int(seconds * RATE)]
    return (0.3 * gate * RNG.standard_normal(len(gate))).astype(np.float32)


def hammering(seconds: float) -> Samples:
    """An impact wrench: 22 ringing blows a second, in bursts of two seconds."""
    time = np.arange(int(seconds * RATE)) / RATE
    phase = (time * 22) % 1 / 22
    ring = sum(np.sin(2 * np.pi * f * phase) * np.exp(-phase * 90) for f in (1130, 2470, 3890))
    burst = (time % 2.6) < 2.0
    return (0.25 * burst * (ring + 0.2 * RNG.standard_normal(len(time)))).astype(np.float32)


def run(segmenter: Segmenter, sound: Samples, step: int = 1600) -> list[Utterance]:
    found = []
    for start in range(0, len(sound), step):
        found += segmenter.feed(sound[start : start + step])
    return found + segmenter.flush()


def test_utterances_come_one_by_one_and_whole() -> None:
    first, second = speech("cards-003"), speech("goforward")
    sound = np.concatenate([quiet(2), first, quiet(2), second, quiet(2)])
    found = run(Segmenter("test"), sound)
    assert len(found) == 2
    assert found[0].source == "test"
    spans = [(u.started, u.started + u.duration) for u in found]
    starts = [2.0, 4.0 + len(first) / RATE]
    for (start, end), began, spoken in zip(spans, starts, (first, second), strict=True):
        # The recordings themselves hold some silence around the words.
        loud = np.flatnonzero(np.abs(spoken) > 0.05)
        assert start <= began + loud[0] / RATE
        assert end >= began + loud[-1] / RATE
        assert end <= began + len(spoken) / RATE + Cut().hangover + 0.3
    part = sound[int(found[0].started * RATE) :][: len(found[0].samples)]
    np.testing.assert_array_equal(found[0].samples, part)


def test_the_size_of_the_frames_does_not_matter() -> None:
    sound = np.concatenate([quiet(1), speech("cards-001"), quiet(1.5)])
    one, many = run(Segmenter(), sound, 10**6), run(Segmenter(), sound, 331)
    assert len(one) == len(many) == 1
    assert one[0].started == many[0].started
    np.testing.assert_array_equal(one[0].samples, many[0].samples)


@pytest.mark.parametrize("noise", [hiss, hammering, lambda s: quiet(s, 0.2), lambda s: quiet(s, 0)])
def test_noise_alone_opens_nothing(noise: Noise) -> None:
    assert run(Segmenter(), noise(20.0)) == []


def test_a_full_scale_square_wave_opens_nothing() -> None:
    square = np.sign(np.sin(2 * np.pi * 440 * np.arange(5 * RATE) / RATE)).astype(np.float32)
    assert run(Segmenter(), square) == []


@pytest.mark.parametrize("noise", [hiss, hammering])
def test_speech_is_found_in_tool_noise(noise: Noise) -> None:
    spoken = speech("order-coffee")
    sound = np.concatenate([quiet(3), spoken, quiet(3)])
    tool = noise(len(sound) / RATE)[: len(sound)]
    # 9 dB between the loudest 128 ms of each: the benchmark's rule.
    frames = [x[: len(x) // 2048 * 2048].reshape(-1, 2048) for x in (spoken, tool)]
    loud, hum = (float((f**2).sum(axis=1).max()) for f in frames)
    sound += tool * np.sqrt(loud / hum / 10**0.9)
    found = run(Segmenter(), sound.astype(np.float32))
    assert len(found) == 1
    voiced = np.flatnonzero(np.abs(spoken) > 0.15) / RATE + 3
    assert found[0].started <= voiced[0]
    assert found[0].started + found[0].duration >= voiced[-1]


def talk(seconds: float) -> Samples:
    """Somebody further off who talks without a pause, as long as asked."""
    parts = [speech("cards-005"), speech("order-coffee"), speech("cards-002")]
    spoken = np.concatenate(parts)
    loud = np.convolve(np.abs(spoken), np.ones(1600) / 1600, "same") > 0.02
    return np.resize(spoken[loud], int(seconds * RATE)).astype(np.float32)


def level_of(sound: Samples) -> float:
    return float(np.sqrt((sound[: len(sound) // 2048 * 2048].reshape(-1, 2048) ** 2).mean(1)).max())


@pytest.mark.parametrize("apart", [10, 15])
def test_who_talks_on_further_off_holds_no_utterance_open(apart: float) -> None:
    near = [speech(name) for name in ("goforward", "cards-003", "tidigits-2934z")]
    sound, said = [quiet(17)], []  # the first 15 s of a radio switched on are one utterance
    for spoken in near:
        said.append((sum(map(len, sound)) / RATE, np.flatnonzero(np.abs(spoken) > 0.1) / RATE))
        sound += [spoken * (0.3 / level_of(spoken)), quiet(3)]
    mixed = np.concatenate(sound)
    far = talk(len(mixed) / RATE)
    mixed[RATE:] += (far * (0.3 / level_of(far)) * 10 ** (-apart / 20))[RATE:]
    found = run(Segmenter(), mixed)
    for began, loud in said:
        start, end = began + loud[0], began + loud[-1]
        (whole,) = [u for u in found if u.started <= start and u.ended >= end]
        assert (
            whole.duration <= end - start + 2.2
        )  # what was loud, pre-roll, and a second of others
        assert whole.paused


@pytest.mark.parametrize(("noise", "down"), [(1e-3, 15), (0.02, 10)])
def test_who_turns_away_in_the_middle_is_heard_to_the_end(noise: float, down: float) -> None:
    """For two seconds; in quiet and beside a tool: where nobody else talks, that is nobody else."""
    parts = [speech("order-coffee"), speech("cards-005")]
    loud = [np.flatnonzero(np.abs(part) > 0.1) for part in parts]
    toward, away = (p[at[0] : at[-1]] for p, at in zip(parts, loud, strict=True))
    turned = away * np.float32(10 ** (-down / 20))
    sound = np.concatenate([quiet(3, 0), toward, turned, quiet(2, 0)])
    found = run(Segmenter(), sound + quiet(len(sound) / RATE, noise))
    assert len(found) == 1
    assert found[0].started <= 3
    assert found[0].ended >= (len(sound) / RATE) - 2.1


def test_ten_minutes_of_silence_need_no_memory() -> None:
    segmenter = Segmenter()
    block = np.zeros(RATE, np.float32)
    segmenter.feed(block)
    tracemalloc.start()
    before = tracemalloc.get_traced_memory()[0]
    for _ in range(599):
        assert segmenter.feed(block) == []
    grown = tracemalloc.get_traced_memory()[0] - before
    tracemalloc.stop()
    assert grown < 200_000
    assert segmenter.seconds == pytest.approx(600, abs=0.1)


def test_what_does_not_end_is_cut_at_the_longest_length() -> None:
    spoken = np.concatenate([speech("cards-005"), speech("order-coffee")])
    spoken = spoken[np.abs(np.convolve(np.abs(spoken), np.ones(800) / 800, "same")) > 0.01]
    sound = np.concatenate([quiet(1), np.tile(spoken, 4), quiet(1)])
    cut = Cut(longest=6.0)
    found = run(Segmenter(cut=cut), sound)
    assert len(found) >= 2
    assert max(u.duration for u in found) <= 6.1


def test_muted_hears_nothing_and_not_the_echo() -> None:
    spoken = speech("cards-003")
    segmenter = Segmenter()
    segmenter.feed(quiet(1))
    segmenter.mute()
    assert segmenter.phase is Phase.MUTED
    assert segmenter.feed(spoken) == []
    segmenter.unmute(after_s=0.5)
    assert segmenter.feed(spoken[-RATE // 2 :]) == []
    found = run(segmenter, np.concatenate([quiet(1), spoken, quiet(1)]))
    assert len(found) == 1
    assert found[0].started > 1 + len(spoken) / RATE + 0.5


def test_what_was_being_said_when_joblog_began_to_speak_is_given_as_cut_off() -> None:
    segmenter = Segmenter()
    segmenter.feed(np.concatenate([quiet(1), speech("cards-003")[: RATE // 2 + 4000]]))
    segmenter.mute()
    (cut,) = segmenter.feed(speech("cards-001"))  # joblog's own voice
    assert cut.cut_off
    assert cut.started + cut.duration == pytest.approx(1.75, abs=0.05)
    segmenter.unmute(0)
    assert run(segmenter, quiet(2)) == []


def test_an_utterance_knows_its_speech_and_how_long_nobody_has_spoken_since() -> None:
    spoken = speech("cards-003")
    loud = np.flatnonzero(np.abs(spoken) > 0.05) / RATE
    segmenter = Segmenter()
    assert segmenter.pause == np.inf
    segmenter.feed(np.concatenate([quiet(2), spoken[: RATE // 2 + 4000]]))
    assert segmenter.pause == 0
    (found,) = segmenter.feed(np.concatenate([spoken[RATE // 2 + 4000 :], quiet(2)]))
    assert found.paused
    assert found.started + found.lead == pytest.approx(2 + loud[0], abs=0.2)
    end = found.ended - found.trail
    assert end == pytest.approx(2 + loud[-1], abs=0.3)
    assert segmenter.pause == pytest.approx(segmenter.seconds - end)


def test_push_to_talk_takes_what_is_held_and_nothing_else() -> None:
    spoken = speech("cards-001")
    segmenter = Segmenter(mode=Mode.PUSH)
    assert segmenter.feed(np.concatenate([spoken, quiet(1)])) == []
    segmenter.press()
    assert segmenter.feed(spoken) == []
    said = segmenter.release()
    assert said is not None
    assert said.duration == pytest.approx(len(spoken) / RATE + Cut().preroll, abs=0.1)
    segmenter.press()
    assert segmenter.release() is None  # pressed by mistake
    segmenter.press()
    held = run(segmenter, np.tile(spoken, 20))
    assert held[0].duration <= Cut().longest + 0.1


def test_level_and_floor() -> None:
    segmenter = Segmenter()
    segmenter.feed(quiet(2, 0.01))
    assert segmenter.level == pytest.approx(-40, abs=2)
    assert segmenter.floor == pytest.approx(-40, abs=2)
    segmenter.feed(np.full(RATE, np.nan, np.float32))
    assert segmenter.level == -120
