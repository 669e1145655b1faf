"""JSGF rules for the values that can be said on a sheet, as narrow as the trade is.

A recogniser that may believe in 141 111 quarts will, in noise. So figures one by one go up to
three, decimals to two places, 'one' takes the singular, only units that someone might use with this
sheet are listed, and each in one spelling: two spellings of one sound divide what is believed.
Where a sheet counts in quarts, nobody is heard to say 'a quarter of this one': the two words differ
by one unstressed vowel. 'A quarter of a quart' holds both and is heard: left out, it was 'a half'.
"""

from __future__ import annotations

from fractions import Fraction

from joblog.job.ranges import RANGED, may_range
from joblog.measure.units import unit_of
from joblog.sheet.model import Sheet
from joblog.speech.number_rules import JSGF_NUMBER_RULES
from joblog.speech.units_spoken import DIMENSIONS, SPOKEN_UNITS, spoken_names

_SHARES = "[a] (half | third) | two thirds"
_SHARES_AND_QUARTERS = "[a] (half | third | quarter) | two thirds | three quarters"
_QUARTERS = " | ([a] quarter | three quarters) of a <volume-one>"  # of a quart

# Amounts said in two units: the larger and the smaller, where both may be said.
_TWO_UNITS = {
    ("qt_us", "floz_us"): " | ((one | a) quart | <two-figures-said> quarts) [and]"
    " <two-figures-said> [fluid] (ounce | ounces)",
    ("L", "mL"): " | ((one | a) liter | <two-figures-said> liters) [and]"
    " (<hundreds> | <one_to_nine> <digit> <digit>) milliliters",
}

LARGE_PRESSURE = 1_000_000  # Pa; from here on it is 1000 kPa
LARGE = 100  # from here on an amount is said with hundreds

_NUMBERS = {
    "two-figures-said": "<under_hundred> | <one_to_nine> <digit>",
    "three-figures-said": "<two-figures-said> | <one_to_nine> <digit> <digit> | <hundreds>"
    " | <under_hundred> (<two_figures> | oh <one_to_nine>)",
    "two-or-more": "<two_figures> | <one_to_nine> <digit>",
    "places": "point <digit> [<digit>]",
    "fine-places": "point <digit> [<digit> [<digit> [<digit>]]]",
    "sixteenths": "(a | one) sixteenth"
    " | (three | five | seven | nine | eleven | thirteen | fifteen) sixteenths",
    "plain-number": "<three-figures-said> [<places>] | <zero> | [<zero>] <places>",
    # Said so, and not to be said so, they were heard as something else: 'one hundred fifteen and a
    # half' as 155, 'sixty five point two five' as 65, 'a minute and a half' as eight and a half.
    # With halves alone 'and a quarter' was one, at 0.99.
    "halves": "(a half | a quarter | three quarters)",
    "halved": "(<under_hundred> | <hundreds>) and <halves>",
    "in-thousands": "(<thousands> | <two_figures> hundred [[and] <under_hundred>]"
    " | <one_to_nine> <digit> <digit> <digit>)",
    "two-times": "(a | <under_hundred>) (minute | minutes) [and] <under_sixty> [second | seconds]"
    " | (an | <under_hundred>) (hour | hours) [and] <under_sixty> [minute | minutes]"
    " | (a minute | an hour) and <halves>"
    " | (half | (a quarter | three quarters) of) (a minute | an hour)",
    "number-value": "<number>",
    # 'Two to five' sounds as 'two two five', so the higher end of a range has two figures at least.
    "one-end": "[minus] (<under_hundred> | <hundreds> | <one_to_nine> <two_figures>) [<places>]",
    "other-end": "[minus] (<two_figures> | <hundreds> | <one_to_nine> <two_figures>"
    " | <under_hundred> <places>)",
    "several-values": "(between <one-end> and | <one-end> (to | or | no | sorry)) <other-end>",
    "one-or-other": "<one-end> (or | no | sorry) <other-end>",
}
_SHAPES = {
    "torque": "(<three-figures-said> [<places>] | <halved>) [<torque-units>]",
    # Without a unit only what no other phrase resembles: 'three point three out', not 'three out',
    # nor 'three and a quarter in', which is 'three, one quart in' to the ear.
    "volume": "one <volume-one> | {count} <volume-many>"
    " | [{count} | <zero>] <places> [<volume-many>] | <mixed> <volume-many>"
    " | <under_hundred> and ((a | one) (half | third) | two thirds)"
    " | <share-value> [[of] a] <volume-one> | a <volume-one> [and <part>]"
    " | {count} <volume-many> and <part>{quarters}{both}",
    "more": "[<share-value> [[of] a]] <volume-one> | <volume-one> and a half"
    " | <share-value>{quarters} | ({count} [<places>] | [<zero>] <places>) <volume-many>",
    "angle": "<three-figures-said> [<angle-units>]",
    # Tenths at most: '104.206 km' is a hundred thousand as many people write it.
    "distance": "(<whole> | (<from_one> | <digits>) point <digit>) [<distance-units>]",
    # A caliper shows thousandths, a micrometer their tenths. Without a third place 'one point zero
    # two five' was heard as 1, without a fourth 'zero point nine three five five' as 0.
    "length": "(<three-figures-said> [<fine-places>] | <zero> | [<zero>] <fine-places> | <fraction>"
    " | [<under_hundred> and] <sixteenths>) [<length-units>]"
    " | <three-figures-said> (thou | thousandths [of an inch])",
}
# The numbers of values that may be a range.
_FIGURES = {
    # 'six point four' is 'six four' misheard: tenths of a degree are said of two figures or more.
    "temperature": "[minus | negative] (<three-figures-said> | <zero>"
    " | (<two-or-more> | <hundreds> | <one_to_nine> (<two_figures> | <digit> <digit>)) <places>)",
    "pressure": "<plain-number>",
    "ratio": "(<three-figures-said> | <zero>) [<places>]",
    "voltage": "<plain-number>",
    "current": "<plain-number>",
}
# More that is said of one value alone.
_MORE = {
    "temperature": "[minus | negative] <halved>",
    "pressure": "<halved>",
    "ratio": "<halved>",
    "voltage": "<halved>",
    "current": "<halved>",
    "time": "<two-times>",
}
# Its ends are said as single values are: what is said before 'to' shares their part of the graph.
_RANGE = "(between <{name}-figures> and | <{name}-figures> [{units}] to) <{name}-figures> [{units}]"

VALUE_RULES = frozenset(
    {"more-value", "further-value", "share-value", "bare-value", "number-value"}
    | {f"{dimension}-value" for dimension in DIMENSIONS}
)
RANGE_RULES = frozenset(f"{dimension}-range-value" for dimension in (*RANGED, "bare"))

# Units that people mix on one job; those of the sheet itself are always understood.
_US = ("qt_us", "pt_us", "gal_us", "floz_us", "L")
_TOGETHER: dict[str, dict[str, tuple[str, ...]]] = {
    "torque": {"": ("lbf.ft", "lbf.in", "N.m")},
    "volume": {
        "qt_us": _US,
        "pt_us": _US,
        "gal_us": _US,
        "floz_us": _US,
        "qt_imp": ("qt_imp", "gal_imp", "L"),
        "gal_imp": ("qt_imp", "gal_imp", "L"),
        "": ("L", "mL", "qt_us"),
    },
}
_BRITISH = ("metre", "litre")  # spelled 'meter' and 'liter' in the grammar; the sound is the same


def dimensions_of(sheet: Sheet) -> dict[str, list[str]]:
    """Return the units of the sheet under what they measure; only what can be said aloud."""
    found: dict[str, list[str]] = {}

    def add(unit: str) -> None:
        spoken = SPOKEN_UNITS.get(unit)
        if spoken and unit not in found.setdefault(spoken.dimension, []):
            found[spoken.dimension].append(unit)

    for step in sheet.steps:
        if step.torque:
            add(step.torque.unit)
            if step.torque.angle is not None:
                add("deg")
        if step.reading:
            add(step.reading.unit)
    if any(step.pour for step in sheet.steps):
        for fluid in sheet.fluids:
            for amount in (fluid.service, fluid.total, fluid.container):
                add(amount.unit if amount else "L")
    return found


def ranged_dimensions(sheet: Sheet) -> list[str]:
    """Return what those readings of ``sheet`` measure that may be a range."""
    units = [step.reading.unit for step in sheet.steps if step.reading]
    return list(dict.fromkeys(SPOKEN_UNITS[unit].dimension for unit in units if may_range(unit)))


def value_rules(sheet: Sheet) -> list[str]:
    """Return the rules that the phrases of ``sheet`` refer to, the spoken numbers included."""
    used = dimensions_of(sheet)
    count = "<three-figures-said>" if _large_volumes(sheet) else "<two-figures-said>"
    lines = [f"<{name}> = {body};" for name, body in _NUMBERS.items()]
    quarts = any("qt" in unit for unit in used.get("volume", ()))
    quarters = _QUARTERS if quarts else ""
    both = _in_two_units(used.get("volume", []))
    below, ranged = below_zero(sheet), ranged_dimensions(sheet)
    for dimension, units in used.items():
        lines += _unit_rules(dimension, units)
        if dimension in RANGED:
            swings, minus = dimension in ranged, dimension in below
            thousands = dimension == "pressure" and _thousands(sheet)
            lines += _ranged_rules(dimension, ranged=swings, minus=minus, thousands=thousands)
            continue
        shape = _SHAPES.get(dimension, f"<number> [<{dimension}-units>]")
        shape = shape.format(count=count, quarters=quarters, both=both)
        if dimension in below and not shape.startswith("[minus]"):
            shape = f"[minus] {shape}"
        lines.append(f"<{dimension}-value> = {shape};")
    if "volume" in used:
        lines.append(f"<share-value> = {_SHARES if quarts else _SHARES_AND_QUARTERS};")
        lines.append(f"<further-value> = {count} more <volume-many>;")
        lines.append(f"<more-value> = {_SHAPES['more'].format(count=count, quarters=quarters)};")
    bare = " | ".join(f"<{dimension}-units>" for dimension in used)
    unit = f" [{bare}]" if bare else ""
    lines.append(f"<bare-value> = ([minus] (<plain-number>) | <fraction>){unit};")
    if ranged:
        end = f"[minus] (<plain-number>){unit}"
        lines.append(f"<bare-range-value> = {end} to {end};")
    return [*lines, "", JSGF_NUMBER_RULES]


def below_zero(sheet: Sheet) -> set[str]:
    """Return what the sheet has readings of that may lie below zero, such as a vacuum.

    A temperature may be said with "minus" on any sheet.
    """
    wanted = [step.reading for step in sheet.steps if step.reading]
    return {
        unit_of(reading.unit).dimension
        for reading in wanted
        if min(reading.low or 0, reading.high or 0) < 0
    }


def _thousands(sheet: Sheet) -> bool:
    """Say whether a pressure of the sheet may be read in thousands of some unit."""
    wanted = [s.reading for s in sheet.steps if s.reading]
    pressures = [w for w in wanted if unit_of(w.unit).dimension == "pressure"]
    ends = ((w, Fraction(max(w.low or 0, w.high or 0))) for w in pressures)
    return any(not end or end * unit_of(w.unit).factor >= LARGE_PRESSURE for w, end in ends)


def _ranged_rules(
    dimension: str, *, ranged: bool, minus: bool, thousands: bool = False
) -> list[str]:
    """Return the rules of a value that may be a range where ``ranged``, and below zero."""
    figures, units = _FIGURES.get(dimension, "<number>"), f"<{dimension}-units>"
    if thousands:
        figures = f"{figures} | <in-thousands>"
    if minus and dimension in _FIGURES and not figures.startswith("[minus"):
        figures = f"[minus] ({figures})"
    one = f"<{dimension}-figures> [{units}]"
    if dimension == "time":
        one += f" | {_MORE[dimension]}"
    elif dimension in _MORE:
        one += f" | {_MORE[dimension]} [{units}]"
    lines = [f"<{dimension}-figures> = {figures};", f"<{dimension}-value> = {one};"]
    if ranged:
        lines.append(f"<{dimension}-range-value> = {_RANGE.format(name=dimension, units=units)};")
    return lines


def _in_two_units(units: list[str]) -> str:
    said = _understood("volume", units)
    return "".join(rule for pair, rule in _TWO_UNITS.items() if set(pair) <= set(said))


def _unit_rules(dimension: str, units: list[str]) -> list[str]:
    names: dict[str, None] = {}
    for code in _understood(dimension, units):
        own = SPOKEN_UNITS[code]
        shared = () if code in units else own.shared
        spoken = [n for n in spoken_names(code) if n not in shared]
        names.update(dict.fromkeys(n for n in spoken if not any(b in n for b in _BRITISH)))
    many = [name for name in names if name.endswith("s") or not _has_plural(name)]
    one = [name for name in names if not name.endswith("s") or not _has_plural(name)]
    return [
        f"<{dimension}-units> = {' | '.join(names)};",
        f"<{dimension}-many> = {' | '.join(many)};",
        f"<{dimension}-one> = {' | '.join(one)};",
    ]


def _has_plural(name: str) -> bool:
    """'p s i' and 'c c' have no plural, and 'bar' needs none."""
    return not (
        name.rsplit(maxsplit=1)[-1] in ("c", "i", "m", "f") or name in ("bar", "percent", "celsius")
    )


def _understood(dimension: str, units: list[str]) -> list[str]:
    """Return the units that may be said where the sheet has ``units``."""
    groups = _TOGETHER.get(dimension)
    if groups is None:
        return [unit.code for unit in SPOKEN_UNITS.values() if unit.dimension == dimension]
    found = dict.fromkeys(units)
    for unit in units:
        found.update(dict.fromkeys(groups.get(unit, groups[""])))
    return list(found)


def _large_volumes(sheet: Sheet) -> bool:
    """Say whether the sheet counts its fluids in hundreds, such as millilitres."""
    amounts = [a for f in sheet.fluids for a in (f.service, f.container, f.total) if a]
    return any(amount.value >= LARGE for amount in amounts)
