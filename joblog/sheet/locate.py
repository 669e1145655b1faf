"""Find the line of a TOML file on which a field was written.

The standard library's reader forgets positions, and a sheet's author needs them. This scan runs
only over text that the reader has accepted, so it needs to know where things start and end, and
nothing about what is allowed.
"""

from __future__ import annotations

import re
from bisect import bisect_right

FieldPath = tuple[str | int, ...]

_SPACE = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_BARE_VALUE = re.compile(r"[^,\]}#\n]*")
_STRINGS = (
    re.compile(r'"""(?:[^\\]|\\.)*?"{3,5}', re.DOTALL),
    re.compile(r"'''.*?'{3,5}", re.DOTALL),
    re.compile(r'"(?:[^"\\\n]|\\.)*"'),
    re.compile(r"'[^'\n]*'"),
)


def _end(pattern: re.Pattern[str], text: str, at: int) -> int:
    found = pattern.match(text, at)
    return found.end() if found else at


class _Scan:
    """One pass over a document; ``lines`` fills up with the line of every path."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.lines: dict[FieldPath, int] = {}
        self._starts = [i for i, char in enumerate(text) if char == "\n"]
        self._counts: dict[FieldPath, int] = {}

    def run(self) -> None:
        """Scan the whole document."""
        table: FieldPath = ()
        self._space()
        while self.at < len(self.text):
            before = self.at
            if self.text[self.at] == "[":
                table = self._header()
            else:
                self._pair(table)
            self._space()
            if self.at == before:
                return  # no TOML after all

    def _space(self) -> None:
        self.at = _end(_SPACE, self.text, self.at)

    def _note(self, path: FieldPath) -> None:
        self.lines.setdefault(path, bisect_right(self._starts, self.at - 1) + 1)

    def _peek(self) -> str:
        return self.text[self.at : self.at + 1]

    def _header(self) -> FieldPath:
        start, double = self.at, self.text.startswith("[[", self.at)
        self.at += 2 if double else 1
        parts = self._key()
        path: FieldPath = ()
        for i, part in enumerate(parts):
            path = (*path, part)
            if i < len(parts) - 1 and path in self._counts:
                path = (*path, self._counts[path])
        if double:
            self._counts[path] = self._counts.get(path, -1) + 1
            path = (*path, self._counts[path])
        end = self.text.find("]", self.at)
        after, self.at = (end if end >= 0 else len(self.text)) + (2 if double else 1), start
        self._note(path)
        self._note(path[:-1] if double else path)
        self.at = after
        return path

    def _key(self) -> tuple[str, ...]:
        parts = []
        while True:
            self._space()
            parts.append(self._key_part())
            self._space()
            if self._peek() != ".":
                return tuple(parts)
            self.at += 1

    def _key_part(self) -> str:
        bare = _BARE_KEY.match(self.text, self.at)
        if bare:
            self.at = bare.end()
            return bare[0]
        return self._string()[1:-1]

    def _string(self) -> str:
        for pattern in _STRINGS:
            found = pattern.match(self.text, self.at)
            if found:
                self.at = found.end()
                return found[0]
        return ""

    def _pair(self, table: FieldPath) -> None:
        start = self.at
        parts = self._key()
        after, self.at = self.at, start
        path = table
        for part in parts:
            path = (*path, part)
            self._note(path)
        self.at = after + 1  # the equals sign
        self._value(path)

    def _value(self, path: FieldPath) -> None:
        self._space()
        self._note(path)
        char = self._peek()
        if char == "[":
            self._items(path, "]")
        elif char == "{":
            self._items(path, "}")
        elif not (char in "\"'" and self._string()):
            self.at = _end(_BARE_VALUE, self.text, self.at)

    def _items(self, path: FieldPath, closing: str) -> None:
        self.at += 1
        count = 0
        self._space()
        while self.at < len(self.text) and self._peek() != closing:
            before = self.at
            if closing == "]":
                self._value((*path, count))
                count += 1
            else:
                self._pair(path)
            self._space()
            self.at += self._peek() == ","
            self._space()
            if self.at == before:
                return
        self.at += 1


def field_lines(text: str) -> dict[FieldPath, int]:
    """Return the line number (from 1) of every table, key and item: ('steps', 2, 'torque')."""
    scan = _Scan(text)
    scan.run()
    return scan.lines


def line_of(lines: dict[FieldPath, int], path: FieldPath) -> int:
    """Return the line of ``path``, or of the nearest table around it; 1 where nothing is known."""
    while path:
        if path in lines:
            return lines[path]
        path = path[:-1]
    return 1
