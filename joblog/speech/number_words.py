"""The words of numbers: one table for reading them, saying them and putting them into grammars."""

from __future__ import annotations

ZEROS = ("zero", "oh")
UNITS_TABLE = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
TEENS_TABLE = (
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
)
TENS_TABLE = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")

# ICAO's pronunciation where it makes a word of its own [standard: ICAO Annex 10 vol. II,
# 5.2.1.4.3.1], and other names of zero.
OTHER_DIGITS = {
    "niner": 9,
    "fife": 5,
    "tree": 3,
    "fower": 4,
    "nought": 0,
    "o": 0,
}

ONES: dict[str, int] = {word: value for value, word in enumerate(UNITS_TABLE, 1)} | {
    word: value for word, value in OTHER_DIGITS.items() if value
}
DIGITS: dict[str, int] = dict.fromkeys((*ZEROS, "nought", "o"), 0) | ONES
TEENS: dict[str, int] = {word: value for value, word in enumerate(TEENS_TABLE, 10)}
TENS: dict[str, int] = {word: 10 * value for value, word in enumerate(TENS_TABLE, 2)}

# Pairs that sound alike [common practice, no source]: 13/30 ... 19/90.
TEEN_OF_TENS: dict[str, str] = dict(zip(TENS_TABLE[1:], TEENS_TABLE[3:], strict=True))
SOUNDS_LIKE: dict[str, str] = TEEN_OF_TENS | {teen: ty for ty, teen in TEEN_OF_TENS.items()}

POINTS = ("point", "decimal")
MINUS = ("minus", "negative")

# Parts: the word for one, the word for several, the part.
PARTS: dict[str, int] = {
    "half": 2,
    "halves": 2,
    "third": 3,
    "thirds": 3,
    "quarter": 4,
    "quarters": 4,
    "fourth": 4,
    "fourths": 4,
    "fifth": 5,
    "fifths": 5,
    "eighth": 8,
    "eighths": 8,
    "tenth": 10,
    "tenths": 10,
    "sixteenth": 16,
    "sixteenths": 16,
}
PART_NAMES = {
    2: ("half", "halves"),
    3: ("third", "thirds"),
    4: ("quarter", "quarters"),
    8: ("eighth", "eighths"),
    10: ("tenth", "tenths"),
    16: ("sixteenth", "sixteenths"),
}
