"""One account: first page, tables and findings of one job agree with each other, in each language.

The jobs are done through the real session, with the sample photos measured as they are.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from io import BytesIO
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from PIL import Image
from pypdf import PdfReader

from joblog.job.controls import REASONS
from joblog.job.levels import level_words
from joblog.job.session import JobSession
from joblog.record.clock import ManualClock
from joblog.record.store import Store, open_store
from joblog.report.build import build_report
from joblog.report.catalogue import sheet_texts
from joblog.report.context import Context
from joblog.report.ending import reason_words
from joblog.report.html import render_html
from joblog.report.language import Language
from joblog.report.model import Report
from joblog.report.pdf import render_pdf
from joblog.report.quantity import between
from joblog.report.settings import ShopSettings
from joblog.sheet.load import library, load_sheet, sheet_text

PHOTOS = Path(__file__).parents[2] / "sample_images"
TECHNICIAN = "Imani Okafor"


def test_bay_and_report_round_a_level_alike(new_script: Any) -> None:
    """44.5 % was 44 at the bay and 45 on the page."""
    s = new_script(number=77)
    s.open()
    for level, share in (("0.445", "45"), ("0.285", "29"), ("-0.085", "9"), ("1.125", "13")):
        measured = {"usable": True, "level_fraction": level, "level_uncertainty": "0.025"}
        s.photo("level-before", "dipstick", "before", measured)
        shown = level_words(s.state().photos[-1])[1]
        page = build_report(s.state(), s.media).pictures[-1]
        assert shown.startswith(f"{share} % ")
        assert shown.endswith("give or take 3 %")
        assert plain(page.figure) == f"{share}%"
        assert plain(page.details[0]) == "give or take 3%"


def plain(text: str) -> str:
    return text.replace("\xa0", " ")


@dataclass
class Bay:
    """A job on the transaxle's sheet, typed in; seconds pass before each phrase."""

    store: Store
    clock: ManualClock
    job: JobSession

    def say(self, *phrases: str, after: float = 5, by: str = TECHNICIAN) -> None:
        for phrase in phrases:
            self.clock.advance(after)
            self.job.type_in(phrase, by=by)

    def photo(self, name: str, kind: str, step: str, phase: str, after: float = 5) -> None:
        self.clock.advance(after)
        self.job.photo((PHOTOS / name).read_bytes(), kind, step, phase=phase, by=TECHNICIAN)

    def report(self, **options: Any) -> Report:
        return build_report(self.job.state, self.store.read_media, **options)


@pytest.fixture
def bay(tmp_path: Path) -> Iterator[Bay]:
    clock = ManualClock(datetime(2026, 11, 24, 9, tzinfo=UTC))
    with open_store(tmp_path, clock=clock) as store:
        opening = {"unit": {"type": "KT-6F"}, "technician": TECHNICIAN}
        text = sheet_text("transaxle-drain-fill")
        yield Bay(store, clock, JobSession.start(store, text, opening, clock=clock))


def finish(bay: Bay) -> None:
    """Close the job; whatever is missing is confirmed with a reason first."""
    bay.job.close("finished", by=TECHNICIAN)
    bay.job.close("finished", "the customer had to leave", by=TECHNICIAN)
    assert bay.job.state.closed == "finished"


def read_early(bay: Bay) -> None:
    """The dipstick is photographed 34.6 s after 'engine off'; its window opens at 45 s."""
    bay.say("vehicle level", "engine off")
    bay.photo("dipstick-after.jpg", "dipstick", "level-read", "after", 34.6)
    bay.say("level read", "confirm because see note")


def front(report: Report) -> str:
    f = report.front
    return plain(" ".join([f.verdict, *f.done, *f.found, *f.means, *f.next]))


@pytest.mark.parametrize(
    ("note", "why"),
    [
        (["note the clock was forgotten"], "the notes in this report give the reason."),
        ([], "a note was to give the reason, and there is none."),
    ],
)
def test_a_confirmed_early_reading_is_not_called_right(bay: Bay, note: list[str], why: str) -> None:
    bay.say(*note)
    read_early(bay)
    finish(bay)
    said = front(bay.report())
    assert "read at the right moment" not in said
    assert "The fluid level is right" not in said
    assert "78% of the way from the lower to the upper mark" in said
    assert f"Confirmed by {TECHNICIAN}: {why}" in said
    assert "calls for more work" not in said
    step = next(s for s in bay.report().steps if s.title.startswith("Read the dipstick"))
    assert "see the finding: outside its time" in step.details


def test_a_sheet_used_for_another_unit_is_not_called_the_right_one(bay: Bay) -> None:
    bay.say("vehicle checked")
    assert "the right ones for your vehicle" in front(bay.report())
    opening = {"unit": {"type": "KV-1"}, "override": "same gearbox", "technician": TECHNICIAN}
    text = sheet_text("transaxle-drain-fill")
    other = Bay(bay.store, bay.clock, JobSession.start(bay.store, text, opening, clock=bay.clock))
    other.say("vehicle checked")
    assert "the right ones" not in front(other.report())


@pytest.mark.parametrize("language", ["en", "es"])
def test_seconds_are_the_same_everywhere(bay: Bay, language: str) -> None:
    read_early(bay)
    page = plain(render_html(bay.report(language=language)))
    assert "34 s" in page
    assert not re.search(r"\b35 (s|seconds)\b", page)


def test_a_reading_just_too_late_is_not_rounded_into_its_window(bay: Bay) -> None:
    bay.say("vehicle level", "engine off")
    bay.photo("dipstick-after.jpg", "dipstick", "level-read", "after", 120.4)
    report = bay.report()
    row = next(m for m in report.measured if m.what.startswith("Time from"))
    assert (plain(row.value), row.specified, row.inside) == ("120.4 s", "45 to 120 s", False)
    found = next(f for f in report.findings if f.kind == "outside its time")
    assert "120.4 s after “Engine off”; the right time is 45 to 120 s" in plain(found.text)


def too_soon(bay: Bay) -> None:
    """The dipstick is photographed before the engine is even off, then called read."""
    bay.say("vehicle level", "engine running")
    bay.photo("dipstick-after.jpg", "dipstick", "level-read", "after")
    bay.say("engine off", "level read")


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_reading_before_its_windows_start_is_told_and_not_counted(
    bay: Bay, language: str
) -> None:
    too_soon(bay)
    finish(bay)
    report = bay.report(language=language)
    said = front(report)
    early = {
        "en": "“Read the dipstick inside its window” came before “Engine off” and does not count; "
        "it counts 45 to 120 s after it.",
        "es": "se adelantó a «Motor apagado» y no cuenta; cuenta 45 a 120 s después.",
    }[language]
    assert early in said
    assert "fluid level is right" not in said
    assert "78%" not in said, said  # of a moment at which it says nothing
    (level,) = [m for m in report.measured if "45" not in m.specified and "78" in m.value]
    assert (level.inside, level.specified, level.gauge) == (None, "", "")
    assert level.verdict in {"too early, not counted", "demasiado pronto, no cuenta"}
    assert not any(m.what.startswith("Time from") for m in report.measured)


def test_read_again_in_its_window_the_good_reading_counts(bay: Bay) -> None:
    too_soon(bay)
    bay.photo("dipstick-after.jpg", "dipstick", "level-read", "after", 60)
    report = bay.report()
    assert "The fluid level is right: 78%" in front(report)
    early, good = [m for m in report.measured if m.what.startswith("Fluid level")]
    assert (early.verdict, good.verdict) == (
        "too early, not counted, read again in time",
        "inside",
    )
    (row,) = [m for m in report.measured if m.what.startswith("Time from")]
    assert (plain(row.value), row.inside) == ("65 s", True)


def test_a_flake_in_the_photo_of_the_cleaned_plug_is_what_the_plug_held(bay: Bay) -> None:
    bay.photo("plug-after.jpg", "plug", "plug-as-found", "before")  # the two came the wrong way
    bay.photo("plug-before.jpg", "plug", "plug-cleaned", "after")
    said = front(bay.report())
    assert "no flakes" not in said
    assert "We found 1 flake on it, 1.3 mm" in said
    assert "normal wear. Ask us how to find out where it comes from" in said


def test_a_corrected_temperature_is_not_outside_and_readings_are_not_summed(bay: Bay) -> None:
    bay.say("vehicle checked", "warm up done")
    bay.job.store.append(  # as heard: three readings, none said to be a correction
        bay.job.job,
        "reading",
        {"step": "warmed-up", "name": "fluid temperature", "value": "125", "unit": "degC"},
        source="hand",
        by=TECHNICIAN,
    )
    bay.say("fluid temperature 64 celsius", "fluid temperature 65 celsius")
    report = bay.report()
    assert "We checked 1 value. It is within its limits." in report.front.found
    rows = [m for m in report.measured if m.what == "Fluid temperature"]
    assert [m.verdict for m in rows] == ["outside, read again", "inside", "inside"]
    step = next(s for s in report.steps if s.title.startswith("Warm up"))
    assert [plain(x) for x in step.details] == [
        "typed by Imani Okafor",
        "Fluid temperature: 149 °F (earlier: 257 °F and 147 °F)",
    ]
    # The finding has the reader's units, as the table has.
    assert "257 °F was reported" in plain(report.findings[0].text)
    metric = bay.report(units="metric").findings[0].text
    assert "125 °C was reported; specified is 40 to 90 °C" in plain(metric)


def test_a_value_outside_is_not_rounded_onto_its_limit(bay: Bay) -> None:
    bay.say("fluid temperature 90.2 celsius")  # 194.36 °F; the limit is 194 °F
    row = next(m for m in bay.report().measured if m.what == "Fluid temperature")
    assert (plain(row.value), plain(row.specified)) == ("194.4 °F", "104 to 194 °F")
    assert row.verdict == "outside"


def test_only_amounts_are_joined_by_plus_signs(bay: Bay) -> None:
    bay.say("fill plug torqued to 14 foot pounds", "fill plug torqued to 27 foot pounds")
    bay.say("one quart in", "half a quart in", "fill plug in", "filling done")
    details = {s.title: [plain(x) for x in s.details] for s in bay.report().steps}
    filled = details["Fill with what came out"]
    assert "Automatic transaxle fluid, in: 1 US qt + 0.5 US qt" in filled
    tightened = details["Fill plug in with a new washer, tighten"]
    assert "Torque, fill plug: 27 lbf·ft (earlier: 14 lbf·ft)" in tightened
    joined = [x for s in bay.report().steps for x in s.details if " + " in x]
    assert all("fluid" in x for x in joined)


def test_a_confirmed_value_outside_is_told_as_such(bay: Bay) -> None:
    bay.say("drain plug torqued to 50 foot pounds", "drain plug in")
    bay.say("confirm because service information")
    finish(bay)
    said = front(bay.report())
    assert "tightened to its value" not in said
    assert "50 lbf·ft was reported; specified is 37 to 45 lbf·ft." in said
    assert f"Confirmed by {TECHNICIAN}: the service information says so." in said
    assert "calls for more work" not in said
    assert "Outside its limits: Torque, drain plug." in said
    assert "We checked 1 value." in said


def test_several_names_outside_are_told_apart(bay: Bay) -> None:
    bay.say("drain plug torqued to 50 foot pounds", "fill plug torqued to 33 foot pounds")
    (line,) = [x for x in bay.report().front.found if x.startswith("We checked")]
    assert line == (
        "We checked 2 values. Outside their limits: Torque, drain plug; Torque, fill plug."
    )


def test_amounts_that_do_not_agree_stay_so_when_confirmed(bay: Bay) -> None:
    bay.say("3.6 quarts drained", "drain plug in", "one quart in", "one quart in", "one quart in")
    bay.say("filling done", "confirm because not possible")
    finish(bay)
    said = front(bay.report())
    reason = f"Confirmed by {TECHNICIAN}: it was not possible."
    assert f"These amounts do not agree. {reason}" in said
    assert "as much as came out" not in said
    assert "is new now" not in said


def test_what_went_in_is_judged_by_what_came_out_as_the_guard_does(bay: Bay) -> None:
    bay.say("3.4 quarts drained", "draining done", "drain plug in")
    bay.say("one quart in", "one quart in", "one quart in")
    row = next(m for m in bay.report().measured if m.what.endswith("fluid, in"))
    assert (row.verdict, row.inside) == ("filling not finished", None)
    bay.say("0.4 quarts in", "filling done")
    report = bay.report()
    assert not [f for f in report.findings if f.kind == "amounts do not agree"]
    row = next(m for m in report.measured if m.what.endswith("fluid, in"))
    # 3.4 came out, the sheet's tolerance is 0.2; the sheet's own amount would be 3.5 to 3.9.
    assert plain(row.specified) == "3.2 to 3.6 US qt (by what came out)"
    assert row.inside is True


def test_an_order_mended_late_is_not_told_as_kept(bay: Bay) -> None:
    bay.say("vehicle checked", "vehicle level", "warm up done", "wheels chocked", "on stands")
    bay.say("drain plug out", "fill plug loose")
    said = front(bay.report())
    assert "loosened first" not in said


def test_a_restart_in_between_leaves_the_time_unsure(bay: Bay) -> None:
    bay.say("vehicle level", "engine off")
    bay.clock.restart("again")
    bay.photo("dipstick-after.jpg", "dipstick", "level-read", "after", 60)
    row = next(m for m in bay.report().measured if m.what.startswith("Time from"))
    assert (row.verdict, row.inside) == ("not sure", None)
    assert "no one can set" not in row.how


def test_a_corrected_pour_is_struck_at_its_own_line_not_at_the_sum(bay: Bay) -> None:
    bay.say("one quart in", "half a quart in", "correction 0.6 quarts")
    row = next(m for m in bay.report().measured if m.what.endswith("fluid, in"))
    assert plain(row.value) == "1.6 US qt"
    assert row.struck == ()
    assert plain(row.parts[1]).startswith("0.6 US qt (was 0.5 US qt, 09:00:10), ")


def everything(bay: Bay) -> None:
    """A job with whatever is recorded in English: reasons, names of kinds, what is missing."""
    read_early(bay)
    bay.say("fan cycle", "disregard")
    bay.say("3.6 quarts drained", "draining done", "drain plug torqued to 50 foot pounds")
    bay.say("confirm because service information", "disregard")
    bay.say("confirm because checked twice", by="")
    bay.say("job complete")
    for words in ("not possible", "no tool", "customer asked", "already done", "not needed"):
        bay.say(f"confirm because {words}", "disregard", f"confirm because {words}", by="")


def test_no_english_is_left_in_the_spanish_report(bay: Bay) -> None:
    everything(bay)
    page = render_html(bay.report(language="es", units="metric"))
    text = re.sub(r"<style.*?</style>|<[^>]+>", " ", page, flags=re.S)
    english = re.compile(
        r"\b(the|was|were|is|are|and|must|which|reported|of|out|not|only|with|photo|torque|"
        r"confirmed|technician|disregarded|clock|part|fan|quantity|reading|before|after|example)\b",
        re.I,
    )
    text = text.replace("joblog verify report.pdf", "")
    assert english.findall(text) == []
    for step in bay.job.state.steps:
        assert not (step.missing and any(x in text for x in step.missing))


def test_every_reason_that_can_be_said_is_translated() -> None:
    es = Language.find("es")
    for said, (_, reason) in REASONS.items():
        state: Any = SimpleNamespace(notes=())
        words = reason_words(Context(state, es, "us", ShopSettings()), reason)
        assert words != reason, said


def test_specifications_are_offered_to_translators() -> None:
    for path in library().values():
        sheet = load_sheet(path)
        texts = set(sheet_texts(sheet))
        assert {f.specification for f in sheet.fluids if f.specification} <= texts


def test_findings_all_have_a_time_and_stand_in_its_order(
    new_script: Callable[..., Any], make: Callable[..., Report]
) -> None:
    s = new_script(number=61)
    s.open()
    s.step("level")
    body = {"fluid": "gear-fluid", "direction": "out", "value": "2.1", "unit": "qt_us"}
    s.say("quarts", "quantity", body)
    s.step("raised")
    times = [f.at for f in make(s).findings]
    assert len(times) >= 2
    assert all(times)
    assert times == sorted(times)


def test_amounts_in_other_units_add_up_to_the_sum_that_is_shown(bay: Bay) -> None:
    bay.say("one quart in", "one quart in", "one quart in", "0.6 quarts in", "filling done")
    report = bay.report(units="metric")
    # 1 US quart = 0.946352946 L (NIST SP 811): 3.41 L in all, but 3 x 0.95 + 0.57 = 3.42.
    step = next(s for s in report.steps if s.title == "Fill with what came out")
    said = "recorded as 1 US qt + 1 US qt + 1 US qt + 0.6 US qt"
    assert f"Automatic transaxle fluid, in: 3.41 L ({said})" in map(plain, step.details)
    row = next(m for m in report.measured if m.what.endswith("fluid, in"))
    assert plain(row.value) == "3.41 L"
    assert [plain(x).split(",")[0] for x in row.parts] == ["1 US qt"] * 3 + ["0.6 US qt"]


def test_no_english_band_stands_below_a_measured_photo(bay: Bay) -> None:
    bay.photo("dipstick-before.jpg", "dipstick", "level-before", "before")
    (picture,) = bay.report(language="es").pictures
    with Image.open(PHOTOS / "dipstick-before.jpg") as photo:
        assert picture.width / picture.height == pytest.approx(photo.width / photo.height, rel=0.01)


def test_the_first_page_stays_one_page_with_three_findings(bay: Bay) -> None:
    bay.say("drain plug torqued to 50 foot pounds", "confirm because service information")
    bay.photo("plug-before.jpg", "plug", "plug-as-found", "before")
    bay.photo("plug-after.jpg", "plug", "plug-cleaned", "after")
    read_early(bay)
    bay.say("3.6 quarts drained", "draining done", "one quart in", "3 quarts in", "filling done")
    for step in bay.job.sheet.steps:
        bay.say(step.say[0])
    finish(bay)
    for language in ("en", "es"):
        report = bay.report(language=language)
        pages = PdfReader(BytesIO(render_pdf(report))).pages
        assert report.labels["details"] in pages[1].extract_text()


def test_through_an_adapter_the_fasteners_torque_is_told(
    new_script: Callable[..., Any], make: Callable[..., Report]
) -> None:
    s = new_script(sheet_key="hydraulic-pack", number=62)
    s.open()
    step = next(x for x in s.sheet.steps if x.torque and x.torque.fastener == "line nut")
    spoken = {"step": step.key, "value": str(step.torque.value), "unit": step.torque.unit}
    s.say("torque", "torque", spoken)  # with which wrench, nobody said
    report = make(s, units="metric")
    row = next(m for m in report.measured if m.what == "Torque, line nut")
    assert (row.verdict, row.inside) == ("not sure", None)
    (said,) = [f.text for f in report.findings if f.kind == "outside its limits"]
    assert "is not known" in said
    wrench = next(t.key for t in s.sheet.tools if t.length)
    s.say("torque", "torque", spoken | {"wrench": wrench})
    (known,) = [v for v in s.state().values if v.in_spec_unit is not None]
    row = [m for m in make(s, units="metric").measured if m.what == "Torque, line nut"][-1]
    assert row.inside is known.within
    # A crow-foot gives the fastener more than the wrench shows, T x (L + E) / L.
    # Common practice, no source.
    figure = float(plain(row.value).split(" ")[0])
    assert figure > float(step.torque.value)
    assert figure == pytest.approx(float(known.in_spec_unit), abs=0.051)
    shows = plain(Language.find("en").number(step.torque.value))
    assert any(f"the wrench at {shows}" in plain(x) for x in row.parts)


def test_no_limit_is_below_zero_and_nothing_is_foretold_of_an_overfilled_unit(
    new_script: Callable[..., Any], make: Callable[..., Report]
) -> None:
    s = new_script(number=63)
    s.open()
    for way, value in (("out", "0.1"), ("in", "9")):
        body = {"fluid": "gear-fluid", "direction": way, "value": value, "unit": "qt_us"}
        s.say("quarts", "quantity", body)
    row = next(m for m in make(s).measured if m.what.endswith("fluid, in"))
    assert plain(row.specified) == "3.5 to 3.9 US qt"  # the sheet's: 3.7, give or take 0.2
    s.step("filled")
    report = make(s)
    assert "is new now" not in " ".join(report.front.means)
    assert not any(c.key.startswith("renewed") for c in report.charts)


def test_a_range_of_one_value_is_that_value() -> None:
    said = between(Language.find("en"), Decimal(0), Decimal(0), "bar", "metric")
    assert plain(said) == "0 bar"
