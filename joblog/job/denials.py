"""What free words say of a phrase that was heard: denied, still to come, wanted, guessed, asked.

The recogniser that learnt the phrases hears "isn't" as "is", "aren't in" as "went in", "I'll add"
as "add" and "won't come loose" as "in complete": it never learnt a denial. The one that takes notes
is bad at phrases and good at these. So it is asked about each value and each step that was clear,
too, and where it writes such a word joblog asks. So it does where it writes another value of the
same thing: said in a way that the grammar has not, a value is heard as a part of it. Two questions
to joblog, which record nothing, are answered only where it hears any words at all.
"""

from __future__ import annotations

import re
from dataclasses import replace

from joblog.audio.types import Utterance
from joblog.job.another_thing import another_thing, nothing_of_it
from joblog.job.foils import MARKING, TAG
from joblog.job.free_words import SOUNDS_AS, another_value
from joblog.job.listening import LIKELY, sure_of_meaning
from joblog.job.meaning import meaning_of
from joblog.job.typed import ranges_apart, typed_words
from joblog.job.value_rules import dimensions_of
from joblog.sheet.model import Sheet
from joblog.speech.types import Alternative, Engine, Hearing, Verdict

DENIED = ("n't", "not", "cannot", "never", "is in")  # "isn't clean" is written as 'is in clean'
TO_COME = ("i'll", "we'll", "let me", "let's", "going to", "gonna")
WANTED = ("need", "please", "should")
GUESSED = (
    *("about", "almost", "nearly", "roughly", "around"),
    *("at least", "up to", "less than", "more than", "over", "under", "above", "below"),
    *("maybe", "probably", "think", "or", "if"),
    *("each", "apiece", "twice"),
)
MENDED = ("sorry", "mean")
ASKED = ("can you", "is it", "?")

AREN_T_IN = ("on", "aren")  # behind 'went in' and the like: it is written as 'on tin', 'aren done'
POURED = ("went", "gone", "added")
# Questions that the note-taker knows: at each of 60 true ones, quiet and in tools and babble at 6
# to 8 dB, it wrote something, and nothing where others' talk was taken for "what's next".
KNOWN_QUESTIONS = ("next", "missing")


def _any_of(*words: str) -> re.Pattern[str]:
    """Return the pattern of whole words; "n't" ends one."""
    starts = [word if word in ("n't", "?") else rf"\b{word}" for word in map(re.escape, words)]
    ends = [start if start.endswith("?") else rf"{start}\b" for start in starts]
    return re.compile("|".join(ends))


# Of 1962 true phrases (tools and babble too) free words had nothing in common with 21, of which
# three were less sure than this; of 71 sounds of things that are not on the sheet with nine.
SURE_ALONE = 0.95
_TEN_APART = re.compile(r"\b([2-9])0 ([1-9])\b")  # '40 1' is written for "forty one" said slowly
_DENIES = _any_of(*DENIED, *TO_COME, *WANTED, *GUESSED, *MENDED, *ASKED)
_NOT_POURED = _any_of(*AREN_T_IN)


def denies(free: str, phrase: str) -> bool:
    """Say whether free words deny the ``phrase`` that was heard, or put it off."""
    said, words = free.lower(), phrase.split()
    for own in {SOUNDS_AS.get(word, word) for word in words}:
        if _DENIES.search(own):
            said = re.sub(rf"\b{re.escape(own)}\b", "", said)
    poured = not set(POURED).isdisjoint(words)
    return bool(_DENIES.search(said)) or (poured and bool(_NOT_POURED.search(said)))


def denied(engine: Engine, utterance: Utterance, hearing: Hearing, sheet: Sheet) -> Hearing | None:
    """Return what to ask about where free words deny what was clearly heard; None for others."""
    clear = hearing.verdict is Verdict.ACCEPT or (
        hearing.verdict is Verdict.ASK and sure_of_meaning(sheet, hearing)
    )
    meant = meaning_of(hearing.text, sheet) if clear else None
    if meant is None or meant.act == TAG:
        return None
    asks = meant.act == "control" and meant.target in KNOWN_QUESTIONS
    if not meant.values and not meant.tag.startswith(MARKING) and not asks:
        return None  # it records nothing that could be denied
    free = engine.dictate(utterance.samples)
    if asks:
        return None if free.strip() else replace(hearing, verdict=Verdict.ASK, alternatives=())
    if not meant.values and "in" in hearing.text.split():
        free = free.replace("is in", "in")  # 'the drain plug is in'
    words = typed_words(ranges_apart(free))
    why = _why_not(hearing, free, words, sheet)
    if why:
        return replace(hearing, verdict=Verdict.ASK, alternatives=(), why=why)
    usual = {unit for units in dimensions_of(sheet).values() for unit in units}
    joined = typed_words(ranges_apart(_TEN_APART.sub(r"\1\2", free)))
    if not meant.values or not all(another_value(meant, w, usual) for w in (words, joined)):
        return None
    other = meaning_of(words, sheet)
    beside = () if other is None or other.tag != meant.tag else (Alternative(words, LIKELY),)
    why = f"It sounded like '{free.strip()}', too."
    return replace(hearing, verdict=Verdict.ASK, alternatives=beside, why=why)


def _why_not(hearing: Hearing, free: str, words: str, sheet: Sheet) -> str:
    """Return what speaks against a clear phrase as a whole, '' for nothing."""
    thing = another_thing(hearing.text, words, sheet)
    if not thing and hearing.confidence < SURE_ALONE and nothing_of_it(hearing.text, words):
        thing = free.strip()
    if thing:
        return f"It sounded like '{thing}'."
    return "It sounded as if that were not so." if denies(free, hearing.text) else ""
