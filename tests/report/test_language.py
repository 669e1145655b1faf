"""Languages: complete catalogues, numbers and dates by locale."""

from __future__ import annotations

import string
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from babel.messages.pofile import read_po

from joblog.errors import InputError
from joblog.report.catalogue import messages, sheet_messages, sheet_texts
from joblog.report.language import LOCALES, Language, languages, to_decimal
from joblog.report.model import Report
from joblog.report.settings import ShopSettings
from joblog.sheet.load import library, load_sheet

OTHERS = [code for code in languages() if code != "en"]


def fields(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name is not None}


def test_spanish_is_there() -> None:
    assert "es" in OTHERS


@pytest.mark.parametrize("code", OTHERS)
def test_every_message_is_translated_with_the_same_fields(code: str) -> None:
    with (LOCALES / f"{code}.po").open("rb") as file:
        catalogue = read_po(file, locale=code)
    for message in messages():
        one = message if isinstance(message, str) else message[0]
        found = catalogue.get(one)
        assert found is not None, one
        said = [found.string] if isinstance(found.string, str) else list(found.string)
        assert all(said), one
        wanted = fields(one) if isinstance(message, str) else fields(one) | fields(message[1])
        for text in said:
            assert fields(text) <= wanted | {"n"}, one
            assert fields(said[-1]) == wanted, one


def test_a_sheets_own_words_are_translated_where_the_catalogue_has_them() -> None:
    es = Language.find("es")
    assert es.sheet("Torque wrench") == "Llave dinamométrica"
    assert es.sheet("A sentence that no sheet says") == "A sentence that no sheet says"


@pytest.mark.parametrize("code", OTHERS)
def test_the_shipped_sheets_are_translated_but_for_what_changed_lately(code: str) -> None:
    with (LOCALES / "sheets" / f"{code}.po").open("rb") as file:
        catalogue = read_po(file, locale=code)
    wanted = sheet_messages()
    known = [m for m in wanted if (found := catalogue.get(str(m))) and found.string]
    assert len(known) >= 0.9 * len(wanted)


def test_what_translators_get_holds_every_sheet() -> None:
    offered = set(sheet_messages())
    for path in library().values():
        assert set(sheet_texts(load_sheet(path))) <= offered


def test_plurals_follow_the_language() -> None:
    es = Language.find("es")
    assert es.count("{n} photo", "{n} photos", 1) == "1 foto"
    assert es.count("{n} photo", "{n} photos", 2) == "2 fotos"


def test_numbers_and_dates_follow_the_locale() -> None:
    # Separators and month names: Unicode CLDR, locales en and es.
    en, es = Language.find("en"), Language.find("es")
    assert en.number(Decimal("12345.5")) == "12,345.5"
    assert es.number(Decimal("12345.5")) == "12.345,5"
    assert en.percent(Fraction(44, 100)) == "44%"
    assert es.percent(Fraction(44, 100)) == "44\u00a0%"
    assert en.date("2026-11-24T09:12:00Z") == "November 24, 2026"
    assert es.date("2026-11-24T09:12:00Z") == "24 de noviembre de 2026"
    assert es.month_of(date(2030, 11, 24)) == "noviembre de 2030"


def test_times_are_those_of_the_shop() -> None:
    # Central European Time is one hour ahead of UTC in winter, two in summer.
    madrid = Language.find("es", "Europe/Madrid")
    assert madrid.time("2026-11-24T23:30:00.000Z") == "00:30"
    assert madrid.time("2026-07-01T22:00:00.000Z") == "00:00"


def test_the_foot_names_the_zone_once(full: Any, make: Callable[..., Report]) -> None:
    utc = make(full)
    assert utc.times == "Times: UTC"
    assert str(utc.to_dict()).replace("'time_zone': 'UTC'", "").count("UTC") == 1
    # The script starts at 09:12 UTC; Central European Time is one hour ahead in November.
    madrid = make(full, settings=ShopSettings(time_zone="Europe/Madrid"))
    assert madrid.times == "Times: Central European Standard Time"
    when = next(f.text for f in madrid.front.people if f.label == "When")
    assert "10:12 to " in when
    assert "2026-11-24 10:12:00" in next(f.text for f in madrid.record if f.label == "Entries")
    assert "UTC" not in str(madrid.to_dict())


@pytest.mark.parametrize(
    ("value", "places", "wanted"),
    [(Fraction(1, 3), 2, "0.33"), (Fraction(5, 2), 0, "3"), (Decimal("2.345"), 2, "2.35")],
)
def test_rounding_is_half_up_and_exact(value: Fraction | Decimal, places: int, wanted: str) -> None:
    assert to_decimal(value, places) == Decimal(wanted)


def test_an_unknown_language_or_zone_is_one_clear_sentence() -> None:
    with pytest.raises(InputError, match=r"language 'xx'.*choose one of en, es"):
        Language.find("xx")
    with pytest.raises(InputError, match="time zone 'Mars/Base'"):
        Language.find("en", "Mars/Base")


def test_spanish_calls_nothing_unsafe_that_is_only_not_sure() -> None:
    """ "Seguro" means safe, too: of a doubtful reading it would tell the customer of a danger."""
    with (LOCALES / "es.po").open("rb") as file:
        told = {str(m.id): str(m.string) for m in read_po(file, locale="es")}
    assert told["not sure"] == "dudoso"
    assert told["How sure"] == "Certeza o margen"
    unsafe = {i for i, words in told.items() if "segur" in words.lower() and "safe" not in i}
    assert unsafe == set()
