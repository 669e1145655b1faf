"""Before and after the job: kit, wrench range, renewal, thermal correction, due, earlier jobs."""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest

from joblog.job.earlier import not_earlier
from joblog.job.kit import kit_list, minutes_left
from joblog.job.sums import due_next, fluid_balance, level_growth, renewal_of
from joblog.job.types import FindingKind
from joblog.sheet.load import library, load_sheet, sheet_from_text, sheet_text

IMAGES = Path(__file__).parents[2] / "sample_images"

# A unit of 7.6 quarts of which 3.3 are drained, in one-quart bottles: common practice, no source.
FLUID = """
[sheet]
key = "drain"
title = "Drain and fill"
revision = "1"
summary = "Fluid is changed."

[sheet.next_due]
distance = { value = 30000, unit = "mi" }
months = 24

[[fluids]]
key = "fluid"
name = "Gear fluid"
specification = "example"
service = { value = 3.3, unit = "qt_us" }
total = { value = 7.6, unit = "qt_us" }
container = { value = 1, unit = "qt_us" }
tolerance = { value = 0.1, unit = "qt_us" }
density = 850

[[tools]]
key = "wrench"
name = "Torque wrench"
highest = { value = 100, unit = "lbf.ft" }

[[steps]]
key = "hot"
title = "Hot"
say = ["hot enough"]
reading = { name = "fluid temperature", unit = "degC", required = false }
minutes = 5

[[steps]]
key = "drained"
title = "Drained"
say = ["draining done"]
pour = { fluid = "fluid", direction = "out" }
minutes = 10

[[steps]]
key = "plug"
title = "Plug"
say = ["plug in"]
tools = ["wrench"]
torque = { fastener = "plug", value = TORQUE, unit = "lbf.ft", tolerance = 2 }
minutes = 4

[[steps]]
key = "new"
title = "New fluid measured"
say = ["new fluid ready"]
reading = { name = "new fluid temperature", unit = "degC", required = false }

[[steps]]
key = "filled"
title = "Filled"
say = ["filling done"]
pour = { fluid = "fluid", direction = "in" }
minutes = 8
"""


def text(torque: int = 36) -> str:
    return FLUID.replace("TORQUE", str(torque))


def test_bottles_to_open_and_what_is_left_over():
    kit = kit_list(sheet_from_text(text()))
    (need,) = kit.fluids
    assert need.containers is not None
    assert need.containers.count == 4  # 3.3 in one-quart bottles
    assert need.containers.leftover.exact == Fraction(7, 10)
    assert need.sentence == ("Gear fluid: open 4 of 1 US qt for 3.3 US qt; 0.7 US qt is left over.")
    assert kit.minutes == 27  # 5 + 10 + 4 + 8: the sheet gives no time of its own


@pytest.mark.parametrize(("torque", "fits"), [(19, False), (20, True), (100, True), (101, False)])
def test_a_wrench_is_good_from_a_fifth_of_its_range(torque, fits):
    # ISO 6789:2003 test points 20, 60 and 100 % of the range
    (check,) = kit_list(sheet_from_text(text(torque))).wrenches
    assert check.fits is fits
    assert ("fetch another wrench" in check.sentence) is not fits


@pytest.mark.parametrize("key", sorted(library()))
def test_shipped_sheets_have_the_wrench_they_need(key):
    assert kit_list(load_sheet(library()[key])).warnings == ()


def test_share_renewed_and_the_curve_of_further_services(bench):
    # 43.4211, 67.9882, 81.8881, 89.7525, 94.2021 %: perfect mixing, reference table 4.2
    job = bench(toml=text())
    job.say("drained three point three quarts", "three point three quarts in")
    renewal = renewal_of(job.state, "fluid")
    assert renewal is not None
    percents = [round(float(share) * 100, 4) for share in renewal.curve]
    assert percents == [43.4211, 67.9882, 81.8881, 89.7525, 94.2021]
    assert renewal.to_mostly == 5
    assert renewal.sentence == (
        "43 % of the Gear fluid is now new; a second such service would make it 68 %, "
        "and 5 in all would pass 90 %."
    )
    assert job.state.fluids[0].renewed == Decimal("0.4342")


def test_drained_hot_against_filled_cold(bench):
    """3.3 quarts at 80 °C are fewer at 20 °C: V·VCF(80)/VCF(20), API MPMS 11.1, 850 kg/m³."""
    job = bench(toml=text())
    job.say("fluid temperature eight zero celsius", "drained three point three quarts")
    job.say("new fluid temperature two zero celsius", "three point one five quarts in")
    job.say("filling done")
    compared = fluid_balance(job.state, "fluid")
    assert compared is not None
    # VCF(80) = 0.951370 (reference table 4.1); VCF(20) = 0.99629 by the same formula
    assert float(compared.corrected.exact) == pytest.approx(3.3 * 0.951370 / 0.996289, abs=2e-4)
    assert compared.method.startswith("API MPMS 11.1")
    assert compared.agrees
    assert job.open_keys() == []  # without the correction 0.15 quarts would be too little
    thumb = fluid_balance(job.state, "fluid", by_thumb=True)
    assert thumb is not None
    assert float(thumb.corrected.exact) == pytest.approx(3.3 * (1 - 0.0007 * 60), abs=1e-9)


def test_without_temperatures_the_amounts_are_compared_as_measured(bench):
    job = bench(toml=text())
    job.say("drained three point three quarts", "three point one five quarts in")
    reply = job.say("filling done")
    assert [f.kind for f in reply.findings] == [FindingKind.MISMATCH]


def test_much_less_came_out_than_the_sheet_says(bench):
    job = bench(toml=text())
    reply = job.say("drained two point eight quarts")
    assert [f.kind for f in reply.findings] == [FindingKind.OBSERVATION]
    assert "less than the sheet" in reply.findings[0].text
    assert job.open_keys() == []  # nobody's mistake, nothing to confirm


def test_the_fill_grows_with_its_temperature(bench):
    # 7 L at 850 kg/m³ warmed from 40 to 80 °C grow by 0.2212 L (reference table 4.1)
    litres = text().replace(
        'total = { value = 7.6, unit = "qt_us" }', 'total = { value = 7, unit = "L" }'
    )
    job = bench(toml=litres)
    grown = level_growth(job.state, "fluid", Decimal(40), Decimal(80))
    assert grown is not None
    assert float(grown.exact) == pytest.approx(0.2212, abs=5e-5)


def test_due_next_is_counted_from_the_odometer_and_the_day(bench):
    job = bench(toml=text(), unit={"odometer": "66,412", "odometer_unit": "mi"})
    due = due_next(job.state)
    assert due is not None
    assert due.sentence == "Due at 96412 mi or on 2028-11-25, whichever comes first"


def test_an_hour_meter_is_no_odometer(bench):
    toml = text().replace("months =", "hours = 500\nmonths =", 1)
    due = due_next(bench(toml=toml, unit={"odometer": "450.5", "odometer_unit": "h"}).state)
    assert due is not None
    assert due.distance is None
    assert due.hours is not None
    assert due.hours.exact == Fraction("950.5")  # 450.5 h + 500 h


def test_an_odometer_that_can_t_be_read_is_said_to_be_unknown(bench):
    due = due_next(bench(toml=text(), unit={"odometer": "unknown"}).state)
    assert due is not None
    assert due.distance is None
    assert due.day == date(2028, 11, 25)
    assert due.unknown == ("the odometer",)


def test_time_left_shrinks_with_every_step(bench):
    job = bench(toml=text())
    assert minutes_left(job.state) == 27
    job.say("hot enough")
    assert minutes_left(job.state) == 22


@pytest.mark.parametrize(
    ("sheet", "unit", "why"),
    [
        ("transaxle-drain-fill", {"type": "KT 6f", "plate": "ex 1"}, ""),
        ("transaxle-drain-fill", {"type": "KT-6F", "plate": "EX 2"}, "another vehicle"),
        ("coolant", {"plate": "EX 1"}, "another unit of the vehicle"),
        ("final-drive", {"type": "KA-30", "plate": "EX 1"}, r"another unit .*\(KA-30, not KT"),
    ],
)
def test_another_unit_is_another_unit(bench, clock, sheet, unit, why):
    """The rear axle of a vehicle is no earlier service of its gearbox."""
    before = bench(toml=sheet_text(sheet), unit=unit)
    before.session.close("finished", "as agreed")
    clock.advance(60)
    now = bench("transaxle-drain-fill", unit={"type": "KT-6F", "plate": "EX 1"})
    assert re.search(why, not_earlier(before.state, now.state))
    assert bool(not_earlier(before.state, now.state)) == bool(why)


def test_only_a_closed_job_that_was_opened_before_is_an_earlier_one(bench, clock):
    jobs = []
    for _ in range(2):
        jobs.append(bench("transaxle-drain-fill", unit={"type": "KT-6F", "plate": "EX 1"}))
        clock.advance(60)
    before, now = jobs
    assert "still open" in not_earlier(before.state, now.state)
    assert "opened later" in not_earlier(now.state, before.state)
    assert "itself" in not_earlier(now.state, now.state)
    before.session.close("aborted", "no plug")
    assert not not_earlier(before.state, now.state)


def test_a_flake_in_the_photo_is_an_observation_for_the_customer(bench):
    job = bench()
    reply = job.session.photo((IMAGES / "plug-before.jpg").read_bytes(), "plug")
    entry = reply.entries[0]
    assert {m.role for m in entry.media} == {"photo", "overlay"}
    (photo,) = job.state.photos
    assert isinstance(photo.measurement["film_coverage"], float)
    longest = max(f["length_mm"] for f in photo.measurement["flakes"])
    seen = [f for f in reply.findings if f.kind is FindingKind.OBSERVATION]
    assert bool(seen) == (longest >= 1.0 or photo.measurement["flake_count"] >= 3)
    assert all(f.customer for f in seen)
