"""JSGF as the W3C Note of 5 June 2000 defines it, and one clear sentence for every mistake."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from joblog.errors import GrammarError
from joblog.speech.grammar import Grammar


def grammar(rules: str, name: str = "a", header: str = "#JSGF V1.0;") -> Grammar:
    return Grammar.from_text(f"{header}\ngrammar {name};\n{rules}\n")


STEP = (
    "// optional word, required group, alternatives\n"
    "public <step> = [please] (mark | log) step (one | two | three);"
)
TORQUE = """/* weights in slashes, private rules, tags */
public <torque> = torque (/3/ drain plug {DRAIN} | /1/ fill plug {FILL}) <num> <unit>;
<num> = <tens> [<ones>] | <teen>;
<tens> = twenty | thirty | forty | fifty;
<ones> = one | two | three | four | five | six | seven | eight | nine;
<teen> = thirteen | fourteen | fifteen | sixteen;
<unit> = foot pounds {FT_LBF} | newton meters {N_M};"""
DIGITS = """public <reading> = reading <digit>+ [point <digit>+];
<digit> = zero | oh | one | two | three | four | five | six | seven | eight | nine | niner;"""
NOTE = "public <note> = note very* (dark | light) (red | brown) | cancel that;"

# Judged by the Note and cross-checked with pocketsphinx 5.1.1's compiler. The last three are what
# pyjsgf 1.9.0 is known to get wrong.
CASES = [
    (STEP, "log step two", True),
    (STEP, "please mark step three", True),
    (STEP, "step two", False),
    (STEP, "please please log step one", False),
    (STEP, "log step four", False),
    (STEP, "log step", False),
    (TORQUE, "torque drain plug thirty six foot pounds", True),
    (TORQUE, "torque fill plug fifteen newton meters", True),
    (TORQUE, "torque drain plug forty foot pounds", True),
    (TORQUE, "torque drain plug thirty six", False),
    (TORQUE, "torque drain plug six foot pounds", False),
    (TORQUE, "torque plug thirty foot pounds", False),
    (TORQUE, "torque drain plug fifteen six foot pounds", False),
    (DIGITS, "reading three point three", True),
    (DIGITS, "reading oh", True),
    (DIGITS, "reading one two zero point five", True),
    (DIGITS, "reading", False),
    (DIGITS, "reading point five", False),
    (DIGITS, "reading three point", False),
    (DIGITS, "reading ten", False),
    (NOTE, "note dark red", True),
    (NOTE, "note very very light brown", True),
    (NOTE, "cancel that", True),
    (NOTE, "note red", False),
    (NOTE, "note dark very red", False),
    (NOTE, "note very dark", False),
    (NOTE, "cancel", False),
    ("public <r> = one two*;", "one two two", True),
    ("public <r> = one two*;", "one", True),
    ("public <r> = (one two)*;", "one two one two", True),
    ("public <r> = <d> [point <d>+]; <d> = one | two;", "one point", False),
    ("public <r> = one two*;", "one two one two", False),
    ("public <r> = a (b) (c) | d;", "d", True),
]


@pytest.mark.parametrize(("rules", "sentence", "expected"), CASES)
def test_published_sentences(rules: str, sentence: str, expected: bool) -> None:
    compiled = grammar(rules, "shop.test", "#JSGF V1.0 UTF-8 en;")
    assert (compiled.parse(sentence) is not None) is expected
    assert compiled.graph.accepts(sentence.split()) is expected


def test_tags_belong_to_the_item_before_and_come_in_order() -> None:
    # The W3C Note's rule for tags; the tags are those of the published example.
    parse = grammar(TORQUE).parse("torque drain plug thirty six foot pounds")
    assert parse is not None
    assert parse.tags == ("DRAIN", "FT_LBF")
    assert parse.text("num") == "thirty six"
    assert parse.text("tens") == "thirty"
    assert parse.text("teen") is None


def test_weights_are_relative_to_the_likeliest() -> None:
    compiled = grammar("public <s> = /10/ small | /2.5/ medium | /1e1/ large | /0/ never;")
    assert compiled.graph.score(["small"]) == 0.0
    assert compiled.graph.score(["medium"]) == pytest.approx(-1.3862943611)  # ln(2.5 / 10)
    assert compiled.graph.score(["large"]) == 0.0
    assert compiled.parse("never") is None
    assert "never" not in compiled.vocabulary


def test_special_rules_comments_quotes_and_escapes() -> None:
    compiled = grammar(
        '/** doc */ public <r> = <NULL> "New York" {city\\}\\\\} | x <VOID> '
        "| (y /* not z */ <NULL>);"
        "// public <late> = no;"
    )
    parse = compiled.parse("new york")
    assert parse is not None
    assert parse.tags == ("city}\\",)
    assert compiled.vocabulary == {"new", "york", "y"}


def test_reserved_words_are_words_inside_a_rule() -> None:
    # As pocketsphinx's test/unit/test_fsg/public.gram (BSD) has it.
    compiled = grammar("public <name> = grammar /* some comment */ | public | import;", "public")
    assert set(compiled.sentences(9)) == {("grammar",), ("public",), ("import",)}


def test_right_recursion_is_a_loop() -> None:
    compiled = grammar("public <c> = <a> | (<a> and <c>); <a> = stop {S} | start {T};")
    parse = compiled.parse("stop and start and stop")
    assert parse is not None
    assert parse.tags == ("S", "T", "S")
    assert compiled.parse("stop and") is None
    assert compiled.graph.arc_count == 3
    long = ["stop", *["and", "start"] * 400]
    assert compiled.parse(long) is not None


def test_recursion_without_a_word_ends() -> None:
    # As <nestedRightRecursion> of pocketsphinx's test/regression/test.gram (BSD).
    compiled = grammar("public <n> = something | <y>; <y> = another | <n>; public <z> = <y> more;")
    accepted = {" ".join(words) for words in compiled.sentences(9)}
    assert accepted == {"something", "another", "something more", "another more"}
    for sentence in accepted:
        assert compiled.parse(sentence) is not None


def test_imports_give_public_rules_by_all_their_names() -> None:
    numbers = "#JSGF V1.0;\ngrammar shop.numbers;\npublic <digit> = one | two;\n<own> = three;\n"
    texts = {"shop.numbers": numbers}
    for use in ("digit", "numbers.digit", "shop.numbers.digit"):
        for what in ("digit", "*"):
            text = (
                f"#JSGF V1.0;\ngrammar b;\nimport <shop.numbers.{what}>;\npublic <r> = say <{use}>;"
            )
            compiled = Grammar.from_text(text, imports=texts.__getitem__)
            parse = compiled.parse("say two")
            assert parse is not None
            assert parse.text("digit") == "two"
    text = "#JSGF V1.0;\ngrammar b;\nimport <shop.numbers.own>;\npublic <r> = say <own>;"
    with pytest.raises(GrammarError, match=r"g:3: <own> can't be imported .* not public"):
        Grammar.from_text(text, imports=texts.__getitem__, source="g")


def test_a_full_name_needs_no_import() -> None:
    numbers = "#JSGF V1.0;\ngrammar shop.numbers;\npublic <digit> = one;\n<own> = three;\n"
    texts = {"shop.numbers": numbers}
    text = "#JSGF V1.0;\ngrammar b;\npublic <r> = say <shop.numbers.digit>;"
    compiled = Grammar.from_text(text, imports=texts.__getitem__)
    assert list(compiled.sentences(9)) == [("say", "one")]
    for name, why in (
        ("shop.numbers.own", "can't be imported .* not public"),
        ("shop.letters.own", "'shop.letters' was not found; put letters.gram beside"),
    ):
        other = text.replace("shop.numbers.digit", name)
        with pytest.raises(GrammarError, match=f"g:3: .*{why}"):
            Grammar.from_text(other, imports=texts.__getitem__, source="g")


def test_a_rule_of_its_own_file_goes_by_every_name() -> None:
    for name in ("s", "b.s", "shop.b.s"):
        text = f"#JSGF V1.0;\ngrammar shop.b;\npublic <r> = say <{name}>;\n<s> = one;"
        assert list(Grammar.from_text(text).sentences(9)) == [("say", "one")]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_lines_end_as_any_machine_ends_them(tmp_path: Path, end: str) -> None:
    path = tmp_path / "a.gram"
    lines = ("#JSGF V1.0;", "grammar a; // a comment", "public <r> = one", "| two;", "<s> = <t>;")
    path.write_bytes(end.join(lines).encode())
    with pytest.raises(GrammarError, match=r"a\.gram:5: rule <t> is used"):
        Grammar.from_file(path)
    path.write_bytes(end.join(lines[:-1]).encode())
    assert set(Grammar.from_file(path).sentences(9)) == {("one",), ("two",)}


def test_files_import_from_their_folder(tmp_path: Path) -> None:
    (tmp_path / "numbers.gram").write_text(
        "#JSGF V1.0;\ngrammar shop.numbers;\npublic <digit> = one;\n", encoding="utf-8"
    )
    main = tmp_path / "main.gram"
    text = "#JSGF V1.0;\r\ngrammar m;\r\nimport <shop.numbers.*>;\r\npublic <m> = step <digit>;\r\n"
    main.write_bytes(b"\xef\xbb\xbf" + text.encode())
    assert Grammar.from_file(main).parse("step one") is not None
    main.write_text(text.replace("shop.numbers", "shop.letters"), encoding="utf-8")
    with pytest.raises(GrammarError, match=r"main.gram:3: .*'shop.letters' was not found; put"):
        Grammar.from_file(main)


def test_encoding_comes_from_the_header(tmp_path: Path) -> None:
    path = tmp_path / "latin.gram"
    text = "#JSGF V1.0 ISO8859-1 fr;\ngrammar l;\npublic <l> = café;\n"
    path.write_bytes(text.encode("latin-1"))
    assert Grammar.from_file(path).vocabulary == {"café"}
    path.write_bytes(text.replace(" ISO8859-1 fr", "").encode("latin-1"))
    with pytest.raises(GrammarError, match="is not text in utf-8"):
        Grammar.from_file(path)
    with pytest.raises(GrammarError, match="can't be read"):
        Grammar.from_file(tmp_path / "absent.gram")


HEAD = "#JSGF V1.0;\ngrammar a;\n"
MISTAKES = [
    ("", "g: the grammar is empty"),
    ("  \n", "g: the grammar is empty"),
    ("grammar a;\npublic <r> = x;", "g:1: the first line"),
    ("#JSGF V1.0;\npublic <r> = x;", "g:2: expected 'grammar'"),
    (HEAD, "no rule is public"),
    (HEAD + "<r> = x;", "no rule is public"),
    (HEAD + "public <r> = ;", "g:3: expected words"),
    (HEAD + "public <r> = a | ;", "g:3: expected words"),
    (HEAD + "public <r> = a", "g:3: expected ';', found the end of the file"),
    (HEAD + "public <r> = (a;", r"g:3: expected '\)'"),
    (HEAD + "public <r> = a\n[b;", r"g:4: expected '\]'"),
    (HEAD + "public <r> = <s>;", "g:3: rule <s> is used and not defined"),
    (HEAD + "public <r> = x;\n<s> = <t>;", "g:4: rule <t> is used and not defined"),
    (
        HEAD + "public <r> = x;\n<r> = y;",
        "g:4: <r> is defined a second time; the first is on line 3",
    ),
    (HEAD + "public <r> = ###;", "g:3: '###' can't be spoken"),
    (HEAD + 'public <r> = "a ###";', "g:3: '###' can't be spoken"),
    (HEAD + 'public <r> = "a;', "g:3: a quoted token is not closed"),
    (HEAD + "public <r> = a {t;", "g:3: a tag is not closed"),
    (HEAD + "/* c\npublic <r> = a;", "g:3: a comment is not closed"),
    (HEAD + "public <r> = /x/ a;", "g:3: the weight /x/ is not a number"),
    (HEAD + "public <r> = /-1/ a | /2/ b;", "g:3: the weight /-1/ is not a number"),
    (HEAD + "public <r> = /1/ a | b;", "g:3: give a weight to every alternative or to none"),
    (HEAD + "public <r> = /1e-300/ a | /1e300/ b;", "g:3: the weights are too far apart"),
    (HEAD + "public <r> = a\0b;", "g:3: .*x00b' holds a sign that can't be seen"),
    (
        HEAD + "public <r> = foot\u200bpounds;",
        "g:3: .*u200bpounds' holds a sign that can't be seen",
    ),
    (HEAD + "public <r> = /0/ a;", "g:3: at least one alternative needs a weight"),
    (HEAD + "public <r> = <r> a | b;", "g:3: <r> leads back to itself before the end"),
    (HEAD + "public <r> = a (<r>)* | b;", "g:3: <r> leads back to itself before the end"),
    (HEAD + "public <r> = a <s>;\n<s> = b <r> c | d;", "g:4: <r> leads back to itself"),
    (HEAD + "public <r> = a <r>;", "no sentence can be said"),
    (HEAD + "public <r> = <VOID> a;", "no sentence can be said"),
    (HEAD + "public <r> = <NULL>;", "no sentence can be said"),
    (HEAD + "public <NULL> = a;", "g:3: <NULL> is built in"),
    (HEAD + "import <b.*>;\npublic <r> = a;", "g:3: the imported grammar 'b' was not found"),
    (HEAD + "import <b>;\npublic <r> = a;", "g:3: an import names grammar and rule"),
    (
        HEAD + "public <r> = " + "(" * 5000 + "a" + ")" * 5000 + ";",
        "g:3: groups are nested deeper than 100",
    ),
]


@pytest.mark.parametrize(("text", "message"), MISTAKES)
def test_every_mistake_is_one_sentence_with_its_line(text: str, message: str) -> None:
    with pytest.raises(GrammarError, match=message) as caught:
        Grammar.from_text(text, source="g")
    assert "\n" not in str(caught.value)
    assert str(caught.value).endswith(".")


@pytest.mark.parametrize(
    ("written", "tag"),
    [("a { b", "a { b"), ("{{", "{{"), (r"a \} b", "a } b"), (r"a \\ b", r"a \ b"), ("(;", "(;")],
)
def test_only_the_closing_brace_and_the_backslash_are_escaped_in_a_tag(
    written: str, tag: str
) -> None:
    # W3C Note, JSGF 1.0, section 4.6 on tags
    grammar = Grammar.from_text(HEAD + f"public <r> = x {{{written}}} y;")
    parse = grammar.parse("x y")
    assert parse is not None
    assert parse.tags == (tag,)


def chain(count: int, body: str = "<r{}>", last: str = "go") -> str:
    rules = [f"<r{i}> = {body.format(i + 1)};" for i in range(count)]
    return HEAD + "public " + "\n".join([*rules, f"<r{count}> = {last};"])


@pytest.mark.parametrize("body", ["<r{}>", "([(<r{}>)])"])
def test_a_long_chain_of_rules_parses(body: str) -> None:
    limit = sys.getrecursionlimit()
    parse = Grammar.from_text(chain(1500, body)).parse("go")
    assert parse is not None
    assert len(parse.spans) == 1501
    assert sys.getrecursionlimit() == limit  # what reads sheets and settings relies on it


def test_what_leads_on_and_on_is_one_sentence() -> None:
    with pytest.raises(GrammarError, match="lead from one to the next too many times") as caught:
        Grammar.from_text(chain(30, last="go [<r0>]")).parse(["go"] * 1000)
    assert "\n" not in str(caught.value)


def test_a_repeat_of_a_repeat_is_one_and_many_tags_are_refused() -> None:
    grammar = Grammar.from_text(HEAD + "public <r> = x " + "*+" * 40 + " y;")
    assert grammar.parse("y") is not None
    assert grammar.parse("x x x y") is not None
    with pytest.raises(GrammarError, match="more than 100 tags and repeats"):
        Grammar.from_text(HEAD + "public <r> = x " + "{t}" * 200 + ";")


def test_a_letter_with_its_accent_apart_is_the_same_letter() -> None:
    grammar = Grammar.from_text("#JSGF V1.0;\ngrammar t;\npublic <a> = cafe\u0301 | the\u0301;\n")
    for sentence in ("caf\u00e9", "cafe\u0301", "TH\u00c9"):
        assert grammar.parse(sentence) is not None
