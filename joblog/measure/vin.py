"""Vehicle identification numbers: form, check digit, model year.

The check digit and the year code are obligatory only in North America, so elsewhere a mismatch is a
warning. And the check digit is weak: nine groups of characters have equal values and can't be told
apart by it (``EQUAL_VALUES``), so a VIN is read back however well it sums.
"""

from __future__ import annotations

from dataclasses import dataclass

LENGTH = 17
LIKE, SUGGESTED = 3, 5  # right numbers to offer: with one sign mixed up, and in all

# [standard: 49 CFR 565.15(c), Tables III to V]
VALUES: dict[str, int] = {str(n): n for n in range(10)}
VALUES |= {letter: n for n, letter in enumerate("ABCDEFGH", 1)}
VALUES |= {letter: n for n, letter in enumerate("JKLMN", 1)}
VALUES |= {"P": 7, "R": 9}
VALUES |= {letter: n for n, letter in enumerate("STUVWXYZ", 2)}
WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)

# [standard: 49 CFR 565.15(d), Table VII]: 30 codes from 1980, again from 2010
YEAR_CODES = "ABCDEFGHJKLMNPRSTVWXY123456789"

# Characters that the check digit can't tell apart, by value.
EQUAL_VALUES: dict[int, str] = {
    n: "".join(sorted(c for c, value in VALUES.items() if value == n)) for n in range(10)
}

# What hands, eyes and ears mix up [common practice, no source]; each may stand for the others.
LOOK_ALIKE = ("0DOQ", "1IL", "2Z", "5S", "6G", "8B", "UV", "VY", "MN", "BDP", "CZ", "FS", "AHK")

_FORBIDDEN = {"I": "1", "O": "0", "Q": "0"}


@dataclass(frozen=True)
class VinReport:
    """What can be said of a VIN.

    ``problem`` is None or why it is no VIN at all (``length_16``, ``forbidden_letter_O``,
    ``forbidden_character_-``); the other fields mean something only without a problem.
    ``check_fits`` says whether position 9 is the computed ``check``; ``years`` are the model years
    that position 10 may mean, ``year`` the one that position 7 points to (light vehicles in North
    America); ``warnings`` are sentences for the technician; ``candidates`` are numbers one
    mixed-up character away whose check digit fits, ``swapped`` those with two neighbours swapped.
    """

    vin: str
    problem: str | None = None
    weighted_sum: int = 0
    check: str = ""
    check_fits: bool = False
    north_american: bool = False
    years: tuple[int, ...] = ()
    year: int | None = None
    warnings: tuple[str, ...] = ()
    candidates: tuple[str, ...] = ()
    swapped: tuple[str, ...] = ()

    @property
    def suggested(self) -> tuple[str, ...]:
        """A handful of right numbers that may be meant, to be compared with the vehicle's."""
        return (*self.candidates[:LIKE], *self.swapped)[:SUGGESTED]

    @property
    def acceptable(self) -> bool:
        """Whether it is well formed and, in North America, has the right check digit."""
        return self.problem is None and (self.check_fits or not self.north_american)


def _problem(vin: str) -> str | None:
    if len(vin) != LENGTH:
        return f"length_{len(vin)}"
    bad = next((character for character in vin if character not in VALUES), None)
    if bad is None:
        return None
    return f"forbidden_{'letter' if bad in _FORBIDDEN else 'character'}_{bad}"


def is_north_american(vin: str) -> bool:
    """Say whether the maker's code belongs to North America: 1 to 5, and 7F to 70.

    [standard: ISO 3780, from memory]; 6 and 7A to 7E belong to Oceania.
    """
    return vin[:1] in set("12345") or (vin[:1] == "7" and vin[1:2] not in set("ABCDE"))


def weighted_sum(vin: str) -> int:
    """Return Σ value·weight of 17 allowed characters [standard: 49 CFR 565.15(c)]."""
    return sum(VALUES[c] * weight for c, weight in zip(vin, WEIGHTS, strict=True))


def check_digit(vin: str) -> str:
    """Return what position 9 must be: the sum modulo 11, with X for 10."""
    remainder = weighted_sum(vin) % 11
    return "X" if remainder == 10 else str(remainder)


def model_years(code: str) -> tuple[int, ...]:
    """Return the years that position 10 may mean; none for a character that is no year code."""
    place = YEAR_CODES.find(code) if len(code) == 1 else -1
    return () if place < 0 else (1980 + place, 2010 + place)


def _year(vin: str) -> int | None:
    """Return the year by position 7: a digit 1980-2009, a letter 2010-2039 [565.15(d)]."""
    years = model_years(vin[9])
    return years[vin[6].isalpha()] if years else None


def check_vin(text: str) -> VinReport:
    """Examine a VIN; spaces and hyphens that group it, and lower case, are overlooked."""
    vin = text.upper().replace(" ", "").replace("-", "")
    problem = _problem(vin)
    if problem:
        return VinReport(vin, problem, candidates=_repaired(vin))
    check = check_digit(vin)
    fits = vin[8] == check
    american = is_north_american(vin)
    years = model_years(vin[9])
    return VinReport(
        vin,
        None,
        weighted_sum(vin),
        check,
        fits,
        american,
        years,
        _year(vin) if american else None,
        _warnings(vin, check, american, bool(years)),
        () if fits else _neighbours(vin),
        () if fits else _swapped(vin),
    )


def _warnings(vin: str, check: str, american: bool, has_year: bool) -> tuple[str, ...]:
    found: list[str] = []
    elsewhere = "" if american else "; outside North America that need not mean anything"
    if vin[8] != check:
        found.append(f"position 9 is {vin[8]}, the check digit would be {check}{elsewhere}")
    if not has_year:
        found.append(f"position 10 is {vin[9]}, which is no model year{elsewhere}")
    if len(set(vin)) == 1:
        found.append("all characters are the same: check that it was read from the vehicle")
    return tuple(found)


def _repaired(vin: str) -> tuple[str, ...]:
    """Return the VIN with I, O and Q read as 1 and 0, where that gives a right one."""
    fixed = "".join(_FORBIDDEN.get(character, character) for character in vin)
    right = _problem(fixed) is None and fixed[8] == check_digit(fixed)
    return (fixed,) if right else ()


def _neighbours(vin: str) -> tuple[str, ...]:
    """Return right VINs that differ in one mixed-up character, in order of position."""
    found: list[str] = []
    for place, character in enumerate(vin):
        for group in LOOK_ALIKE:
            for other in group if character in group else "":
                if other == character or other not in VALUES:
                    continue
                changed = vin[:place] + other + vin[place + 1 :]
                if changed[8] == check_digit(changed) and changed not in found:
                    found.append(changed)
    return tuple(found)


def _swapped(vin: str) -> tuple[str, ...]:
    """Return right VINs in which two characters beside each other change places, in order."""
    pairs = (vin[:k] + vin[k + 1] + vin[k] + vin[k + 2 :] for k in range(LENGTH - 1))
    return tuple(dict.fromkeys(other for other in pairs if other[8] == check_digit(other)))


def undetected(character: str) -> str:
    """Return the other characters that the check digit can't tell from this one ('K': 'B2S')."""
    return EQUAL_VALUES[VALUES[character]].replace(character, "") if character in VALUES else ""
