"""The pages in a real browser: live answers, what stands where, and is in reach of a thumb."""

import hashlib
import re

import pytest
from browsing import DESK, PHONE, PICTURES, wait_text


def test_bay_screen_answers_and_follows_another_screen_live(shop, booth, job):
    page = booth.page()
    page.goto(f"{shop.here}/job/{job}")
    page.fill("#phrase", "vehicle checked")
    page.press("#phrase", "Enter")
    wait_text(page, "#answer", "Vehicle")
    wait_text(page, "#heard", "“vehicle checked”")
    shop.say(job, "drain plug out")
    wait_text(page, "#heard", "“drain plug out”")  # typed on another screen
    page.wait_for_selector("#findings li.open")
    assert "must come first" in page.inner_text("#findings")
    page.click("#who summary")  # a colleague takes over: the record says who does it from now on
    page.fill("#worker", "Marek Dvorak")
    page.press("#worker", "Enter")
    wait_text(page, "#works", "Marek Dvorak")
    assert page.get_attribute('a[href^="/voice?"]', "href") == "/voice?name=Marek+Dvorak"
    page.fill("#phrase", "fill plug loose")
    page.press("#phrase", "Enter")
    wait_text(page, "#answer", "Fill plug loose")
    assert [e["by"] for e in shop.entries(job) if e["kind"] == "step-done"][-1] == "Marek Dvorak"


@pytest.mark.parametrize("path", ["job", "desk"])
def test_what_was_said_turns_no_line_around_live_either(shop, booth, job, path):
    page = booth.page()
    page.goto(f"{shop.here}/{path}/{job}")
    shop.say(job, "note \u202ethe hose \u2066is old")
    wait_text(page, "body", "the hose is old")
    assert not re.search("[\u202a-\u202e\u2066-\u2069]", page.inner_text("body"))


def test_the_field_to_type_in_offers_a_phrase_of_this_very_sheet(shop, booth):
    page = booth.page()
    page.goto(f"{shop.here}/job/{shop.open_job(sheet='coolant', type='')}")
    page.wait_for_selector('#phrase[placeholder="type: engine is cold"]')


def test_two_screens_of_a_job_say_the_same_of_a_phrase_typed_on_one(shop, booth, job):
    """A typed phrase was not heard, and stands on each screen as it was typed."""
    typing, following = booth.page(), booth.page()
    for page in (typing, following):
        page.goto(f"{shop.here}/job/{job}")
        wait_text(page, "#line", "Live")
    for phrase in ("Vehicle checked", "what is next", "no such words"):  # done, answered, refused
        typing.fill("#phrase", phrase)
        typing.press("#phrase", "Enter")
        wait_text(following, "#heard", f"“{phrase}”")
        for page in (typing, following):
            assert page.inner_text("#heard") == f"“{phrase}”"
            assert page.inner_text("#h-heard") == "Last typed"
        left = phrase if phrase == "no such words" else ""  # what was refused stays, to be mended
        typing.wait_for_function(
            "(left) => document.querySelector('#phrase').value === left", arg=left
        )
    shop.say(job, "drain plug out")
    finding = shop.view(job)["findings"][0]["key"]
    reason = {"finding": finding, "text": "as the advisor asked"}
    shop.client.post(f"/api/jobs/{job}/confirm", json=reason).raise_for_status()
    for page in (typing, following):  # a button has no words to quote
        wait_text(page, "#heard", "By hand")
        assert page.inner_text("#h-heard") == "Last entered"


def test_what_a_clock_announces_and_a_photo_were_not_heard(shop, booth):
    job = shop.open_job(sheet="short-wait", type="")
    page = booth.page()
    page.goto(f"{shop.here}/job/{job}")
    wait_text(page, "#line", "Live")
    data = (PICTURES / "plug-before.jpg").read_bytes()
    name = hashlib.sha256(data).hexdigest()
    shop.client.put(f"/api/jobs/{job}/photos/{name}?kind=other", content=data).raise_for_status()
    wait_text(page, "#heard", "Photo other")
    assert page.inner_text("#h-heard") == "Last photo"
    shop.say(job, "engine off")
    wait_text(page, "#answer", "Reading window open")
    assert page.inner_text("#h-heard") == "Last announced"
    assert page.inner_text("#heard") == "By the clock"


def test_opening_a_job_says_which_fields_are_required(shop, booth):
    page = booth.page()
    page.goto(f"{shop.here}/new")
    required = page.evaluate("[...document.querySelectorAll(':required')].map((f) => f.id)")
    labels = page.get_by_text("(required)").locator("xpath=ancestor::label")
    marked = labels.evaluate_all("(all) => all.map((label) => label.htmlFor)")
    assert required == marked == ["sheet"]
    page.get_by_label("It counts miles, kilometres or hours").select_option("km")
    page.get_by_role("button", name="Open the job").click()
    assert page.url.endswith("/new")  # the browser asks for the sheet
    page.get_by_label("Job sheet").select_option("transaxle-drain-fill")
    page.get_by_role("button", name="Open the job").click()
    wait_text(page, "[role=alert]", "say which unit it is")
    assert page.get_by_label("Job sheet").input_value() == "transaxle-drain-fill"
    assert page.get_by_label("It counts miles, kilometres or hours").input_value() == "km"
    page.get_by_label("Gearbox or unit type").fill("KT-6F")
    page.get_by_role("button", name="Open the job").click()
    page.wait_for_url("**/job/*")


def test_the_sheet_to_use_instead_is_named_as_the_list_has_it(shop, booth):
    page = booth.page()
    page.goto(f"{shop.here}/new")
    page.get_by_label("Job sheet").select_option("transaxle-drain-fill")
    page.get_by_label("Gearbox or unit type").fill("KV-1")
    page.get_by_role("button", name="Open the job").click()
    wait_text(page, "[role=alert]", "Use the sheet '")
    title = page.inner_text("[role=alert]").split("Use the sheet '")[1].split("'")[0]
    page.get_by_label("Job sheet").select_option(label=title)
    page.get_by_role("button", name="Open the job").click()
    page.wait_for_url("**/job/*")


def test_a_wrong_address_is_a_page_with_a_way_on(shop, booth):
    page = booth.page()
    answer = page.goto(f"{shop.here}/no/such/page")
    assert answer.status == 404
    wait_text(page, "main", "There is no such page here")
    page.get_by_role("link", name="To the jobs").click()
    page.wait_for_url(f"{shop.here}/")
    assert "error" in shop.client.get("/no/such/page").json()


def test_a_phrase_that_is_far_too_long_leaves_room_for_what_is_next(shop, booth, job):
    page = booth.page(DESK)
    page.goto(f"{shop.here}/job/{job}")
    wait_text(page, "#line", "Live")
    page.fill("#phrase", "vehicle " * 200)
    assert len(page.input_value("#phrase")) <= 500  # more is refused by the shop PC
    page.press("#phrase", "Enter")
    wait_text(page, "#answer", "Say again")
    place, bar = page.locator("#next").bounding_box(), page.locator(".speak").bounding_box()
    assert place["y"] + place["height"] <= bar["y"]


@pytest.mark.parametrize("path", ["/job/{}", "/phone/{}", "/desk/{}"])
def test_a_page_opened_again_shows_what_happened_meanwhile(shop, booth, job, path):
    page = booth.page()
    page.goto(shop.here + path.format(job))
    wait_text(page, "#line", "Live")
    page.close()
    shop.say(job, "vehicle checked")
    page = booth.page()
    page.goto(shop.here + path.format(job))
    wait_text(page, "main", "1 of" if "desk" in path else "Vehicle on level ground")


@pytest.mark.parametrize("size", [PHONE, DESK])
def test_a_running_clock_is_seen_without_scrolling_beside_a_long_answer(shop, booth, job, size):
    shop.say(job, "engine off")
    shop.say(job, "job complete")
    page = booth.page(size)
    page.goto(f"{shop.here}/job/{job}")
    wait_text(page, "#clocks", "opens in")
    place = page.locator("#clocks").bounding_box()
    assert place["y"] + place["height"] < size[1]
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= size[0]
    missing = page.locator("#findings li", has_text="things are missing. Next: ")
    assert missing.count() == 1
    assert page.locator("#findings li", has_text="not done").count() == 1


@pytest.mark.parametrize(
    "said",
    [
        ["drain plug out"],
        ["engine off", "job complete"],
        ["note " + "the customer hears a noise when it is cold " * 6],
        ["help"],
    ],
)
def test_what_is_next_stands_above_the_talk_bar_beside_a_long_answer(shop, booth, job, said):
    for text in said:
        shop.say(job, text)
    page = booth.page(DESK)
    page.goto(f"{shop.here}/job/{job}")
    wait_text(page, "#line", "Live")
    wait_text(page, "#heard", said[-1][:20].strip())
    bar = page.locator(".speak").bounding_box()["y"]
    for name in ("#next", "#say"):
        place = page.locator(name).bounding_box()
        assert place["y"] + place["height"] <= bar, (name, place, bar)


@pytest.mark.parametrize("size", [PHONE, DESK])
def test_talking_is_at_hand_without_scrolling_and_typing_does_not_hide_the_answer(
    shop, booth, job, size
):
    page = booth.page(size)
    page.goto(f"{shop.here}/job/{job}")
    wait_text(page, "#line", "Live")
    shop.say(job, "drain plug out")  # four findings: a long answer
    wait_text(page, "#answer", "must come first")
    for name in ("#hold", "#open"):
        place = page.locator(name).bounding_box()
        assert place["y"] + place["height"] <= size[1]
    assert page.evaluate("scrollY") == 0
    answer = page.locator("#answer").bounding_box()
    assert answer["y"] + answer["height"] <= page.locator(".speak").bounding_box()["y"]
    if size == DESK:
        page.fill("#phrase", "torque four one foot pounds")
        page.press("#phrase", "Enter")
        wait_text(page, "#answer", "Which one")
        assert page.evaluate("scrollY") == 0
        page.fill("#phrase", "fluid temperature is nine hundred celsius")
        page.press("#phrase", "Enter")
        wait_text(page, "#answer", "Affirm or negative")
        affirm = page.get_by_role("button", name="affirm").bounding_box()
        assert affirm["y"] + affirm["height"] <= page.locator(".speak").bounding_box()["y"]
        assert not page.locator("#asked").is_visible()  # it is the answer, word for word


def test_help_is_a_button_on_bay_and_phone(shop, booth, job):
    for place in ("job", "phone"):
        page = booth.page(PHONE)
        page.goto(f"{shop.here}/{place}/{job}")
        page.get_by_role("button", name="What can I say?").click()
        wait_text(page, "#answer", "vehicle checked")
        assert "what is next" in page.inner_text("#answer")


def test_an_answer_stands_once_and_an_observation_is_not_open(shop, booth, job):
    plug = (PICTURES / "plug-before.jpg").read_bytes()
    name = hashlib.sha256(plug).hexdigest()
    shop.client.put(f"/api/jobs/{job}/photos/{name}?kind=plug", content=plug).raise_for_status()
    page = booth.page()
    page.goto(f"{shop.here}/job/{job}")
    page.fill("#phrase", "dipstick as found")
    page.press("#phrase", "Enter")
    wait_text(page, "#answer", "Not yet in order. Dipstick as found, but")
    assert page.inner_text("#more") == ""
    flake = page.locator("#findings li", has_text="A flake of")
    assert flake.count() == 1
    assert "open" not in (flake.get_attribute("class") or "")
