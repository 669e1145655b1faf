"""What was typed to start a job: an order, a plate, a VIN; and which vehicle a wrong VIN may mean.

A wrong VIN is never mended in silence. What is known here comes first (today's orders, then other
orders and earlier jobs); other right numbers a slip away are only possible. Whichever is chosen,
all its signs are compared with the vehicle before its sheets are shown.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from joblog.measure.vin import LENGTH, VinReport

Order = Mapping[str, str]
SLIPS = 2  # signs that may be wrong, missing or too many in a VIN that is known here
SHORTEST = 3  # signs of a plate or number that are looked for
LAST = 6  # signs of a VIN that are given for it, as when they are said
MOST = 5  # numbers that are offered in all


@dataclass(frozen=True)
class Likely:
    """A VIN that may be meant: ``known`` says whose it is here, '' where nobody has seen it."""

    vin: str
    known: str = ""


def signs(text: str) -> str:
    """Return letters and figures of a number or plate alone: 'exa 416' is 'EXA416'."""
    return "".join(sign for sign in text.upper() if sign.isalnum())


def orders_meant(orders: Iterable[Order], text: str) -> list[Order]:
    """Return the orders that ``text`` names: by number; else its figures, plate or VIN's end."""
    wanted, rows = signs(text), list(orders)
    if len(wanted) < SHORTEST:
        return [row for row in rows if signs(row["order"]) == wanted] if wanted else []
    numbered = [row for row in rows if signs(row["order"]) == wanted]
    return numbered or [row for row in rows if wanted in _names(row)]


def _names(order: Order) -> set[str]:
    figures = "".join(sign for sign in order["order"] if sign.isdecimal())
    return {figures, signs(order.get("plate", "")), signs(order.get("vin", ""))[-LAST:]}


def here_before(lines: Iterable[Mapping[str, Any]], text: str) -> dict[str, str]:
    """Return the vehicles of earlier jobs with that plate: words, and the address to go on with.

    A plate may be on another vehicle today: one with a VIN is compared first.
    """
    wanted, found = signs(text), {}
    for line in lines:
        if len(wanted) < SHORTEST or signs(str(line["plate"])) != wanted:
            continue
        words = _vehicle(line)
        if words not in found:
            unit = {k: v for k, v in line["unit"].items() if "odometer" not in k}
            known = {"again": 1, "customer": line["customer"], **unit}
            one = {"vin": line["vin"], "was": text} if line["vin"] else known
            found[words] = f"/start?{urlencode(one)}"
    return dict(list(found.items())[:MOST])


def _vehicle(line: Mapping[str, Any]) -> str:
    parts = (str(line[key]) for key in ("vehicle", "plate"))
    return " ".join(part for part in parts if part) or "Vehicle not named"


def likely(
    report: VinReport,
    today: Iterable[Order],
    orders: Iterable[Order],
    lines: Iterable[Mapping[str, Any]],
) -> list[Likely]:
    """Return what a VIN that can't be right may mean: what is known here, then what is possible."""
    known = [(0, row.get("vin", ""), _ordered(row, "Today's order")) for row in today]
    known += [(1, row.get("vin", ""), _ordered(row, "Order")) for row in orders]
    known += [(1, str(line["vin"]), f"Here before: {_vehicle(line)}") for line in lines]
    near: dict[str, tuple[int, int, Likely]] = {}
    for group, vin, words in known:
        if vin.upper() not in near and len(vin) == LENGTH:
            away = slips(report.vin, vin.upper())
            if away <= SLIPS:
                near[vin.upper()] = (group, away, Likely(vin.upper(), words))
    found = [one for *_, one in sorted(near.values(), key=lambda row: row[:2])]
    found += [Likely(vin) for vin in report.suggested if vin not in near]
    return found[:MOST]


def known_near(found: Iterable[Likely], vin: str) -> list[Likely]:
    """Return the vehicles known here that ``vin`` may be a slip of; none where it is known itself.

    Outside North America a check digit need not fit: such a number may be right.
    """
    known = [one for one in found if one.known]
    return [] if any(one.vin == vin for one in known) else known


def _ordered(order: Order, lead: str) -> str:
    names = (order.get(key, "") for key in ("year", "make", "model", "plate"))
    return " ".join([f"{lead} {order['order']}:", *(name for name in names if name)]).rstrip(":")


def slips(typed: str, right: str) -> int:
    """Return how many signs are wrong, missing, too many or swapped with their neighbour.

    I, O and Q count as the 1 and 0 that they were read for. More than SLIPS is not counted on.
    """
    one = typed.replace("I", "1").replace("O", "0").replace("Q", "0")
    if abs(len(one) - len(right)) > SLIPS or (Counter(right) - Counter(one)).total() > SLIPS:
        return SLIPS + 1
    before: list[int] = []
    row = list(range(len(right) + 1))
    for i, a in enumerate(one, 1):
        last, before, row = before, row, [i]
        for j, b in enumerate(right, 1):
            best = min(before[j] + 1, row[j - 1] + 1, before[j - 1] + (a != b))
            if i > 1 and j > 1 and a == right[j - 2] and one[i - 2] == b:
                best = min(best, last[j - 2] + 1)
            row.append(best)
    return row[-1]


def differences(typed: str, right: str) -> list[str]:
    """Return in words where two numbers differ: 'Sign 17 is 0, not 1.'"""
    if len(typed) != len(right):
        return [f"It has {len(right)} signs, {len(typed)} were given."]
    pairs = enumerate(zip(typed, right, strict=True), 1)
    return [f"Sign {k} is {b}, not {a}." for k, (a, b) in pairs if a != b]
