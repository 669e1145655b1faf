"""Reading JSGF, the JSpeech Grammar Format (W3C Note, 5 June 2000), into a tree.

A file is a header, a grammar name, imports and rules::

    #JSGF V1.0 UTF-8 en;
    grammar shop.torque;
    import <shop.numbers.*>;
    public <torque> = torque (/3/ drain plug {DRAIN} | /1/ fill plug {FILL}) <number>;

Precedence, tightest first: parentheses and brackets; ``*``, ``+`` and ``{tags}``, which belong to
the one item before them; sequences; ``|``. In a tag, ``}`` and the backslash are written with a
backslash before them, and nothing else is. Words are compared without case and in one form of
each letter (NFC), and a quoted token of several words stands for these words. Every mistake is a
:class:`~joblog.errors.GrammarError` that names the file and the line.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence as Seq
from dataclasses import dataclass
from functools import lru_cache

from joblog.errors import GrammarError


@dataclass(frozen=True, eq=False)
class Words:
    """One or more words in a row, lower case; empty for ``<NULL>``."""

    words: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Void:
    """``<VOID>``: never matches."""


@dataclass(frozen=True, eq=False)
class Reference:
    """The use of another rule, as written between the angle brackets."""

    name: str
    line: int


@dataclass(frozen=True, eq=False)
class Sequence:
    """Items that follow each other."""

    items: tuple[Node, ...]


@dataclass(frozen=True, eq=False)
class Alternatives:
    """One of several; ``weights`` are as written (1 where none is)."""

    options: tuple[Node, ...]
    weights: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class Repeat:
    """The item once or more (``+``), or any number of times (``*``)."""

    item: Node
    may_be_absent: bool


@dataclass(frozen=True, eq=False)
class Tagged:
    """An item with the application's tag, which follows it."""

    item: Node
    tag: str


Node = Words | Void | Reference | Sequence | Alternatives | Repeat | Tagged

NOTHING = Words(())

MAX_DEPTH = 100  # of groups in groups; far from the interpreter's own limit


@dataclass(frozen=True, eq=False)
class Rule:
    """One rule of a file."""

    name: str
    public: bool
    body: Node
    line: int


@dataclass(frozen=True, eq=False)
class JsgfFile:
    """One parsed file; ``imports`` are (name, line), a name ending in ``.*`` means all."""

    name: str
    source: str
    imports: tuple[tuple[str, int], ...]
    rules: tuple[Rule, ...]


@dataclass(frozen=True)
class _Lexeme:
    kind: str
    text: str
    line: int


INVISIBLE = "\u00ad\u200b\u2060\ufeff"  # in a word they make another that looks the same
_HEADER = re.compile(r"\ufeff?#JSGF\s+[Vv]1\.0(?:[^\S\n]+[^\s;]+){0,2}[^\S\n]*;")
_NAME = re.compile(r"[^\W\d][\w$]*(?:\.[^\W\d][\w$]*)*\Z")
_LEXEMES = re.compile(
    r"""(?P<blank>\s+|//[^\n]*|/\*.*?\*/)
      | (?P<open_comment>/\*)
      | (?P<weight>/\s*[^/\s;|]+\s*/)
      | (?P<rule><[^<>\s]+>)
      | (?P<quoted>"(?:\\.|[^"\\\n])*")
      | (?P<tag>\{(?:\\.|[^}\\])*\})
      | (?P<sign>[;=|*+()\[\]])
      | (?P<token>[^\s;=|*+<>()\[\]{}/"]+)
      | (?P<stray>.)""",
    re.VERBOSE | re.DOTALL,
)
_STRAY = {
    '"': "a quoted token is not closed",
    "{": "a tag is not closed with '}'",
    "}": "a '}' ends no tag (write '\\}' for one inside a tag)",
    "<": "a rule name is not closed with '>'",
    "/": "a weight needs a number between two slashes, as in /2.5/ (a word with a slash in it "
    'stands in quotes, as "A/C")',
}


def read_jsgf(text: str, source: str) -> JsgfFile:
    """Parse the text of one JSGF file; ``source`` is its name in error messages."""
    if not text.strip("\ufeff \t\r\n"):
        raise GrammarError(
            f"{source}: the grammar is empty; a grammar starts with '#JSGF V1.0;', a name and at "
            "least one public rule."
        )
    header = _HEADER.match(text)
    if header is None:
        raise GrammarError(f"{source}:1: the first line of a grammar must be '#JSGF V1.0;'.")
    return _Reader(_lex(text, header.end(), source), source).file()


def _lex(text: str, start: int, source: str) -> list[_Lexeme]:
    lexemes, line = [], 1 + text.count("\n", 0, start)
    for match in _LEXEMES.finditer(text, start):
        kind, value = str(match.lastgroup), match.group()
        if kind == "open_comment":
            raise GrammarError(f"{source}:{line}: a comment is not closed with '*/'.")
        if kind == "stray":
            why = _STRAY.get(value, f"'{value}' has no meaning here")
            raise GrammarError(f"{source}:{line}: {why}.")
        if kind != "blank":
            lexemes.append(_Lexeme(kind, value, line))
        line += value.count("\n")
    lexemes.append(_Lexeme("end", "the end of the file", line))
    return lexemes


class _Reader:
    """Recursive descent over the lexemes; one method a production."""

    def __init__(self, lexemes: Seq[_Lexeme], source: str) -> None:
        self._lexemes = lexemes
        self._at = 0
        self._depth = 0
        self._source = source

    def file(self) -> JsgfFile:
        """Read name, imports and rules."""
        self._expect("token", "grammar")
        name = self._dotted("a grammar name such as 'shop.torque'")
        self._expect("sign", ";")
        imports, rules = [], []
        while self._peek.text == "import" and self._peek.kind == "token":
            self._next()
            rule = self._expect("rule")
            imports.append((rule.text[1:-1], rule.line))
            self._expect("sign", ";")
        while self._peek.kind != "end":
            rules.append(self._rule())
        return JsgfFile(name, self._source, tuple(imports), tuple(rules))

    @property
    def _peek(self) -> _Lexeme:
        return self._lexemes[self._at]

    def _next(self) -> _Lexeme:
        lexeme = self._lexemes[self._at]
        self._at += lexeme.kind != "end"
        return lexeme

    def _fail(self, line: int, why: str) -> GrammarError:
        return GrammarError(f"{self._source}:{line}: {why}.")

    def _expect(self, kind: str, text: str | None = None) -> _Lexeme:
        got = self._next()
        if got.kind != kind or (text is not None and got.text != text):
            wanted = f"'{text}'" if text else {"rule": "a rule name in '<' and '>'"}.get(kind, kind)
            raise self._fail(got.line, f"expected {wanted}, found {_quoted(got)}")
        return got

    def _dotted(self, what: str) -> str:
        got = self._next()
        if got.kind != "token" or not _NAME.match(got.text):
            raise self._fail(got.line, f"expected {what}, found {_quoted(got)}")
        return got.text

    def _accept(self, sign: str) -> bool:
        if self._peek.kind == "sign" and self._peek.text == sign:
            self._at += 1
            return True
        return False

    def _rule(self) -> Rule:
        public = self._peek.kind == "token" and self._peek.text == "public"
        if public:
            self._next()
        name = self._expect("rule")
        if name.text in ("<NULL>", "<VOID>"):
            raise self._fail(name.line, f"{name.text} is built in and can't be defined")
        self._expect("sign", "=")
        body = self._alternatives()
        self._expect("sign", ";")
        return Rule(name.text[1:-1], public, body, name.line)

    def _alternatives(self) -> Node:
        options, weights, stated = [], [], []
        first = self._peek.line
        while True:
            weight = self._weight()
            options.append(self._sequence())
            weights.append(1.0 if weight is None else weight)
            stated.append(weight is not None)
            if not self._accept("|"):
                break
        if any(stated) and not all(stated):
            raise self._fail(first, "give a weight to every alternative or to none")
        if any(stated) and not any(weights):
            raise self._fail(first, "at least one alternative needs a weight above zero")
        if any(weight and not weight / max(weights) for weight in weights):
            raise self._fail(first, "the weights are too far apart to be compared")
        if len(options) == 1:
            return options[0]
        return Alternatives(tuple(options), tuple(weights))

    def _weight(self) -> float | None:
        if self._peek.kind != "weight":
            return None
        lexeme = self._next()
        number = lexeme.text.strip("/ \t\r\n").removesuffix("f").removesuffix("F")
        if not re.fullmatch(r"\+?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", number):
            why = f"the weight {_one_line(lexeme)} is not a number of zero or more, as in /2.5/"
            raise self._fail(lexeme.line, why)
        weight = float(number)
        if weight == float("inf"):
            raise self._fail(lexeme.line, f"the weight {_one_line(lexeme)} is too large")
        return weight

    def _sequence(self) -> Node:
        items = []
        while self._peek.kind in ("token", "quoted", "rule") or self._peek.text in ("(", "["):
            items.append(self._decorated(self._item()))
        if not items:
            why = f"expected words, found {_quoted(self._peek)} (write <NULL> for nothing)"
            raise self._fail(self._peek.line, why)
        return items[0] if len(items) == 1 else Sequence(tuple(items))

    def _item(self) -> Node:
        lexeme = self._next()
        if lexeme.kind == "token":
            return _plain(self._word(lexeme.text, lexeme.line))
        if lexeme.kind == "quoted":
            plain = re.sub(r"\\(.)", r"\1", lexeme.text[1:-1])
            words = tuple(self._word(word, lexeme.line) for word in plain.split())
            if not words:
                raise self._fail(lexeme.line, "a quoted token needs at least one word")
            return Words(words)
        if lexeme.kind == "rule":
            specials: dict[str, Node] = {"<NULL>": NOTHING, "<VOID>": Void()}
            return specials.get(lexeme.text) or Reference(lexeme.text[1:-1], lexeme.line)
        self._depth += 1
        if self._depth > MAX_DEPTH:
            why = f"groups are nested deeper than {MAX_DEPTH}; split the rule"
            raise self._fail(lexeme.line, why)
        body = self._alternatives()
        self._depth -= 1
        if lexeme.text == "(":
            self._expect("sign", ")")
            return body
        self._expect("sign", "]")
        return Alternatives((body, NOTHING), (1.0, 1.0))

    def _decorated(self, node: Node) -> Node:
        for _ in range(MAX_DEPTH):
            if self._peek.kind == "sign" and self._peek.text in ("*", "+"):
                node = _repeated(node, may_be_absent=self._next().text == "*")
            elif self._peek.kind == "tag":
                node = Tagged(node, re.sub(r"\\(.)", r"\1", self._next().text[1:-1]).strip())
            else:
                return node
        raise self._fail(self._peek.line, f"one item has more than {MAX_DEPTH} tags and repeats")

    def _word(self, token: str, line: int) -> str:
        if not any(character.isalnum() for character in token):
            why = f"'{token}' can't be spoken; write the words that are said for it"
            raise self._fail(line, why)
        if any(c in INVISIBLE or unicodedata.category(c) == "Cc" for c in token):
            why = f"{token!a} holds a sign that can't be seen; type the word anew"
            raise self._fail(line, why)
        return unicodedata.normalize("NFC", token).lower()


@lru_cache(maxsize=5000)
def _plain(word: str) -> Words:
    """Return the node of a word: one for all places where it is said, for they are many."""
    return Words((word,))


def _repeated(node: Node, *, may_be_absent: bool) -> Repeat:
    """Return the node repeated; a repeat of a repeat is one repeat."""
    if isinstance(node, Repeat):
        return Repeat(node.item, may_be_absent or node.may_be_absent)
    return Repeat(node, may_be_absent)


def _one_line(lexeme: _Lexeme) -> str:
    """Return its text; a tag or a weight may go over several lines, a sentence doesn't."""
    return " ".join(lexeme.text.split())


def _quoted(lexeme: _Lexeme) -> str:
    text = _one_line(lexeme)
    return text if lexeme.kind == "end" else f"'{text}'"
