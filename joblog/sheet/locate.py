"""Find the line of a TOML file on which a field was written.

The standard library's reader forgets positions, and a sheet's author needs them. This scan knows
just enough of TOML to follow table headers, arrays of tables and ``key =`` lines; inside inline
tables and multi-line arrays it answers with the line on which the enclosing key stands.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

_HEADER = re.compile(r"^\s*(\[\[?)\s*([A-Za-z0-9_\-\.\"' ]+?)\s*\]\]?\s*(#.*)?$")
_KEY = re.compile(r"^\s*([A-Za-z0-9_\-\"'][A-Za-z0-9_\-\.\"' ]*?)\s*=")

FieldPath = tuple[str | int, ...]


def _parts(dotted: str) -> tuple[str, ...]:
    return tuple(p.strip().strip("\"'") for p in dotted.split("."))


def field_lines(text: str) -> dict[FieldPath, int]:
    """Return the line number (from 1) of every table and key, by path: ('steps', 2, 'torque')."""
    lines: dict[FieldPath, int] = {}
    counts: dict[FieldPath, int] = {}
    table: FieldPath = ()
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.match(line):
            path = _resolve(_parts(header[2]), counts)
            if header[1] == "[[":
                counts[path] = counts.get(path, -1) + 1
                path = (*path, counts[path])
            table = path
            lines.setdefault(table, number)
        elif key := _KEY.match(line):
            path = table
            for part in _parts(key[1]):
                path = (*path, part)
                lines.setdefault(path, number)
    return lines


def _resolve(parts: Sequence[str], counts: dict[FieldPath, int]) -> FieldPath:
    """Put the current index behind every part that names an array of tables, but not the last."""
    path: FieldPath = ()
    for i, part in enumerate(parts):
        path = (*path, part)
        if i < len(parts) - 1 and path in counts:
            path = (*path, counts[path])
    return path


def line_of(lines: dict[FieldPath, int], path: FieldPath) -> int:
    """Return the line of ``path``, or of the nearest table around it; 1 where nothing is known."""
    while path:
        if path in lines:
            return lines[path]
        path = path[:-1]
    return 1
