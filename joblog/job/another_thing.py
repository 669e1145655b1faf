"""Another thing than was heard, by the name that the note-taking recogniser writes for it.

The recogniser that learnt the phrases knows the things of the sheet alone: "fuel filter fitted" is
heard as "new filter fitted" and "rear plug" as "drain plug", at up to 0.99. The other one knows
neither sheet nor phrase, and often writes just what was said. In noise it writes anything; so what
counts is one word in another's place before a word that both have, and that sounds like no part of
it, or the name of a fluid which is not on the sheet.
"""

from __future__ import annotations

import re
from difflib import SequenceMatcher
from itertools import pairwise

from joblog.job.free_words import NUMBERS
from joblog.sheet.model import Sheet

APART = 0.5  # below, two sentences are none that was heard in two ways
ALIKE = 0.55  # from here on two words may be one that was heard in two ways: 'fill' and 'full'
SAME = 0.8  # from here on two words sound like one: 'fuel' and 'fluid'
SHORTEST = 3  # letters of a thing's name: 'nut', 'pan', 'oil'
FLUIDS = frozenset(
    {"antifreeze", "coolant", "diesel", "fuel", "gas", "gasoline", "grease", "oil", "refrigerant"}
    | {"washer", "water", "wiper"}
)
# They name no thing, and are written for much that was not understood.
_NO_THINGS = NUMBERS | {"and", "are", "but", "can", "did", "for", "had", "has", "have", "her"}
_NO_THINGS |= {"here", "his", "how", "its", "just", "like", "not", "now", "our", "out", "say"}
_NO_THINGS |= {"see", "she", "that", "the", "their", "them", "then", "there", "they", "this"}
_NO_THINGS |= {"was", "well", "were", "what", "when", "who", "will", "with", "yeah", "yes", "you"}
_NO_THINGS |= {"your", "again", "through"}
_NO_THINGS |= {"torque", "torqued", "tight", "tightened", "loose", "loosened"}
# Letters that sound alike, and those that hardly sound.
_SOUNDS = (
    *(("ph", "f"), ("ck", "k"), ("kn", "n"), ("wr", "r"), ("qu", "k"), ("x", "ks"), ("gh", "")),
    *(("c", "k"), ("z", "s"), ("d", "t"), ("b", "p"), ("g", "k"), ("v", "f"), ("j", "k")),
)


def another_thing(heard: str, free: str, sheet: Sheet) -> str:
    """Return the thing that ``free`` words name and the phrase ``heard`` has not, '' for none.

    Both are in the words of the grammar (:func:`joblog.job.typed.typed_words`).
    """
    said, written = heard.split(), free.split()
    return _in_its_place(said, written) or _another_fluid(said, written, sheet)


def nothing_of_it(heard: str, free: str) -> bool:
    """Say whether ``free`` words have no word of a phrase, and sound like no part of it.

    "Gear cover out" was heard as "vehicle down", at 0.90.
    """
    said, written = heard.split(), free.split()
    if not written or not set(said).isdisjoint(written):
        return False
    sounds = ["".join(map(_sound, words)) for words in (said, written)]
    return max(_alike(heard, free), _alike(*sounds)) < APART


def _in_its_place(said: list[str], written: list[str]) -> str:
    changes = SequenceMatcher(None, said, written, autojunk=False).get_opcodes()
    for (kind, start, end, to, to_end), (then, *_) in pairwise(changes):
        one_for_one = end - start == to_end - to == 1
        if kind != "replace" or then != "equal" or not one_for_one or len(said[end]) < SHORTEST:
            continue
        if said[end] not in _NO_THINGS and _differ(said[start], written[to]):
            return f"{written[to]} {said[end]}"
    return ""


def _differ(said: str, written: str) -> bool:
    names = min(len(said), len(written)) >= SHORTEST and _NO_THINGS.isdisjoint((said, written))
    names = names and written.isalpha()  # "I'm running" is no other thing than 'pump running'
    return names and max(_alike(said, written), _alike(_sound(said), _sound(written))) < ALIKE


def _alike(one: str, other: str) -> float:
    return SequenceMatcher(None, one, other, autojunk=False).ratio()


def _sound(word: str) -> str:
    """Return roughly which consonants a word has: 'phil' and 'fill' have the same."""
    for letters, sound in _SOUNDS:
        word = word.replace(letters, sound)
    consonants = re.sub("[aeiouyhw]", "", word) or word
    return re.sub(r"(.)\1+", r"\1", consonants)


def _another_fluid(said: list[str], written: list[str], sheet: Sheet) -> str:
    names = (name for fluid in sheet.fluids for name in (fluid.name, *fluid.say))
    own = {word for name in names for word in name.lower().split()}
    named = FLUIDS.intersection(written) - own
    apart = (word for word in written if word in named)
    return next((w for w in apart if not any(_may_be(word, w) for word in said)), "")


def _may_be(said: str, fluid: str) -> bool:
    """Say whether a fluid may be written for a word: 'fuel' for 'fill', 'gas kit' for 'gasket'."""
    return said.startswith(fluid) or _alike(_sound(said), _sound(fluid)) >= SAME
