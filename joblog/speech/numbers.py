"""Spoken numbers and their exact values.

Understood are whole numbers, decimals, fractions, digits one by one and groups ('one twenty'), as
in plain English and as in ICAO's radiotelephony (Annex 10 vol. II, 5.2.1.4: 'niner', 'decimal').
Values are :class:`fractions.Fraction`, never floats. What can be meant in two ways is reported with
both, because a number that one isn't sure of must be asked for.
"""

from __future__ import annotations

from joblog.speech.number_rules import JSGF_NUMBER_RULES
from joblog.speech.quantities import Quantity, Range, parse_quantity, parse_range
from joblog.speech.reading import NumberReading, parse_number
from joblog.speech.saying import digits_of, read_back, spoken_forms

__all__ = [
    "JSGF_NUMBER_RULES",
    "NumberReading",
    "Quantity",
    "Range",
    "digits_of",
    "parse_number",
    "parse_quantity",
    "parse_range",
    "read_back",
    "spoken_forms",
]
