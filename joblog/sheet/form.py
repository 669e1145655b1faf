"""Mistakes of form in a sheet author's words, and the sheet that is left without them.

A field of the wrong kind must not hide the mistakes behind it. So what can't be used is taken out
or filled in, and the rest is checked as if it were the whole sheet.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Mapping, Sequence
from decimal import Decimal
from difflib import get_close_matches
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from joblog.sheet import model
from joblog.sheet.locate import FieldPath
from joblog.sheet.model import Sheet

_ROUNDS = 4  # taking one thing out may show another; more than this isn't worth it
_LONGEST = 60  # characters of a wrong value that are repeated to its author

_AMOUNT = '{ value = 2.5, unit = "L" }'
_TABLES = {
    "torque": '{ fastener = "drain plug", value = 30, unit = "N.m", tolerance = 3 }',
    "pour": '{ fluid = "oil", direction = "in" }',
    "window": '{ since = "engine-off", opens = 60, closes = 120 }',
    "photo": '{ kind = "plug", phase = "before" }',
    "reading": '{ name = "oil level", unit = "mm", low = 10, high = 20 }',
    "lowest": '{ value = 10, unit = "N.m" }',
    "highest": '{ value = 60, unit = "N.m" }',
    "distance": '{ value = 40000, unit = "mi" }',
    "length": '{ value = 300, unit = "mm" }',
    "extension": '{ value = 50, unit = "mm" }',
}
_FILLED_IN: dict[str, Any] = {
    "title": "?", "name": "?", "specification": "?", "text": "?", "summary": "?", "revision": "?",
}  # fmt: skip
_LISTS = ("steps", "parts", "tools", "fluids", "cautions")
_FIELDS = sorted(
    {
        field
        for table in vars(model).values()
        if isinstance(table, type) and issubclass(table, model.Part)
        for field in table.model_fields
    }
)


def form_mistakes(error: ValidationError, data: Mapping[str, Any]) -> list[tuple[FieldPath, str]]:
    """Return path and sentence of every mistake of form."""
    found: dict[FieldPath, str] = {}
    details = error.errors(include_url=False)
    paths = {_path(detail) for detail in details}
    for detail in details:
        path = _path(detail)
        if detail["type"] == "too_short" and any(p[:-1] == path for p in paths):
            continue  # its items are told one by one
        found.setdefault(path, _sentence(detail, data))
    return list(found.items())


def _path(detail: ErrorDetails) -> FieldPath:
    return tuple(part for part in detail["loc"] if part != "[key]")


def salvaged(data: Mapping[str, Any]) -> Sheet | None:
    """Return what is left of a sheet without its mistakes of form, None where too little is."""
    rest = copy.deepcopy(dict(data))
    for _ in range(_ROUNDS):
        try:
            return Sheet.model_validate(rest)
        except ValidationError as error:
            for detail in error.errors(include_url=False):
                if not _mend(rest, _path(detail)):
                    return None
    return None


def _mend(rest: dict[str, Any], path: FieldPath) -> bool:
    """Take the field at ``path`` out, or fill it in where a sheet can't do without."""
    if path in ((), ("steps",), ("sheet",)):
        return False
    if path[0] not in _LISTS or len(path) == 1:
        table, field = (rest, path[0]) if len(path) == 1 else (rest.get(str(path[0])), path[1])
        row = ""
    elif len(path) == 2:
        return False
    else:
        table, field = rest[str(path[0])][path[1]], path[2]
        row = _letters(int(path[1]))
    if not isinstance(table, dict):
        return False
    if path[0] == "conditions":
        table[str(field)] = "?"
        if not re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", str(field)):
            del table[str(field)]
        return True
    if _mend_inside(table, path, row):
        return True
    table.pop(str(field), None)
    if len(path) > 1 and path[0] in (*_LISTS, "sheet"):
        filled = {**_FILLED_IN, "key": f"row-{row}" if row else "key"}
        if path[0] == "steps":
            filled["say"] = [f"row {row}"]
        if field in filled:
            table[str(field)] = filled[str(field)]
    return True


def _mend_inside(table: dict[str, Any], path: FieldPath, row: str) -> bool:
    """Mend one item of a list, or the tolerance of a torque, and leave what stands beside it."""
    if len(path) != 4:  # table, row, field, what is inside it
        return False
    inside, field = table.get(str(path[2])), path[3]
    if isinstance(inside, list) and isinstance(field, int) and field < len(inside):
        mended = (
            f"row {row} {_letters(field)}" if path[2] == "say" else f"row-{row}-{_letters(field)}"
        )
        done = inside[field] == mended
        inside[field] = mended
        return not done
    if path[2] == "torque" and field == "tolerance" and isinstance(inside, dict):
        value = inside.get("value")
        fits = isinstance(value, int | Decimal) and not isinstance(value, bool) and value > 0
        inside["tolerance"] = Decimal(value or 0) / 10 if fits else 0
        return fits
    return False


def _letters(number: int) -> str:
    """Return a number in letters, since phrases and keys that are filled in must differ."""
    return "".join("abcdefghij"[int(digit)] for digit in str(number))


def _sentence(detail: ErrorDetails, data: Mapping[str, Any]) -> str:  # noqa: PLR0911 - a table
    """Say one pydantic complaint in a sheet author's words, with what to write."""
    kind = detail["type"]
    field = next((str(p) for p in reversed(_path(detail)) if isinstance(p, str)), "")
    given = _given(detail["input"])
    if kind == "missing":
        return f"'{field}' is missing; add it here"
    if kind == "extra_forbidden":
        return f"'{field}' is not a field of this table; {_field_hint(field)}"
    if kind == "string_pattern_mismatch":
        return _pattern_sentence(detail, given)
    if kind in ("not_a_number", "absurd"):
        return f"{given} can't be used: {_number_hint(detail, field, data)}"
    if kind in ("tuple_type", "list_type"):
        return f"{given} can't be used: {_list_hint(detail['input'], field)}"
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        example = _share_of_service(detail, data) or _TABLES.get(
            field, _AMOUNT if field in _AMOUNTS else ""
        )
        hint = f"write a table: {field} = {example}" if example else f"write a table [{field}]"
        return f"{given} can't be used: {hint}"
    if kind == "too_short":
        return f"{given} can't be used: write at least one"
    if kind.startswith("int_"):
        return f"{given} can't be used: write a whole number"
    if kind == "string_type":
        return f"{given} can't be used: write it as text, in quotes"
    if kind == "literal_error":
        return f"{given} can't be used: write one of {detail['ctx']['expected']}"
    message = detail["msg"].removeprefix("Input should be ").removeprefix("Value error, ")
    return f"{given} can't be used: write {message}"


def _share_of_service(detail: ErrorDetails, data: Mapping[str, Any]) -> str:
    """Return the amount that a fluid's tolerance in percent comes to, '' where it is none."""
    path, given = detail["loc"], detail["input"]
    found = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(%|percent)\s*", str(given))
    if found is None or path[0] != "fluids" or path[-1] != "tolerance":
        return ""
    service = data["fluids"][path[1]].get("service")
    value = service.get("value") if isinstance(service, Mapping) else None
    if isinstance(value, bool) or not isinstance(value, int | Decimal):
        return ""
    part = (Decimal(value) * Decimal(found[1]) / 100).normalize()
    return f'{{ value = {part:f}, unit = "{service.get("unit", "L")}" }}'


def _field_hint(field: str) -> str:
    if field in _FIELDS:
        return "it belongs into another one: a field stands below the [table] that it is meant for"
    near = get_close_matches(field, _FIELDS, n=1, cutoff=0.75)
    return f"write '{near[0]}'" if near else "check its spelling or take it out"


_AMOUNTS = ("service", "total", "container", "tolerance")


def _given(value: Any) -> str:
    text = str(value) if isinstance(value, Decimal) else repr(value)
    return text if len(text) <= _LONGEST else f"{text[:_LONGEST]}..."


def _pattern_sentence(detail: ErrorDetails, given: str) -> str:
    if "|()" in detail["ctx"]["pattern"]:
        return (
            f"{given} can't be spoken: write lower-case words, "
            "with numbers as words, and | ( ) [ ] for variants"
        )
    plain = re.sub(r"[^a-z0-9]+", "-", str(detail["input"]).lower()).strip("-")
    hint = f", such as '{plain}'" if plain else ""
    return f"{given} is no key: use lower-case words joined by hyphens{hint}"


def _list_hint(value: Any, field: str) -> str:
    if isinstance(value, str):
        return f'write a list: {field} = ["{value[:_LONGEST]}"]'
    if isinstance(value, Mapping):
        return f"write [[{field}]] with two brackets, once for each of them"
    return "write a list in [ ]"


def _number_hint(detail: ErrorDetails, field: str, data: Mapping[str, Any]) -> str:
    value = detail["input"]
    found = re.search(r"-?\d+(?:[.,]\d+)?", value) if isinstance(value, str) else None
    if found is None:
        return f"write {detail['msg']}"
    number = Decimal(found[0].replace(",", "."))
    if "%" in str(value) or "percent" in str(value):
        beside = _beside(data, detail["loc"])
        if field == "tolerance" and beside is not None:
            part = (beside * number / 100).normalize()
            return (
                f"write the tolerance in the unit of the value: {number} % of {beside} is {part:f}"
            )
        return f"write the number alone: {number:f}"
    if str(value).strip() == found[0]:
        return f"write the number without quotes: {number:f}"
    return f"write the number alone, {number:f}, and its unit in the field for it"


def _beside(data: Mapping[str, Any], path: Sequence[str | int]) -> Decimal | None:
    """Return the 'value' (or the service amount) that stands in the table of ``path``."""
    table: Any = data
    for part in path[:-1]:
        table = table[part]
    value = table.get("value")
    return Decimal(value) if isinstance(value, int | Decimal) else None
