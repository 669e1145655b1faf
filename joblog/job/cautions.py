"""Cautions of a step: all of the sheet's words to be read, their first sentence to be heard.

A technician with full hands hears the danger; how to meet it may be read. A first sentence too long
to be listened to is not said: the answer then sends to the screen.
"""

from __future__ import annotations

import re
from collections.abc import Container

from joblog.sheet.model import Caution, Sheet, Step

LEAD = "Caution:"
MOST_WORDS = 20
_SENTENCE_END = re.compile(r"(?<=[a-z0-9)]{2}[.!?])\s+(?=[A-Z])")


def cautions_of(sheet: Sheet, step: Step) -> list[str]:
    """Return the cautions that belong to ``step``, in the sheet's words."""
    return [caution.text for caution in sheet.cautions if step.key in caution.steps]


def cautions_shown(sheet: Sheet, step: Step) -> list[str]:
    """Return the cautions of ``step`` as an answer shows them."""
    return [f"{LEAD} {text}" for text in cautions_of(sheet, step)]


def cautions_said(sheet: Sheet, step: Step, but: Container[str] = ()) -> str:
    """Return what is said aloud of the cautions of ``step``; '' where ``but`` holds its key."""
    if step.key in but:
        return ""
    mine = [c for c in sheet.cautions if step.key in c.steps]
    return " ".join(f"{LEAD} {spoken_caution(caution)}" for caution in mine)


def spoken_caution(caution: Caution) -> str:
    """Return the first sentence of a caution, or 'See the screen.' where it is too long to say."""
    first = _SENTENCE_END.split(caution.text.strip(), maxsplit=1)[0]
    if len(first.split()) > MOST_WORDS:
        return "See the screen."
    return first if first.endswith((".", "!", "?")) else f"{first}."
