"""How a value and its verdict are told on the expert's pages."""

from __future__ import annotations

from fractions import Fraction

from joblog.job.types import Value
from joblog.record.entry import Entry
from joblog.report.context import Context
from joblog.report.model import Struck
from joblog.report.quantity import ranged, sign
from joblog.report.text import clean


def verdict(c: Context, inside: bool | None) -> str:
    """Return the verdict in one word or two."""
    if inside is None:
        return c.t.say("no limit given")
    return c.t.say("inside") if inside else c.t.say("outside")


def value_said(c: Context, value: Value) -> str:
    """Return a value as it was recorded, in no other unit."""
    if value.upper is not None:
        low, high = c.t.number(value.value), c.t.number(value.upper)
        return c.t.say("{low} to {high} {unit}", low=low, high=high, unit=sign(value.unit))
    return f"{c.t.number(value.value)}\u00a0{sign(value.unit)}"


def struck(c: Context, old: Entry) -> Struck:
    """Return a value that was corrected, as it stands crossed out."""
    return Struck(entry_value(c, old), c.when(old.at))


def entry_value(c: Context, entry: Entry) -> str:
    """Return the value that an entry holds, as it would be shown."""
    unit, texts = str(entry.body.get("unit", "")), [str(entry.body.get("value", ""))]
    if "value" not in entry.body:
        texts = [str(entry.body.get(end, "")) for end in ("low", "high")]
    try:
        low, *high = (Fraction(text) for text in texts)
    except (ValueError, ZeroDivisionError):
        return clean(" ".join(texts))
    return ranged(c.t, (low, high[0]), unit, c.units) if high else c.quantity(low, unit)
