"""The little language of a sheet's ``say``: words, ``|``, ``( )`` and ``[ ]``, as in JSGF.

A sheet's phrase is spoken back by its first form: first alternative, optional words left out.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from itertools import islice, product

from joblog.errors import SheetError

_TOKEN = re.compile(r"[a-z'-]+|[|()\[\]]")

Forms = list[tuple[str, ...]]


def expansions(fragment: str, limit: int = 200) -> list[str]:
    """Return the sentences that ``fragment`` allows, simplest first, at most ``limit``.

    Raises SheetError where brackets don't match.
    """
    tokens = _TOKEN.findall(fragment.lower())
    forms, rest = _alternatives(tokens, fragment, limit)
    if rest:
        raise SheetError(f"the phrase '{fragment}' has a bracket too many; take '{rest[0]}' out")
    return list(dict.fromkeys(" ".join(form) for form in forms if form))


def spoken_form(fragment: str) -> str:
    """Return the form in which joblog itself says ``fragment``."""
    return expansions(fragment, limit=8)[0]


def _alternatives(tokens: list[str], whole: str, limit: int) -> tuple[Forms, list[str]]:
    forms, rest = _sequence(tokens, whole, limit)
    while rest and rest[0] == "|":
        more, rest = _sequence(rest[1:], whole, limit)
        forms += more
    return forms[:limit], rest


def _sequence(tokens: list[str], whole: str, limit: int) -> tuple[Forms, list[str]]:
    forms: Forms = [()]
    while tokens and tokens[0] not in "|)]":
        first, tokens = tokens[0], tokens[1:]
        if first in "([":
            inner, tokens = _alternatives(tokens, whole, limit)
            if not tokens or tokens[0] != {"(": ")", "[": "]"}[first]:
                raise SheetError(f"the phrase '{whole}' opens a '{first}' that it never closes")
            tokens = tokens[1:]
            choices = inner if first == "(" else [(), *inner]
        else:
            choices = [(first,)]
        forms = _joined(forms, choices, limit)
    return forms, tokens


def _joined(left: Forms, right: Iterable[tuple[str, ...]], limit: int) -> Forms:
    return [a + b for a, b in islice(product(left, list(right)), limit)]
