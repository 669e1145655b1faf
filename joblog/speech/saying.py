"""From a value to words: read back digit by digit, and every way in which people say it."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from joblog.speech.number_words import PART_NAMES, TEENS_TABLE, TENS_TABLE, UNITS_TABLE
from joblog.speech.units_spoken import unit_name

_FIGURES = ("zero", *UNITS_TABLE)
_PLACES = 6  # decimals of a value that is said as a decimal

Value = int | Fraction | Decimal


def digits_of(text: str) -> str:
    """Return figures digit by digit: '-36.5' is 'minus three six point five'."""
    special = {"-": "minus", ".": "point"}
    return " ".join(special.get(mark) or _FIGURES[int(mark)] for mark in text)


def read_back(value: Value, unit: str | None = None) -> str:
    """Return a value as joblog reads it back: 'three six foot-pounds'.

    Digit by digit as in radiotelephony [standard: ICAO Annex 10 vol. II, 5.2.1.4], with 'point' as
    shops say it. A value with no finite decimal is said as a fraction. Raises KeyError for a unit
    that has no spoken name.
    """
    exact = Fraction(value)
    text = _decimal_text(exact)
    said = digits_of(text) if text is not None else _as_fraction(exact)
    return f"{said} {unit_name(unit, one=exact == 1)}" if unit else said


def _decimal_text(exact: Fraction) -> str | None:
    scaled = exact * 10**_PLACES
    if scaled.denominator != 1:
        return None
    text = f"{Decimal(scaled.numerator).scaleb(-_PLACES):f}"
    return text.rstrip("0").rstrip(".")


def _as_fraction(exact: Fraction) -> str:
    sign = "minus " if exact < 0 else ""
    front, rest = divmod(abs(exact), 1)
    one, several = PART_NAMES.get(rest.denominator, ("", ""))
    if one:
        part = f"{digits_of(str(rest.numerator))} {one if rest.numerator == 1 else several}"
    else:
        part = f"{digits_of(str(rest.numerator))} over {digits_of(str(rest.denominator))}"
    return f"{sign}{digits_of(str(front))} and {part}" if front else f"{sign}{part}"


def spoken_forms(value: Value) -> list[str]:
    """Return the ways in which a value is said, the fullest first; up to 999 999.

    Raises ValueError for larger values and for those that only an unusual fraction gives.
    """
    exact = Fraction(value)
    if exact < 0:
        return [f"minus {form}" for form in spoken_forms(-exact) if " and a" not in form]
    front, rest = divmod(exact, 1)
    if front > 999_999:
        raise ValueError(f"{value} is too large to be said")
    wholes = _whole_forms(int(front))
    if not rest:
        return wholes
    forms = []
    text = _decimal_text(rest)
    if text is not None:
        forms += _decimal_forms(wholes if front else ["zero", "oh", ""], text[2:])
    forms += _fraction_forms(int(front), rest)
    if not forms:
        raise ValueError(f"{value} is no decimal or fraction that people say")
    return list(dict.fromkeys(forms))


def _under_hundred(number: int) -> str:
    if number < 10:
        return _FIGURES[number]
    if number < 20:
        return TEENS_TABLE[number - 10]
    ones = f" {_FIGURES[number % 10]}" if number % 10 else ""
    return TENS_TABLE[number // 10 - 2] + ones


def _cardinals(number: int) -> list[str]:
    """Return a number in full, without and with 'and'."""
    if number < 100:
        return [_under_hundred(number)]
    scale, word = (100, "hundred") if number < 1000 else (1000, "thousand")
    front, rest = divmod(number, scale)
    heads = [f"{head} {word}" for head in _cardinals(front)]
    if front == 1:
        heads.append(f"a {word}")
    if not rest:
        return heads
    joints = (" ", " and ") if rest < 100 else (" ",)
    return [head + joint + tail for head in heads for joint in joints for tail in _cardinals(rest)]


def _whole_forms(number: int) -> list[str]:
    text = str(number)
    forms = _cardinals(number)
    forms.append(" ".join(_FIGURES[int(figure)] for figure in text))
    if "0" in text:
        forms.append(" ".join("oh" if figure == "0" else _FIGURES[int(figure)] for figure in text))
    front, back = divmod(number, 100)
    if 1 <= front <= 99 and back >= 10:
        forms.append(f"{_under_hundred(front)} {_under_hundred(back)}")
    if 10 <= front <= 99 and 1 <= back <= 9:
        forms.append(f"{_under_hundred(front)} oh {_under_hundred(back)}")
    return list(dict.fromkeys(forms))


def _decimal_forms(wholes: list[str], figures: str) -> list[str]:
    tails = [" ".join(_FIGURES[int(figure)] for figure in figures)]
    if "0" in figures:
        tails.append(tails[0].replace("zero", "oh"))
    if len(figures) == 2 and figures[0] != "0" and int(figures) % 10:
        tails.append(_under_hundred(int(figures)))
    return [f"{front} point {tail}".strip() for front in wholes for tail in tails]


def _fraction_forms(front: int, rest: Fraction) -> list[str]:
    one, several = PART_NAMES.get(rest.denominator, ("", ""))
    if not one or rest.denominator > 10 or front > 99:
        return []
    if rest.numerator == 1:
        parts = [f"a {one}", f"one {one}"]
    else:
        parts = [f"{_under_hundred(rest.numerator)} {several}"]
    if front:
        return [f"{_under_hundred(front)} and {part}" for part in parts]
    return [*parts, "half"] if rest == Fraction(1, 2) else parts
