"""Typed text brought to the words of the grammar, and why it was not understood."""

from __future__ import annotations

import re
from difflib import get_close_matches

from joblog.job.grammar import grammar_for_sheet
from joblog.job.listening import note_words
from joblog.job.meaning import meaning_of
from joblog.job.phrases import phrases_of
from joblog.job.said_units import said_unit_names
from joblog.job.wording import capital
from joblog.measure.units import unit_of
from joblog.sheet.model import Sheet

_UNITS = {
    "lbf·ft": "foot pounds", "lbf.ft": "foot pounds", "ft-lbf": "foot pounds",
    "ft-lb": "foot pounds", "ft-lbs": "foot pounds", "lb-ft": "foot pounds", "ftlb": "foot pounds",
    "lbf-ft": "foot pounds", "lbf-in": "inch pounds", "lb-in": "inch pounds",
    "in-lbs": "inch pounds", "in-lbf": "inch pounds",
    "lbf·in": "inch pounds", "lbf.in": "inch pounds", "in-lb": "inch pounds",
    "n·m": "newton meters", "n.m": "newton meters", "nm": "newton meters",
    "kgf·m": "kilogram meters", "kgf.m": "kilogram meters", "qt": "quarts", "qts": "quarts",
    "pt": "pints", "gal": "gallons", "l": "liters", "ml": "milliliters", "°c": "celsius",
    "°f": "fahrenheit", "degc": "celsius", "degf": "fahrenheit", "%": "percent",
    "mm": "millimeters",
    "kpa": "kilopascals", "psi": "p s i", "rpm": "r p m", "mi": "miles", "km": "kilometers",
    "s": "seconds", "°": "degrees", "oz": "fluid ounces",
}  # fmt: skip
_NAMES = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_DIGITS = dict(zip("0123456789", _NAMES, strict=True))
_SHORT = {"yes": "affirm", "y": "affirm", "no": "negative", "n": "negative"}  # typed only
_MARKS = ',;:!?"“”'
_APART = re.compile(r"\b(ft|in|lbf|lb)[ .·](lbf|lbs|lb|ft|in)\b")  # 'ft lb', in two words
_FIGURE = re.compile(r"(-?)(\d[\d,]*)(?:\.(\d+))?(.*)", re.DOTALL)


def typed_words(text: str) -> str:
    """Return typed text as the lower-case words of the grammar: figures and symbols spelled out."""
    short = _SHORT.get(text.lower().strip(" .!"))
    if short:
        return short
    words: list[str] = []
    after_figure = False
    for token in _APART.sub(r"\1-\2", text.lower().replace("’", "'")).split():
        stripped = token.strip(_MARKS) if len(token) > 1 else token
        words += _token_words(stripped, after_figure)
        after_figure = stripped[-1:].isdigit()
    return " ".join(words)


def _token_words(token: str, after_figure: bool) -> list[str]:
    """Spell one token out; abbreviations of units count only behind figures ('p s i' has none)."""
    plain = token.rstrip(".")
    if after_figure and plain in _UNITS:
        return _UNITS[plain].split()
    match = _FIGURE.fullmatch(plain)
    if match is None:
        american = plain.replace("metre", "meter").replace("litre", "liter")
        return re.sub(r"[^a-z' -]", " ", american).replace("-", " ").split()
    sign, whole, decimals, rest = match.groups()
    words = ["minus"] if sign else []
    words += [_DIGITS[d] for d in whole.replace(",", "")]
    if decimals:
        words += ["point", *(_DIGITS[d] for d in decimals)]
    return words + (_token_words(rest, True) if rest else [])


def note_in(text: str) -> str:
    """Return the note in typed text that begins with 'note', as it was typed, else ''."""
    return note_words(text)


def _foreign_unit(words: str, sheet: Sheet) -> str:
    """Say so where the sentence would be understood but for its unit: a torque in litres."""
    for code, name in said_unit_names():
        if not words.endswith(f" {name}"):
            continue
        bare = meaning_of(words.removesuffix(f" {name}"), sheet)
        if bare is None or not bare.values:
            continue
        wanted = {"torque": "torque", "reading": "reading"}.get(bare.act.split("-")[0], "volume")
        found = unit_of(code)
        return (
            f"{capital(found.plural)} are a unit of {found.dimension}, but a {wanted} "
            "belongs here; say it again with its unit."
        )
    return ""


def why_not_understood(words: str, sheet: Sheet) -> str:
    """Return one sentence that says what can't be understood and what would be."""
    known = grammar_for_sheet(sheet).vocabulary
    strange = [word for word in words.split() if word not in known]
    examples = [phrase.example for phrase in phrases_of(sheet)]
    near = get_close_matches(words, examples, n=2, cutoff=0.5)
    hint = f" Did you mean {' or '.join(repr(one) for one in near)}?" if near else ""
    if not words:
        return "Nothing was said."
    if "minus" in words.split():
        bare = meaning_of(" ".join(w for w in words.split() if w != "minus"), sheet)
        if bare is not None and bare.values:
            return "A quantity or torque is above zero; say it again without 'minus'."
    unit = _foreign_unit(words, sheet)
    if unit:
        return unit
    if strange:
        words = " or ".join(repr(word) for word in dict.fromkeys(strange))
        return f"No phrase of this job has the word {words}.{hint}"
    return f"'{words}' is no phrase of this job.{hint}"
