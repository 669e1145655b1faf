"""The second opinion, against its definition.

Source: Graves et al. 2006, 'Connectionist temporal classification', section 3.1: the probability of
a labelling is the sum over all paths of labels, one a frame, that become it when repeats are merged
and blanks are dropped.
"""

from __future__ import annotations

from itertools import groupby, product

import numpy as np
import pytest

from joblog.speech.whisper.letters import ALPHABET, BLANK, LABELS, likeliest, spell, spelled

SIGNS = ("", " ", "a", "b")  # the blank and the letters that the small examples hold


def heard(frames: int, seed: int) -> np.ndarray:
    """Return made log probabilities in which only SIGNS can occur."""
    rng = np.random.default_rng(seed)
    chances = np.zeros((frames, LABELS))
    chances[:, [BLANK, *(1 + ALPHABET.index(sign) for sign in SIGNS[1:])]] = rng.dirichlet(
        np.ones(len(SIGNS)), frames
    )
    return np.log(np.maximum(chances, 1e-300)).astype(np.float32)


def by_definition(letters: np.ndarray) -> dict[str, float]:
    """Return the probability of every text, by going through all paths."""
    chances = np.exp(letters.astype(float))
    columns = [BLANK, *(1 + ALPHABET.index(sign) for sign in SIGNS[1:])]
    found: dict[str, float] = {}
    for path in product(range(len(SIGNS)), repeat=len(letters)):
        text = "".join(SIGNS[label] for label, _ in groupby(path))
        chance = np.prod([chances[at, columns[label]] for at, label in enumerate(path)])
        found[text] = found.get(text, 0.0) + float(chance)
    return found


@pytest.mark.parametrize("seed", range(4))
def test_sentences_have_the_probability_of_all_their_paths(seed: int) -> None:
    letters = heard(6, seed)
    wanted = by_definition(letters)
    sentences = [(), ("a",), ("aa",), ("a", "b"), ("abba",), ("b", "a", "b")]
    found = spelled(letters, sentences)
    for sentence, log_probability in zip(sentences, found, strict=True):
        assert np.exp(log_probability) == pytest.approx(wanted[" ".join(sentence)], rel=1e-4)


def test_what_does_not_fit_into_the_sound_is_impossible_but_finite() -> None:
    found = spelled(heard(3, 1), [("aabb",), ("a",)])
    assert np.isfinite(found).all()
    assert found[0] < found[1] - 30


def test_the_likeliest_labels_are_one_path_of_some_sentence() -> None:
    letters = heard(6, 2)
    assert likeliest(letters) <= max(np.log(list(by_definition(letters).values()))) + 1e-6
    assert likeliest(letters) == pytest.approx(float(letters.max(axis=1).sum()))


def test_words_are_spelled_as_they_are_said() -> None:
    def text(*words: str) -> str:
        return "".join(ALPHABET[label - 1] for label in spell(words))

    assert text("Thirty-five", "foot", "pounds") == "thirty five foot pounds"
    assert text("I'd", "like") == "i'd like"
    assert text("M12") == "m one two"
    assert text("°") == ""
