"""What a vehicle's odometer or a machine's hour meter shows, typed or from an order."""

from __future__ import annotations

import re

# as written -> as kept
UNITS = {
    "": "mi", "mi": "mi", "miles": "mi", "km": "km", "kilometres": "km", "kilometers": "km",
    "h": "h", "hours": "h",
}  # fmt: skip
_WHOLE, _TENTHS = re.compile(r"[0-9]+"), re.compile(r"[0-9]+(\.[0-9]+)?")


def is_reading(count: str, unit: str) -> bool:
    """Say whether ``count`` can stand on a meter that counts in ``unit`` (mi, km or h).

    An odometer is read in whole figures; hour meters show tenths.
    """
    return (_TENTHS if unit == "h" else _WHOLE).fullmatch(count) is not None
