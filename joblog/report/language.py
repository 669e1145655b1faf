"""Words, numbers, dates and units in the reader's language.

English is the language of the source; another is a file ``locale/<code>.po`` (GNU gettext), which a
translator can add without touching code; ``locale/sheets/<code>.po`` holds the texts of job sheets.
Numbers, dates and lists follow CLDR through Babel.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from datetime import date as Day  # noqa: N812  # the methods below have the short names
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from gettext import GNUTranslations, NullTranslations
from io import BytesIO
from pathlib import Path
from typing import Any

from babel import Locale, UnknownLocaleError
from babel.dates import (
    format_date,
    format_datetime,
    format_skeleton,
    get_timezone,
    get_timezone_name,
)
from babel.lists import format_list
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from babel.numbers import format_decimal, format_percent

from joblog.errors import InputError
from joblog.report.text import clean, isolate

LOCALES = Path(__file__).with_name("locale")
Number = Decimal | Fraction | int
_MOST_PLACES = 6  # more decimals than any tool shows


def languages() -> list[str]:
    """Return the codes that a report can be written in."""
    return sorted({"en", *(path.stem for path in LOCALES.glob("*.po"))})


def name_of(code: str) -> str:
    """Return what those who speak it call a language ('Español', 'English (Canada)')."""
    locale = Locale.parse(code.replace("-", "_"))
    name = locale.get_display_name() or code
    return name[:1].upper() + name[1:]


@lru_cache
def _catalogue(code: str) -> NullTranslations:
    return _read(LOCALES / f"{code}.po", code)


@lru_cache
def _sheet_texts(code: str) -> NullTranslations:
    return _read(LOCALES / "sheets" / f"{code}.po", code)


def _read(path: Path, code: str) -> NullTranslations:
    if not path.exists():
        return NullTranslations()
    compiled = BytesIO()
    with path.open("rb") as file:
        write_mo(compiled, read_po(file, locale=code))
    compiled.seek(0)
    return GNUTranslations(compiled)


def to_decimal(value: Number, places: int) -> Decimal:
    """Return ``value`` rounded to ``places`` decimals, halves away from zero, at any size."""
    exact = Fraction(value)
    doubled, rest = 2 * abs(exact.numerator) * 10**places, 2 * exact.denominator
    digits = (doubled + exact.denominator) // rest
    return Decimal((int(exact < 0), tuple(int(d) for d in str(digits)), -places))


@dataclass(frozen=True)
class Language:
    """One language and time zone that a report is written in."""

    code: str
    locale: Locale
    zone: tzinfo

    @classmethod
    def find(cls, code: str, zone: str = "UTC") -> Language:
        """Return the language ``code`` ('en', 'es').

        Raises InputError where there is no catalogue for it or the time zone is unknown.
        """
        base = re.split(r"[-_]", code)[0].lower()
        if base not in languages():
            raise InputError(
                f"there is no report in the language {code!r}; choose one of "
                f"{', '.join(languages())}, or add a catalogue for it"
            )
        try:
            locale = Locale.parse(code.replace("-", "_"))
        except (UnknownLocaleError, ValueError):
            locale = Locale.parse(base)
        try:
            return cls(base, locale, get_timezone(zone))
        except LookupError as error:
            raise InputError(
                f"the time zone {zone!r} is unknown; write one such as 'Europe/London'"
            ) from error

    @property
    def direction(self) -> str:
        """'ltr' or 'rtl'."""
        return str(self.locale.text_direction)

    def say(self, message: str, **fields: object) -> str:
        """Return ``message`` translated, its ``{fields}`` filled in."""
        return self._fill(_catalogue(self.code).gettext(message), fields)

    def count(self, one: str, many: str, n: int, **fields: object) -> str:
        """Return the message for ``n`` things; ``{n}`` is the number."""
        text = _catalogue(self.code).ngettext(one, many, n)
        return self._fill(text, {"n": self.number(n), **fields})

    def sheet(self, text: str | None) -> str:
        """Return a sheet's own text, translated where the catalogue knows it."""
        plain = clean(text or "")
        return _sheet_texts(self.code).gettext(plain) if plain else ""

    def number(self, value: Number, places: int | None = None) -> str:
        """Return a number as the language writes it, rounded half up to ``places``."""
        if places is None:
            most = _MOST_PLACES if isinstance(value, Decimal) else 2
            places = next((n for n in range(most) if Fraction(value) * 10**n % 1 == 0), most)
        pattern = "#,##0" + ("." + "0" * places if places else "")
        return str(format_decimal(to_decimal(value, places), pattern, locale=self.locale))

    def percent(self, share: Number, places: int = 0) -> str:
        """Return a share of 0..1 as per cent, whole or with ``places`` decimals."""
        exact = to_decimal(share, 2 + places)
        return str(format_percent(exact, locale=self.locale, decimal_quantization=not places))

    def date(self, at: str | datetime) -> str:
        """Return the day of ``at``, spelled out."""
        return str(format_date(self.local(at), "long", locale=self.locale))

    def short_date(self, at: str | datetime) -> str:
        """Return the day of ``at``, the month shortened."""
        return str(format_date(self.local(at), "medium", locale=self.locale))

    def day(self, at: str, *, year: bool) -> str:
        """Return the day of ``at`` in few letters, unbroken: 'Nov 24', with its year if wanted."""
        skeleton = "yMMMd" if year else "MMMd"
        day = format_skeleton(skeleton, self.local(at), locale=self.locale)
        return str(day).replace(" ", "\u00a0")

    def month_of(self, day: Day) -> str:
        """Return month and year, without a time zone's help: a due date is a day, not a moment."""
        noon = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
        return str(format_skeleton("yMMMM", noon, locale=self.locale))

    def time(self, at: str, *, seconds: bool = False) -> str:
        """Return the time of day in the shop's zone, in 24 hours."""
        pattern = "HH:mm:ss" if seconds else "HH:mm"
        return str(format_datetime(self.local(at), pattern, locale=self.locale))

    def local(self, at: str | datetime) -> datetime:
        """Return an RFC 3339 time in the shop's zone."""
        when = at if isinstance(at, datetime) else datetime.fromisoformat(at)
        return when.astimezone(self.zone)

    def moment(self, at: str) -> str:
        """Return day and time in the shop's zone as figures, for the expert's pages."""
        return f"{self.local(at):%Y-%m-%d %H:%M:%S}"

    def zone_name(self, at: str) -> str:
        """Return the name of the shop's zone at that time: 'UTC', 'Greenwich Mean Time'."""
        name = self.local(at).tzname()
        if name == "UTC":
            return name
        return str(get_timezone_name(self.local(at), width="long", locale=self.locale))

    def span(self, seconds: Number) -> str:
        """Return a length of time in minutes and seconds, or hours and minutes."""
        total = int(to_decimal(seconds, 0))
        hours, minutes, rest = total // 3600, total // 60 % 60, total % 60
        if hours and not minutes:
            return self.say("{h} h", h=hours)
        if hours:
            return self.say("{h} h {m} min", h=hours, m=minutes)
        if minutes and rest:
            return self.say("{m} min {s} s", m=minutes, s=rest)
        return self.say("{m} min", m=minutes) if minutes else self.say("{s} s", s=rest)

    def listing(self, items: list[str]) -> str:
        """Return 'a, b and c'."""
        return str(format_list(items, locale=self.locale)) if items else ""

    @staticmethod
    def _fill(text: str, fields: dict[str, Any]) -> str:
        if not fields:
            return text
        safe = {k: isolate(v) if isinstance(v, str) else v for k, v in fields.items()}
        return text.format(**safe)
