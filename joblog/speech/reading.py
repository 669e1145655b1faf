"""From words to a number: what it means, what else it may mean, what it sounds like."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from joblog.speech.number_words import (
    DIGITS,
    MINUS,
    ONES,
    PARTS,
    POINTS,
    SOUNDS_LIKE,
    TEENS,
    TENS,
)

Words = tuple[str, ...]


@dataclass(frozen=True)
class NumberReading:
    """A spoken number.

    ``ambiguous`` are other values that the same words may mean ('twelve fifty': 12.50),
    ``soundalikes`` values of words that sound almost the same ('thirty': 13); ``why`` says in
    plain words what is unsure, None where nothing is.
    """

    value: Fraction
    text: str
    ambiguous: tuple[Fraction, ...] = ()
    soundalikes: tuple[Fraction, ...] = ()
    why: str | None = None

    @property
    def must_confirm(self) -> bool:
        """Whether the value must not be recorded before someone has confirmed it."""
        return self.why is not None


@dataclass(frozen=True)
class _Plain:
    """A reading before soundalikes are looked for."""

    value: Fraction
    ambiguous: tuple[Fraction, ...] = ()
    why: str | None = None


def split_words(words: Sequence[str] | str) -> Words:
    """Return lower-case words; hyphens inside numbers ('thirty-six') separate words.

    A comma may stand behind 'thousand', as in print, and nowhere else: 'four, one' is no 41.
    """
    given = words.split() if isinstance(words, str) else words
    plain = (word.lower().replace("thousand,", "thousand").replace("-", " ") for word in given)
    return tuple(part for word in plain for part in word.split())


def parse_number(words: Sequence[str] | str) -> NumberReading | None:
    """Return the number that ``words`` mean as a whole, None where they are no number."""
    said = split_words(words)
    plain = _signed(said)
    if plain is None:
        return None
    alike: dict[Fraction, str] = {}
    for index, word in enumerate(said):
        if word in SOUNDS_LIKE:
            other = _signed((*said[:index], SOUNDS_LIKE[word], *said[index + 1 :]))
            if other is not None and other.value != plain.value:
                alike.setdefault(other.value, f"'{word}' sounds like '{SOUNDS_LIKE[word]}'")
    why = plain.why or next(iter(alike.values()), None)
    return NumberReading(plain.value, " ".join(said), plain.ambiguous, tuple(alike), why)


def _signed(words: Words) -> _Plain | None:
    if words and words[0] in MINUS:
        plain = _unsigned(words[1:])
        if plain is None:
            return None
        return _Plain(-plain.value, tuple(-value for value in plain.ambiguous), plain.why)
    return _unsigned(words)


def _unsigned(words: Words) -> _Plain | None:
    if not words:
        return None
    for index, word in enumerate(words):
        if word in POINTS:
            return _decimal(words[:index], words[index + 1 :])
    if words[-1] in PARTS:
        return _fraction(words)
    return whole(words)


def whole(words: Words) -> _Plain | None:
    """Read a number without point or parts."""
    value = cardinal(words)
    if value is not None:
        return _Plain(Fraction(value))
    return _digits(words) or _groups(words)


def under_hundred(words: Words) -> int | None:
    """Read 1 to 99 said as one number."""
    if len(words) == 1:
        return ONES.get(words[0]) or TEENS.get(words[0]) or TENS.get(words[0])
    if len(words) == 2 and words[0] in TENS and words[1] in ONES:
        return TENS[words[0]] + ONES[words[1]]
    return None


def cardinal(words: Words) -> int | None:
    """Read a whole number said in full, 0 to 999 999."""
    if len(words) == 1 and DIGITS.get(words[0]) == 0:
        return 0
    if "thousand" in words:
        cut = words.index("thousand")
        front = 1 if words[:cut] in ((), ("a",)) else _under_thousand(words[:cut])
        return _joined(front, 1000, words[cut + 1 :])
    return _under_thousand(words)


def _under_thousand(words: Words) -> int | None:
    if "hundred" not in words:
        return under_hundred(words)
    cut = words.index("hundred")
    front = 1 if words[:cut] in ((), ("a",)) else under_hundred(words[:cut])
    if front is not None and front >= 10 and front % 10 == 0:
        return None  # nobody says 'twenty hundred' for two thousand
    return _joined(front, 100, words[cut + 1 :])


def _joined(front: int | None, scale: int, rest: Words) -> int | None:
    if front is None:
        return None
    if not rest:
        return front * scale
    rest = rest[1:] if rest[0] == "and" else rest
    back = under_hundred(rest) if scale == 100 else _under_thousand(rest)
    return None if back is None or back >= scale else front * scale + back


def _digits(words: Words) -> _Plain | None:
    if len(words) < 2 or any(word not in DIGITS for word in words):
        return None
    figures = "".join(str(DIGITS[word]) for word in words)
    value = Fraction(figures)
    if figures[0] != "0":
        return _Plain(value)
    why = f"'{' '.join(words)}' starts with a zero and may be a decimal"
    return _Plain(value, (Fraction(f"{figures[0]}.{figures[1:]}"),), why)


def _two_figures(words: Words) -> int | None:
    """Read 10 to 99 said as one number, or 'oh five'."""
    value = under_hundred(words)
    if value is not None and value >= 10:
        return value
    if len(words) == 2 and DIGITS.get(words[0]) == 0 and words[1] in ONES:
        return ONES[words[1]]
    return None


def _groups(words: Words) -> _Plain | None:
    """Read 'one twenty', 'twelve fifty', 'twelve oh five' and 'sixty six four twelve'."""
    said = " ".join(words)
    for cut in range(1, len(words)):
        front, back = under_hundred(words[:cut]), _two_figures(words[cut:])
        if front is not None and back is not None:
            value = Fraction(100 * front + back)
            why = f"'{said}' may be {100 * front + back} or {front}.{back:02d}"
            return _Plain(value, (value / 100,), why)
    for cut in range(1, len(words) - 1):
        front, middle = under_hundred(words[:cut]), ONES.get(words[cut])
        back = _two_figures(words[cut + 1 :])
        if front is not None and front >= 10 and middle is not None and back is not None:
            value = Fraction(1000 * front + 100 * middle + back)
            return _Plain(value, (), f"'{said}' is said in groups and may be {value}")
    return None


def _decimal(before: Words, after: Words) -> _Plain | None:
    front = whole(before) if before else _Plain(Fraction(0))
    if front is None or not after:
        return None
    if all(word in DIGITS for word in after):
        figures = "".join(str(DIGITS[word]) for word in after)
    else:
        two = under_hundred(after)
        if two is None:
            return None
        figures = str(two)
    tail = Fraction(f"0.{figures}")
    # A point ends the doubt over 'one twenty', which can then only be the whole part.
    leading_zero = before and len(before) > 1 and DIGITS.get(before[0]) == 0
    return None if leading_zero else _Plain(front.value + tail)


def _fraction(words: Words) -> _Plain | None:
    if "and" in words[1:]:
        cut = len(words) - 1 - words[::-1].index("and")
        front, part = whole(words[:cut]), part_of(words[cut + 1 :])
        if front is None or part is None:
            return None
        return _Plain(front.value + part, tuple(v + part for v in front.ambiguous), front.why)
    part = part_of(words)
    if part is None:
        return None
    if PARTS[words[-1]] == 4 and words[-1].startswith("quarter"):
        # 'three quarters' and 'three quarts' differ by one unstressed vowel.
        count = part * 4
        said = " ".join(words)
        quarts = "1 quart" if count == 1 else f"{count} quarts"
        return _Plain(part, (count,), f"'{said}' may be {part} or {quarts}")
    return _Plain(part)


def part_of(words: Words, *, bare: bool = False) -> Fraction | None:
    """Read a proper fraction: 'half', 'a third', 'two thirds', 'three quarters'.

    ``bare`` also takes 'quarter' and 'third' alone, as in 'quarter of a quart'.
    """
    if not words or words[-1] not in PARTS:
        return None
    below = PARTS[words[-1]]
    several = words[-1].endswith("s") or words[-1] == "halves"
    count = words[:-1]
    if count in ((), ("a",), ("an",), ("one",)):
        above = None if several or not (count or bare or below == 2) else 1
    else:
        above = under_hundred(count) if several else None
    if above is None or above >= below:
        return None
    return Fraction(above, below)
