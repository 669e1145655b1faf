"""How joblog says things: steps by their phrase, numbers digit by digit, units by their names."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from joblog.errors import InputError
from joblog.job.numbers import number_text
from joblog.measure.units import UNITS, Quantity, format_number, format_quantity
from joblog.sheet.fragments import spoken_form
from joblog.sheet.model import Step, Window
from joblog.speech.numbers import read_back
from joblog.speech.units_spoken import SPOKEN_UNITS

SAID_PARTS = 10  # tenths are the finest fraction that is said as one
PLACES = 2  # fractions such as 1/3 are shown to two places; what is kept stays exact
TEN = 10
MINUTE = 60  # seconds
SECONDS_TOLD = 120  # longer times are told in minutes and hours
MOST_PLACES = 4  # a sixteenth of an inch has them, and a micrometer; nobody measures finer


def capital(text: str) -> str:
    """Return ``text`` with its first letter in upper case."""
    return text[:1].upper() + text[1:]


def step_name(step: Step) -> str:
    """Return the words by which joblog itself says ``step``."""
    return spoken_form(step.say[0])


def step_shown(step: Step) -> str:
    """Return the words by which ``step`` is said, then its title where that says more."""
    name = step_name(step)
    return name if name.lower() == step.title.lower() else f"{name} ({step.title})"


def sayable(value: Decimal | Fraction | int) -> Decimal:
    """Return ``value`` as the decimal that is shown and said: exact unless it is long or endless.

    Litres and quarts add up to twelve decimals, which nobody can say or wants to read.
    """
    text = number_text(value)
    if "/" not in text and len(text.partition(".")[2]) <= MOST_PLACES:
        return Decimal(text)
    exact = Fraction(value)
    return round(Decimal(exact.numerator) / Decimal(exact.denominator), PLACES)


def shown(value: Decimal | Fraction, unit: str) -> str:
    """Return a value for reading: ``36 lbf·ft``."""
    if not unit:
        return format_number(sayable(value))
    try:
        return format_quantity(Quantity(sayable(value), unit))
    except InputError:
        # A record of other hands may hold anything: replay shows it as it stands.
        return f"{format_number(sayable(value))} {unit}"


def said(value: Decimal | Fraction | int, unit: str) -> str:
    """Return a value for speaking, digit by digit: ``three six foot-pounds``.

    Thirds and the like are said as fractions; a fraction that nobody says is rounded.
    """
    exact = Fraction(value)
    spoken = exact if exact.denominator <= SAID_PARTS else Fraction(sayable(exact))
    if not unit or unit in SPOKEN_UNITS:
        return read_back(spoken, unit or None)
    name = UNITS[unit].plural if unit in UNITS else unit
    return f"{read_back(spoken)} {name}"


def span_shown(seconds: Decimal | int, up_to: int = SECONDS_TOLD) -> str:
    """Return a length of time for reading: ``95 s``, ``10 min 5 s``, ``16 h``.

    Times ``up_to`` so many seconds are told in seconds alone.
    """
    return " ".join(shown(Decimal(count), unit) for count, unit in _span(seconds, up_to))


def window_shown(window: Window) -> str:
    """Return when a window is open, for reading: 'between 45 and 120 s', 'from 10 min on'."""
    if window.closes is None:
        return f"from {span_shown(window.opens)} on"
    if window.closes <= SECONDS_TOLD:
        return f"between {window.opens} and {window.closes} s"
    return f"between {span_shown(window.opens, MINUTE - 1)} and {span_shown(window.closes)}"


def span_said(seconds: Decimal | int) -> str:
    """Return a length of time for speaking: ``nine five seconds``, ``one six hours``."""
    return " ".join(said(count, unit) for count, unit in _span(seconds, SECONDS_TOLD))


def _span(seconds: Decimal | int, up_to: int) -> list[tuple[int, str]]:
    """Return a time as a clock has it: in seconds up to some, from an hour on without them."""
    whole = int(seconds)
    if whole <= up_to:
        return [(whole, "s")]
    hours, minutes, rest = whole // 3600, whole // 60 % 60, whole % 60
    parts = [(hours, "h"), (minutes, "min")] if hours else [(minutes, "min"), (rest, "s")]
    return [(count, unit) for count, unit in parts if count]


def listed(names: list[str]) -> str:
    """Return names as a spoken list: ``a, b and c``."""
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def shown_missing(what: str) -> str:
    """Return what is missing as it is shown: a photo of the kind "other" is just a photo."""
    return "photo" if what == "photo of the other" else what


def spoken_missing(what: str) -> str:
    """Return what is missing in words: figures spelled out, 'photo of the plug' short."""
    words = shown_missing(what).replace("photo of the", "photo").split()
    return " ".join(_figure_said(word) for word in words)


def _figure_said(word: str) -> str:
    """Return a word, or a figure of a list ('2,') spelled out."""
    figure, comma = word.rstrip(","), "," * word.endswith(",")
    return f"{said(int(figure), '')}{comma}" if figure.isdigit() else word


def and_more(count: int) -> str:
    """Return 'And four more.'; from ten on, which would be said in figures, only 'And more.'"""
    if count < 1:
        return ""
    return f"And {said(count, '')} more." if count < TEN else "And more."
