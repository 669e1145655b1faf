"""Sentences that resemble a phrase and say that the thing is not done: negated, asked, or ordered.

A grammar without them takes 'the chocks aren't in' for 'chocks in': of all that it may say, that
is what fits the sound best. So each phrase that marks something as done brings its own foils. They
compete with it for the sound, carry a meaning of their own, and record nothing.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache
from itertools import pairwise

from joblog.job.controls import Phrase
from joblog.job.phrases import DONE
from joblog.job.types import Reply
from joblog.job.wording import capital
from joblog.sheet.fragments import expansions

TAG = "foil"
VAGUE = "vague"  # the target of a foil's tag: 'almost three quarts'
MEND = "mend"  # 'no, forty two': corrects something without the word for it
MENDS = "(no | sorry | make that | make it) <bare-value>"
DENIAL = "answer"  # 'not the first one', 'one second': no answer to a question
DENIALS = (
    "(no | not) [the] (first | second) [one] | neither [one] [of them] | none [of them]"
    " | (one | wait a | wait one | just a | hang on a | hold on a | give me a | half a) second"
)
NO = "no"  # left out, it is heard as 'note', and takes the next phrase for one
MARKING = ("step", "clock", "part-new", "part-old", "control:complete")
TORQUE = "torque it [to | at] <torque-value>"

_TAGS = re.compile(r"\{[^}]*\}")
_FORMS = 24  # of one phrase that get foils
_SHORT = {"is": "isn't", "are": "aren't", "has": "hasn't", "have": "haven't"}
_ENDS = ("done", "complete", "finished", "okay")
_ENDED = ("stopped", "stops", "finished")  # 'stopped dripping'
_ORDERS = {"in": ("put",), "out": ("take", "pull"), "on": ("put", "turn"), "off": ("take", "turn")}


def foils_of(phrases: Iterable[Phrase]) -> tuple[str, ...]:
    """Return the foils of the phrases that mark something as done; none is itself a phrase."""
    said = [(phrase.tag, form) for phrase in phrases for form in _forms(phrase.pattern)]
    spoken = {form for _, form in said}
    forms = dict.fromkeys(form for tag, form in said if tag.startswith(MARKING))
    made = (foil for form in forms for foil in _foils(tuple(form.split())))
    return tuple(foil for foil in dict.fromkeys(made) if foil not in spoken)


@lru_cache(maxsize=2048)  # every phrase that is heard asks for the foils anew
def _forms(pattern: str) -> tuple[str, ...]:
    """Return the sentences of a phrase in which no value is said."""
    plain = _TAGS.sub(" ", pattern.removesuffix(f" [{DONE}]"))
    return () if "<" in plain else tuple(expansions(plain, _FORMS))


@lru_cache(maxsize=2048)
def _foils(words: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(_made(words))


def _made(words: tuple[str, ...]) -> Iterator[str]:
    if words[-1] not in _ENDS:
        yield from (" ".join([*words, word, "done"]) for word in ("not", "isn't"))
    for made in (_negated(words), _asked(words), _ordered(words), _going_on(words), _there(words)):
        yield from (" ".join(foil) for foil in made)


def _negated(words: Sequence[str]) -> Iterator[Sequence[str]]:
    many = words[0].endswith("s") or words[0] == "all"
    short = ("aren't", "haven't") if many else ("isn't", "hasn't")
    for at, (before, _) in enumerate(pairwise(words), 1):
        if before in _SHORT:
            yield [*words[: at - 1], _SHORT[before], *words[at:]]
            yield [*words[: at - 1], "not", *words[at:]]
            yield [*words[:at], "not", *words[at:]]
        else:
            yield from ([*words[:at], word, *words[at:]] for word in ("not", "still not", *short))
    yield from ([word, *words] for word in ("not", "don't", "never"))
    yield [*words, "yet"]


def _asked(words: Sequence[str]) -> Iterator[Sequence[str]]:
    many = words[0].endswith("s") or words[0] == "all"
    verb = next((word for word in words[1:] if word in _SHORT), "")
    rest = [word for word in words if word != verb]
    for asks in [verb] if verb else ["are", "have", "did"] if many else ["is", "has", "did"]:
        yield [asks, *rest]
        yield [asks, "the", *rest]


def _ordered(words: Sequence[str]) -> Iterator[Sequence[str]]:
    """'plug cleaned': clean it, clean the plug; 'chocks in': put the chocks in."""
    for at, word in enumerate(words):
        base = _base(word)
        after = [w for w in words[at + 1 :] if w not in _ENDS]
        before = [w for w in words[:at] if w not in _SHORT]
        if not base:
            continue
        yield [base, "it", *after]
        yield [base, "it", "up", *after]
        if before:
            yield [base, *before, *after]
            yield [base, "the", *before, *after]
    for verb in _ORDERS.get(words[-1], ()):
        if len(words) > 1:
            yield [verb, *words]
            yield [verb, "the", *words]


def _base(word: str) -> str:
    """Return the verb of a word in -ed or -ing, '' for others: a rough rule, good for sounds."""
    stem = re.sub(r"(ed|ing)$", "", word)
    if stem == word or len(stem) < 3:
        return ""
    if stem[-1] == stem[-2] and stem[-1] not in "ls":
        return stem[:-1]
    if word.endswith("ied"):
        return f"{stem[:-1]}y"
    return f"{stem}e" if re.search(r"([aeiou][vscgz]|[^aeioul]l)$", stem) else stem


def _going_on(words: Sequence[str]) -> Iterator[Sequence[str]]:
    """'stopped dripping': it is still dripping."""
    if words[0] in _ENDED and len(words) > 1:
        rest = words[1:]
        for start in ("still", "it's still", "is it still", "keeps", "has not stopped", "it's"):
            yield [start, *rest]
        yield ["hasn't", "stopped", *rest]


def _there(words: Sequence[str]) -> Iterator[Sequence[str]]:
    """'no leaks': there are leaks."""
    if words[0] == "no" and len(words) > 1:
        rest = words[1:]
        one = [*rest[:-1], rest[-1].removesuffix("s")]
        for start in ("there are", "there is", "there's", "any", "are there", "are there any", ""):
            yield [*start.split(), *rest]
        yield from ([start, *one] for start in ("there's a", "there is a", "a", "is there a"))


def reply_to_foil(said: str, target: str) -> Reply:
    """Return the answer to a foil, ``said``; ``target`` is its tag's. A vague one is spoken to."""
    if target == VAGUE:
        shown = f"{capital(said)}: which value is that? Nothing was recorded; say one value"
        return Reply("Say again.", f"{shown} by itself.", "again")
    if target == MEND:
        shown = f"{capital(said)}: nothing was changed; say “correction” and the value."
        return Reply("Say again.", shown, "again")
    if target == DENIAL:
        shown = f"{capital(said)}: that is no answer. Say “first”, “second” or “negative”."
        return Reply("", shown, "none")
    shown = f"{capital(said)}: that says of nothing that it is done. Nothing was recorded."
    return Reply("", shown, "none")
