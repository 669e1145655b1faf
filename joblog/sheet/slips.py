"""What a file that is no TOML has wrong, in the words of who writes it, not of a parser."""

from __future__ import annotations

import re

_COMMA = re.compile(r"=\s*([-+]?[0-9]+),([0-9]+)(?![0-9])")
_TWICE = (
    "is there already; take one of the two out (a table of which a job sheet has several is "
    "written with two brackets: [[steps]])"
)
_HINTS = {
    "Illegal character '\\n'": "a quote is missing at the end of this line; write text in two "
    "quotes",
    "Illegal character": "a character that nobody sees stands in this line; take it out",
    "Unterminated string": "a quote is missing at the end of a text; write text in two quotes",
    "Expected '\"": "a quote is missing at the end of a text; write text in two quotes",
    "Expected \"'": "a quote is missing at the end of a text; write text in two quotes",
    "Expected '=' after a key": "this line says no field; write name = value, or # before a remark",
    "Invalid statement": "this line says no field; write name = value, or # before a remark",
    "Invalid initial character for a key": "a field has no name here; write name = value",
    "Expected newline": "something stands behind the value in this line; take it out, write text "
    "in quotes, or put # before a remark",
    "Expected ']]'": "a table of which there are several ends with two brackets: [[steps]]",
    "Expected ']'": "a bracket is missing; write the name of a table as [sheet]",
    "Unclosed array": "a list has no end; put commas between what it holds and ] behind it",
    "Unclosed inline table": "a table in one line has no end; put commas between its fields and } "
    "behind them, in the same line",
    "Duplicate inline table key": "this field is there twice; take one of the two out",
    "Unescaped '\\' in a string": "a \\ in a text means something else; write / or \\\\",
    "Cannot declare": f"this table {_TWICE}",
    "Cannot overwrite": f"this field {_TWICE}",
    "Cannot mutate": f"this table {_TWICE}",
    "Invalid value": "this value can't be read; write text in quotes, numbers with a point",
    "Exceeds the limit": "this number is absurdly long; write what a person could mean",
}


def slip_in(text: str, said: str) -> tuple[int, str]:
    """Return the line of ``text`` that the parser's message ``said`` is about, and what is wrong.

    ``text`` has line feeds only, as TOML counts lines.
    """
    found = re.search(r"\(at line (\d+), column (\d+)\)", said)
    lines = text.split("\n")
    line = int(found[1]) if found else len(lines) if "at end of document" in said else 1
    here = lines[line - 1] if line <= len(lines) else ""
    comma = _COMMA.search(here)
    if comma:
        return line, f"a number has a point, no comma; write {comma[1]}.{comma[2]}"
    plain = re.sub(r" \(at [^)]*\)$", "", said)
    hint = next((hint for start, hint in _HINTS.items() if plain.startswith(start)), "")
    return line, hint or plain[:1].lower() + plain[1:]
