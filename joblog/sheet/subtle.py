"""Mistakes of sense that a sheet's form allows: amounts, tools and conditions that can't be."""

from __future__ import annotations

import re
from collections.abc import Iterator
from fractions import Fraction

from joblog.measure.units import UNITS
from joblog.sheet.locate import FieldPath
from joblog.sheet.model import Amount, Sheet

Found = Iterator[tuple[FieldPath, str]]


def subtle_mistakes(sheet: Sheet) -> Found:
    """Yield the path and the sentence of every mistake of sense."""
    for rule in (_conditions, _totals, _tools, _vin, _since):
        yield from rule(sheet)


def _conditions(sheet: Sheet) -> Found:
    ever = set(sheet.initially).union(*(s.sets for s in sheet.steps))
    for i, step in enumerate(sheet.steps):
        for name, verb in (("only_when", "needs"), ("clears", "clears")):
            for key in getattr(step, name):
                if key in sheet.conditions and key not in ever:
                    yield (
                        ("steps", i, name),
                        f"the step {verb} '{key}', but nothing ever sets it; "
                        "name it in 'sets' of a step or in 'initially'",
                    )


def _more(first: Amount, second: Amount) -> bool:
    """Say whether ``first`` is more than ``second``; amounts of other kinds are told elsewhere."""
    if first.unit not in UNITS or second.unit not in UNITS:
        return False
    a, b = UNITS[first.unit], UNITS[second.unit]
    same_kind = a.dimension == b.dimension
    return same_kind and Fraction(first.value) * a.factor > Fraction(second.value) * b.factor


def _totals(sheet: Sheet) -> Found:
    for i, fluid in enumerate(sheet.fluids):
        used, total = fluid.service, fluid.total
        if used and total and _more(used, total):
            yield (
                ("fluids", i, "service"),
                f"'service' ({used.value} {used.unit}) is more than the unit holds in 'total' "
                f"({total.value} {total.unit}); check both",
            )


def _tools(sheet: Sheet) -> Found:
    for i, tool in enumerate(sheet.tools):
        low, high = tool.lowest, tool.highest
        if low and high and (_more(low, high) or low == high):
            yield (
                ("tools", i, "lowest"),
                f"'lowest' ({low.value}) is not below 'highest' ({high.value}); exchange them",
            )


def _vin(sheet: Sheet) -> Found:
    try:
        re.compile(sheet.applies.vin or "")
    except re.error as error:
        yield ("applies", "vin"), f"the VIN pattern is no regular expression ({error}); mend it"


def _since(sheet: Sheet) -> Found:
    place = {s.key: i for i, s in enumerate(sheet.steps)}
    for i, step in enumerate(sheet.steps):
        if step.window and place.get(step.window.since, -1) >= i:
            yield (
                ("steps", i, "window", "since"),
                f"the window starts at '{step.window.since}', which does not come before this "
                "step; name an earlier step",
            )
