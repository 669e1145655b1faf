"""Phrases of one sheet that a noisy shop could take for each other.

Words become phonemes by a short list of spelling rules (good enough to compare English words with
each other, not to pronounce them), and two phrases are as far apart as the cheapest way to turn
one row of phonemes into the other. Changing a sound into a near one (b and p, m and n, two vowels)
costs less than into a far one, after the place, manner and voice that phonetics describes
consonants by. Which distance is too small is common practice, no source: about one clear sound. So
thirteen/thirty and 'engine off'/'engine on' are reported, 'plug in'/'plug out' and 'front left'/
'front right' are not.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache

EXTRA = 0.7  # cost of a sound too many or too few: endings are what noise swallows first
TOO_NEAR = 1.1  # sounds; two phrases that differ by no more are reported

# spelling -> phonemes, longest first where several fit; vowels are coarse on purpose
_RULES = {
    "tion": "SN", "sure": "Zr", "ough": "f", "eigh": "e", "ight": "ait", "igh": "ai", "tch": "C",
    "dge": "J", "que": "k", "qu": "kw", "ch": "C", "sh": "S", "th": "T", "ph": "f", "wh": "w",
    "ck": "k", "ng": "G", "kn": "n", "wr": "r", "gu": "g", "ee": "i", "ea": "i", "oo": "u",
    "ou": "au", "ow": "au", "oa": "o", "ai": "e", "ay": "e", "oi": "oi", "oy": "oi", "au": "o",
    "aw": "o", "ew": "u", "ie": "i", "ey": "i", "er": "er", "ir": "er", "ur": "er", "ar": "ar",
    "or": "or", "ss": "s", "ll": "l", "tt": "t", "pp": "p", "ff": "f", "gg": "g", "nn": "n",
    "mm": "m", "rr": "r", "bb": "b", "dd": "d", "cc": "k", "ce": "s", "ci": "si", "ge": "J",
    "x": "ks", "c": "k", "q": "k", "y": "i", "j": "J",
}  # fmt: skip
_VOWELS = frozenset("aeiou")
# consonant -> (place 0 lips .. 5 throat, manner, voiced)
_CONSONANTS = {
    "p": (0, "stop", 0), "b": (0, "stop", 1), "m": (0, "nasal", 1), "f": (1, "hiss", 0),
    "v": (1, "hiss", 1), "T": (2, "hiss", 0), "t": (3, "stop", 0), "d": (3, "stop", 1),
    "n": (3, "nasal", 1), "s": (3, "hiss", 0), "z": (3, "hiss", 1), "l": (3, "glide", 1),
    "r": (3, "glide", 1), "S": (4, "hiss", 0), "Z": (4, "hiss", 1), "C": (4, "stop", 0),
    "J": (4, "stop", 1), "k": (5, "stop", 0), "g": (5, "stop", 1), "G": (5, "nasal", 1),
    "h": (5, "hiss", 0), "w": (0, "glide", 1),
}  # fmt: skip


@dataclass(frozen=True)
class SoundAlike:
    """Two phrases of different meaning that sound nearly the same."""

    first: str
    second: str
    first_means: str
    second_means: str
    distance: float

    def __str__(self) -> str:
        """Return what to tell the sheet's author."""
        return (
            f"'{self.first}' ({self.first_means}) and '{self.second}' ({self.second_means}) sound "
            "alike in noise; say one of them differently"
        )


@lru_cache(maxsize=4096)
def phonemes(phrase: str) -> str:
    """Return a row of phoneme letters for lower-case English words, silent e left out."""
    out = []
    for word in phrase.replace("'", "").replace("-", " ").split():
        rest = word[:-1] if len(word) > 3 and word.endswith("e") and word[-2] not in "cg" else word
        while rest:
            size = next(n for n in (4, 3, 2, 1) if n == 1 or rest[:n] in _RULES)
            out.append(_RULES.get(rest[:size], rest[:size]))
            rest = rest[size:]
    return "".join(out)


def _change(a: str, b: str) -> float:
    """Return the cost of taking one phoneme for another, 0..1."""
    if a == b:
        return 0.0
    if a in _VOWELS and b in _VOWELS:
        return 0.5
    if a in _CONSONANTS and b in _CONSONANTS:
        (place_a, manner_a, voice_a), (place_b, manner_b, voice_b) = _CONSONANTS[a], _CONSONANTS[b]
        cost = 0.25 * (place_a != place_b) + 0.5 * (manner_a != manner_b)
        return min(1.0, 0.15 + cost + 0.15 * (voice_a != voice_b))
    return 1.0


def distance(first: str, second: str) -> float:
    """Return by how many sounds two phrases differ: a weighted edit distance.

    A sound too many or too few costs ``EXTRA``.
    """
    a, b = phonemes(first), phonemes(second)
    row = [EXTRA * j for j in range(len(b) + 1)]
    for i, x in enumerate(a, start=1):
        new = [EXTRA * i]
        for j, y in enumerate(b, start=1):
            new.append(min(row[j] + EXTRA, new[j - 1] + EXTRA, row[j - 1] + _change(x, y)))
        row = new
    return row[-1]


def _far(first: str, second: str) -> bool:
    """Say so without comparing: each sound too many costs, whatever the others are."""
    return abs(len(phonemes(first)) - len(phonemes(second))) * EXTRA >= TOO_NEAR


def sound_alikes(phrases: Mapping[str, Iterable[str]]) -> list[SoundAlike]:
    """Return pairs of near phrases with different meanings, nearest first.

    ``phrases`` maps a meaning (the step's title) to the sentences that mark it.
    """
    flat = [(text, meaning) for meaning, texts in phrases.items() for text in texts]
    found: dict[tuple[str, str], SoundAlike] = {}
    for i, (text, meaning) in enumerate(flat):
        for other, other_means in flat[i + 1 :]:
            if other_means == meaning or text == other or _far(text, other):
                continue
            apart = distance(text, other)
            pair = (meaning, other_means)
            if apart < TOO_NEAR and (pair not in found or apart < found[pair].distance):
                found[pair] = SoundAlike(text, other, meaning, other_means, apart)
    return sorted(found.values(), key=lambda s: s.distance)
