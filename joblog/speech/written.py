"""How spoken words are written: '36', 'thirty-six' and 'thirty six' are one utterance.

A model trained on written text spreads what it hears over all spellings of it. Each entry here says
which spellings a short run of words may take and what may follow without a blank. Only spellings of
the same sounds are listed; nothing here changes what was said.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from functools import lru_cache

Words = tuple[str, ...]


class Mode(Enum):
    """What was written last, which decides what may be written next, and whether without a blank.

    Figures are joined only where the joined number is the spoken one: 'three' 'six' may become
    '36', but 'thirty' 'six' may not become '306'.
    """

    START = "start"  # a capital may follow
    PLAIN = "plain"
    COMMA = "comma"  # as plain, but no further mark may follow
    SPELT = "spelt"  # a number in letters; figures may not follow
    ONE = "one"  # figures said one by one
    TWO = "two"  # two figures said as one number
    CLOSED = "closed"  # an integer that is complete; decimals may follow
    OWED = "owed"  # '12,4': two figures must follow
    DECIMAL = "decimal"  # after the decimal point
    DONE = "done"  # nothing but a unit may follow
    GLUE = "glue"  # figures must follow without a blank: '-' then '10'


@dataclass(frozen=True, slots=True)
class Form:
    """One spelling, with its leading blank if it has one.

    ``after`` are the modes in which it may be written, ``then`` the mode that it leaves.
    """

    text: str
    after: frozenset[Mode]
    then: Mode = Mode.PLAIN


FRESH = frozenset((Mode.START, Mode.PLAIN, Mode.COMMA))
FIGURES = frozenset((Mode.ONE, Mode.TWO, Mode.CLOSED, Mode.DECIMAL, Mode.DONE))
INTEGER = frozenset((Mode.ONE, Mode.TWO, Mode.CLOSED))
WORDS = FRESH | FIGURES | {Mode.SPELT}

DIGITS = {
    "zero": "0", "oh": "0", "one": "1", "two": "2", "three": "3", "tree": "3", "four": "4",
    "fower": "4", "five": "5", "fife": "5", "six": "6", "seven": "7", "eight": "8", "nine": "9",
    "niner": "9",
}  # fmt: skip
TEENS = {
    "ten": "10", "eleven": "11", "twelve": "12", "thirteen": "13", "fourteen": "14",
    "fifteen": "15", "sixteen": "16", "seventeen": "17", "eighteen": "18", "nineteen": "19",
}  # fmt: skip
TENS = {
    "twenty": "2", "thirty": "3", "forty": "4", "fifty": "5", "sixty": "6", "seventy": "7",
    "eighty": "8", "ninety": "9",
}  # fmt: skip
_ONES = {word: digit for word, digit in DIGITS.items() if digit != "0"}

# Other spellings of single words.
_SPELLINGS = {
    "okay": ("ok", "OK"), "ok": ("okay", "OK"), "i": ("I",), "i'd": ("I'd",), "i'm": ("I'm",),
    "i'll": ("I'll",), "i've": ("I've",), "oh": ("o", "O"), "niner": ("nine",), "fife": ("five",),
    "tree": ("three",), "fower": ("four",), "liters": ("litres",), "litres": ("liters",),
    "liter": ("litre",), "litre": ("liter",), "meters": ("metres",), "metres": ("meters",),
    "meter": ("metre",), "metre": ("meter",), "color": ("colour",), "colour": ("color",),
    "celsius": ("Celsius",), "fahrenheit": ("Fahrenheit",), "percent": ("per cent",),
    "milliliters": ("millilitres",), "millilitres": ("milliliters",), "mister": ("Mr.", "Mr"),
    "millimeters": ("millimetres",), "millimetres": ("millimeters",), "quarts": ("quartz",),
    "psi": ("PSI",), "rpm": ("RPM",), "volts": ("V",), "amps": ("A",), "transaxle": ("trans axle",),
    "alright": ("all right",), "readback": ("read back",), "standby": ("stand by",),
    "alfa": ("alpha", "Alpha", "Alfa"), "alpha": ("alfa", "Alpha"), "juliett": ("Juliet",),
    "x-ray": ("xray", "X-ray"), "whiskey": ("whisky",), "kilopascals": ("kPa",),
    "newton": ("Newton",), "newtons": ("Newtons",), "cappuccino": ("capuccino",),
}  # fmt: skip

# Spellings of runs of words; a leading '^' attaches to a numeral.
_PHRASES: dict[str, tuple[str, ...]] = {
    "foot pounds": ("foot-pounds", "ft-lbs", "ft lbs", "ft-lb", "ft. lbs."),
    "foot pound": ("foot-pound", "ft-lb", "ft lb"),
    "pound feet": ("pound-feet", "lb-ft", "lbs-ft"),
    "pound foot": ("pound-foot", "lb-ft"),
    "inch pounds": ("inch-pounds", "in-lbs", "in lbs", "in-lb"),
    "inch pound": ("inch-pound", "in-lb"),
    "pound inches": ("pound-inches", "lb-in"),
    "newton meters": ("newton-meters", "Newton meters", "Newton-meters", "Nm", "N-m", "^Nm"),
    "newton metres": ("newton-metres", "Newton metres", "Newton-metres", "Nm", "N-m", "^Nm"),
    "newton meter": ("newton-meter", "Newton meter", "Nm"),
    "newton metre": ("newton-metre", "Newton metre", "Nm"),
    "kilogram meters": ("kilogram-meters", "kg-m", "kgm"),
    "fluid ounces": ("fluid-ounces", "fl oz", "fl. oz."),
    "degrees celsius": ("degrees Celsius", "^°C", "°C", "° Celsius", "^ °C"),
    "degrees fahrenheit": ("degrees Fahrenheit", "^°F", "°F", "^ °F"),
    "degrees c": ("degrees C", "^°C"),
    "degrees f": ("degrees F", "^°F"),
    "degrees": ("^°",),
    "percent": ("^%", "%"),
    "per cent": ("percent", "^%", "%"),
    "p s i": ("PSI", "psi", "P.S.I.", "^PSI", "^psi"),
    "r p m": ("RPM", "rpm", "R.P.M.", "^RPM"),
    "k p a": ("kPa", "KPA", "^kPa"),
    "v i n": ("VIN", "V.I.N."),
    "o k": ("OK", "okay", "ok"),
    "quarts": ("qts", "qt"),
    "ounces": ("oz", "^oz"),
    "ounce": ("oz", "^-ounce", "^oz"),
    "liters": ("L", "^L"),
    "litres": ("L", "^L"),
    "milliliters": ("ml", "mL", "^ml"),
    "millimeters": ("mm", "^mm"),
    "millimetres": ("mm", "^mm"),
    "inches": ('^"',),
    "miles": ("mi",),
    "kilometers": ("km", "kilometres", "^km"),
    "kilometres": ("km", "kilometers", "^km"),
    "seconds": ("sec", "secs"),
    "minutes": ("min", "mins"),
    "read back": ("readback", "read-back"),
    "stand by": ("standby", "stand-by"),
    "say again": ("say-again",),
    "x ray": ("X-ray", "x-ray"),
    "and a half": ("^.5", "^ 1/2", "^½", "1/2"),
    "and a quarter": ("^.25", "^ 1/4", "^¼", "1/4"),
    "and three quarters": ("^.75", "^ 3/4", "^¾", "3/4", "and 3/4", "and three-quarters"),
    "and a third": ("^ 1/3", "^⅓"),
    "and one third": ("^ 1/3", "^⅓", "and 1/3", "and one-third"),
    "and two thirds": ("^ 2/3", "^⅔", "and 2/3", "and two-thirds"),
    "one half": ("one-half", "1/2", "½"),
    "a half": ("1/2", "½"),
    "half": ("1/2",),
    "a quarter": ("1/4", "¼"),
    "one quarter": ("one-quarter", "1/4", "¼"),
    "three quarters": ("three-quarters", "3/4", "¾"),
    "one third": ("one-third", "1/3", "⅓"),
    "two thirds": ("two-thirds", "2/3", "⅔"),
}  # fmt: skip


@lru_cache(maxsize=1)
def phrase_forms() -> dict[Words, tuple[Form, ...]]:
    """Return the special spellings of runs of one to four words."""
    table: dict[Words, list[Form]] = {}
    for phrase, spellings in _PHRASES.items():
        for spelling in spellings:
            words = tuple(phrase.split())
            table.setdefault(words, []).append(_phrase_form(words, spelling))
    table[("minus",)] = [Form(" -", FRESH, Mode.GLUE)]
    for words, figures in _two_figures().items():
        table.setdefault(words, []).extend(_numeral(figures))
        table[("point", *words)] = _decimals(figures)
        table.setdefault(("hundred", *words), []).extend(_hundreds(figures))
        table.setdefault(("hundred", "and", *words), []).extend(_hundreds(figures))
        table[("thousand", *words)] = _thousands(figures.rjust(3, "0"), Mode.CLOSED)
        table[("thousand", "and", *words)] = _thousands(figures.rjust(3, "0"), Mode.CLOSED)
    for word, figure in _ONES.items():
        for zero in ("oh", "zero"):
            after_two = frozenset((Mode.TWO,))
            table[(zero, word)] = [Form(f"0{figure}", after_two, Mode.CLOSED)]
        table[("thousand", word)] += _thousands(figure, Mode.OWED)
    table[("hundred",)] = _hundreds("00")
    table[("thousand",)] = _thousands("000", Mode.CLOSED)
    return {words: tuple(dict.fromkeys(forms)) for words, forms in table.items()}


def _phrase_form(words: Words, spelling: str) -> Form:
    if not spelling.startswith("^"):
        return Form(f" {spelling}", WORDS, Mode.DONE if spelling[-1].isdigit() else Mode.PLAIN)
    fraction = words[0] == "and"
    after = INTEGER if fraction else FIGURES
    return Form(spelling[1:], after, Mode.DONE if fraction else Mode.PLAIN)


def _two_figures() -> dict[Words, str]:
    """Return spoken numbers of one or two figures that are said as one: 3, 13, 30, 36."""
    spoken: dict[Words, str] = {(word,): figure for word, figure in DIGITS.items()}
    spoken.update({(word,): figures for word, figures in TEENS.items()})
    for tens, first in TENS.items():
        spoken[(tens,)] = f"{first}0"
        spoken.update({(tens, ones): first + second for ones, second in _ONES.items()})
    return spoken


def _numeral(figures: str) -> list[Form]:
    if len(figures) == 1:
        one, decimal = frozenset((Mode.ONE,)), frozenset((Mode.DECIMAL,))
        return [
            Form(f" {figures}", FRESH | one, Mode.ONE),
            Form(figures, one | {Mode.GLUE}, Mode.ONE),
            Form(f"-{figures}", one, Mode.ONE),
            Form(figures, decimal, Mode.DECIMAL),
        ]
    before = frozenset((Mode.ONE, Mode.TWO))
    return [
        Form(f" {figures}", FRESH | before, Mode.TWO),
        Form(figures, before | {Mode.GLUE}, Mode.TWO),
        Form(f"-{figures}", before, Mode.TWO),
    ]


def _decimals(figures: str) -> list[Form]:
    then = Mode.DECIMAL if len(figures) == 1 else Mode.DONE
    return [
        Form(f".{figures}", INTEGER | {Mode.GLUE}, then),
        Form(f" .{figures}", FRESH, then),
        Form(f" 0.{figures}", FRESH, then),
    ]


def _hundreds(figures: str) -> list[Form]:
    figures = figures.rjust(2, "0")
    return [Form(figures, frozenset((Mode.ONE, Mode.TWO, Mode.OWED)), Mode.CLOSED)]


def _thousands(figures: str, then: Mode) -> list[Form]:
    return [Form(f",{figures}", INTEGER, then), Form(figures, INTEGER, then)]


# '3 hundred' and '66 thousand' mix figures and letters; no other number word does.
_SPELT_AFTER = {
    "hundred": FRESH | {Mode.SPELT, Mode.ONE, Mode.TWO},
    "thousand": FRESH | {Mode.SPELT, Mode.ONE, Mode.TWO, Mode.CLOSED},
}
NUMBER_WORDS = {*DIGITS, *TEENS, *TENS, "hundred", "thousand", "point"}


@lru_cache(maxsize=8192)
def word_forms(word: str) -> tuple[Form, ...]:
    """Return the plain spellings of one word, with and without a capital."""
    spellings = [word, *_SPELLINGS.get(word, ())]
    if word in NUMBER_WORDS:
        return _in_letters(spellings, _SPELT_AFTER.get(word, FRESH | {Mode.SPELT}), Mode.SPELT)
    return _in_letters(spellings, WORDS, Mode.PLAIN)


@lru_cache(maxsize=8192)
def hyphenated(words: Words) -> tuple[Form, ...]:
    """Return the hyphenated spelling of a two-word number ('thirty-six')."""
    if len(words) == 2 and words[0] in TENS and words[1] in _ONES:
        plain = {"niner": "nine", "fife": "five", "tree": "three", "fower": "four"}
        text = f"{words[0]}-{plain.get(words[1], words[1])}"
        return _in_letters([text], FRESH | {Mode.SPELT}, Mode.SPELT)
    return ()


def _in_letters(spellings: list[str], after: frozenset[Mode], then: Mode) -> tuple[Form, ...]:
    small = [Form(f" {text}", after, then) for text in spellings]
    capital = frozenset((Mode.START,))
    large = [Form(f" {text[0].upper()}{text[1:]}", capital, then) for text in spellings]
    return tuple(dict.fromkeys(small + large))
