"""Joining the files of a grammar: imports, names, and which rule may refer to which.

A reference means, in this order: a rule of its own file, or an imported public rule, by its plain
name, its qualified name (``numbers.digit``) or its full name (``shop.numbers.digit``); a full name
needs no import. Recursion is
followed only at the end of a rule, where it is a loop; any other would need a stack, and no finite
graph can hold one.
"""

from __future__ import annotations

import codecs
import re
import sys
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TypeVar

from joblog.errors import GrammarError
from joblog.speech.jsgf import (
    NOTHING,
    Alternatives,
    JsgfFile,
    Node,
    Reference,
    Repeat,
    Rule,
    Sequence,
    Tagged,
    read_jsgf,
)
from joblog.speech.starting import first_words

Finder = Callable[[str], str]
Result = TypeVar("Result")

_ROOM = threading.RLock()  # Python's limit is one for all threads: one at a time goes deeper
MAX_FRAMES = 40_000  # calls in each other that are allowed for: a chain of some 20 000 rules


@dataclass(frozen=True)
class Linked:
    """All rules that the public rules of ``main`` need.

    ``rules`` maps full names to rules, ``targets`` the identity of each reference to a full name,
    ``groups`` lists rules that call each other, called ones first, with whether they recur.
    """

    main: JsgfFile
    rules: dict[str, Rule]
    targets: dict[int, str]
    public: tuple[str, ...]
    groups: tuple[tuple[frozenset[str], bool], ...]

    @cached_property
    def frames(self) -> int:
        """How many calls deep a descent through every rule, once each, can lead at most."""
        return sum(4 + 2 * depth(rule.body) for rule in self.rules.values())

    @cached_property
    def starts(self) -> dict[int, frozenset[str] | None]:
        """What each option of an alternative can start with; None: it may match without a word."""
        return first_words(self.rules, self.targets, self.groups)


def link(text: str, source: str, imports: Finder | None) -> Linked:
    """Read ``text`` and everything that it imports."""
    return _Linker(imports).link(read_jsgf(text, source))


class _Linker:
    def __init__(self, imports: Finder | None) -> None:
        self._imports = imports
        self._files: dict[str, JsgfFile] = {}
        self._rules: dict[str, tuple[Rule, JsgfFile]] = {}
        self._names: dict[str, dict[str, list[str]]] = {}

    def link(self, main: JsgfFile) -> Linked:
        self._add(main)
        public = tuple(f"{main.name}.{rule.name}" for rule in main.rules if rule.public)
        if not public:
            raise GrammarError(
                f"{main.source}: no rule is public; put 'public' before the rule that a sentence "
                "starts with."
            )
        targets: dict[int, str] = {}
        uses: dict[str, list[str]] = {}
        todo = [f"{main.name}.{rule.name}" for rule in main.rules]
        while todo:
            name = todo.pop()
            if name in uses:
                continue
            rule, file = self._rules[name]
            uses[name] = []
            for reference in references(rule.body):
                target = self._resolve(reference, file)
                targets[id(reference)] = target
                uses[name].append(target)
                todo.append(target)
        groups = tuple(_groups(public, uses))
        for members, recurs in groups:
            for name in members if recurs else ():
                rule, file = self._rules[name]
                _check_tail(rule.body, members, targets, file, at_end=True)
        rules = {name: self._rules[name][0] for name in uses}
        return Linked(main, rules, targets, public, groups)

    def _add(self, file: JsgfFile) -> None:
        self._files[file.name] = file
        for rule in file.rules:
            full = f"{file.name}.{rule.name}"
            if full in self._rules:
                first = self._rules[full][0].line
                raise GrammarError(
                    f"{file.source}:{rule.line}: <{rule.name}> is defined a second time; the first "
                    f"is on line {first}."
                )
            self._rules[full] = (rule, file)
        names = self._names.setdefault(file.name, {})
        for imported, line in file.imports:
            for full in self._imported(imported, line, file):
                parts = full.split(".")
                for start in range(len(parts)):
                    known = names.setdefault(".".join(parts[start:]), [])
                    if full not in known:
                        known.append(full)

    def _imported(self, imported: str, line: int, file: JsgfFile) -> list[str]:
        grammar, _, wanted = imported.rpartition(".")
        if not grammar:
            raise GrammarError(
                f"{file.source}:{line}: an import names grammar and rule, as in "
                f"<shop.numbers.digit> or <shop.numbers.*>; <{imported}> does not."
            )
        other = self._files.get(grammar) or self._fetch(grammar, line, file)
        public = [f"{grammar}.{rule.name}" for rule in other.rules if rule.public]
        if wanted == "*":
            return public
        if f"{grammar}.{wanted}" not in public:
            known = any(rule.name == wanted for rule in other.rules)
            why = "is not public there" if known else "is not there"
            raise GrammarError(
                f"{file.source}:{line}: <{wanted}> can't be imported from '{grammar}': it {why}."
            )
        return [f"{grammar}.{wanted}"]

    def _fetch(self, grammar: str, line: int, file: JsgfFile) -> JsgfFile:
        try:
            if self._imports is None:
                raise LookupError
            text = self._imports(grammar)
        except (LookupError, OSError):
            raise GrammarError(
                f"{file.source}:{line}: the imported grammar '{grammar}' was not found; put "
                f"{grammar.rpartition('.')[2]}.gram beside the file that imports it."
            ) from None
        other = read_jsgf(text, grammar)
        if other.name != grammar:
            raise GrammarError(
                f"{file.source}:{line}: looked for grammar '{grammar}' and found one that calls "
                f"itself '{other.name}'."
            )
        self._add(other)
        return other

    def _resolve(self, reference: Reference, file: JsgfFile) -> str:
        package = file.name.rpartition(".")[0]
        for start in (f"{file.name}.", f"{package}." if package else "", ""):
            own = start + reference.name
            if own in self._rules and self._rules[own][1] is file:
                return own
        found = self._names[file.name].get(reference.name, [])
        if not found and "." in reference.name:
            found = self._imported(reference.name, reference.line, file)
        if len(found) > 1:
            choices = " and ".join(f"<{name}>" for name in found)
            raise GrammarError(
                f"{file.source}:{reference.line}: <{reference.name}> may mean {choices}; write the "
                "full name."
            )
        if not found:
            raise GrammarError(
                f"{file.source}:{reference.line}: rule <{reference.name}> is used and not defined."
            )
        return found[0]


def with_room(work: Callable[[], Result], frames: int, source: str) -> Result:
    """Return ``work()``; where it runs too deep, once more with room for calls ``frames`` deep.

    The room is given back: Python's limit guards whatever else runs in this program. Raises
    GrammarError where that is deeper than MAX_FRAMES.
    """
    try:
        return work()
    except RecursionError:
        wanted = 1000 + min(frames, MAX_FRAMES)
    with _ROOM:
        limit = sys.getrecursionlimit()
        sys.setrecursionlimit(max(limit, wanted))
        try:
            return work()
        except RecursionError:
            raise GrammarError(
                f"{source}: the rules lead from one to the next too many times; write a long chain "
                "of rules as fewer and longer rules."
            ) from None
        finally:
            sys.setrecursionlimit(limit)


def depth(node: Node) -> int:
    """Return how many nodes lie in each other at the deepest place."""
    if isinstance(node, Sequence):
        return 1 + max(map(depth, node.items))
    if isinstance(node, Alternatives):
        return 1 + max(map(depth, node.options))
    return 1 + depth(node.item) if isinstance(node, (Repeat, Tagged)) else 1


def references(node: Node) -> Iterator[Reference]:
    """Yield every reference in a tree, in order."""
    if isinstance(node, Reference):
        yield node
    elif isinstance(node, Sequence):
        for item in node.items:
            yield from references(item)
    elif isinstance(node, Alternatives):
        for option in node.options:
            yield from references(option)
    elif isinstance(node, (Repeat, Tagged)):
        yield from references(node.item)


def _check_tail(
    node: Node, members: frozenset[str], targets: dict[int, str], file: JsgfFile, *, at_end: bool
) -> None:
    """Refuse a reference back into ``members`` unless nothing can follow it."""
    if isinstance(node, Reference):
        if targets[id(node)] in members and not at_end:
            raise GrammarError(
                f"{file.source}:{node.line}: <{node.name}> leads back to itself before the end of "
                "the rule, which has no finite graph; recursion is allowed only as the last item "
                "(or use '*' or '+')."
            )
    elif isinstance(node, Sequence):
        last = max((i for i, item in enumerate(node.items) if item is not NOTHING), default=0)
        for index, item in enumerate(node.items):
            _check_tail(item, members, targets, file, at_end=at_end and index >= last)
    elif isinstance(node, Alternatives):
        for option in node.options:
            _check_tail(option, members, targets, file, at_end=at_end)
    elif isinstance(node, Repeat):
        _check_tail(node.item, members, targets, file, at_end=False)
    elif isinstance(node, Tagged):
        _check_tail(node.item, members, targets, file, at_end=at_end)


def _groups(
    roots: tuple[str, ...], uses: dict[str, list[str]]
) -> Iterator[tuple[frozenset[str], bool]]:
    """Strongly connected rules (Tarjan, without recursion), called ones first."""
    index: dict[str, int] = {}
    low: dict[str, int] = {}
    stack: list[str] = []
    for root in roots:
        work = [(root, iter(uses[root]))] if root not in index else []
        for name, _ in work:
            index[name] = low[name] = len(index)
            stack.append(name)
        while work:
            name, rest = work[-1]
            following = next(rest, None)
            if following is None:
                work.pop()
                if work:
                    low[work[-1][0]] = min(low[work[-1][0]], low[name])
                if low[name] == index[name]:
                    cut = stack.index(name)
                    members = frozenset(stack[cut:])
                    del stack[cut:]
                    yield members, len(members) > 1 or name in uses[name]
            elif following not in index:
                index[following] = low[following] = len(index)
                stack.append(following)
                work.append((following, iter(uses[following])))
            elif following in stack:
                low[name] = min(low[name], index[following])


def decode_file(path: Path) -> str:
    """Return the text of a grammar file, in the encoding that its header states (UTF-8 if none)."""
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise GrammarError(f"{path}: can't be read: {error.strerror or error}.") from None
    head = raw[:200].split(b"\n")[0].decode("latin-1")
    stated = re.search(r"#JSGF\s+[Vv]1\.0\s+([^\s;]+)", head)
    encoding = stated.group(1) if stated else "utf-8"
    if raw.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        encoding = "utf-16"
    try:
        text = raw.decode(codecs.lookup(encoding).name)
        return text.replace("\r\n", "\n").replace("\r", "\n")
    except LookupError:
        raise GrammarError(f"{path}:1: '{encoding}' is not a known text encoding.") from None
    except UnicodeDecodeError:
        raise GrammarError(
            f"{path}: is not text in {encoding}; state its encoding in the header, as in "
            "'#JSGF V1.0 ISO8859-1;'."
        ) from None


def beside(path: Path) -> Finder:
    """Return a finder of imported grammars in the folder of ``path``."""

    def find(grammar: str) -> str:
        stems = (grammar.replace(".", "/"), grammar, grammar.rpartition(".")[2])
        for stem in stems:
            for ending in (".gram", ".jsgf"):
                candidate = path.parent / f"{stem}{ending}"
                if candidate.is_file():
                    return decode_file(candidate)
        raise LookupError(grammar)

    return find
