"""What was wrong with a photo that can't be used: the kinds of reasons, each with its spoken words.

``joblog.vision`` gives one sentence: what is wrong, a colon, what to do about it. It stands on the
screen. Whoever lies under a vehicle hears a few words of it, and the customer reads others
(``joblog.report.pictures``); both follow the kind.
"""

from __future__ import annotations

from enum import StrEnum


class Fault(StrEnum):
    """A kind of reason; its value is what is said aloud, spoken whole: one clip."""

    BLURRED = "blurred, hold still"
    DARK = "too dark"
    BRIGHT = "too bright"
    GLARE = "too much glare"
    SMALL_DROP = "drop too small"
    FAR = "too far away"
    CUT_OFF = "cut off"
    NO_COLOR = "no color"
    HIDDEN = "something in the way"
    NO_EDGE = "no wet edge found"
    TWO_MARKS = "wipe around the marks"
    NO_FIT = "marks do not fit"
    NO_MARKS = "marks not found"
    NO_CODE = "no bar code found"
    UNCLEAR = "not clear"
    NO_PLUG = "no plug found"
    NO_DIPSTICK = "no dipstick found"
    NO_PAPER = "no white paper"
    NO_DROP = "no drop found"
    MISREAD = "number not sure"
    NO_DIAMETER = "no diameter on the sheet"


# By what a reason's first part says; the first that is in it counts.
_SIGNS = {
    "blurred": Fault.BLURRED,
    "too dark": Fault.DARK,
    "washed out": Fault.BRIGHT,
    "blown out": Fault.BRIGHT,
    "glare": Fault.GLARE,
    "blot is too small": Fault.SMALL_DROP,
    "too small": Fault.FAR,
    "cut off": Fault.CUT_OFF,
    "no colours": Fault.NO_COLOR,
    "hides": Fault.HIDDEN,
    "wet edge": Fault.NO_EDGE,
    "two pairs of marks": Fault.TWO_MARKS,
    "don't fit the mark distance": Fault.NO_FIT,
    "marks": Fault.NO_MARKS,
    "no bar code": Fault.NO_CODE,
    "clear enough": Fault.UNCLEAR,
    "no plug": Fault.NO_PLUG,
    "no dipstick": Fault.NO_DIPSTICK,
    "white paper": Fault.NO_PAPER,
    "blot": Fault.NO_DROP,
    "even stain": Fault.NO_DROP,
    "as grey as metal": Fault.NO_DROP,
    "check digit": Fault.MISREAD,
    "a vin": Fault.MISREAD,
    "plug's diameter": Fault.NO_DIAMETER,
}


def fault_of(why: object) -> Fault | None:
    """Return the kind of the reason ``why`` of a reading, None where it is of none.

    Behind the colon stands what the technician is to do ("without glare"), not what was wrong.
    """
    wrong = str(why or "").lower().partition(":")[0]
    return next((fault for sign, fault in _SIGNS.items() if sign in wrong), None)


def unusable_aloud(kind: str, why: object) -> str:
    """Return what is said of a photo of ``kind`` that is not usable.

    Where the sheet lacks what is needed, no second photo would help, and none is asked for.
    """
    fault = fault_of(why)
    told = f"Photo {kind} not usable, {fault}." if fault else f"Photo {kind} not usable."
    return told if fault is Fault.NO_DIAMETER else f"{told} Take it again."
