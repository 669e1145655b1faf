"""Spellings: all of them, and none that would be another number."""

from __future__ import annotations

from fractions import Fraction

import pytest

from joblog.speech.grammar import Grammar
from joblog.speech.surface import expand_surfaces, surface_variants

HEAD = "#JSGF V1.0;\ngrammar t;\n"

# Spellings that English writing uses (common practice, no source).
EXPECTED = {
    "thirty six": {"thirty-six", "36", "Thirty-six"},
    "three six": {"36", "3 6", "3-6", "three six"},
    "one oh five": {"105", "one o five"},
    "one hundred and twenty": {"120"},
    "sixty six thousand four hundred twelve": {"66,412", "66412"},
    "four thousand": {"4,000", "4000"},
    "four thousand and six": {"4,006"},
    "three point three": {"3.3", "three point three"},
    "point five": {".5", "0.5"},
    "four point seven five": {"4.75"},
    "four point seventy five": {"4.75"},
    "three and a half": {"3.5", "3 1/2", "3½", "3 and a half"},
    "foot pounds": {"foot-pounds", "ft-lbs", "ft lbs"},
    "pound feet": {"pound-feet", "lb-ft"},
    "ten newton meters": {"10 Newton meters", "10Nm", "10 Nm"},
    "minus ten degrees celsius": {"-10°C", "minus 10 degrees Celsius"},
    "okay": {"ok", "OK", "Okay"},
    "twelve ounce": {"12-ounce", "12 oz"},
    "thirty p s i": {"30 PSI", "30 psi"},
}


@pytest.mark.parametrize("words", EXPECTED)
def test_common_spellings_are_there(words: str) -> None:
    variants = surface_variants(tuple(words.split()))
    assert variants[0] == words
    assert EXPECTED[words] <= set(variants)


def _figures(text: str) -> Fraction | None:
    """The number that a purely numeric spelling means."""
    compact = text.replace(",", "").replace("-", "").replace(" ", "")
    return Fraction(compact) if compact.replace(".", "", 1).isdigit() else None


VALUES = {
    "thirty six": "36", "three six": "36", "one twenty": "120", "twelve fifty": "1250",
    "one hundred six": "106", "one hundred": "100", "nine hundred ninety nine": "999",
    "sixty six thousand four hundred twelve": "66412", "two thousand five": "2005",
    "one hundred thousand": "100000", "three thousand two hundred": "3200",
    "twenty two point five": "22.5", "oh point five": "0.5", "one oh five point two": "105.2",
    "four point seventy five": "4.75", "thirty three point oh": "33.0", "twelve oh five": "1205",
}  # fmt: skip


@pytest.mark.parametrize("words", VALUES)
def test_figures_never_spell_another_number(words: str) -> None:
    numbers = {_figures(text) for text in surface_variants(tuple(words.split()))} - {None}
    assert numbers == {Fraction(VALUES[words])}


def test_a_whole_graph_reads_back_to_its_words() -> None:
    compiled = Grammar.from_text(
        HEAD + "public <r> = step <d> done {D} | torque [is] <t> [<d>] [point <d>] foot pounds;\n"
        "<d> = one | two | three | six;\n<t> = thirty | forty;\n"
    )
    surfaces = expand_surfaces(compiled.graph)
    assert surfaces.spoken(" Step 3 done.") == {("step", "three", "done")}
    assert surfaces.spoken(" step three, done") == {("step", "three", "done")}
    words = ("torque", "is", "thirty", "six", "point", "one", "foot", "pounds")
    assert surfaces.spoken(" Torque is 36.1 ft-lbs") == {words}
    assert surfaces.spoken(" Torque is thirty-six point one foot-pounds.") == {words}
    assert surfaces.spoken(" Torque is 306 foot pounds") == set()
    assert surfaces.spoken(" torque 36 Foot pounds,") == set()


def test_plain_words_are_always_among_the_spellings() -> None:
    compiled = Grammar.from_text(
        HEAD + "public <r> = a (b | c {X})* d [<e>] {Y}; <e> = six | oh;\n"
    )
    for options in ({}, {"numerals": False, "capitals": False, "punctuation": False}):
        surfaces = expand_surfaces(compiled.graph, **options)
        for words in compiled.sentences(60):
            assert words in surfaces.spoken("".join(f" {word}" for word in words))
    assert surfaces.arc_count < 2 * compiled.graph.arc_count
    tags = {tag for arcs in surfaces.arcs for arc in arcs for tag in arc.tags}
    tags |= {tag for owed in surfaces.final_tags.values() for tag in owed}
    assert tags == {"X", "Y"}
