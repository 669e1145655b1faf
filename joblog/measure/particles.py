"""Particles: size classes, Feret diameters of outlines, and cleanliness codes.

Class limits [standard: ISO 16232:2018 / VDA 19.1:2015]: B to G, I and J read in secondary texts,
H follows from its neighbours, K to N [from memory, unverified]. Outlines come from photos, so they
are floats; a photo without a scale in view has no sizes to give.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from joblog.errors import InputError
from joblog.measure.numbers import Number, exact

Point = tuple[float, float]

# Lower limits in µm, inclusive; each class ends where the next begins.
CLASSES: dict[str, int] = {
    "B": 5, "C": 15, "D": 25, "E": 50, "F": 100, "G": 150, "H": 200, "I": 400, "J": 600,
    "K": 1000, "L": 1500, "M": 2000, "N": 3000,
}  # fmt: skip

# Upper limits per mL, inclusive; they step by about two, not by a preferred-number series.
_ISO4406_HUNDREDTHS = (
    1, 2, 4, 8, 16, 32, 64, 130, 250, 500, 1000, 2000, 4000, 8000, 16_000, 32_000, 64_000, 130_000,
    250_000, 500_000, 1_000_000, 2_000_000, 4_000_000, 8_000_000, 16_000_000, 32_000_000,
    64_000_000, 130_000_000, 250_000_000,
)  # fmt: skip
_ISO4406_UPPER = tuple(Fraction(hundredths, 100) for hundredths in _ISO4406_HUNDREDTHS)

# Upper limits of the concentration levels 00 to 17: 00, 0, 10, 12 and 17 read in secondary texts,
# the others doubled between them as ISO does [from memory, unverified].
_LEVEL_LIMITS = (
    0, 1, 2, 4, 8, 16, 32, 64, 130, 250, 500, 1000, 2000, 4000, 8000, 16_000, 32_000, 64_000,
    130_000,
)  # fmt: skip
_LEVELS = dict(zip(("00", *map(str, range(18))), _LEVEL_LIMITS, strict=True))

_BASES = {
    "A": "A: per 1000 cm2 wetted area",
    "V": "V: per 100 cm3 wetted volume",
    "N": "N: per part",
}


def size_class(feret_um: Number) -> str | None:
    """Return the class letter of a largest Feret diameter in µm; None below 5 µm."""
    size = exact(feret_um, "the size")
    if size < 0:
        raise InputError("a particle can't have a negative size")
    return next((letter for letter, low in reversed(CLASSES.items()) if size >= low), None)


def bins(ferets_um: Iterable[Number]) -> dict[str, int]:
    """Return how many particles fall into each class, all classes named."""
    counts = dict.fromkeys(CLASSES, 0)
    for feret_um in ferets_um:
        letter = size_class(feret_um)
        if letter is not None:
            counts[letter] += 1
    return counts


@dataclass(frozen=True)
class Feret:
    """Diameters of an outline, in its own unit.

    ``largest`` and ``smallest`` are the extreme distances of two parallel tangents, ``mean`` that
    over all directions, ``equal_area`` the diameter of a disc of the same area; ``ends`` are the
    two outline points that ``largest`` joins.
    """

    largest: float
    smallest: float
    mean: float
    equal_area: float
    ends: tuple[Point, Point]


def _cross(o: Point, a: Point, b: Point) -> float:
    return (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0])


def convex_hull(points: Iterable[Point]) -> list[Point]:
    """Return the hull's corners, counter-clockwise, none along an edge (monotone chain)."""
    ordered = sorted({(float(x), float(y)) for x, y in points})
    if len(ordered) < 3:
        return ordered
    halves: list[list[Point]] = []
    for sequence in (ordered, ordered[::-1]):
        half: list[Point] = []
        for point in sequence:
            while len(half) >= 2 and _cross(half[-2], half[-1], point) <= 0:
                half.pop()
            half.append(point)
        halves.append(half[:-1])
    return halves[0] + halves[1]


def feret(outline: Sequence[Point]) -> Feret:
    """Return the Feret diameters of a closed outline by rotating calipers.

    The two parallel tangents turn around the hull; the smallest distance is found with one of them
    along an edge, the largest between two corners. The mean over directions is the hull's perimeter
    over π (Cauchy). [standard: ISO 13322-1:2014; ISO 9276-6:2008, read in secondary texts]

    Raises InputError for fewer than two different points or coordinates that are no numbers.
    """
    if not all(math.isfinite(x) and math.isfinite(y) for x, y in outline):
        raise InputError("an outline has a coordinate that is no number")
    hull = convex_hull(outline)
    if len(hull) < 2:
        raise InputError("an outline needs at least two different points")
    if len(hull) == 2:
        length = math.dist(hull[0], hull[1])
        return Feret(length, 0.0, 2 * length / math.pi, 0.0, (hull[0], hull[1]))
    smallest, largest, ends = _calipers(hull)
    perimeter = sum(math.dist(a, b) for a, b in zip(hull, hull[1:] + hull[:1], strict=True))
    area = abs(_shoelace(outline))
    return Feret(largest, smallest, perimeter / math.pi, 2 * math.sqrt(area / math.pi), ends)


def _shoelace(outline: Sequence[Point]) -> float:
    closed = [*outline[1:], outline[0]]
    return sum(a[0] * b[1] - a[1] * b[0] for a, b in zip(outline, closed, strict=True)) / 2


def _calipers(hull: list[Point]) -> tuple[float, float, tuple[Point, Point]]:
    """Return smallest width, largest diameter and its ends, of a hull of three corners or more."""
    count = len(hull)
    smallest, largest, ends = math.inf, -1.0, (hull[0], hull[0])
    far = 1
    for here in range(count):
        a, b = hull[here], hull[(here + 1) % count]
        # the corner farthest from this edge only ever moves on around the hull
        while _cross(a, b, hull[(far + 1) % count]) > _cross(a, b, hull[far]):
            far = (far + 1) % count
        smallest = min(smallest, _cross(a, b, hull[far]) / math.dist(a, b))
        # an edge parallel to this one has two corners equally far: both can be ends
        for corner in (hull[far], hull[(far + 1) % count]):
            for start in (a, b):
                if math.dist(start, corner) > largest:
                    largest, ends = math.dist(start, corner), (start, corner)
    return smallest, largest, ends


def iso4406_number(per_ml: Number) -> str:
    """Return the scale number of a count per mL: 'more than' the lower, up to the upper limit.

    [standard: ISO 4406:2021, Table 1, read in a secondary text]. For fluid samples only; a photo of
    a magnet has no such number.
    """
    count = exact(per_ml, "the count")
    if count < 0:
        raise InputError("a count of particles can't be negative")
    return next((str(n) for n, upper in enumerate(_ISO4406_UPPER) if count <= upper), ">28")


def iso4406_code(per_ml: Sequence[Number]) -> str:
    """Return the code of the counts at 4, 6 and 14 µm(c), such as '18/16/13'."""
    if len(per_ml) != 3:
        raise InputError("an ISO 4406 code needs the counts at 4, 6 and 14 µm(c)")
    return "/".join(iso4406_number(count) for count in per_ml)


def iso4406_limits(number: int) -> tuple[Fraction, Fraction]:
    """Return 'more than' and 'up to and including' per mL of a scale number 0 to 28."""
    if not 0 <= number < len(_ISO4406_UPPER):
        raise InputError(f"ISO 4406 has no scale number {number}")
    return (_ISO4406_UPPER[number - 1] if number else Fraction(0)), _ISO4406_UPPER[number]


def level_limits(level: str) -> tuple[int, int]:
    """Return 'more than' and 'up to and including' of a concentration level '00' to '17'."""
    if level not in _LEVELS:
        raise InputError(f"the concentration level {level!r} is unknown; known: 00, 0 to 17")
    names = list(_LEVELS)
    place = names.index(level)
    return (0 if place < 2 else _LEVELS[names[place - 1]]), _LEVELS[level]


@dataclass(frozen=True)
class CleanlinessCode:
    """A component cleanliness code: the basis, and the limit of each class or group of classes."""

    basis: str
    limits: dict[str, int]


def parse_cleanliness_code(text: str) -> CleanlinessCode:
    """Read a code such as 'A(EF12/G-H10/I0/J00)' [standard: ISO 16232:2018, secondary text].

    Letters side by side have the limit each; a hyphen joins classes under one limit ('G+H').
    """
    match = re.fullmatch(r"([AVN])\((.+)\)", text.strip())
    if match is None:
        raise InputError(f"{text!r} is no cleanliness code; write it as A(EF12/G-H10/I0/J00)")
    limits: dict[str, int] = {}
    for part in match[2].split("/"):
        group = re.fullmatch(r"([B-N]-[B-N]|[B-N]+)([0-9]{1,2})", part)
        if group is None:
            raise InputError(f"the part {part!r} of {text!r} is no class with a level")
        limits |= dict.fromkeys(_names(group[1]), level_limits(group[2])[1])
    return CleanlinessCode(_BASES[match[1]], limits)


def _names(group: str) -> list[str]:
    if "-" not in group:
        return list(group)
    first, last = ord(group[0]), ord(group[2])
    return ["+".join(chr(code) for code in range(first, last + 1))]
