"""Several reasons at once why a sheet is not for a unit: each with the sheet's why, once."""

from __future__ import annotations

from pathlib import Path

import pytest

from joblog.errors import WrongUnitError
from joblog.report.build import build_report
from joblog.sheet.load import sheet_text
from joblog.web.view import not_closed

ALONE = {"type": "KV-1"}
ALL = {"type": "KV-1", "engine": "2.5 P", "vin": "WAA00000000000000"}
WHY = "it is a belt gearbox and takes another fluid"
TITLE = "Automatic transaxle: drain and fill"
LONGEST = 60  # words; some 25 seconds read aloud (from memory: 150 words a minute)
TOGETHER = (
    f"'{TITLE}' is not for KV-1: {WHY}. Use the sheet 'cvt-drain-fill'. This sheet is for engine "
    "2.0 D, not for 2.5 P. The VIN WAA00000000000000 is not one that this sheet is for."
)


def sheet(twice: str = "") -> str:
    text = sheet_text(Path(__file__).parent / "data" / "transaxle-drain-fill.toml")
    named = text.replace("not_to = [", f'engines = ["2.0 D"]\nvin = "WKC"\nnot_to = [{twice}', 1)
    assert named != text
    return named


def reopened(bench, unit, text=""):
    """Opened with a reason that was then taken back: the findings stand open, and they alone."""
    job = bench(toml=text or sheet(), unit=unit, override="same unit under another name")
    job.say(*["disregard"] * len(job.state.findings))
    job.say("job complete")
    for key in [k for k in job.open_keys() if k.startswith("missing:")]:
        job.session.confirm(key, "left to others", "Imani Okafor")
    assert {k.partition(":")[0] for k in job.open_keys()} == {"unit"}
    return job


@pytest.mark.parametrize("unit", [ALONE, ALL], ids=["alone", "several"])
def test_every_sentence_says_the_why_once_at_bearable_length(bench, unit):
    job = reopened(bench, unit)
    not_complete, missing = job.say("job complete"), job.say("what is missing")
    desk = not_closed(job.state)
    for shown in (not_complete.shown, missing.shown, desk):
        assert shown.count(WHY) == shown.count(TITLE) == 1, shown
        assert "more" not in shown
        assert len(shown.split()) <= LONGEST
    assert not_complete.spoken == (
        "Not complete. Wrong unit for this sheet. "
        "Say confirm because, and the reason, or disregard."
    )
    assert missing.spoken == "Wrong unit for this sheet."


def test_what_is_told_together_is_confirmed_together(bench):
    job = reopened(bench, ALL)
    assert job.say("job complete").shown == (
        f"Not complete. {TOGETHER} Say “confirm because” and the reason, or “disregard”."
    )
    job.say("confirm because checked twice")
    assert not job.open_keys()


def test_the_last_missing_thing_settled_leads_to_all_of_them(bench):
    job = bench(toml=sheet(), unit=ALL, override="same unit under another name")
    job.say(*["disregard"] * 3, "job complete")
    *others, last = [k for k in job.open_keys() if k.startswith("missing:")]
    for key in others:
        job.session.confirm(key, "left to others", "Imani Okafor")
    reply = job.session.confirm(last, "left to others", "Imani Okafor")
    assert reply.shown.endswith(f"Still open: {TOGETHER}")


def test_a_job_that_is_refused_says_it_too(bench):
    with pytest.raises(WrongUnitError) as refused:
        bench(toml=sheet(), unit=ALL)
    assert str(refused.value) == (
        f"{TOGETHER} To use this sheet all the same, write down the reason."
    )
    assert len(str(refused.value).split()) <= LONGEST


@pytest.mark.parametrize(
    ("second", "said"),
    [(WHY, WHY), ("its plug has another thread.", f"its plug has another thread; {WHY}")],
    ids=["equal", "another"],
)
def test_a_unit_that_is_excluded_twice_gets_each_why_once(bench, second, said):
    text = sheet(f'{{ unit = "kv 1", why = "{second}" }}, ')
    job = reopened(bench, ALL, text)
    shown = job.say("job complete").shown
    assert f"is not for KV-1: {said}. Use the sheet 'cvt-drain-fill'." in shown
    assert shown.count(WHY) == 1


@pytest.mark.parametrize("unit", [ALONE, ALL], ids=["alone", "several"])
def test_the_report_says_the_why_in_english_and_spanish(bench, unit):
    job = reopened(bench, unit)
    for language, why in (("en", WHY), ("es", "es una caja de correa y lleva otro fluido")):
        report = build_report(job.state, job.session.store.read_media, language=language)
        told = " ".join(f.text for f in report.findings if "KV-1" in f.text or "2.0 D" in f.text)
        assert told.count(why) == 1, told
        assert (WHY in told) == (language == "en")


def test_no_sheet_is_spoken_of_where_none_is_for_the_unit(bench):
    text = sheet('{ unit = "SEALED-1", why = "it is sealed for life" }, ')
    with pytest.raises(WrongUnitError) as told:
        bench(toml=text, unit={"type": "SEALED-1"})
    assert str(told.value).startswith(f"'{TITLE}' is not for SEALED-1: it is sealed for life. To")


@pytest.mark.parametrize(
    ("said", "asked"),
    [
        ("fill plug torqued twenty two pounds", "20 lbf·ft or 22 lbf·ft"),  # heard for 'foot'
        ("fill plug torqued twenty two foot pounds", ""),
        ("fill plug torqued to 22 pounds", ""),  # typed figures are what they are
    ],
)
def test_two_pounds_may_have_been_foot_pounds(bench, said, asked):
    job = bench()
    assert asked in job.say(said).shown
    assert len(job.state.values) == (not asked)
