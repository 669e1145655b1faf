"""Which letters the report's fonts cover."""

from __future__ import annotations

from joblog.report.fonts import FOLDER, not_covered


def test_european_hebrew_arabic_letters_and_emoji_are_covered() -> None:
    text = "Łódź Żółć Nguyễn Ångström Ünïcödé Имя Διογένης שלום مرحبا 👩‍🔧🚗🛠️"
    text += " 0–9 ± ≤ ≥ × ° µ □ · « » “ ”"
    assert not_covered(set(text)) == set()


def test_what_is_not_covered_is_known() -> None:
    assert not_covered(set("a田中b")) == {"田", "中"}


def test_every_font_has_its_licence_beside_it() -> None:
    families = {path.stem.split("_")[0].split("-")[0] for path in FOLDER.glob("*.ttf")}
    assert families
    for family in families:
        licence = (FOLDER / f"OFL-{family}.txt").read_text(encoding="utf-8")
        assert "SIL OPEN FONT LICENSE Version 1.1" in licence
