"""Typed text brought to the words of the grammar."""

from __future__ import annotations

import re
import unicodedata
from fractions import Fraction

from joblog.speech.number_words import DIGITS, TEENS, TEENS_TABLE, TENS, TENS_TABLE
from joblog.speech.quantities import plural_parts

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
    "s": "seconds", "min": "minutes", "v": "volts", "°": "degrees", "oz": "fluid ounces",
    "c": "celsius", "f": "fahrenheit",
}  # fmt: skip
_NAMES = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_DIGITS = dict(zip("0123456789", _NAMES, strict=True))
_SINGULAR = ("quart", "pint", "gallon", "liter", "litre")
_SHORT = {"yes": "affirm", "y": "affirm", "no": "negative", "n": "negative"}  # typed only
_MARKS = ',;:!?"“”'
_JOINT = r"(?:\. ?| ?[·*/-] ?| )"
_APART = (  # 'ft lb', 'ft. lb.', 'ft*lb', 'N m', 'fl. oz': units in two words, or with another sign
    (re.compile(rf"(?<![a-z])(ft|in){_JOINT}(lbf|lbs|lb)(?![a-z])"), r"\1-lb"),
    (re.compile(rf"(?<![a-z])(?:lbf|lbs|lb){_JOINT}(ft|in)(?![a-z])"), r"\1-lb"),
    (re.compile(rf"(?<![a-z])(n|kgf){_JOINT}m(?![a-z])"), r"\1.m"),
    (re.compile(r"(?<![a-z])fl(?:\. ?| )oz(?![a-z])"), "oz"),
    (re.compile(r"(?<![a-z])u\. ?s\.(?= )"), "us"),
)
_FIGURE = re.compile(r"(-?)([0-9][0-9,]*)(?:\.([0-9]+))?(.*)", re.DOTALL)
_THOUSANDS = re.compile(r"[1-9][0-9]{0,2}(,[0-9]{3})+")
_FRACTION = re.compile(
    r"(?<![\d.,/])(?:([0-9]+)(?:\s+|-))?([0-9]+)/([0-9]+)(?![\d.,/])"
)  # 1/2, 3 1/2, 3-1/2
_DASH = re.compile(r"(?<![\d.,/])(-?[0-9]+(?:[.,][0-9]+)?) ?(?:-|–|—|\.\.|…) ?(?=-?[0-9])")
_FINEST = 10  # the finest part that can be said in figures
_THIRDS = {Fraction(1, 3): "a third", Fraction(2, 3): "two thirds"}
_SILENT = re.compile(
    r"[.,;:!?\"“”‘’'()\[\]*_–—…-]+"
)  # what may be left out where it stands in no number
_HEAD = re.compile(r"[,;:!?\"“”‘’'()\[\]*_–—…]*")
_STARTS = re.compile(r"(-?\.?[0-9][0-9.,]*|[a-z]*)")
_TWO_FIGURES = re.compile(r"([1-9][0-9])([a-z°%·.³-]*)")
NUMBERS = frozenset({*DIGITS, *TEENS, *TENS, "hundred", "thousand"})


def typed_words(text: str) -> str:
    """Return typed text as the lower-case words of the grammar: figures and symbols spelled out."""
    return " ".join(word for word, _ in spelled(text))


def spelled(text: str) -> list[tuple[str, str]]:
    """Return the words of :func:`typed_words`, each with what was typed for it."""
    short = _SHORT.get(text.lower().strip(" .!"))
    if short:
        return [(short, text)]
    words: list[str] = []
    typed: list[str] = []
    before = marks = ""
    plain = text.lower().replace("’", "'").replace("\u2212", "-").replace("\u00ba", "°")
    plain = _with_fractions(plain)
    plain = plural_parts(" ".join(plain.split()))
    for pattern, joined in _APART:
        plain = pattern.sub(joined, plain)
    for token in plain.split():
        if _SILENT.fullmatch(token):
            marks += token
            continue
        if _changes_a_number(words, marks, token):
            words.append(marks or token)  # no word of any phrase
        stripped = token.strip(_MARKS) if len(token) > 1 else token
        after_figure = before[-1:].isdigit()
        if after_figure and before != "1" and stripped in _SINGULAR:
            stripped += "s"  # '0.5 quart': with a decimal the grammar has many quarts
        words += (
            _behind_a_number(words, stripped)
            or _behind_a_third(words, stripped.rstrip("."))
            or _token_words(stripped, after_figure)
        )
        typed += [stripped] * (len(words) - len(typed))
        if stripped != "us" or not after_figure:  # '4 US qt': the unit still comes
            before = stripped
        marks = token[len(token.rstrip(_MARKS + ".")) :]
    return list(zip(words, typed, strict=True))


def _behind_a_number(words: list[str], token: str) -> list[str]:
    """Spell two figures behind one number as one: 'nut one 15' is 'one fifteen', no '1 1 5'.

    So it is asked about as when it is spoken; [] for everything else.
    """
    match = _TWO_FIGURES.fullmatch(token)
    if match is None or not _one_number(words):
        return []
    tens, ones = int(match[1]) // 10, int(match[1]) % 10
    if tens == 1:
        return [TEENS_TABLE[ones], *_token_words(match[2], True)]
    said = [TENS_TABLE[tens - 2], *([_NAMES[ones]] if ones else [])]
    return [*said, *_token_words(match[2], True)]


def _behind_a_third(words: list[str], token: str) -> list[str]:
    """Spell a unit behind thirds: '1/3 qt' is a third quart, '4 1/3 qt' four and a third quarts."""
    if words[-1:] not in (["third"], ["thirds"]) or token not in _UNITS:
        return []
    unit = _UNITS[token]
    return (unit if words[-3:-2] == ["and"] else unit.removesuffix("s")).split()


def _one_number(words: list[str]) -> bool:
    """Say whether one number, in one word, stands at the end of ``words``."""
    last, before = ["", "", *words][:-3:-1]
    return last in NUMBERS and before not in NUMBERS


def _changes_a_number(words: list[str], marks: str, token: str) -> bool:
    """Say whether the number that ``token`` starts would be another one without what is left out.

    ``marks`` are the signs before it: '4, 1' and '4 - 1' are not 41, '- 5' is not 5. Nor is
    '3 0.6' 30.6, or 'three 1/2' 30.5.
    """
    head = _HEAD.match(token)
    marks += head[0] if head else ""
    start = _STARTS.match(token.lstrip(_MARKS))
    figure = start[0] if start else ""
    if not (figure[-1:].isdigit() or figure[-1:] in (".", ",") or figure in NUMBERS):
        return False
    inside = bool(words) and words[-1] in NUMBERS
    return (inside and (bool(marks) or "." in figure[:-1])) or marks[-1:] in ("-", "–", "—")


def _with_fractions(text: str) -> str:
    """Return the text with fractions as decimals where these are exact, thirds as words.

    What can't be brought to either (1/0, 41/4, 1/7) stays as it is: no phrase has such a word.
    """
    for sign in {c for c in text if unicodedata.decomposition(c).startswith("<fraction>")}:
        text = text.replace(sign, f" {unicodedata.normalize('NFKC', sign)} ")
    return _FRACTION.sub(_said_fraction, text.replace("\u2044", "/"))


def _said_fraction(match: re.Match[str]) -> str:
    whole, over, under = (int(part or 0) for part in match.groups())
    if not 0 < over < under <= _FINEST:
        return match[0]
    part = Fraction(over, under)
    if part in _THIRDS:
        return f"{whole} and {_THIRDS[part]}" if whole else _THIRDS[part]
    exact = part.denominator in (2, 4, 5, 10)  # an eighth has three decimals, which nobody says
    return f"{float(whole + part):.2f}".rstrip("0") if exact else match[0]


def _token_words(token: str, after_figure: bool) -> list[str]:
    """Spell one token out; abbreviations of units count only behind figures ('p s i' has none).

    A token with a sign that isn't understood stays whole, and so is no word of any phrase: left
    out, it could turn one number into another.
    """
    plain = re.sub(r"^(-?)\.(?=\d)", r"\g<1>0.", token.rstrip("."))
    if after_figure and plain in _UNITS:
        return _UNITS[plain].split()
    match = _FIGURE.fullmatch(plain)
    if match is None:
        american = plain.replace("metre", "meter").replace("litre", "liter")
        if not re.fullmatch(r"[a-z]*", _SILENT.sub("", american)) or _two_numbers(american):
            return [token]
        return re.sub(r"[^a-z']", " ", american).split()
    sign, whole, decimals, rest = match.groups()
    if "," in whole and not _THOUSANDS.fullmatch(whole):
        whole, _, part = whole.partition(",")  # a decimal comma
        if decimals or "," in part or not part:
            return [token]
        decimals = part
    if not re.fullmatch(r"[a-z°%·.³-]*", rest) or re.match(r"[-.]", rest):
        return [token]  # 41-44, 1.5.2, 41x2, 41±1
    words = ["minus"] if sign else []
    words += [_DIGITS[d] for d in whole.replace(",", "")]
    if decimals:
        words += ["point", *(_DIGITS[d] for d in decimals)]
    return words + (_token_words(rest, True) if rest else [])


def _two_numbers(word: str) -> bool:
    """Say whether signs hold two numbers together: 'three-four', but not 'forty-one'."""
    for left, mark, right in re.findall(r"([a-z]+)([^a-z]+)(?=([a-z]+))", word):
        one = mark == "-" and (left in TENS or right in ("hundred", "thousand"))
        if left in NUMBERS and right in NUMBERS and not one:
            return True
    return False


def ranges_apart(text: str) -> str:
    """Return a typed text with 'to' for the dash in '40-42' and '9.5 – 10'.

    Only for what is no phrase as it stands: '3-1/2' is one number.
    """
    return _DASH.sub(r"\g<1> to ", text.replace("\u2212", "-"))


def note_in(text: str) -> str:
    """Return the note in a text that begins with 'note', in its own words, else ''."""
    head, _, rest = text.strip().partition(" ")
    if head.lower().strip(".,:;!") not in ("note", "notes"):
        return ""
    return rest.strip(" ,:;.-")


_CONFIRM = r"confirm(?:\s+it)?(?:\s+anyway)?"
_REASON = re.compile(
    rf"{_CONFIRM}(?:[\s:,;–—-]*\b(?:because|as|since|reason|with\s+(?:a|the)\s+reason)\b[:,]?"
    r"|\s*[:,;–—-])\s*(.*)",
    re.IGNORECASE | re.DOTALL,
)


def reason_in(text: str) -> str:
    """Return the reason in a text such as 'confirm because ...', in its own words, else ''."""
    found = _REASON.fullmatch(text.strip())
    return found[1].strip(" ,:;-") if found else ""
