"""Every published check value that the measure room can compute; the source stands beside each.

The cases lie in ``data/*.json``: one function here for each kind of input, and a case that no
function takes is a failure, so none can be forgotten.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from joblog.errors import InputError
from joblog.measure import (
    Quantity,
    Timing,
    Window,
    bolts,
    colour,
    convert,
    convert_difference,
    level,
    particles,
    torque,
    vin,
    volume,
)

CODES = {
    "ft_lbf": "lbf.ft", "in_lbf": "lbf.in", "kgf_m": "kgf.m", "N*m": "N.m", "us_gal": "gal_us",
    "us_qt": "qt_us", "us_pt": "pt_us", "us_fl_oz": "floz_us", "imp_gal": "gal_imp",
    "imp_qt": "qt_imp", "delta_degC": "degC", "delta_degF": "degF",
}  # fmt: skip
ANY = Decimal(1_000_000)


def cases(name: str) -> list[Any]:
    path = Path(__file__).parent / "data" / f"{name}.json"
    loaded = json.loads(path.read_text("utf-8"), parse_float=Decimal)["cases"]
    return [pytest.param(case, id=case["case"]) for case in loaded]


def near(found: Any, case: dict[str, Any], expected: Any = None) -> bool:
    wanted = case["expected"] if expected is None else expected
    tolerance = Fraction(case["tolerance"] or 0)
    return abs(Fraction(found) - Fraction(wanted)) <= tolerance


def by_keys(table: dict[str, Callable[..., None]], case: dict[str, Any]) -> None:
    """Run the function whose space-separated key names exactly the case's inputs."""
    given = frozenset(case["input"])
    found = [run for keys, run in table.items() if frozenset(keys.split()) == given]
    assert len(found) == 1, f"no check takes {sorted(given)}"
    found[0](case, **{key.replace("from", "source"): v for key, v in case["input"].items()})


# Units: NIST SP 811 (2008), App. B.8 and B.9


def check_conversion(case: Any, value: Any, source: str, to: str) -> None:
    if source.startswith("delta"):
        found = convert_difference(value, CODES[source], CODES[to])
    else:
        of = Quantity.of(value, CODES.get(source, source))
        found = convert(of, CODES.get(to, to)).exact
    assert near(found, case)


def check_mix_up(case: Any, said: str, done: str) -> None:
    assert (said, done) == ("36 ft_lbf", "36 N*m")  # common practice, no source
    wanted = Quantity.of(36, "lbf.ft")
    assert near(Fraction(36) / convert(wanted, "N.m").exact, case)
    verdict = torque.judge_torque(Quantity.of(36, "N.m"), wanted, 10)
    assert not verdict.within
    assert verdict.meant == wanted


@pytest.mark.parametrize("case", cases("units"))
def test_units(case: Any) -> None:
    by_keys({"value from to": check_conversion, "said done": check_mix_up}, case)


# Torque: ISO 6789, US Army TM 9-254, ISO 898-1


def newton_metres(value: Any) -> Quantity:
    return Quantity.of(value, "N.m")


def check_class(case: Any, set_nm: Any, tool_max_nm: Any, **kind: str) -> None:
    wanted = case["expected"]
    deviation = torque.permissible_deviation(
        newton_metres(tool_max_nm), kind["type"], kind["class"]
    )
    assert deviation * 100 == wanted["pct"]
    applied = torque.applied_band(newton_metres(set_nm), deviation)
    simple = torque.tolerance_band(newton_metres(set_nm), deviation * 100)
    assert near(applied.low.exact, case, wanted["applied_low_nm"])
    assert near(applied.high.exact, case, wanted["applied_high_nm"])
    assert near(simple.low.exact, case, wanted["simple_low_nm"])
    assert near(simple.high.exact, case, wanted["simple_high_nm"])


def check_tool_range(case: Any, set_nm: Any, range_nm: list[Any]) -> None:
    low, high = (newton_metres(value) for value in range_nm)
    found = torque.check_range(newton_metres(set_nm), torque.tool_range(high, low))
    assert found.value == case["expected"]


def check_recalibration(case: Any, last: str, now: str, cycles: int) -> None:
    days = date.fromisoformat(last), date.fromisoformat(now)
    assert torque.recalibration_due(*days, cycles) is case["expected"]


def check_setting(case: Any, T: Any, L: Any, E: Any, angle_deg: Any) -> None:  # noqa: N803
    assert near(torque.crow_foot_setting(newton_metres(T), L, E, angle_deg).exact, case)


def check_left_alone(case: Any, L: Any, E: Any, angle_deg: Any, **more: Any) -> None:  # noqa: N803
    found = torque.crow_foot_applied(newton_metres(more["set"]), L, E, angle_deg)
    assert near(found.exact, case)


def check_area(case: Any, d: Any, P: Any) -> None:  # noqa: N803
    assert near(bolts.stress_area(d, P), case)


def check_proof(case: Any, d: str = "all", **more: str) -> None:
    diameter = 20 if d == "d>16" else 16
    assert bolts.proof_stress(more["class"], diameter) == case["expected"]


def check_preload(case: Any, d_mm: Any, As_mm2: Any, Sp_MPa: Any, preload_fraction: Any) -> None:  # noqa: N803
    wanted = case["expected"]
    force = bolts.preload(As_mm2, Sp_MPa, preload_fraction)
    assert near(bolts.preload(As_mm2, Sp_MPa, 1), case, wanted["proof_N"])
    assert abs(force - Fraction(wanted["preload_N"])) <= Fraction("0.05")  # printed to 0.1
    assert near(bolts.tightening_torque(force, d_mm), case, wanted["T_K0.20_Nm"])
    assert near(bolts.tightening_torque(force, d_mm, bolts.K_OILED), case, wanted["T_K0.15_Nm"])


def check_oiled(case: Any, T_dry: Any, K_dry: Any, K_oiled: Any) -> None:  # noqa: N803
    assert near(bolts.restated(T_dry, K_dry, K_oiled), case)


def check_overtension(case: Any, K_dry: Any, K_oiled: Any) -> None:  # noqa: N803
    assert near(bolts.restated(1, K_oiled, K_dry), case)


def check_advance(case: Any, angle_deg: Any, pitch_mm: Any) -> None:
    assert near(torque.angle_advance(angle_deg, pitch_mm), case)


@pytest.mark.parametrize("case", cases("torque"))
def test_torque(case: Any) -> None:
    by_keys(
        {
            "set_nm tool_max_nm type class": check_class,
            "set_nm range_nm": check_tool_range,
            "last now cycles": check_recalibration,
            "T L E angle_deg": check_setting,
            "set L E angle_deg": check_left_alone,
            "d P": check_area,
            "class d": check_proof,
            "class": check_proof,
            "d_mm As_mm2 Sp_MPa preload_fraction": check_preload,
            "T_dry K_dry K_oiled": check_oiled,
            "K_dry K_oiled": check_overtension,
            "angle_deg pitch_mm": check_advance,
        },
        case,
    )


# Fluid: API MPMS 11.1 / ASTM D1250, perfect mixing


def litres(value: Any) -> Quantity:
    return Quantity.of(value, "L")


def check_vcf(case: Any, rho15: Any, t_c: Any, K1: Any) -> None:  # noqa: N803
    assert Fraction(K1) == volume.K1_CELSIUS
    assert near(volume.vcf(rho15, t_c), case, case["expected"]["vcf"])
    assert near(volume.expansion_coefficient(rho15), case, case["expected"]["alpha15_per_C"])


def check_vcf_60(case: Any, rho60: Any, t_f: Any, K1: Any) -> None:  # noqa: N803
    assert Fraction(K1) == volume.K1_FAHRENHEIT
    wanted = case["expected"]
    assert near(volume.vcf_60f(rho60, t_f), case, wanted["vcf_1980_form"])
    assert near(volume.vcf_60f_2004(rho60, t_f), case, wanted["vcf_2004_full"])
    assert near(volume.K1_FAHRENHEIT / rho60, case, wanted["alpha60_per_F"])


def check_k1(case: Any, K1_F: Any) -> None:  # noqa: N803
    assert near(Fraction(K1_F) * Fraction(9, 5), case)
    assert abs(volume.K1_CELSIUS - Fraction(K1_F) * Fraction(9, 5)) < Fraction("0.00001")


def check_mixed_constants(case: Any, alpha_right_per_C_at_870: Any) -> None:  # noqa: N803
    wrong = volume.K1_FAHRENHEIT / 870
    assert near(wrong, case, case["expected"]["alpha_wrong"])
    assert near(Fraction(alpha_right_per_C_at_870) / wrong, case, case["expected"]["ratio"])
    assert near(volume.expansion_coefficient(870) / wrong, case, case["expected"]["ratio"])


def check_limits(case: Any) -> None:
    low, high = case["expected"]["rho60_kgm3"]
    cold, hot = case["expected"]["t_degC"]
    for density, celsius in ((low, 15), (high, 15), (850, cold), (850, hot)):
        assert volume.vcf(density, celsius) > 0
    for density, celsius in ((low - 1, 15), (high + 1, 15), (850, cold - 1), (850, hot + 1)):
        with pytest.raises(InputError, match="covers"):
            volume.vcf(density, celsius)
    for fahrenheit in case["expected"]["t_degF"]:
        assert volume.vcf_60f(850, fahrenheit) > 0


def check_alpha(case: Any, rho15: Any) -> None:
    assert near(volume.expansion_coefficient(rho15), case)


def check_thumb(case: Any, V_L: Any, dT: Any, beta: Any) -> None:  # noqa: N803
    grown = volume.volume_at_by_thumb(litres(V_L), 20, 20 + dT, beta) - litres(V_L)
    assert near(grown.exact, case)


def check_ratio(case: Any, rho15: Any, t1: Any, t2: Any) -> None:
    assert near(volume.volume_at(litres(1), t1, t2, rho15).exact, case)


def check_renewed(case: Any, drain: Any, total: Any, n: int) -> None:
    assert near(volume.renewed_fraction([litres(drain)] * n, litres(total)) * 100, case)
    assert near(volume.renewal_curve(litres(drain), litres(total), n)[-1] * 100, case)


def check_unequal(case: Any, drains: list[Any], total: Any) -> None:
    assert near(volume.renewed_fraction([litres(d) for d in drains], litres(total)) * 100, case)


def check_services(case: Any, drain: Any, total: Any, target: Any) -> None:
    assert volume.services_to_reach(litres(drain), litres(total), target) == case["expected"]


def check_containers(case: Any, need: Any, container: Any) -> None:
    found = volume.containers(litres(need), litres(container))
    assert found.count == case["expected"]
    assert found.leftover.exact == found.count * Fraction(container) - Fraction(need)


def check_float_trap(case: Any, expr: str) -> None:
    assert expr == "ceil((0.1+0.2)/0.1)"
    assert math.ceil((0.1 + 0.2) / 0.1) == case["expected"]["float"]
    need = litres("0.1") + litres("0.2")
    assert volume.containers(need, litres("0.1")).count == case["expected"]["decimal"]


@pytest.mark.parametrize("case", cases("fluid"))
def test_fluid(case: Any) -> None:
    by_keys(
        {
            "rho15 t_c K1": check_vcf,
            "rho60 t_f K1": check_vcf_60,
            "K1_F": check_k1,
            "alpha_right_per_C_at_870": check_mixed_constants,
            "": check_limits,
            "rho15": check_alpha,
            "V_L dT beta": check_thumb,
            "rho15 t1 t2": check_ratio,
            "drain total n": check_renewed,
            "drains total": check_unequal,
            "drain total target": check_services,
            "need container": check_containers,
            "expr": check_float_trap,
        },
        case,
    )


# Level and clocks


def check_rise(case: Any, *, V_L: Any, t1: Any, t2: Any, rho15: Any, area_m2: Any) -> None:  # noqa: N803
    wanted = case["expected"]
    warm = volume.volume_at(litres(V_L), t1, t2, rho15)
    assert near(warm.exact, case, wanted["V2_L"])
    assert near(level.growth(litres(V_L), t1, t2, rho15).exact, case, wanted["dV_L"])
    found = level.rise_with_temperature(litres(V_L), t1, t2, rho15, area_m2)
    assert near(found.exact, case, wanted["rise_mm"])


def check_rise_by_thumb(case: Any, V_L: Any, dT: Any, beta: Any, area_m2: Any) -> None:  # noqa: N803
    found = level.rise_by_thumb(litres(V_L), 40, 40 + dT, area_m2, beta)
    assert near(found.exact, case, case["expected"]["rise_mm"])


def check_overfill(case: Any, V_L: Any, t_read: Any, t_should: Any, rho15: Any) -> None:  # noqa: N803
    over = level.growth(litres(V_L), t_read, t_should, rho15)
    assert near(over.exact, case, case["expected"]["L"])
    assert near(convert(over, "qt_us").exact, case, case["expected"]["us_qt"])


def check_window(case: Any, t_s: Any, window_s: list[Any]) -> None:
    words = {Timing.EARLY: "too_early", Timing.IN: "ok", Timing.LATE: "too_late"}
    assert words[Window.of(*window_s).judge(t_s)] == case["expected"]


def check_agree(case: Any, mm: list[Any], limit_mm: Any) -> None:
    agree = level.readings_agree(mm[0], mm[1], limit_mm)
    assert ("agree" if agree else "read_again") == case["expected"]


def check_level(case: Any, tilt_deg: Any, limit_deg: Any) -> None:
    found = level.is_level(tilt_deg, limit_deg)
    assert ("level_ok" if found else "warn_not_level") == case["expected"]


def check_tilt(case: Any, tilt_deg: Any, length_mm: Any) -> None:
    assert near(level.tilt_error(tilt_deg, length_mm), case)


@pytest.mark.parametrize("case", cases("level"))
def test_level_and_window(case: Any) -> None:
    by_keys(
        {
            "V_L t1 t2 rho15 area_m2": check_rise,
            "V_L dT beta area_m2": check_rise_by_thumb,
            "V_L t_read t_should rho15": check_overfill,
            "t_s window_s": check_window,
            "mm limit_mm": check_agree,
            "tilt_deg limit_deg": check_level,
            "tilt_deg length_mm": check_tilt,
        },
        case,
    )


# Particles: ISO 16232, ISO 4406, ISO 13322-1


def check_class_limits(case: Any, **kind: str) -> None:
    low, high = case["expected"]["min_um_incl"], case["expected"]["max_um_excl"]
    letter = kind["class"]
    assert particles.size_class(low) == letter
    assert particles.size_class(low - Decimal("0.001")) != letter
    assert particles.size_class(ANY if high is None else high - Decimal("0.001")) == letter
    assert high is None or particles.size_class(high) != letter


def check_size(case: Any, feret_max_um: Any) -> None:
    assert particles.size_class(feret_max_um) == case["expected"]


def check_scale(case: Any, scale: int) -> None:
    wanted = case["expected"]["more_than"], case["expected"]["up_to_incl"]
    assert particles.iso4406_limits(scale) == tuple(Fraction(limit) for limit in wanted)


def check_count(case: Any, per_mL: Any) -> None:  # noqa: N803
    if isinstance(per_mL, list):
        assert particles.iso4406_code(per_mL) == case["expected"]
    else:
        assert particles.iso4406_number(per_mL) == str(case["expected"])


def check_concentration(case: Any, level: str) -> None:
    wanted = case["expected"]["more_than"], case["expected"]["up_to_incl"]
    assert particles.level_limits(level) == wanted


def check_code(case: Any, ccc: str) -> None:
    wanted = dict(case["expected"])
    found = particles.parse_cleanliness_code(ccc)
    assert found.basis == wanted.pop("basis")
    assert found.limits == wanted


def check_feret(case: Any, polygon: list[list[int]]) -> None:
    wanted = case["expected"]
    found = particles.feret([(x, y) for x, y in polygon])
    assert near(found.largest, case, wanted["feret_max"])
    assert near(found.smallest, case, wanted["feret_min"])
    assert near(found.mean, case, wanted["mean_feret"])
    assert near(found.equal_area, case, wanted["equal_area_diameter"])
    assert particles.size_class(Decimal(found.largest)) == wanted["class_by_feret_max"]
    assert particles.size_class(Decimal(found.equal_area)) == wanted["class_by_equal_area"]


def check_pixels(case: Any, px: int, um_per_px: int) -> None:
    outline = [(0.0, 0.0), (float(px), 0.0)]
    size = Decimal(particles.feret(outline).largest) * um_per_px
    assert (size, particles.size_class(size)) == (case["expected"]["um"], case["expected"]["class"])


@pytest.mark.parametrize("case", cases("particles"))
def test_particles(case: Any) -> None:
    by_keys(
        {
            "class": check_class_limits,
            "feret_max_um": check_size,
            "scale": check_scale,
            "per_mL": check_count,
            "level": check_concentration,
            "ccc": check_code,
            "polygon": check_feret,
            "px um_per_px": check_pixels,
        },
        case,
    )


# Colour: Sharma, Wu, Dalal (2005); IEC 61966-2-1; ASTM D1500


def as_lab(values: list[Any]) -> colour.Lab:
    first, second, third = (float(value) for value in values)
    return first, second, third


def check_difference(case: Any, lab1: list[Any], lab2: list[Any]) -> None:
    there = colour.delta_e_2000(as_lab(lab1), as_lab(lab2))
    back = colour.delta_e_2000(as_lab(lab2), as_lab(lab1))
    assert near(there, case)
    assert near(back, case)


def check_srgb(case: Any, srgb8: list[int]) -> None:
    found = colour.srgb_to_lab(*srgb8)
    assert all(near(got, case, want) for got, want in zip(found, case["expected"], strict=True))
    assert colour.lab_to_srgb(found) == tuple(srgb8)


def check_glass(case: Any, astm_color: Any) -> None:
    valid = colour.astm_colour_is_valid(float(astm_color))
    assert ("valid" if valid else "invalid") == case["expected"]


def check_between(case: Any, between: list[Any]) -> None:
    report = colour.astm_colour_between(float(between[0]), float(between[1]))
    assert report == (float(case["expected"]["report"]), case["expected"]["text"])


@pytest.mark.parametrize("case", cases("colour"))
def test_colour(case: Any) -> None:
    by_keys(
        {
            "lab1 lab2": check_difference,
            "srgb8": check_srgb,
            "astm_color": check_glass,
            "between": check_between,
        },
        case,
    )


# VIN: 49 CFR 565.13, 565.15; ISO 3779


def check_tables(case: Any) -> None:
    wanted = case["expected"]
    if case["case"] == "transliteration":
        assert {c: n for c, n in vin.VALUES.items() if c.isalpha()} == wanted
        assert all(vin.VALUES[str(n)] == n for n in range(10))
    elif case["case"].startswith("weights"):
        assert list(vin.WEIGHTS) == wanted
    elif case["case"].startswith("characters"):
        assert {str(n): group for n, group in vin.EQUAL_VALUES.items()} == wanted
    else:
        assert wanted == vin.YEAR_CODES


def check_number(case: Any, **given: str) -> None:
    wanted, report = case["expected"], vin.check_vin(given["vin"])
    if isinstance(wanted, str):
        assert report.problem == wanted
    elif isinstance(wanted, int):
        assert report.year == wanted
    else:
        assert report.problem is None
        found = {"sum": report.weighted_sum, "check": report.check, "valid": report.check_fits}
        assert found == wanted


def check_year(case: Any, pos10: str) -> None:
    wanted = () if case["expected"] == "invalid" else tuple(case["expected"])
    assert vin.model_years(pos10) == wanted


@pytest.mark.parametrize("case", cases("vin"))
def test_vin(case: Any) -> None:
    by_keys({"": check_tables, "vin": check_number, "pos10": check_year}, case)
