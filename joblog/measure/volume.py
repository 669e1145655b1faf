"""Fluids: thermal expansion, balances, renewal by mixing, containers.

Volumes are ``Quantity`` in any unit of volume; temperatures are exact numbers in °C unless a name
says otherwise; densities are kg/m³.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from joblog.errors import InputError
from joblog.measure.numbers import CONTEXT, Number, exact, to_decimal
from joblog.measure.units import Quantity, convert, format_quantity

# Generalised lubricating oils: K0 = K2 = 0 [standard: API MPMS 11.1 / ASTM D1250, table 54D (°C)
# and the 2004 edition (°F), read in public code].
K1_CELSIUS = Fraction("0.6278")
K1_FAHRENHEIT = Fraction("0.34878")
DENSITY_RANGE = (Fraction("800.9"), Fraction("1163.5"))  # same source
CELSIUS_RANGE = (-50, 150)  # [from memory, unverified]
FAHRENHEIT_RANGE = (-58, 302)  # same

# Rule of thumb, per °C [common practice, no source]: fits ordinary fluid of about 900 kg/m³.
RULE_OF_THUMB = Fraction("0.0007")

# ITS-90 to IPTS-68, coefficients of the 2004 edition [from memory; the values they give agree with
# the reference cases].
_SHIFT = ("-0.148759", "-0.267408", "1.080760", "1.269056", "-4.089591", "-1.871251", "7.438081",
          "-3.536296")  # fmt: skip
_DELTA_60 = Fraction("0.01374979547")
_BASE_60 = Fraction("60.0068749")


def _covered(value: Fraction, bounds: tuple[Fraction | int, Fraction | int], what: str) -> None:
    if not bounds[0] <= value <= bounds[1]:
        raise InputError(
            f"{what} of {float(value):g} is outside {float(bounds[0]):g} to {float(bounds[1]):g}, "
            "which the formula for lubricating oils covers; no correction is given"
        )


def _factor(alpha: Fraction, rise: Fraction) -> Decimal:
    return CONTEXT.exp(to_decimal(-alpha * rise * (1 + Fraction(4, 5) * alpha * rise)))


def expansion_coefficient(density15: Number) -> Fraction:
    """Return α at 15 °C per °C: K1/ρ with K1 = 0.6278. Source: as K1_CELSIUS."""
    density = exact(density15, "the density")
    _covered(density, DENSITY_RANGE, "a density in kg/m³")
    return K1_CELSIUS / density


def vcf(density15: Number, celsius: Number) -> Decimal:
    """Return the volume correction factor to 15 °C: exp(-α·ΔT·(1 + 0.8·α·ΔT)).

    V15 = V·vcf. Source: as K1_CELSIUS. Raises InputError outside the formula's range.
    """
    temperature = exact(celsius, "the temperature")
    _covered(temperature, CELSIUS_RANGE, "a temperature in °C")
    return _factor(expansion_coefficient(density15), temperature - 15)


def vcf_60f(density60: Number, fahrenheit: Number) -> Decimal:
    """Return the factor to 60 °F, K1 = 0.34878 per °F, in the short form without the scale shift.

    Never mix the two constants: K1 per °F with differences in °C is wrong by a factor of 1.8.
    """
    density, temperature = _checked_60(density60, fahrenheit)
    return _factor(K1_FAHRENHEIT / density, temperature - 60)


def vcf_60f_2004(density60: Number, fahrenheit: Number) -> Decimal:
    """Return the factor to 60 °F as the 2004 edition does, with the shift from ITS-90 to IPTS-68.

    Differs from the short form by less than 3e-5. Source: API MPMS 11.1 (2004), 11.1.6.
    """
    density, temperature = _checked_60(density60, fahrenheit)
    a = _DELTA_60 / 2 * K1_FAHRENHEIT / density
    growth = Fraction(CONTEXT.exp(to_decimal(a * (1 + Fraction(4, 5) * a)))) - 1
    shifted = density * (1 + growth / (1 + a * (1 + Fraction(8, 5) * a)))
    alpha = K1_FAHRENHEIT / shifted
    rise = _ipts68_fahrenheit(temperature) - _BASE_60
    return CONTEXT.exp(
        to_decimal(-alpha * rise * (1 + Fraction(4, 5) * alpha * (rise + _DELTA_60)))
    )


def _checked_60(density60: Number, fahrenheit: Number) -> tuple[Fraction, Fraction]:
    density = exact(density60, "the density")
    temperature = exact(fahrenheit, "the temperature")
    _covered(density, DENSITY_RANGE, "a density in kg/m³")
    _covered(temperature, FAHRENHEIT_RANGE, "a temperature in °F")
    return density, temperature


def _ipts68_fahrenheit(fahrenheit: Fraction) -> Fraction:
    celsius = (fahrenheit - 32) * Fraction(5, 9)
    scaled = celsius / 630
    shift = Fraction(0)
    for coefficient in reversed(_SHIFT):
        shift = (shift + Fraction(coefficient)) * scaled
    return (celsius - shift) * Fraction(9, 5) + 32


def volume_at(volume: Quantity, celsius: Number, to: Number, density15: Number) -> Quantity:
    """Return what ``volume`` of oil at ``celsius`` measures at ``to`` °C: V·VCF(t1)/VCF(t2)."""
    ratio = Fraction(vcf(density15, celsius)) / Fraction(vcf(density15, to))
    return _volume(volume).scaled(ratio)


def volume_at_by_thumb(
    volume: Quantity, celsius: Number, to: Number, beta: Number = RULE_OF_THUMB
) -> Quantity:
    """Return the same by the rule of thumb V·(1 + β·Δt), to be shown beside the formula's value."""
    rise = exact(to, "the temperature") - exact(celsius, "the temperature")
    return _volume(volume).scaled(1 + exact(beta) * rise)


def _volume(quantity: Quantity) -> Quantity:
    if quantity.dimension != "volume":
        raise InputError(f"{format_quantity(quantity)} is a {quantity.dimension}, not a volume")
    if quantity.exact < 0:
        raise InputError(f"{format_quantity(quantity)} is negative; say how much it was")
    return quantity


@dataclass(frozen=True)
class Balance:
    """Drained against filled, both brought to the temperature of what was filled.

    ``difference`` is filled minus drained; ``agrees`` says whether it is within the tolerance;
    ``corrected`` is the drained volume at that temperature, by ``method``.
    """

    difference: Quantity
    agrees: bool
    corrected: Quantity
    method: str


def balance(
    drained: Quantity,
    filled: Quantity,
    tolerance: Quantity,
    *,
    drained_celsius: Number | None = None,
    filled_celsius: Number | None = None,
    density15: Number | None = None,
) -> Balance:
    """Compare what came out with what went in, in the unit of ``filled``.

    With both temperatures and a density the formula corrects the drained volume; with both
    temperatures alone the rule of thumb does; with fewer it is left as it was measured.
    """
    corrected, method = _volume(drained), "no correction: a temperature is not known"
    if drained_celsius is not None and filled_celsius is not None:
        if density15 is not None:
            corrected = volume_at(drained, drained_celsius, filled_celsius, density15)
            method = "API MPMS 11.1, lubricating oils"
        else:
            corrected = volume_at_by_thumb(drained, drained_celsius, filled_celsius)
            method = "rule of thumb, 0.0007 per °C"
    corrected = convert(corrected, filled.unit)
    difference = _volume(filled) - corrected
    limit = convert(_volume(tolerance), filled.unit).exact
    return Balance(difference, abs(difference.exact) <= limit, corrected, method)


def renewed_fraction(drains: Sequence[Quantity], capacity: Quantity) -> Fraction:
    """Return the share of new fluid after services that drain and refill ``drains`` in turn.

    1 - Π(1 - Vi/V), if each fill equals its drain and mixes fully [handbook: perfect-mixing
    dilution]. Raises InputError where a drain exceeds the capacity.
    """
    whole = _volume(capacity).exact
    if whole == 0:
        raise InputError("the total capacity is zero; give what the unit holds")
    old = Fraction(1)
    for drain in drains:
        share = convert(_volume(drain), capacity.unit).exact / whole
        if share > 1:
            raise InputError(
                f"{format_quantity(drain)} can't come out of a unit that holds "
                f"{format_quantity(capacity)}; check both"
            )
        old *= 1 - share
    return 1 - old


def renewal_curve(drain: Quantity, capacity: Quantity, services: int) -> tuple[Fraction, ...]:
    """Return the share of new fluid after 1 to ``services`` equal drain-and-fills."""
    return tuple(renewed_fraction([drain] * n, capacity) for n in range(1, services + 1))


def services_to_reach(drain: Quantity, capacity: Quantity, share: Number) -> int:
    """Return how many equal drain-and-fills renew at least ``share`` (0 to 1) of the fluid.

    Raises InputError where no number of them does, or more than 1000 would be needed.
    """
    target = exact(share, "the share")
    if not 0 <= target <= 1:
        raise InputError(f"a share of {share} can't be meant; give 0 to 1")
    old_each = 1 - renewed_fraction([drain], capacity)
    old = Fraction(1)
    for count in range(1001):
        if 1 - old >= target:
            return count
        old *= old_each
    raise InputError("so many drain-and-fills would be needed that an exchange is the better way")


@dataclass(frozen=True)
class Containers:
    """How many to open, and what is left over in the last, in the container's unit."""

    count: int
    leftover: Quantity


def containers(need: Quantity, size: Quantity) -> Containers:
    """Return how many containers of ``size`` hold ``need``: the exact quotient, rounded up.

    In binary floating point ceil((0.1 + 0.2)/0.1) is 4; here it is 3.
    """
    each = _volume(size).exact
    if each == 0:
        raise InputError("an empty container can't be opened; give its size")
    wanted = convert(_volume(need), size.unit).exact
    count = -(-wanted // each)
    return Containers(int(count), Quantity(count * each - wanted, size.unit))
