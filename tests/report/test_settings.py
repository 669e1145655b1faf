"""The shop's own face."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image

from joblog.errors import InputError
from joblog.report.settings import contrast_on_white, load_settings


def write(folder: Path, text: str) -> Path:
    path = folder / "shop.toml"
    path.write_text(text, encoding="utf-8")
    return path


# Ratios worked out in WCAG 2.2 terms (1.4.3), cross-checked with a published library.
@pytest.mark.parametrize(
    ("colour", "ratio"),
    [
        ("#000000", 21.0),
        ("#767676", 4.5422),
        ("#777777", 4.4781),
        ("#ff0000", 3.9985),
        ("#008000", 5.1374),
        ("#0000ff", 8.5925),
    ],
)
def test_contrast_is_that_of_wcag(colour: str, ratio: float) -> None:
    assert contrast_on_white(colour) == pytest.approx(ratio, abs=5e-4)


def test_settings_and_logo_are_read(tmp_path: Path) -> None:
    Image.new("RGBA", (80, 40), "navy").save(tmp_path / "logo.png")
    text = (
        '[shop]\nname = "Harrow Lane"\nlogo = "logo.png"\naccent = "#0000FF"\naddress = ["1 Lane"]'
    )
    settings = load_settings(write(tmp_path, text))
    assert settings.name == "Harrow Lane"
    assert settings.accent == "#0000ff"
    assert settings.logo


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('accent = "#ffff00"', "accent: the colour #ffff00 is too pale"),
        ('accent = "red"', "accent: write the colour as"),
        ('nmae = "x"', "nmae: there is no such field; write 'name'"),
        ("name = ", "can't be read: line 1: this value can't be read; write text in quotes"),
        ('[shop]\nname = "x', "can't be read: line 2: a quote is missing"),
        ("[shop]\n[shop]", "line 2: this table is there already; take one of the two out"),
        ("shop = 3", r"write \[shop\] as a table"),
        ("name = 3", "name: write text in quotes"),
        ('address = "1 Lane"', 'address: write a list: address = \\["14'),
        ('language = "xx"', "language: there is no report in the language 'xx'; choose one of en"),
        ('units = "imperial"', "units: write 'us', 'metric' or 'both'"),
        ('paper = "A4"', "paper: write 'a4' or 'letter'"),
        ('logo = "no.png"', "the logo .* can't be read"),
    ],
)
def test_a_mistake_is_told_with_its_field(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(InputError, match=told):
        load_settings(write(tmp_path, text))
