"""The sheet as a page: complete, escaped, self-contained, legible."""

import re
from html.parser import HTMLParser
from itertools import product
from pathlib import Path

import pytest

from joblog.cli import main
from joblog.job.grammar import grammar_text
from joblog.sheet.load import library, load_sheet, sheet_from_text, sheet_text
from joblog.sheet.page import sheet_page

BASE = sheet_text(Path(__file__).parent / "data" / "gear-case.toml")
VOID = {"meta", "br", "hr", "img", "link"}


class Reader(HTMLParser):
    """Collects the text, and complains where a tag is not closed in order."""

    def __init__(self, page):
        super().__init__()
        self.open, self.tags, self.attrs, self.words = [], [], [], []
        self.feed(page)
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attrs += attrs
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.words.append(data)

    @property
    def text(self):
        return " ".join(" ".join(self.words).split())


def page_of(text):
    sheet = sheet_from_text(text)
    return sheet_page(sheet, {"Steps": [("level read", "marks: the level")]}, grammar_text(sheet))


def test_everything_that_matters_stands_on_it():
    text = Reader(page_of(BASE)).text
    for words in (
        "EXAMPLE VALUES", "GC-3: it takes another oil; use the sheet gear-case-three",
        "Lock the power out", "service 2.5 L", "30 ± 3 N·m", "then 90° ± 10° further",
        "Long torque wrench to 35.6 N·m, through Crow-foot",  # 40 * 400/450, by hand
        "120 to 600 s after “Run for a minute, then stop”", "oil level: 10 to 20 mm",
        "after 40000 km, 12 months, whichever comes first", "#JSGF V1.0", "only when",
    ):  # fmt: skip
        assert words.lower() in text.lower(), words


def test_words_of_a_sheet_never_become_markup():
    nasty = "<script>alert(1)</script> & <b onload='x'>"
    text = BASE
    for field in ("title", "summary", "why", "name", "specification", "text", "revision"):
        text = re.sub(rf'^{field} = ".*"$', f'{field} = "{nasty}"', text, flags=re.MULTILINE)
    text = text.replace('unit = "GC-3", why = "it takes', f'unit = "GC-3", why = "{nasty}')
    text = text.replace("the power is locked out", nasty)
    page = Reader(page_of(text.replace('fastener = "drain plug"', 'fastener = "plug <i>"')))
    assert not {"script", "b", "i"} & set(page.tags)
    assert page.text.count("<script>alert(1)</script> & <b onload='x'>") > 20


def test_it_needs_nothing_beside_itself_and_names_its_language():
    page = page_of(BASE)
    read = Reader(page)
    assert ("lang", "en") in read.attrs
    assert ("content", "width=device-width, initial-scale=1") in read.attrs
    assert read.tags.count("h1") == 1
    assert not {"script", "link", "img", "iframe"} & set(read.tags)
    assert not re.search(r"url\(|@import|https?:", page)
    assert "@media print" in page


def luminance(colour):
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize(("mode", "ink"), list(product((0, 1), ("ink", "soft", "accent"))))
def test_contrast_is_that_of_wcag_aa(mode, ink):
    # WCAG 2.2, success criterion 1.4.3: at least 4.5 to 1, by day (0) and by night (1)
    found = re.findall(rf"--({ink}|paper): (#[0-9a-f]{{6}})", page_of(BASE))
    day_or_night = dict(found[2 * mode : 2 * mode + 2])
    light, dark = sorted((luminance(c) for c in day_or_night.values()), reverse=True)
    assert (light + 0.05) / (dark + 0.05) >= 4.5


def test_command_writes_it(tmp_path, capsys):
    file = tmp_path / "sheet.html"
    assert main(["sheet", "show", "transaxle-drain-fill", "--html", str(file)]) == 0
    text = Reader(file.read_text("utf-8")).text
    assert "confirm because checked twice" in text
    assert main(["sheet", "show", "coolant", "--html", str(tmp_path / "no" / "x.html")]) == 1
    assert "can't be written" in capsys.readouterr().err


@pytest.mark.parametrize("key", sorted(library()))
def test_every_shipped_sheet_makes_a_page(key):
    sheet = load_sheet(key)
    text = Reader(sheet_page(sheet, {}, "#JSGF")).text
    assert all(" ".join(step.title.split()) in text for step in sheet.steps)
