"""How a value and its verdict are told on the expert's pages."""

from __future__ import annotations

from fractions import Fraction

from joblog.job.types import Value
from joblog.record.entry import Entry
from joblog.report.context import Context
from joblog.report.model import Struck
from joblog.report.quantity import sign
from joblog.report.text import clean


def verdict(c: Context, inside: bool | None) -> str:
    """Return the verdict in one word or two."""
    if inside is None:
        return c.t.say("no limit given")
    return c.t.say("inside") if inside else c.t.say("outside")


def value_said(c: Context, value: Value) -> str:
    """Return a value as it was recorded, in no other unit."""
    return f"{c.t.number(value.value)}\u00a0{sign(value.unit)}"


def struck(c: Context, old: Entry) -> Struck:
    """Return a value that was corrected, as it stands crossed out."""
    return Struck(entry_value(c, old), c.when(old.at))


def entry_value(c: Context, entry: Entry) -> str:
    """Return the value that an entry holds, as it would be shown."""
    text = str(entry.body.get("value", ""))
    try:
        return c.quantity(Fraction(text), str(entry.body.get("unit", "")))
    except (ValueError, ZeroDivisionError):
        return clean(text)
