"""Choosing one of today's orders by voice: its number, its plate, or the end of its VIN.

Letters are said with the spelling alphabet, figures one by one [standard: ICAO Annex 10 vol. II,
5.2.1.3 and 5.2.1.4]. Only what stands on the list can be heard, so a number is never guessed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from joblog.speech.grammar import Grammar
from joblog.speech.numbers import digits_of

LAST = 6  # signs of a VIN that are said: its serial number
ALPHABET = """
alfa bravo charlie delta echo foxtrot golf hotel india juliett kilo lima mike november oscar papa
quebec romeo sierra tango uniform victor whiskey xray yankee zulu
"""
_SIGNS = {word[0]: word for word in ALPHABET.split()}
_SIGNS |= {figure: digits_of(figure) for figure in "0123456789"}


def spoken_signs(text: str) -> str:
    """Return letters and figures as words: 'HL-2047' is 'hotel lima two zero four seven'."""
    return " ".join(_SIGNS[sign] for sign in text.lower() if sign in _SIGNS)


def ways_to_say(order: Mapping[str, str]) -> list[str]:
    """Return what may be said for an order: number, its figures alone, plate, end of the VIN."""
    number, vin = order["order"], order.get("vin", "")
    figures = "".join(sign for sign in number if sign.isascii() and sign.isdecimal())
    said = [spoken_signs(t) for t in (number, figures, order.get("plate", ""), vin[-LAST:])]
    return [text for text in dict.fromkeys(said) if len(text.split()) > 1]


def orders_grammar(orders: Iterable[Mapping[str, str]]) -> tuple[Grammar | None, dict[str, str]]:
    """Return the grammar of a list and which order each sentence means; None where it is empty.

    What would mean two orders is left out.
    """
    meant: dict[str, set[str]] = {}
    for order in orders:
        for said in ways_to_say(order):
            meant.setdefault(said, set()).add(order["order"])
    sure = {said: next(iter(numbers)) for said, numbers in meant.items() if len(numbers) == 1}
    if not sure:
        return None, {}
    rule = " | ".join(sorted(sure))
    text = f"#JSGF V1.0;\ngrammar orders;\npublic <order> = [order] ({rule});\n"
    return Grammar.from_text(text, source="orders"), sure
