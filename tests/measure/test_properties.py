"""Properties of the sums, agreement of independent ways, and bad input."""

from __future__ import annotations

import itertools
import math
from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from joblog.errors import InputError
from joblog.measure import (
    Quantity,
    Timing,
    Window,
    colour,
    convert,
    elapsed,
    particles,
    torque,
    vin,
    volume,
)
from joblog.measure.due import Due, Interval, Reading, add_months, next_due, reached

torques = st.decimals("0.5", "500", places=2).map(lambda value: Quantity(value, "N.m"))
volumes = st.decimals("0.1", "20", places=2).map(lambda value: Quantity(value, "L"))
points = st.tuples(st.integers(-500, 500), st.integers(-500, 500)).map(
    lambda p: (float(p[0]), float(p[1]))
)


# Torque


@given(torques, st.integers(100, 900), st.integers(0, 99), st.integers(0, 180))
def test_crow_foot_setting_and_applied_undo_each_other(
    wanted: Quantity, length: int, extension: int, degrees: int
) -> None:
    setting = torque.crow_foot_setting(wanted, length, extension, degrees)
    assert torque.crow_foot_applied(setting, length, extension, degrees).exact == wanted.exact


def test_a_crow_foot_at_90_degrees_needs_no_correction() -> None:
    # [handbook: US Army TM 9-254]; some pages say the reverse
    wanted = Quantity.of(100, "N.m")
    assert torque.crow_foot_setting(wanted, 450, 50, 90) == Quantity(Fraction(100), "N.m")


@given(torques, st.decimals(0, 30, places=1))
def test_the_bounds_of_a_tolerance_are_inside(nominal: Quantity, percent: Decimal) -> None:
    band = torque.tolerance_band(nominal, percent)
    for bound in (band.low, band.high, convert(band.low, "lbf.in"), convert(band.high, "kgf.m")):
        assert torque.judge_torque(bound, nominal, percent).within
    over = band.high + Quantity.of("0.000001", "N.m")
    assert not torque.judge_torque(over, nominal, percent).within


def test_a_torque_that_fits_no_unit_suggests_none() -> None:
    verdict = torque.judge_torque(Quantity.of(300, "N.m"), Quantity.of(30, "N.m"), 10)
    assert (verdict.within, verdict.meant, verdict.deviation) == (False, None, 9)


def test_without_a_marked_minimum_a_tool_starts_at_a_fifth() -> None:
    # [standard: ISO 6789:2003], lowest test point 20 %
    band = torque.tool_range(Quantity.of(200, "N.m"))
    assert torque.check_range(Quantity.of(40, "N.m"), band) is torque.InRange.IN
    assert torque.check_range(Quantity.of("39.99", "N.m"), band) is torque.InRange.BELOW


@pytest.mark.parametrize(
    "bad", [Quantity.of(0, "N.m"), Quantity.of(-5, "N.m"), Quantity.of(1, "L")]
)
def test_no_torque_is_refused(bad: Quantity) -> None:
    with pytest.raises(InputError):
        torque.judge_torque(bad, Quantity.of(30, "N.m"), 10)
    with pytest.raises(InputError):
        torque.tolerance_band(bad, 5)


def test_a_tool_whose_spread_fits_the_sheet_and_one_whose_does_not() -> None:
    # ±4 % of the tool [standard: ISO 6789-1:2017, 5.1.5] within ±10 % of the sheet, not within ±4 %
    nominal = Quantity.of(40, "N.m")
    tool = torque.applied_band(nominal, torque.permissible_deviation(Quantity.of(100, "N.m")))
    assert torque.tolerance_band(nominal, 10).encloses(tool)
    assert not torque.tolerance_band(nominal, 4).encloses(tool)


def test_angle_bounds_are_inside() -> None:
    assert torque.judge_angle("85", 90, 5).within
    assert torque.judge_angle("95", 90, 5).within
    assert not torque.judge_angle("95.1", 90, 5).within


# Fluids


@given(volumes, st.integers(-50, 150), st.integers(-50, 150), st.integers(801, 1163))
def test_warming_and_cooling_back_gives_the_same_volume(
    start: Quantity, cold: int, hot: int, density: int
) -> None:
    warm = volume.volume_at(start, cold, hot, density)
    assert volume.volume_at(warm, hot, cold, density).exact == start.exact
    assert (warm.exact >= start.exact) == (hot >= cold)


@given(volumes, st.lists(st.fractions(0, 1, max_denominator=50), max_size=5))
def test_renewal_grows_and_does_not_depend_on_order(
    capacity: Quantity, shares: list[Fraction]
) -> None:
    drains = [capacity.scaled(share) for share in shares]
    curve = [volume.renewed_fraction(drains[:n], capacity) for n in range(len(drains) + 1)]
    assert curve == sorted(curve)
    assert volume.renewed_fraction(drains[::-1], capacity) == curve[-1]
    assert 0 <= curve[-1] <= 1


@given(
    st.fractions(Fraction(1, 20), 1, max_denominator=60),
    st.fractions(0, Fraction(99, 100), max_denominator=100),
)
def test_services_to_reach_is_the_fewest(share: Fraction, target: Fraction) -> None:
    capacity = Quantity.of(9, "L")
    count = volume.services_to_reach(capacity.scaled(share), capacity, target)
    reach = [
        volume.renewed_fraction([capacity.scaled(share)] * n, capacity) for n in range(count + 1)
    ]
    assert reach[-1] >= target
    assert all(value < target for value in reach[:-1])


@given(volumes, volumes)
def test_containers_hold_enough_and_one_fewer_does_not(need: Quantity, size: Quantity) -> None:
    found = volume.containers(need, size)
    assert found.count * size.exact - found.leftover.exact == need.exact
    assert 0 <= found.leftover.exact < size.exact


def test_drained_hot_and_filled_cold_agree_after_correction() -> None:
    # 3.2 L at 80 °C shrink by about 4.5 % on the way to 20 °C [standard: API MPMS 11.1]
    limit = Quantity.of("0.05", "L")
    hot, cold = Quantity.of("3.20", "L"), Quantity.of("3.06", "L")
    bare = volume.balance(hot, cold, limit)
    known = {"drained_celsius": 80, "filled_celsius": 20}
    formula = volume.balance(hot, cold, limit, density15=850, **known)
    thumb = volume.balance(hot, cold, limit, **known)
    assert not bare.agrees
    assert formula.agrees
    assert thumb.agrees
    assert "API MPMS 11.1" in formula.method
    expected = Fraction("3.20") * Fraction(volume.vcf(850, 80)) / Fraction(volume.vcf(850, 20))
    assert formula.corrected.exact == expected


def test_absurd_fluids_are_refused() -> None:
    litre, ten = Quantity.of(1, "L"), Quantity.of(10, "L")
    with pytest.raises(InputError, match="negative"):
        volume.containers(Quantity.of(-1, "L"), litre)
    with pytest.raises(InputError, match="empty container"):
        volume.containers(ten, Quantity.of(0, "L"))
    with pytest.raises(InputError, match="can't come out"):
        volume.renewed_fraction([ten], litre)
    with pytest.raises(InputError, match="not a volume"):
        volume.renewed_fraction([Quantity.of(1, "N.m")], ten)
    with pytest.raises(InputError, match="give 0 to 1"):
        volume.services_to_reach(litre, ten, 2)
    with pytest.raises(InputError, match="exchange"):
        volume.services_to_reach(litre, ten, 1)
    with pytest.raises(InputError, match="covers"):
        volume.vcf(700, 20)


# Clocks


@given(st.integers(0, 500), st.integers(0, 500), st.integers(0, 1200))
def test_a_window_is_one_of_three_and_counts_down(opens: int, length: int, at: int) -> None:
    window = Window.of(opens, opens + length)
    timing = window.judge(at)
    assert (timing is Timing.EARLY) == (window.until_open(at) > 0)
    assert (timing is Timing.LATE) == (at > opens + length)
    left = window.left(at)
    assert left is not None
    assert left == max(0, opens + length - at)


def test_windows_that_cannot_be_are_refused() -> None:
    with pytest.raises(InputError, match="exchange the two"):
        Window.of(90, 60)
    with pytest.raises(InputError):
        Window.of(-1)
    assert Window.of(60).judge(10**9) is Timing.IN
    assert Window.of(60).left(10) is None


def test_elapsed_is_known_only_within_one_epoch() -> None:
    assert elapsed("10.000", "a", "70.250", "a") == Fraction("60.25")
    assert elapsed("10.000", "a", "70.250", "b") is None
    assert elapsed("70.250", "a", "10.000", "a") is None


# Particles


@given(st.lists(points, min_size=2, max_size=40))
def test_calipers_agree_with_trying_every_pair(outline: list[tuple[float, float]]) -> None:
    assume(len(set(outline)) > 1)
    found = particles.feret(outline)
    widest = max(math.dist(a, b) for a, b in itertools.combinations(outline, 2))
    assert math.isclose(found.largest, widest, rel_tol=1e-12)
    assert math.isclose(math.dist(*found.ends), widest, rel_tol=1e-12)
    hull = particles.convex_hull(outline)
    if len(hull) < 3:
        assert found.smallest == 0
        return
    widths = []
    for a, b in zip(hull, hull[1:] + hull[:1], strict=True):
        normal = ((b[1] - a[1]) / math.dist(a, b), (a[0] - b[0]) / math.dist(a, b))
        along = [x * normal[0] + y * normal[1] for x, y in hull]
        widths.append(max(along) - min(along))
    assert math.isclose(found.smallest, min(widths), rel_tol=1e-9, abs_tol=1e-9)


@given(st.lists(points, min_size=3, max_size=20), st.floats(0, 6.3))
def test_turning_an_outline_changes_no_diameter(
    outline: list[tuple[float, float]], turn: float
) -> None:
    assume(len(particles.convex_hull(outline)) > 2)
    c, s = math.cos(turn), math.sin(turn)
    turned = [(x * c - y * s, x * s + y * c) for x, y in outline]
    first, second = particles.feret(outline), particles.feret(turned)
    assert math.isclose(first.largest, second.largest, rel_tol=1e-9)
    assert math.isclose(first.smallest, second.smallest, rel_tol=1e-6, abs_tol=1e-6)


def test_bins_count_every_particle_of_a_class_once() -> None:
    counts = particles.bins(["4.9", 5, 14, 400, "599.9", 3000, 9000])
    assert {letter: n for letter, n in counts.items() if n} == {"B": 2, "I": 2, "N": 2}


def test_outlines_that_are_none_are_refused() -> None:
    with pytest.raises(InputError):
        particles.feret([(1.0, 1.0), (1.0, 1.0)])
    with pytest.raises(InputError):
        particles.feret([(0.0, 0.0), (math.nan, 1.0)])
    with pytest.raises(InputError):
        particles.parse_cleanliness_code("A(Z9)")


# Colour


def test_lab_agrees_with_colour_science() -> None:
    # [library: colour-science==0.4.7]; other digits of the matrix move b* by up to 0.02
    reference = pytest.importorskip("colour", reason="optional cross-check")
    for srgb in itertools.product((0, 20, 90, 160, 255), repeat=3):
        xyz = reference.sRGB_to_XYZ([channel / 255 for channel in srgb])
        white = reference.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
        theirs = reference.XYZ_to_Lab(xyz, white)
        ours = colour.srgb_to_lab(*srgb)
        assert all(abs(a - b) < 0.03 for a, b in zip(ours, theirs, strict=True))


@given(st.tuples(*[st.integers(0, 255)] * 3), st.tuples(*[st.integers(0, 255)] * 3))
def test_a_difference_is_symmetric_and_zero_only_for_the_same(
    first: tuple[int, int, int], second: tuple[int, int, int]
) -> None:
    one, other = colour.srgb_to_lab(*first), colour.srgb_to_lab(*second)
    assert math.isclose(
        colour.delta_e_2000(one, other), colour.delta_e_2000(other, one), abs_tol=1e-9
    )
    assert (colour.delta_e_2000(one, other) < 1e-9) == (first == second)
    assert colour.lab_to_srgb(one) == first


def test_no_colour_is_refused() -> None:
    with pytest.raises(InputError):
        colour.srgb_to_lab(256, 0, 0)


# VIN


@given(st.text("ABCDEFGHJKLMNPRSTUVWXYZ0123456789", min_size=17, max_size=17), st.data())
def test_one_wrong_character_is_seen_unless_its_value_is_equal(
    text: str, data: st.DataObject
) -> None:
    right = text[:8] + vin.check_digit(text) + text[9:]
    assert vin.check_vin(right).check_fits
    place = data.draw(st.integers(0, 16).filter(lambda n: n != 8))
    other = data.draw(st.sampled_from(sorted(vin.VALUES)))
    changed = right[:place] + other + right[place + 1 :]
    same_value = vin.VALUES[other] == vin.VALUES[right[place]]
    assert vin.check_vin(changed).check_fits == same_value


def test_a_mixed_up_character_is_offered_but_never_taken() -> None:
    report = vin.check_vin("SGZCZ43D13S812715")  # 5 read as S
    assert not report.check_fits
    assert "5GZCZ43D13S812715" in report.candidates
    assert vin.check_vin("1M8GDM9AXKPO42788").candidates == ("1M8GDM9AXKP042788",)
    assert vin.undetected("K") == "2BS"


@given(st.text("ABCDEFGHJKLMNPRSTUVWXYZ0123456789", min_size=17, max_size=17), st.data())
def test_two_swapped_neighbours_are_offered(text: str, data: st.DataObject) -> None:
    right = text[:8] + vin.check_digit(text) + text[9:]
    k = data.draw(st.integers(0, 15))
    report = vin.check_vin(right[:k] + right[k + 1] + right[k] + right[k + 2 :])
    assert report.check_fits or right in report.swapped
    assert all(vin.check_vin(other).check_fits for other in report.suggested)
    assert len(report.suggested) <= 5
    assert set(report.candidates[:3]) <= set(report.suggested)


def test_outside_north_america_a_mismatch_is_a_warning() -> None:
    report = vin.check_vin("WVZZZ1KZ6W000001Z"[:17])
    assert report.problem is None
    assert not report.check_fits
    assert report.acceptable
    assert any("outside North America" in warning for warning in report.warnings)
    assert report.year is None  # position 10 need not be a year there
    american = vin.check_vin("1G4AH59H55G118341")
    assert not american.acceptable
    # [standard: ISO 3780, from memory]: 6 and 7A to 7E are Oceania's, 7F on the United States'
    assert [vin.is_north_american(code) for code in ("6G1", "7A1", "7SA", "3VW")] == [
        False, False, True, True,
    ]  # fmt: skip


# Due


def test_months_end_is_kept_within_the_month() -> None:
    assert add_months(date(2024, 2, 29), 12) == date(2025, 2, 28)
    assert add_months(date(2026, 10, 31), 4) == date(2027, 2, 28)
    assert add_months(date(2026, 12, 1), 12) == date(2027, 12, 1)
    with pytest.raises(InputError):
        add_months(date(9999, 12, 1), 12)


def test_whichever_comes_first() -> None:
    at = Reading(date(2026, 11, 25), Quantity.of(80_000, "km"), Quantity.of(1200, "h"))
    interval = Interval(Quantity.of(10_000, "mi"), Quantity.of(250, "h"), 12)
    due = next_due(at, interval)
    assert due.distance == Quantity(Fraction(80_000) + Fraction("16093.44"), "km")
    assert due.day == date(2027, 11, 25)
    assert due.sentence.endswith("whichever comes first")
    assert reached(due, Reading(date(2027, 1, 1), Quantity.of(90_000, "km"))) == ()
    far = Reading(date(2027, 11, 25), Quantity.of(60_000, "mi"), Quantity.of(1449, "h"))
    assert reached(due, far) == ("distance", "date")


def test_what_was_not_read_is_said() -> None:
    due = next_due(Reading(date(2026, 11, 25)), Interval(Quantity.of(10_000, "mi"), months=6))
    assert due == Due(None, None, date(2027, 5, 25), ("the odometer",))
    with pytest.raises(InputError):
        Interval()
    with pytest.raises(InputError):
        Interval(months=0)
    with pytest.raises(InputError):
        next_due(Reading(distance=Quantity.of(-1, "km")), Interval(Quantity.of(1, "km")))
