"""Free text made harmless and printable."""

from __future__ import annotations

import unicodedata

from hypothesis import given
from hypothesis import strategies as st

from joblog.report.text import breakable, clean, isolate, sentence

# The characters that reorder text: Unicode Standard Annex 9, table of explicit directional codes.
DIRECTIONAL = "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f\u061c"


def test_direction_overrides_are_taken_out() -> None:
    assert clean("invoice\u202egnp.exe") == "invoicegnp.exe"
    assert clean(f"a{DIRECTIONAL}b") == "ab"


def test_control_characters_and_line_ends_become_harmless() -> None:
    assert clean("a\x00b\x07c\x1b[31m\r\n\td") == "abc[31m d"


def test_joined_emoji_and_accents_stay() -> None:
    assert clean("👩‍🔧 Łódź Nguyễn") == "👩‍🔧 Łódź Nguyễn"


def test_letters_with_heaps_of_marks_are_kept_in_their_line() -> None:
    assert len(clean("e" + "\u0301" * 50)) <= 4


@given(st.text())
def test_nothing_that_acts_on_the_page_survives(text: str) -> None:
    left = clean(text)
    assert not set(left) & set(DIRECTIONAL)
    assert not [c for c in left if unicodedata.category(c) in {"Cc", "Cs", "Cn", "Co"}]
    assert clean(left) == left


@given(st.text(alphabet=st.characters(categories=["L", "N"]), max_size=200))
def test_breaking_places_change_nothing_that_is_read(text: str) -> None:
    assert breakable(text).replace("\u200b", "") == text


def test_a_very_long_word_can_be_broken_and_a_short_one_is_left_alone() -> None:
    assert max(len(part) for part in breakable("x" * 90).split("\u200b")) < 25
    assert breakable("transaxle fluid") == "transaxle fluid"


def test_a_name_from_right_to_left_is_fenced() -> None:
    assert isolate("שלום") == "\u2068שלום\u2069"
    assert isolate("Okafor") == "Okafor"


def test_a_sentence_starts_large_and_ends_with_a_stop() -> None:
    assert sentence("slow gear changes") == "Slow gear changes."
    assert sentence("Is it done?") == "Is it done?"
    assert sentence("  ") == ""
