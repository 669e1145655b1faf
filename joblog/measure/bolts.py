"""Bolts: stress area, proof load, and what torque gives what preload.

Only to explain and to sanity-check: scatter of preload at a given torque is about ±25 to ±30 %
[handbook: general bolting practice], so the vehicle's own torque always stands.
"""

from __future__ import annotations

from fractions import Fraction

from joblog.errors import InputError
from joblog.measure.numbers import Number, exact

_PI = Fraction("3.14159265358979323846264338327950288")

# N/mm² under proof load [standard: ISO 898-1:2013, Table 3, read in a secondary text]; the second
# value holds above 16 mm.
_PROOF = {"8.8": (580, 600), "10.9": (830, 830), "12.9": (970, 970)}

K_DRY = Fraction(
    "0.20"
)  # plain steel, dry; spread 0.18-0.27 [handbook: short-form torque equation]
K_OILED = Fraction("0.15")  # oiled; spread 0.10-0.26, same source


def stress_area(diameter: Number, pitch: Number) -> Fraction:
    """Return mm² of the thread's stress area, π/4·(d - 0.9382 P)², d and P in mm.

    [standard: ISO 898-1 / ISO 724; formula from memory, unverified, agrees with the tables]
    """
    core = exact(diameter, "the diameter") - Fraction("0.9382") * exact(pitch, "the pitch")
    if core <= 0:
        raise InputError("a pitch larger than the bolt can't be meant; check diameter and pitch")
    return _PI / 4 * core**2


def proof_stress(grade: str, diameter: Number) -> int:
    """Return N/mm² of a property class ('8.8', '10.9', '12.9') for a diameter in mm."""
    if grade not in _PROOF:
        raise InputError(f"the property class {grade!r} is unknown; known: {', '.join(_PROOF)}")
    small, large = _PROOF[grade]
    return small if exact(diameter) <= 16 else large


def preload(area: Number, stress: Number, share: Number = "0.75") -> Fraction:
    """Return N of clamping force at ``share`` of proof; area in mm², stress in N/mm²."""
    return exact(area) * exact(stress) * exact(share)


def tightening_torque(force: Number, diameter: Number, k: Number = K_DRY) -> Fraction:
    """Return N·m by the short-form equation T = K·D·F, D in mm, F in N."""
    return exact(k, "K") * exact(diameter) / 1000 * exact(force)


def restated(torque: Number, k_from: Number, k_to: Number) -> Fraction:
    """Return the torque that gives the same preload at another friction: T·K2/K1."""
    return exact(torque) * exact(k_to) / exact(k_from)
