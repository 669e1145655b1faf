"""The second opinion on digits.

Human recordings: pocketsphinx 5.1.1's test data (BSD), among them a string of TIDIGITS; see
tests/audio/data/README.md. The forward algorithm is checked against its definition (Graves et al.
2006, 'Connectionist temporal classification', equations 2 and 3), summed by brute force.
"""

import itertools
import math
from pathlib import Path

import numpy as np
import pytest

from joblog.audio.files import read_audio
from joblog.errors import ModelError
from joblog.speech.engines import ADAPTER, find_model, get_engine
from joblog.speech.grammar import Grammar
from joblog.speech.second_ear import (
    DIGITS,
    HEAD,
    LEAST,
    NETWORK,
    Head,
    SecondEar,
    crowding,
    gelu,
    log_probabilities,
    places,
    signs,
)
from joblog.speech.types import Verdict
from joblog.speech.whisper.confidence import Calibration
from joblog.speech.whisper.engine import WhisperEngine
from joblog.speech.whisper.sound import prepare

HUMAN = Path(__file__).parents[1] / "audio" / "data"
STRINGS = Grammar.from_text(f"#JSGF V1.0; grammar s; public <s> = ({' | '.join(DIGITS[:10])})+;")


@pytest.fixture(scope="module")
def ear():
    return SecondEar()


def collapsed(path):
    """Return what a path of symbols spells: repeats count once, then blanks (0) fall out."""
    return tuple(symbol for symbol, _ in itertools.groupby(path) if symbol)


def by_brute_force(heard, row):
    total = -np.inf
    for path in itertools.product(range(heard.shape[1]), repeat=len(heard)):
        if collapsed(path) == tuple(row):
            total = np.logaddexp(total, sum(heard[t, s] for t, s in enumerate(path)))
    return total


def test_probability_is_the_sum_over_all_layouts():
    rng = np.random.default_rng(1)
    logits = rng.normal(size=(5, 4)).astype(np.float32)
    heard = logits - np.log(np.exp(logits).sum(1, keepdims=True))
    rows = [(1,), (1, 2), (2, 2), (3, 1, 3), (1, 1, 1), (2, 3, 1, 2)]
    found = log_probabilities(heard, rows)
    assert found == pytest.approx([by_brute_force(heard, row) for row in rows], abs=1e-5)


def test_what_does_not_fit_into_the_sound_has_hardly_a_chance():
    heard = np.log(np.full((3, 4), 0.25, np.float32))
    assert log_probabilities(heard, [(1, 1, 1), (1, 2)])[0] == LEAST


def test_all_readings_of_a_sound_share_one_probability():
    heard = np.log(np.full((3, 3), 1 / 3, np.float32))
    every = [row for size in (1, 2, 3) for row in itertools.product((1, 2), repeat=size)]
    silence = 1 / 27
    assert np.exp(log_probabilities(heard, every)[:6]).sum() < 1
    possible = [
        row for row in every if len(row) + sum(a == b for a, b in itertools.pairwise(row)) <= 3
    ]
    assert np.exp(log_probabilities(heard, possible)).sum() + silence == pytest.approx(1)


def test_places_are_those_of_the_likeliest_layout():
    """The Viterbi path against every path there is (Forney 1973, 'The Viterbi algorithm')."""
    rng = np.random.default_rng(3)
    logits = 3 * rng.normal(size=(5, 4)).astype(np.float32)
    heard = logits - np.log(np.exp(logits).sum(1, keepdims=True))
    for row in [(1,), (1, 2), (2, 2), (3, 1, 3), (1, 1, 1), (2, 3, 1, 2)]:
        paths = [path for path in itertools.product(range(4), repeat=5) if collapsed(path) == row]
        best = max(paths, key=lambda path: sum(heard[t, s] for t, s in enumerate(path)))
        runs = [list(run) for _, run in itertools.groupby(enumerate(best), lambda pair: pair[1])]
        spoken = [run for run in runs if run[0][1]]
        wanted = [max(run, key=lambda pair: heard[pair])[0] for run in spoken]
        assert places(heard, [row]) == [wanted]


def test_what_does_not_fit_has_no_places_and_is_not_crowded():
    heard = np.log(np.full((3, 4), 0.25, np.float32))
    assert places(heard, [(1, 1, 1)]) == [[]]
    assert crowding(heard, [(1, 1, 1), (2,)]).tolist() == [0.0, 0.0]


def test_one_digit_taken_for_two_is_crowded_and_two_are_not(ear):
    both = read_audio(HUMAN / "cards-004.flac").samples  # 'five five', and words around it
    string = read_audio(HUMAN / "tidigits-2934z.flac").samples
    said = ["two", "nine", "three", "four", "zero"]
    twice = [word for word in said for _ in range(2)]
    scores = ear.scores(prepare(string).samples, [said, twice])
    assert scores[0, 2] == 0.0
    assert scores[1, 2] > 0.1
    assert ear.scores(prepare(both).samples, [["five", "five"]])[0, 2] == 0.0


def test_signs_are_digits_and_runs_of_other_words():
    assert signs(["torque", "four", "one", "foot", "pounds"]) == (12, 5, 2, 12)
    assert signs(["zero", "oh"]) == (1, 11)


def test_gelu_is_that_of_the_normal_distribution():
    # values of x * Phi(x) from tables of the normal distribution, from memory
    assert gelu(np.array([-1.0, 0.0, 1.0, 2.0], np.float32)) == pytest.approx(
        [-0.1587, 0.0, 0.8413, 1.9545], abs=5e-4
    )


@pytest.mark.parametrize(
    ("name", "said"), [("tidigits-2934z", "two nine three four zero"), ("cards-004", "five five")]
)
def test_people_are_heard_rightly_against_every_other_digit(ear, name, said):
    right = said.split()
    others = [
        [*right[:place], digit, *right[place + 1 :]]
        for place in range(len(right))
        for digit in DIGITS[:10]
        if digit != right[place]
    ]
    missing = [right[:place] + right[place + 1 :] for place in range(len(right))]
    sound = prepare(read_audio(HUMAN / f"{name}.flac").samples).samples
    scores = ear.scores(sound, [right, *others, *missing])[:, 0]
    assert scores.argmax() == 0
    assert scores[0] > np.sort(scores)[-2] + 1


def test_noise_alone_is_no_digit(ear):
    noise = np.random.default_rng(2).normal(0, 0.1, 32_000).astype(np.float32)
    scores = ear.scores(noise, [[digit] for digit in DIGITS])[:, 0]
    assert scores.max() < -1


@pytest.mark.parametrize("part", ["network", "head"])
@pytest.mark.parametrize("harm", ["missing", "cut off"])
def test_a_harmed_file_is_named_in_one_sentence(tmp_path, part, harm):
    whole = {"network": NETWORK, "head": HEAD}
    harmed = tmp_path / whole[part].name
    if harm == "cut off":
        harmed.write_bytes(whole[part].read_bytes()[:5000])
    with pytest.raises(ModelError, match=rf"{harmed.name}.* install joblog again"):
        SecondEar(**{**whole, part: harmed})


def test_a_string_of_digits_is_believed_more_where_both_ears_agree():
    with_both = get_engine()
    heard = with_both.hear(read_audio(HUMAN / "tidigits-2934z.flac").samples, STRINGS)
    assert heard.text == "two nine three four zero"
    first_only = WhisperEngine(find_model(), ADAPTER)
    found = first_only.hear(read_audio(HUMAN / "tidigits-2934z.flac").samples, STRINGS)
    assert found.text == heard.text
    assert heard.confidence > found.confidence


def test_bare_digits_in_a_learnt_voice_must_be_surer():
    rank = Calibration.shipped().rank
    sure = Calibration(rank, {"constant": math.log(0.985 / 0.015)})  # 0.985 of whatever it hears
    ear = SecondEar()
    engine = WhisperEngine(find_model(), ADAPTER, second=ear, calibration=sure)
    samples = read_audio(HUMAN / "tidigits-2934z.flac").samples
    assert engine.hear(samples, STRINGS).verdict is Verdict.ACCEPT
    known = engine.hear(samples, STRINGS, voice=Head(ear.head.weights))
    assert known.text == "two nine three four zero"
    assert known.verdict is Verdict.ASK
