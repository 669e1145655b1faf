"""Starting a job by voice: an order's number, its plate, the end of its VIN, or any whole VIN.

Letters are said with the spelling alphabet, figures one by one [standard: ICAO Annex 10 vol. II,
5.2.1.3 and 5.2.1.4]. Of short words only what stands on the list can be heard, so a number is never
guessed; a whole VIN has its check digit.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from joblog.measure.vin import LENGTH, VALUES
from joblog.speech.grammar import Grammar
from joblog.speech.numbers import digits_of

LAST = 6  # signs of a VIN that are said: its serial number
ALPHABET = """
alfa bravo charlie delta echo foxtrot golf hotel india juliett kilo lima mike november oscar papa
quebec romeo sierra tango uniform victor whiskey xray yankee zulu
"""
_SIGNS = {word[0]: word for word in ALPHABET.split()}
_SIGNS |= {figure: digits_of(figure) for figure in "0123456789"}
_LETTERS = {_SIGNS[sign.lower()]: sign for sign in VALUES}  # word -> sign of a VIN


def spoken_signs(text: str) -> str:
    """Return letters and figures as words: 'HL-2047' is 'hotel lima two zero four seven'."""
    return " ".join(_SIGNS[sign] for sign in text.lower() if sign in _SIGNS)


def ways_to_say(order: Mapping[str, str]) -> list[str]:
    """Return what may be said for an order: number, its figures alone, plate, end of the VIN."""
    number, vin = order["order"], order.get("vin", "")
    figures = "".join(sign for sign in number if sign.isascii() and sign.isdecimal())
    said = [spoken_signs(t) for t in (number, figures, order.get("plate", ""), vin[-LAST:])]
    return [text for text in dict.fromkeys(said) if len(text.split()) > 1]


def said_orders(orders: Iterable[Mapping[str, str]]) -> dict[str, str]:
    """Return which order each sentence means; what would mean two orders is left out."""
    meant: dict[str, set[str]] = {}
    for order in orders:
        for said in ways_to_say(order):
            meant.setdefault(said, set()).add(order["order"])
    return {said: next(iter(numbers)) for said, numbers in meant.items() if len(numbers) == 1}


def start_grammar(meant: Iterable[str]) -> Grammar:
    """Return what can be said to start a job: one of the list's sentences, or any whole VIN."""
    listed = " | ".join(sorted(meant))
    vin = f"[vin] {' '.join(['<sign>'] * LENGTH)}"
    choices = f"[order] ({listed}) | {vin}" if listed else vin
    text = (
        f"#JSGF V1.0;\ngrammar start;\n<sign> = {' | '.join(_LETTERS)};\n"
        f"public <start> = {choices};\n"
    )
    return Grammar.from_text(text, source="start")


def said_vin(text: str) -> str:
    """Return the VIN that a sentence of the grammar spells, '' where it is none."""
    signs = [_LETTERS[word] for word in text.split() if word in _LETTERS]
    return "".join(signs) if len(signs) == LENGTH else ""
