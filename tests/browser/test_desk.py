"""The advisor's desk in a real browser: two tabs, notes, what is open first."""

import re

from browsing import wait_text


def desk(shop, booth, job):
    page = booth.page()
    page.goto(f"{shop.here}/desk/{job}")
    wait_text(page, "#line", "Live")
    return page


def test_two_tabs_show_each_other_s_words_and_lose_none(shop, booth, job):
    shop.say(job, "drain plug out")
    early, late = desk(shop, booth, job), desk(shop, booth, job)
    late.locator("#findings textarea").first.fill("All is well.")
    early.locator("#findings textarea").first.fill("We checked it.")
    early.get_by_role("button", name="Keep these words").first.click()
    wait_text(early, "#findings", "Kept.")
    late.get_by_role("button", name="Keep these words").first.click()
    wait_text(late, "#findings", "has kept other words meanwhile: “We checked it.”")
    assert late.locator("#findings textarea").first.input_value() == "All is well."
    texts = [e["body"]["text"] for e in shop.entries(job) if e["kind"] == "explained"]
    assert texts == ["We checked it."]
    late.get_by_role("button", name="Keep these words").first.click()
    wait_text(late, "#findings", "Kept.")
    early.wait_for_function(
        "() => document.querySelector('#findings textarea').value === 'All is well.'"
    )


def test_a_note_comes_to_the_desk_live_and_onto_page_1(shop, booth, job):
    page = desk(shop, booth, job)
    assert not page.is_visible("#noted")
    shop.say(job, "note the left rear tire is worn")
    wait_text(page, "#notes", "The customer is not told yet.")
    page.locator("#notes textarea").fill("Your left rear tire is worn out.")
    page.get_by_role("button", name="Tell the customer").click()
    wait_text(page, "#notes", "Told on page 1.")
    page.goto(f"{shop.here}/job/{job}/report.html")
    assert "Your left rear tire is worn out." in page.inner_text("body")


def test_a_note_is_taken_back_in_the_bay_with_two_touches_and_the_desk_sees_it(shop, booth, job):
    page, bay = desk(shop, booth, job), booth.page()
    bay.goto(f"{shop.here}/job/{job}")
    wait_text(bay, "#line", "Live")
    assert not bay.is_visible("#noted")
    shop.say(job, "note the left rear tire is worn")
    page.get_by_role("button", name="Tell the customer").click()
    wait_text(page, "#notes", "Told on page 1.")
    bay.locator("#noted summary").click()
    wait_text(bay, "#noted li", "“the left rear tire is worn”, told to the customer")
    bay.locator("#noted button").click()
    wait_text(bay, "#noted button", "Take it back?")
    bay.locator("#noted button").click()
    wait_text(bay, "#answer", "Disregarded: note")
    bay.wait_for_selector("#noted", state="hidden")
    wait_text(page, "#withdrawn", "took back the note “the left rear tire is worn”: page 1 says no")


def test_the_odometer_is_corrected_and_a_wrong_figure_is_told(shop, booth):
    page = desk(shop, booth, shop.open_job(odometer="1319880", odometer_unit="km"))
    assert page.inner_text("#meter") == "Odometer 1319880 km."
    page.fill("#odometer", "131 988")
    page.click("#metered button")
    wait_text(page, "#corrected", "The odometer is a whole number")
    page.fill("#odometer", "131988")
    page.click("#metered button")
    wait_text(page, "#corrected", "Corrected: odometer 131988 km, not 1319880 km.")
    wait_text(page, "#meter", "Odometer 131988 km")


def test_a_refused_photo_is_told_live_until_it_is_gone(shop, booth, job):
    page = desk(shop, booth, job)
    for count, told in ((2, "2 photos were refused and are still on the phone"), (0, "")):
        held = {"who": "a phone", "count": count}
        assert shop.client.post(f"/api/jobs/{job}/refused", json=held).status_code == 200
        wait_text(page, "#refused", told)
    page.wait_for_function("() => document.getElementById('refused').textContent === ''")


def test_what_is_open_comes_first_live(shop, booth, job):
    page = desk(shop, booth, job)
    shop.say(job, "drain plug out")
    wait_text(page, "#findings", "Open, ")
    shop.say(job, "confirm because checked twice")
    wait_text(page, "#findings", "Ended: ")
    shop.say(job, "torque drain plug 50 foot pounds")
    page.wait_for_function(
        "() => document.querySelector('#findings form .mark').textContent === 'Open, '"
    )
    first = page.locator("#findings form").first.inner_text()
    assert "above the limit" in first or "must come first" in first


def test_the_report_comes_in_the_language_chosen_at_the_desk(shop, booth, job):
    page = desk(shop, booth, job)
    page.get_by_label("Language").select_option("es")
    page.get_by_label("Units").select_option("metric")
    preview = page.frame_locator(".preview")
    preview.locator("html[lang=es]").wait_for()
    for name in ("PDF", "HTML file"):
        address = page.get_by_role("link", name=name, exact=True).get_attribute("href")
        assert "language=es&units=metric&paper=a4" in address
    page.click("#link")
    wait_text(page, "#linked", "/report/")
    page.goto(page.inner_text("#linked").split(" ")[0])
    assert page.get_attribute("html", "lang") == "es"


def test_the_desk_says_not_sure_once(shop, booth, job):
    early = booth.page()
    early.goto(f"{shop.here}/desk/{job}")
    wait_text(early, "#line", "Live")
    shop.say(job, "fluid temperature is nine hundred celsius")
    late = booth.page()
    late.goto(f"{shop.here}/desk/{job}")
    for page in (early, late):  # drawn live, and as the page came
        wait_text(page, "#findings", "900 °C?")
        words = page.inner_text("#findings form:first-child p:first-child")
        assert words.strip() == "Open, not sure: 900 °C?"


def test_desk_is_live_keeps_the_advisors_words_and_makes_a_link(shop, booth, job):
    page = booth.page()
    page.goto(f"{shop.here}/desk/{job}")
    wait_text(page, "#line", "Live")
    shop.say(job, "drain plug out")
    page.locator("#findings textarea").first.fill("We checked the order of work twice.")
    shop.say(job, "fill plug loose")  # a new view must not take the words away
    wait_text(page, "#progress", "2 of")
    page.get_by_role("button", name="Keep these words").first.click()
    wait_text(page, "#findings", "Kept.")
    (kept,) = [e for e in shop.entries(job) if e["kind"] == "explained"]
    assert (kept["by"], kept["body"]["text"]) == (
        "Priya Nair",
        "We checked the order of work twice.",
    )
    page.click("#link")
    wait_text(page, "#linked", "/report/")
    page.goto(page.inner_text("#linked").split(" ")[0])
    assert "We checked the order of work twice." in page.inner_text("body")


def test_desk_says_what_is_missing_and_stops_a_job_with_a_reason(shop, booth, job):
    page = booth.page()
    page.goto(f"{shop.here}/desk/{job}")
    page.get_by_role("button", name="Close as finished").click()
    wait_text(page, "#closed", "Not closed. Vehicle, gearbox and fluid match")
    told = page.inner_text("#closed")
    assert re.search(r"And \d+ more\. Have it done, or write the reason into the field above", told)
    assert "what is missing" not in told  # that is said, and here nobody speaks
    assert not shop.view(job)["closed"]
    page.get_by_role("button", name="Stop the job").click()
    wait_text(page, "#closed", "reason")
    page.get_by_label("Reason").fill("The customer came for the van")
    page.get_by_role("button", name="Stop the job").click()
    wait_text(page, "#state", "stopped")
    page.goto(shop.here)
    assert "aborted" not in page.inner_text("main")
