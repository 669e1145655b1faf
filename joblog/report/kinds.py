"""Names in the reader's language: kinds of findings, and what a step may lack."""

from __future__ import annotations

from joblog.job.types import FindingKind
from joblog.report.context import Context
from joblog.report.text import clean
from joblog.sheet.model import Step


def kind_name(c: Context, kind: FindingKind) -> str:
    """Return the name of a kind of finding."""
    t = c.t
    return {
        FindingKind.OUT_OF_ORDER: t.say("out of order"),
        FindingKind.OUT_OF_SPEC: t.say("outside its limits"),
        FindingKind.OUTSIDE_WINDOW: t.say("outside its time"),
        FindingKind.MISSING: t.say("missing"),
        FindingKind.UNSURE: t.say("not sure"),
        FindingKind.CONDITION: t.say("unsafe or not ready"),
        FindingKind.MISMATCH: t.say("amounts do not agree"),
        FindingKind.WRONG_UNIT: t.say("wrong sheet for this unit"),
        FindingKind.OTHER_VEHICLE: t.say("label of another vehicle"),
        FindingKind.OBSERVATION: t.say("observation"),
    }.get(kind, clean(str(kind)))


def lacking(c: Context, step: Step, what: str) -> str:
    """Return the name of a missing value or photo, from the key that the guard gave it."""
    t = c.t
    kind, *numbers = what.split("-")
    if numbers and all(number.isdigit() for number in numbers) and kind in ("torque", "angle"):
        number = t.listing(numbers)
        if kind == "angle":
            return t.say("angle of turn no. {number}", number=number)
        return t.say("tightening torque no. {number}", number=number)
    known = {
        "torque": t.say("tightening torque"),
        "angle": t.say("angle of turn"),
        "quantity-drained": t.say("amount that came out"),
        "quantity-filled": t.say("amount that went in"),
        "photo-of-the-plug": t.say("photo of the plug"),
        "photo-of-the-dipstick": t.say("photo of the dipstick"),
        "photo-of-the-fluid": t.say("photo of the fluid"),
        "photo-of-the-label": t.say("photo of the label"),
        "photo-of-the-other": t.say("photo"),
    }
    if what in known:
        return known[what]
    return t.sheet(step.reading.name) if step.reading else clean(what.replace("-", " "))
