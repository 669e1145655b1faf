"""The compiled graph against two references: regular expressions, and pocketsphinx's compiler."""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import product
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from joblog.errors import GrammarError
from joblog.speech.grammar import Grammar

HEAD = "#JSGF V1.0;\ngrammar t;\n"
WORDS = ("a", "b", "c")
SENTENCES = [words for length in range(5) for words in product(WORDS, repeat=length)]

# Pairs of the same language: JSGF and a regular expression over 'word ' pieces.
Pair = tuple[str, str]
LEAVES = st.sampled_from([*((w, f"{w} ") for w in WORDS), ("<NULL>", ""), ("<VOID>", "(?!)")])


def _join(parts: Sequence[Pair], jsgf: str, regex: str) -> Pair:
    return f"({jsgf.join(p[0] for p in parts)})", f"(?:{regex.join(p[1] for p in parts)})"


def _unary(item: Pair, operator: str) -> Pair:
    jsgf, regex = item
    if operator == "[]":
        return f"[{jsgf}]", f"(?:{regex})?"
    return f"({jsgf}){operator}", f"(?:{regex}){operator}"


EXPRESSIONS = st.recursive(
    LEAVES,
    lambda inner: st.one_of(
        st.lists(inner, min_size=2, max_size=3).map(lambda parts: _join(parts, " ", "")),
        st.lists(inner, min_size=2, max_size=3).map(lambda parts: _join(parts, " | ", "|")),
        st.tuples(inner, st.sampled_from(["[]", "*", "+"])).map(lambda pair: _unary(*pair)),
    ),
    max_leaves=7,
)


@settings(max_examples=60)
@given(EXPRESSIONS)
def test_any_expression_means_what_its_regular_expression_means(pair: Pair) -> None:
    jsgf, regex = pair
    # 'end' keeps a grammar of nothing but <NULL> or <VOID> a grammar.
    compiled = Grammar.from_text(f"{HEAD}public <r> = <x> | end;\n<x> = {jsgf};\n")
    for words in SENTENCES:
        expected = re.fullmatch(regex, "".join(f"{w} " for w in words)) is not None
        assert compiled.graph.accepts(words) is expected
        assert (compiled.parse(words) is not None) is expected


@settings(max_examples=30)
@given(EXPRESSIONS, EXPRESSIONS)
def test_parser_and_graph_agree_on_tags_where_the_words_decide(one: Pair, two: Pair) -> None:
    text = f"{HEAD}public <r> = ({one[0]}) x {{X}} | ({two[0]}) y {{Y}} | end;\n"
    compiled = Grammar.from_text(text)
    for words in SENTENCES[:40]:
        for last in ("x", "y"):
            parse = compiled.parse((*words, last))
            if parse is not None:
                assert parse.tags == (last.upper(),)
                assert _tags_on_path(compiled, parse.words) == parse.tags


def _tags_on_path(compiled: Grammar, words: Sequence[str]) -> tuple[str, ...]:
    graph = compiled.graph
    assert graph.deterministic
    state, tags = graph.start, ()
    for word in words:
        arc = next(arc for arc in graph.arcs[state] if arc.word == word)
        state, tags = arc.next, tags + arc.tags
    return tags + tuple(graph.final_tags.get(state, ()))


# pocketsphinx 5.1.1 (BSD), test/data/cards/cards.gram and test/data/goforward.gram, with the
# transcripts of the recordings beside them.
CARDS = """#JSGF v1.0;
grammar cards;
public <cards> = <cards_3> | <cards_2> | <card> | <cards_same_suit> | <cards_no_suit>;
<cards_3> = <card> <card> <card>;
<cards_2> = <card> <card>;
<cards_same_suit> = <rank> <card>;
<cards_no_suit> = <rank> <rank>;
<card> = <rank> [ of ] <suits>;
<suits> = clubs | hearts | diamonds | spades;
<rank> = ace | two | three | four | five | six | seven | eight | nine | ten | jack | queen | king
       | lady;
"""
GOFORWARD = """#JSGF V1.0;
grammar goforward;
public <move> = go forward ten meters;
public <move2> = go <direction> <distance> [meter | meters];
<direction> = forward | backward;
<distance> = one | two | three | four | five | six | seven | eight | nine | ten;
"""
SAID = [
    (CARDS, "ten of clubs"),
    (CARDS, "four queen of clubs"),
    (CARDS, "seven of clubs"),
    (CARDS, "five five"),
    (CARDS, "eight of spades four of clubs seven of hearts"),
    (GOFORWARD, "go forward ten meters"),
    (GOFORWARD, "go backward two"),
]


@pytest.mark.parametrize(("text", "sentence"), SAID)
def test_grammars_and_transcripts_of_recorded_speech(text: str, sentence: str) -> None:
    compiled = Grammar.from_text(text)
    assert compiled.parse(sentence) is not None
    assert compiled.parse(sentence + " five of") is None


REFERENCE_RULES = [
    "public <r> = a b* | c+ [a];",
    "public <r> = [a] (b | c) [b | c a];",
    "public <r> = <x> | <x> a <r>; <x> = b | c c;",
    "public <r> = a (b) (c) | c;",
    # <VOID> stands first: in a later alternative it makes pocketsphinx 5.1.1 lose the earlier ones.
    "public <r> = <VOID> c | <NULL> (a [b] a) | b;",
    "public <r> = /3/ a b | /1/ c {T} | /2/ b {U} a;",
    "public <r> = <y>* a; <y> = b | c b;",
    "public <r> = (a | b)+ c {X};",
]


@pytest.mark.parametrize("rules", REFERENCE_RULES)
def test_against_the_compiler_of_pocketsphinx(rules: str, tmp_path: Path) -> None:
    pocketsphinx = pytest.importorskip("pocketsphinx")
    pocketsphinx.set_loglevel("FATAL")
    path = tmp_path / "t.gram"
    path.write_text(HEAD + rules + "\n", encoding="utf-8")
    reference = pocketsphinx.Jsgf(str(path))
    fsg = reference.build_fsg(reference.get_rule("t.r"), pocketsphinx.LogMath(), 1.0)
    compiled = Grammar.from_file(path)
    for words in SENTENCES[1:]:
        assert compiled.graph.accepts(words) is bool(fsg.accept(" ".join(words))), words


@pytest.mark.parametrize("text", [CARDS, GOFORWARD])
def test_reference_accepts_what_we_enumerate(text: str, tmp_path: Path) -> None:
    pocketsphinx = pytest.importorskip("pocketsphinx")
    pocketsphinx.set_loglevel("FATAL")
    path = tmp_path / "t.gram"
    path.write_text(text, encoding="utf-8")
    reference = pocketsphinx.Jsgf(str(path))
    compiled = Grammar.from_file(path)
    names = re.findall(r"public <(\w+)>", text)
    logmath = pocketsphinx.LogMath()
    fsgs = [
        reference.build_fsg(reference.get_rule(f"{compiled.name}.{name}"), logmath, 1.0)
        for name in names
    ]
    for words in [*compiled.sentences(150), *compiled.graph.sample(150)]:
        assert any(fsg.accept(" ".join(words)) for fsg in fsgs)


def test_phrases_share_one_copy_of_a_large_rule() -> None:
    number = "<n> = (<d> | <t> [<d>])+ [point <d>+];\n<d> = " + " | ".join("abcdefghij") + ";\n"
    number += "<t> = " + " | ".join(f"t{letter}" for letter in "abcdefgh") + ";\n"
    phrases = "".join(
        f"public <p{i}> = item{i} {{P{i}}} to <n> | at <n> item{i};\n" for i in range(60)
    )
    one = Grammar.from_text(HEAD + "public <x> = <n>;\n" + number)
    many = Grammar.from_text(HEAD + phrases + number)
    assert many.graph.arc_count < 3 * one.graph.arc_count + 60 * 4
    parse = many.parse("item7 to ta b point c")
    assert parse is not None
    assert parse.tags == ("P7",)
    assert parse.text("n") == "ta b point c"


def test_text_compiles_once() -> None:
    assert Grammar.from_text(CARDS) is Grammar.from_text(CARDS)


def test_sentences_come_shortest_first_and_samples_are_sentences() -> None:
    compiled = Grammar.from_text(CARDS)
    lengths = [len(words) for words in compiled.sentences(400)]
    assert lengths == sorted(lengths)
    assert len(lengths) == 400
    assert all(compiled.parse(words) for words in compiled.graph.sample(50, seed=3))


WEIGHTED = """public <r> = /4/ <x> <y> | /1/ <y> <x> {T} | /2/ (a | /1/ b) c;
<x> = /3/ a | /1/ b | /2/ c [a];
<y> = (/5/ a | /1/ c)* b;
"""


def test_weights_of_graph_and_parse_agree() -> None:
    text = HEAD + WEIGHTED.replace("(a | /1/ b)", "(/1/ a | /1/ b)")
    compiled = Grammar.from_text(text)
    found = 0
    for words in SENTENCES:
        score, parse = compiled.graph.score(words), compiled.parse(words)
        assert (score is None) is (parse is None)
        if score is not None and parse is not None:
            found += 1
            assert score == pytest.approx(parse.weight, abs=1e-6)
            assert score <= 1e-9
    assert found > 20


PIECES = st.sampled_from(
    ["#JSGF V1.0;", "grammar", "t", ";", "public", "<r>", "=", "a", "|", "(", ")", "[", "]", "*",
     "+", "{T}", "/2/", '"', "<", ">", "/*", "*/", "//", "\n", "import", "<t.r>", "###", "{", "}"]
)  # fmt: skip


@settings(max_examples=300)
@example(["{", "\n", "}"], True)
@example(["/", "\n", "/", "one"], True)
@given(st.lists(PIECES, max_size=25), st.booleans())
def test_any_text_is_a_grammar_or_one_sentence(pieces: list[str], headed: bool) -> None:
    text = (HEAD + "public <r> = " if headed else "") + " ".join(pieces)
    sentence = "g: ."
    try:
        compiled = Grammar.from_text(text + (";" if headed else ""), source="g")
        assert next(compiled.sentences(1)) is not None
    except GrammarError as error:
        sentence = str(error)
    assert sentence.startswith("g:")
    assert sentence.endswith(".")
    assert "\n" not in sentence
