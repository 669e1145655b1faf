"""Is this the right sheet for this unit?"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from joblog.job.history import History
from joblog.job.types import Finding, FindingKind, JobState
from joblog.job.wording import capital
from joblog.sheet.model import Exclusion, Sheet


def unit_findings(state: JobState, _: History) -> Iterator[Finding]:
    """Reasons why the sheet does not apply to the unit that the job was opened for."""
    opened = next((e for e in state.entries if e.kind == "job-opened"), None)
    if opened is None:
        return
    step = next((s.key for s in state.sheet.steps if s.checks_unit), None)
    for key, text in unit_reasons(state.sheet, opened.body.get("unit") or {}):
        yield Finding(
            key=f"unit:{key}",
            kind=FindingKind.WRONG_UNIT,
            text=text,
            spoken="Wrong unit for this sheet.",
            step=step,
            entry=opened.id,
            at=opened.at,
            customer=text,
        )


def unit_reasons(sheet: Sheet, unit: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return (key, sentence) for each reason why ``sheet`` is not for ``unit``; [] where it is.

    ``unit`` is the body of ``job-opened``: type, engine, vin. What is not given is not judged,
    except that a sheet for certain units wants to know the unit.
    """
    reasons: list[tuple[str, str]] = []
    kind = str(unit.get("type") or "").strip()
    applies = sheet.applies
    excluded = exclusions(sheet, kind)
    if excluded:
        key = next((e.use for e in excluded if e.use), None)
        use = f" Use the sheet '{key}'." if key else ""
        why = "; ".join(whys(excluded))
        reasons.append(("type", f"'{sheet.sheet.title}' is not for {kind}: {why}.{use}"))
    elif applies.to and not kind:
        reasons.append(
            ("type", f"'{sheet.sheet.title}' is for {_any_of(applies.to)}; say which unit it is.")
        )
    elif applies.to and not any(_same(one, kind) for one in applies.to):
        reasons.append(
            ("type", f"'{sheet.sheet.title}' is for {_any_of(applies.to)}, not for {kind}.")
        )
    engine = str(unit.get("engine") or "").strip()
    if applies.engines and engine and not any(_same(one, engine) for one in applies.engines):
        reasons.append(
            (
                "engine",
                f"'{sheet.sheet.title}' is for engine {_any_of(applies.engines)}, "
                f"not for {engine}.",
            )
        )
    vin = str(unit.get("vin") or "").strip().upper()
    if applies.vin and vin and not re.match(applies.vin, vin):
        reasons.append(("vin", f"The VIN {vin} is not one that '{sheet.sheet.title}' is for."))
    return reasons


def exclusions(sheet: Sheet, kind: str) -> list[Exclusion]:
    """Return what ``sheet`` says against this type of unit; [] where it says nothing."""
    return [e for e in sheet.applies.not_to if _same(e.unit, kind)]


def whys(excluded: Iterable[Exclusion]) -> list[str]:
    """Return the sheet's reasons against a unit, each once, as they stand before a full stop."""
    return list(dict.fromkeys(e.why.strip().rstrip(".") for e in excluded))


def reasons_together(sheet: Sheet, texts: Iterable[str]) -> str:
    """Return several reasons of :func:`unit_reasons` for one reader: each once, the title once."""
    first, *others = dict.fromkeys(texts)
    named = f"'{sheet.sheet.title}'"
    return " ".join([first, *(capital(text.replace(named, "this sheet")) for text in others)])


def applying(sheets: Iterable[Sheet], unit: Mapping[str, Any]) -> list[Sheet]:
    """Return the sheets that name this type of unit as theirs and don't exclude it."""
    kind = str(unit.get("type") or "")
    return [
        sheet
        for sheet in sheets
        if any(_same(one, kind) for one in sheet.applies.to) and not unit_reasons(sheet, unit)
    ]


def _same(one: str, other: str) -> bool:
    """Compare names of units as people write them: 'KT-6F', 'kt 6f' and 'KT6F' are one."""
    plain = re.compile(r"[^a-z0-9]")
    return plain.sub("", one.lower()) == plain.sub("", other.lower())


def _any_of(names: Iterable[str]) -> str:
    return " or ".join(names)
