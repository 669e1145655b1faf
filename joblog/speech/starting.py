"""The words that each alternative of a grammar can start with: what can't match is not tried."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from joblog.speech import jsgf

Start = tuple[frozenset[str], bool]  # the first words, and whether it may match without a word
NEVER: Start = (frozenset(), False)


def first_words(
    rules: Mapping[str, jsgf.Rule],
    targets: Mapping[int, str],
    groups: Iterable[tuple[frozenset[str], bool]],
) -> dict[int, frozenset[str] | None]:
    """Return what each option of an alternative can start with, by the option's identity.

    None stands where it may match without a word. The arguments are those of
    :class:`~joblog.speech.linking.Linked`.
    """
    reader = _Reader(targets)
    for members, recurs in groups:
        changed = True
        while changed:  # a rule that recurs is read until nothing new is found
            before = [reader.rules.get(name) for name in members]
            for name in members:
                reader.rules[name] = reader.start(rules[name].body)
            changed = recurs and before != [reader.rules[name] for name in members]
    return reader.options


class _Reader:
    def __init__(self, targets: Mapping[int, str]) -> None:
        self._targets = targets
        self.rules: dict[str, Start] = {}
        self.options: dict[int, frozenset[str] | None] = {}

    def start(self, node: jsgf.Node) -> Start:
        """Return what a node can start with, and note what its options can."""
        if isinstance(node, jsgf.Words):
            return frozenset(node.words[:1]), not node.words
        if isinstance(node, jsgf.Reference):
            return self.rules.get(self._targets[id(node)], NEVER)
        if isinstance(node, jsgf.Sequence):
            return self._sequence(node)
        if isinstance(node, jsgf.Alternatives):
            return self._alternatives(node)
        if isinstance(node, jsgf.Repeat | jsgf.Tagged):
            words, empty = self.start(node.item)
            return words, empty or (isinstance(node, jsgf.Repeat) and node.may_be_absent)
        return NEVER

    def _sequence(self, node: jsgf.Sequence) -> Start:
        words: frozenset[str] = frozenset()
        empty = True
        for item in node.items:  # all of them: there may be options in each
            more, may_be_empty = self.start(item)
            if empty:
                words |= more
            empty = empty and may_be_empty
        return words, empty

    def _alternatives(self, node: jsgf.Alternatives) -> Start:
        starts = [self.start(option) for option in node.options]
        for option, (words, empty) in zip(node.options, starts, strict=True):
            self.options[id(option)] = None if empty else words
        return frozenset().union(*(words for words, _ in starts)), any(e for _, e in starts)
