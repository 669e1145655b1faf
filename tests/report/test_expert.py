"""The pages for the expert: every value with its evidence, corrections kept in sight."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest

from joblog.record.entry import MediaRef
from joblog.report.html import render_html
from joblog.report.model import Measured, Report
from joblog.report.pictures import shown_sha
from joblog.report.settings import ShopSettings
from joblog.vision import dipstick, quality


def row(report: Report, what: str) -> Measured:
    return next(m for m in report.measured if m.what == what)


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


def test_a_corrected_torque_shows_old_value_tool_hearing_and_sureness(
    full: Any, make: Callable[..., Report]
) -> None:
    m = row(make(full), "Torque, drain plug")
    assert plain(m.value) == "40 lbf·ft"
    assert plain(m.specified) == "41 lbf·ft, from 37 to 45 lbf·ft"
    assert (m.verdict, m.inside) == ("inside", True)
    assert m.how == "heard: “correction drain plug forty foot pounds”"
    assert m.sure == "97%"
    assert plain(m.tool) == "Torque wrench, 15 to 75 lbf·ft"
    assert [plain(s.value) for s in m.struck] == ["14 lbf·ft"]
    assert m.at == "09:40:52"


def test_amounts_are_summed_with_each_pour_beneath(full: Any, make: Callable[..., Report]) -> None:
    m = row(make(full), "Automatic transaxle fluid, in")
    assert plain(m.value) == "3.7 US qt"
    # 3.6 came out, and the sheet's tolerance is 0.2.
    assert plain(m.specified) == "3.4 to 3.8 US qt (by what came out)"
    assert len(m.parts) == 4
    assert "heard: “quart in”" in m.parts[0]


def test_time_windows_are_judged_by_monotonic_time(full: Any, make: Callable[..., Report]) -> None:
    m = row(make(full), "Time from “Engine off” to the reading")
    assert plain(m.value) == "62 s"
    assert m.specified == "45 to 120 s"
    assert m.inside is True


def test_a_value_in_other_units_says_how_it_was_recorded(
    full: Any, make: Callable[..., Report]
) -> None:
    m = row(make(full, units="metric"), "Torque, drain plug")
    assert plain(m.value) == "54.2 N·m"  # 40 × 1.355 817 9, NIST SP 811
    assert [plain(x) for x in m.parts] == ["recorded as 40 lbf·ft"]


def test_the_colour_of_new_and_old_fluid_is_compared(
    new_script: Any, make: Callable[..., Report]
) -> None:
    s = new_script(number=36)
    s.open()
    # Pair 1 of Sharma, Wu and Dalal (2005): CIEDE2000 = 2.0425.
    for phase, b in (("before", "-79.7751"), ("after", "-82.7485")):
        lab = ["50.0000", "2.6772" if phase == "before" else "0.0000", b]
        s.photo("drained", "fluid", phase, {"usable": True, "lab": lab})
    m = row(make(s), "Colour of the fluid, last against first")
    assert plain(m.value) == "ΔE₀₀ 2"
    assert m.how == "CIEDE2000 between photos 1 and 2"
    assert m.parts == ("0 is the same colour; the more, the more they differ",)


def test_the_fluid_as_found_is_compared_with_earlier_services(
    new_script: Any, make: Callable[..., Report]
) -> None:
    jobs = []
    # Pair 1 of Sharma, Wu and Dalal (2005): CIEDE2000 = 2.0425.
    for number, lab in (
        (41, ["50.0000", "2.6772", "-79.7751"]),
        (42, ["50.0000", "0.0000", "-82.7485"]),
    ):
        s = new_script(number=number)
        s.open()
        s.photo("drained", "fluid", "after", {"usable": True, "lab": ["90", "0", "0"]})
        s.photo("drained", "fluid", "before", {"usable": True, "lab": lab})
        jobs.append(s)
    report = make(jobs[1], history=[jobs[0].state()])
    (m,) = [
        m for m in report.measured if m.what.startswith("Colour of the fluid as found, against")
    ]
    assert plain(m.value) == "ΔE₀₀ 2"
    assert m.how == "CIEDE2000 between photo 2 and the earlier service"
    assert not [m for m in make(jobs[1]).measured if "as found" in m.what]


@pytest.mark.parametrize(
    ("language", "told"), [("en", "L* says how light it is"), ("es", "L* dice cuán claro es")]
)
def test_what_the_three_numbers_of_a_colour_mean_is_told_behind_page_1(
    full: Any, make: Callable[..., Report], language: str, told: str
) -> None:
    report = make(full, language=language)
    (first, *_) = [p for p in report.pictures if any(d.startswith("L* ") for d in p.details)]
    figures, meaning = first.details[:2]
    assert figures.startswith("L* 31")
    assert meaning.startswith(told)
    assert all(axis in meaning for axis in ("a*", "b*"))
    front, _, behind = render_html(report).partition('<article class="details">')
    assert "L*" not in front
    assert meaning in behind


def test_corrections_are_shown_as_corrections(full: Any, make: Callable[..., Report]) -> None:
    (only,) = make(full).corrections
    assert (plain(only.old), plain(only.new)) == ("14 lbf·ft", "40 lbf·ft")
    assert only.old_at < only.new_at


def test_what_was_taken_back_stays_in_sight(new_script: Any, make: Callable[..., Report]) -> None:
    s = new_script(number=9)
    s.open()
    entry = s.step("unit-checked")
    s.add("disregarded", {}, supersedes=entry)
    (only,) = make(s).corrections
    assert only.old == "Vehicle, gearbox and fluid match the sheet"
    assert only.new == "taken back"


def test_a_photo_that_was_taken_back_is_told_behind_page_1_with_both_times_and_shown_nowhere(
    new_script: Any, make: Callable[..., Report]
) -> None:
    s = new_script(number=10)
    s.open()
    blurred = {"usable": False, "why": "the photo is blurred; hold the phone still"}
    wrong = s.photo("level-before", "dipstick", "before", blurred)
    s.step("unit-checked")
    s.say("disregard the dipstick photo", "disregarded", {}, supersedes=wrong)
    for language, old, new in (
        ("en", "Dipstick, as found", "taken back"),
        ("es", "Varilla de nivel, como se encontró", "retirado"),
    ):
        report = make(s, language=language)
        (only,) = report.corrections
        assert (only.old, only.new) == (old, new)
        assert "disregard the dipstick photo" in only.how
        assert only.old_at < only.new_at
        assert report.pictures == report.front.pictures == ()
        assert not report.findings
        assert not report.images
        front = str(report.front)
        assert "photo" not in front.lower()
        assert "foto" not in front.lower()


@pytest.mark.parametrize(
    ("language", "first", "second"), [("en", "Nov 24 ", "Nov 25 "), ("es", "24 nov ", "25 nov ")]
)
def test_times_of_a_job_over_night_have_their_day(
    new_script: Any, make: Callable[..., Report], language: str, first: str, second: str
) -> None:
    s = new_script(number=12)
    s.open()
    s.step("unit-checked")
    s.say("note", "note", {"text": "It stays here over night."})
    old = s.say(
        "drain plug 14", "torque", {"step": "drain-plug-in", "value": "14", "unit": "lbf.ft"}
    )
    assert make(s, language=language).steps[0].at == "09:12:45"  # of one day: as it was
    body = {"step": "drain-plug-in", "value": "41", "unit": "lbf.ft"}
    s.say("correction drain plug 41", "torque", body, 20 * 3600, supersedes=old)
    s.photo("plug-as-found", "plug", "before", {"usable": True, "film_coverage": "0.2"})
    report = make(s, language=language)
    (corrected,) = report.corrections
    assert plain(corrected.old_at) == f"{first}09:13:26"
    assert plain(corrected.new_at).startswith(second)
    assert plain(report.steps[0].at) == f"{first}09:12:45"
    assert plain(report.notes[0].label).startswith(first)
    assert plain(report.pictures[0].at).startswith(second)
    assert plain(row(report, report.measured[0].what).struck[0].at) == plain(corrected.old_at)
    assert all(plain(f.at).startswith((first, second)) for f in report.findings)
    times = next(chart.text for chart in report.charts if chart.key == "timeline")
    assert f"{first}09:12" in plain(times)


def test_whose_day_it_is_and_its_year_are_told_where_that_matters(
    new_script: Any, make: Callable[..., Report]
) -> None:
    s = new_script(number=13, start=datetime(2026, 12, 31, 9, 0, tzinfo=UTC))
    s.open()
    s.step("unit-checked", 16 * 3600)  # 01:00 UTC on the next day, 18:00 on the same in Denver
    denver = ShopSettings(time_zone="America/Denver")
    assert make(s, settings=denver).steps[0].at == "18:00:00"
    assert plain(make(s).steps[0].at) == "Jan 1, 2027 01:00:00"
    s.step("level", 8 * 3600)
    report = make(s, settings=denver)
    assert [plain(step.at) for step in report.steps[:2]] == [
        "Dec 31, 2026 18:00:00",
        "Jan 1, 2027 02:00:00",
    ]


def test_findings_say_how_each_ended(full: Any, make: Callable[..., Report]) -> None:
    ended = {f.kind: f.resolved for f in make(full).findings}
    assert ended["outside its limits"] == "corrected"
    assert ended["not sure"] == "photo taken again"
    assert ended["observation"] == ""


def test_a_photo_of_no_use_is_told_in_the_readers_words(
    full: Any, make: Callable[..., Report]
) -> None:
    # The technician's sentence in the record is 'too blurred: hold the phone still ...'.
    for language, words in (
        ("en", "was not usable, as it was blurred; it was taken again."),
        ("es", "no sirvió, porque salió borrosa; se repitió."),
    ):
        report = make(full, language=language)
        found = next(f for f in report.findings if words in f.text)
        assert found.original == ""
        assert "hold the phone" not in str(report.to_dict())
    photo = full.state().photos[0]
    drawn = MediaRef(sha256="f" * 64, mime="image/jpeg", role="overlay", name="")
    both = replace(
        photo, entry=photo.entry.model_copy(update={"media": (*photo.entry.media, drawn)})
    )
    assert shown_sha(both) == photo.entry.media[0].sha256  # no instruction is drawn on that one
    assert shown_sha(replace(both, measurement={"usable": True})) == "f" * 64
    picture = next(p for p in make(full).pictures if not p.usable)
    assert picture.caption == "not usable, as it was blurred"
    assert picture.details == ("Taken again: photo 2.",)


def test_a_photo_of_no_use_that_nobody_took_again_is_open(
    new_script: Any, make: Callable[..., Report]
) -> None:
    s = new_script(number=51)
    s.open()
    s.photo("level-before", "dipstick", "before", {"usable": False, "why": "glare hides it: ..."})
    s.add("job-closed", {"how": "finished", "reason": ""})
    said = "The photo for “Photo of the dipstick as found” was not usable, as light was reflected"
    assert any(line.startswith(said) for line in make(s).front.found)


@pytest.mark.parametrize(
    ("why", "told"),
    [
        (dipstick.NO_MARKS, "the marks of the dipstick could not be made out in it"),
        (dipstick.NO_FIT, "the dipstick's marks did not fit the known distance between them"),
        (dipstick.DOUBTFUL_MARKS, "the marks of the dipstick could not be made out in it"),
        (dipstick.NO_EDGE, "the edge of the fluid could not be made out in it"),
        (dipstick.HIDDEN, "something covered what was to be measured"),
        (dipstick.CUT_OFF_MARK, "it did not show the whole part"),
        (quality.GLARE, "light was reflected in it"),
        (quality.WASHED_OUT, "it was too bright"),
        (quality.NO_COLOURS, "it was taken without colors"),
        (quality.BLURRED, "it was blurred"),
        (quality.TOO_SMALL, "it was taken from too far away"),
        (quality.MISSING, "nothing could be measured in it"),
    ],
)
def test_what_was_wrong_with_a_photo_is_no_advice_for_the_technician(
    new_script: Any, make: Callable[..., Report], why: str, told: str
) -> None:
    """'Get both in the picture, without glare' once told the customer of light reflected."""
    s = new_script(number=53)
    s.open()
    s.photo("level-before", "dipstick", "before", {"usable": False, "why": why})
    assert make(s).pictures[0].caption == f"not usable, as {told}"


def test_a_confirmed_finding_tells_who_and_why(
    new_script: Any, make: Callable[..., Report]
) -> None:
    s = new_script(number=31)
    s.open()
    s.step("chocked")
    s.step("drained")
    key = s.state().findings[0].key
    s.add("confirmed", {"finding": key, "reason": "done by the night shift"})
    found = next(f for f in make(s).findings if not f.open)
    assert found.resolved == "confirmed by Imani Okafor: done by the night shift"


def test_steps_stand_in_the_order_in_which_they_were_done(
    full: Any, aborted: Any, make: Callable[..., Report]
) -> None:
    times = [s.at for s in make(full).steps if s.done]
    assert times == sorted(times)
    stopped = make(aborted).steps
    assert [s.done for s in stopped] == [True] * 3 + [False] * (len(stopped) - 3)
    assert stopped[-1].status == "optional, not done"  # the reminder


def test_each_step_that_was_done_says_how_that_is_known(
    full: Any, make: Callable[..., Report]
) -> None:
    report = make(full)
    sources = {s.title: s.details[0] if s.details else "" for s in report.steps}
    assert sources["Loosen the fill plug first"].startswith("heard: “fill plug loose”, 9")
    assert not any("measured in photo" in said for said in sources.values())  # told as photos are
    spoken = [said for said in sources.values() if said.startswith("heard: ")]
    assert len(spoken) >= len(sources) / 2


def test_parts_are_proved_by_a_bar_code_where_one_was_read(
    new_script: Any, make: Callable[..., Report], play: Callable[..., Any]
) -> None:
    s = play(new_script(number=32))
    s.photo("drain-plug-in", "label", "once", {"usable": True, "codes": [{"text": "EX-18-AL"}]})
    drain, fill = make(s).supplies[:2]
    assert drain.evidence == "bar code EX-18-AL read in photo 7"
    assert drain.fitted == "flat side to the sealing face"
    assert fill.evidence.startswith("with the step “Fill plug in")


def test_example_values_and_what_rules_are_said(full: Any, make: Callable[..., Report]) -> None:
    report = make(full)
    assert report.example is not None
    assert "examples" in report.example.text
    assert "own service information rules" in report.closing[0].text
    assert [c.source for c in report.cautions if c.source] == [
        "29 CFR 1910.244(a)(2)(iii)",
        "40 CFR 279.22",
    ]


def test_the_record_is_summed_up(full: Any, make: Callable[..., Report]) -> None:
    report = make(full)
    assert report.final_hash == full.entries[-1].hash
    assert report.qr_text == f"joblog job={full.job} sha256={full.entries[-1].hash}"
    entries = next(f.text for f in report.record if f.label == "Entries")
    assert entries.startswith(f"{len(full.entries)} entries")
    assert "1 ignored as chatter" in entries


def test_spanish_says_everything_in_spanish_findings_too(
    full: Any, make: Callable[..., Report]
) -> None:
    report = make(full, language="es", units="metric")
    assert report.front.verdict.startswith("El trabajo está hecho")
    assert row(report, "Par de apriete, tapón de vaciado").verdict == "dentro"
    assert row(report, "Fluido de caja automática, puesto").value == "3,50\u00a0L"
    assert report.labels["steps"] == "Orden del trabajo"
    seen = next(f for f in report.findings if f.kind == "observación")
    assert plain(seen.text).startswith("La viruta de metal más larga encontrada en el imán mide")
    assert "1,2 mm" in plain(seen.text)
    found = next(f for f in report.findings if f.kind == "fuera de sus límites")
    assert found.original == ""
    assert plain(found.text).startswith("En «Tapón de vaciado con arandela nueva, apretar» se")
    assert plain(found.text).endswith("19,0 N·m; lo especificado es 50,2 a 61,0 N·m.")


def test_a_photo_that_is_not_at_hand_is_said_to_be_missing(full: Any) -> None:
    from joblog.report.build import build_report

    report = build_report(full.state(), {}.__getitem__)
    assert not report.images
    assert all("not at hand" in p.details[-1] for p in report.pictures)
    assert not report.front.pictures


def test_a_note_that_was_told_and_taken_back_says_both_behind_page_1(
    new_script: Any, make: Callable[..., Report]
) -> None:
    s = new_script(number=11)
    s.open()
    note = s.add("note", {"text": "the left rear tire is worn"})
    s.add("explained", {"finding": f"note:{note.id}", "text": "Your tire is worn."})
    s.add("disregarded", {}, supersedes=note, by="Imani Okafor")
    for language, told in (
        ("en", "Told to the customer: Your tire is worn. Then taken back by Imani Okafor ("),
        ("es", "Dicho al cliente: Your tire is worn. Después retirado por Imani Okafor ("),
    ):
        report = make(s, language=language)
        (only,) = report.notes
        assert told in only.text
        assert "Your tire" not in str(report.front)
        assert [row.old for row in report.corrections] == ["the left rear tire is worn"]


def test_a_corrected_odometer_stands_on_page_1_and_both_figures_behind_it(
    new_script: Any, make: Callable[..., Report]
) -> None:
    s = new_script(number=12)
    opened = s.open()
    s.add("meter", {"value": "131988", "unit": "mi"}, supersedes=opened, by="Priya Nair")
    for language, what, by in (
        ("en", "Odometer", "by Priya Nair"),
        ("es", "Cuentakilómetros", "por Priya Nair"),
    ):
        report = make(s, language=language, units="us")
        (only,) = report.corrections
        assert (only.what, only.how) == (what, by)
        old, new = (text.replace("\u00a0", " ") for text in (only.old, only.new))
        assert new == {"en": "131,988 mi", "es": "131.988 mi"}[language]
        assert old != new
        assert old.endswith(" mi")
        (meter,) = [fact.text for fact in report.facts if fact.label == what]
        assert meter == only.new


def test_work_done_once_more_keeps_its_first_time_and_whoever_did_it_is_named(
    new_script: Any, make: Callable[..., Report]
) -> None:
    """Loosened before the draining, once more by a colleague after it: the order stays in sight."""
    s = new_script(number=91)
    s.open()
    s.step("fill-plug-loose")
    s.step("drain-plug-out")
    s.step("fill-plug-in")
    s.add("step-done", {"step": "fill-plug-loose"}, by="Marek Dvorak")
    for amount in ("3.6", "3.5"):  # told without a word, drained once more in between
        poured = {"fluid": "gear-fluid", "direction": "out", "value": amount, "unit": "qt_us"}
        s.say("amount", "quantity", poured | {"step": "drained"})
        s.step("drain-plug-out")
    report = make(s)
    measured = next(step for step in report.steps if step.title == "Measure what came out")
    assert measured.details[0].startswith("done before: 09:1")
    loosened = next(step for step in report.steps if step.title == "Loosen the fill plug first")
    assert "done before: 09:12:45" in loosened.details
    open_again = next(step for step in report.steps if step.title.startswith("Fill plug in"))
    assert not open_again.done
    assert open_again.details[0].startswith("done before: 09:14:")
    worked = {fact.label: fact.text for fact in report.front.people}
    assert (worked["Technician"], worked["Also worked on it"]) == ("Imani Okafor", "Marek Dvorak")
    unnamed = new_script(number=92)
    unnamed.open(technician="")
    unnamed.add("step-done", {"step": "fill-plug-loose"}, by="Marek Dvorak")
    unnamed.add("step-done", {"step": "drain-plug-out"}, by="marek dvorak")
    (technician,) = [f.text for f in make(unnamed).front.people if f.label == "Technician"]
    assert technician.casefold() == "marek dvorak"
