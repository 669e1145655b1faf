"""The pages in a real browser: live answers, photos without a network, the desk's words."""

import hashlib
import re
import time
from pathlib import Path

import pytest
from browsing import DESK, PHONE, PICTURES, wait_text

CHOSEN = "#kinds [aria-checked=true]"


def photos(shop, job):
    return [e for e in shop.entries(job) if e["kind"] == "photo"]


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


def test_phone_keeps_photos_without_a_network_and_sends_them_once(shop, booth, job):
    page = booth.page(PHONE)
    page.goto(f"{shop.here}/phone/{job}")
    wait_text(page, "#line", "Live")
    kept = "caches.match(location.href).then((page) => Boolean(page))"
    until = time.monotonic() + 20
    while not page.evaluate(kept) and time.monotonic() < until:
        page.wait_for_timeout(50)
    page.context.set_offline(True)
    page.set_input_files("#file", PICTURES / "dipstick-after.jpg")
    wait_text(page, "#queue", "1 photo")
    page.reload()  # survives a reload with a dead network, though it was opened only once
    wait_text(page, "#queue", "1 photo")
    assert not photos(shop, job)
    page.context.set_offline(False)
    wait_text(page, "#queue", "All photos")
    page.wait_for_selector("#overlay:not([hidden])")
    assert len(photos(shop, job)) == 1


def test_a_photo_out_of_order_is_kept_and_what_is_next_stays(shop, booth):
    job = shop.open_job(sheet="short-drain")
    shop.say(job, "vehicle checked")
    phone, bay = booth.page(PHONE), booth.page()
    for page, path in ((phone, "phone"), (bay, "job")):
        page.goto(f"{shop.here}/{path}/{job}")
        wait_text(page, "#next", "Loosen the fill plug first")
    phone.locator("#kinds [data-kind=plug]").click()
    phone.set_input_files("#file", PICTURES / "plug-before.jpg")
    wait_text(phone, "#verdict", "fill plug loose must come first")
    wait_text(bay, "#answer", "fill plug loose must come first")
    assert len(photos(shop, job)) == 1
    for page in (phone, bay):
        assert page.inner_text("#next") == "Loosen the fill plug first"


def test_the_phone_has_the_photo_chosen_that_is_next_and_leaves_ones_own_choice(shop, booth):
    job = shop.open_job(sheet="short-drain")
    phone = booth.page(PHONE)
    phone.goto(f"{shop.here}/phone/{job}")
    wait_text(phone, "#line", "Live")
    for text in ("vehicle checked", "fill plug loose"):
        shop.say(job, text)
    phone.wait_for_selector(f"{CHOSEN}[data-kind=plug]")
    phone.set_input_files("#file", PICTURES / "plug-before.jpg")
    wait_text(phone, "#next", "Drain plug in")
    assert phone.locator(CHOSEN).get_attribute("data-kind") == "plug"
    shop.say(job, "drain plug in")  # next is the level, read in a photo of the dipstick
    phone.wait_for_selector(f"{CHOSEN}[data-kind=dipstick]")
    wait_text(phone, "#hint", "Lay the blade")
    assert phone.locator(CHOSEN).count() == 1
    phone.locator("#kinds [data-kind=plug]").click()
    shop.say(job, "what is next")
    wait_text(phone, "#line", "Live")
    phone.wait_for_timeout(500)
    assert phone.locator(CHOSEN).get_attribute("data-kind") == "plug"


def test_what_is_next_and_the_chosen_photo_agree_also_after_a_reload_without_network(
    shop, booth, job
):
    phone = booth.page(PHONE)
    phone.goto(f"{shop.here}/phone/{job}")
    wait_text(phone, "#line", "Live")
    for text in ("vehicle checked", "standing level", "warm up done"):
        shop.say(job, text)
    dipstick = (PICTURES / "dipstick-before.jpg").read_bytes()
    name = hashlib.sha256(dipstick).hexdigest()
    shop.client.put(f"/api/jobs/{job}/photos/{name}?kind=dipstick", content=dipstick)
    for text in ("wheels chocked", "on stands", "fill plug loose", "drain plug out"):
        shop.say(job, text)
    shop.say(job, "stopped dripping")  # the fluid's photo is still wanted, the plug's is next
    wait_text(phone, "#next", "Photo of the magnetic plug as found")
    phone.wait_for_selector(f"{CHOSEN}[data-kind=plug]")
    wait_text(phone, "#also", "Also wanted: photo of the fluid; choose it below for that.")
    phone.context.set_offline(True)
    phone.reload()
    wait_text(phone, "#line", "No connection")
    assert phone.locator(CHOSEN).get_attribute("data-kind") == "plug"
    assert phone.inner_text("#next") == "Photo of the magnetic plug as found"
    phone.locator("#kinds [data-kind=fluid]").click()
    phone.reload()
    wait_text(phone, "#line", "No connection")
    assert phone.locator(CHOSEN).get_attribute("data-kind") == "fluid"  # one's own choice
    phone.context.set_offline(False)
    wait_text(phone, "#line", "Live")
    phone.wait_for_timeout(500)
    assert phone.locator(CHOSEN).get_attribute("data-kind") == "fluid"
    shop.client.post(f"/api/jobs/{job}/close", json={"how": "aborted", "reason": "x"})
    wait_text(phone, "#next", "Job ")


def test_a_photo_keeps_the_kind_that_was_chosen_when_the_camera_was_opened(shop, booth):
    job = shop.open_job(sheet="short-drain")
    phone = booth.page(PHONE)
    phone.goto(f"{shop.here}/phone/{job}")
    wait_text(phone, "#line", "Live")
    wait_text(phone, "#next", "Vehicle")
    kind = phone.locator("#kinds [aria-checked=false]").first.get_attribute("data-kind")
    phone.locator(f"#kinds [data-kind={kind}]").click()
    with phone.expect_file_chooser() as opened:
        phone.locator("label[for=file]").click()
    first = phone.locator("#kinds button").first
    first.click()
    opened.value.set_files(PICTURES / "plug-before.jpg")
    until = time.monotonic() + 20
    while not photos(shop, job) and time.monotonic() < until:
        phone.wait_for_timeout(100)
    assert [e["body"]["kind"] for e in photos(shop, job)] == [kind]


def choose_kind(phone, kind):
    phone.locator(f"#kinds [data-kind={kind}]").click()
    phone.set_input_files("#file", PICTURES / "plug-before.jpg")


def test_a_picture_sent_as_the_wrong_kind_is_chosen_again_as_the_right_one(shop, booth, job):
    phone = booth.page(PHONE)
    phone.goto(f"{shop.here}/phone/{job}")
    wait_text(phone, "#line", "Live")
    choose_kind(phone, "fluid")
    wait_text(phone, "#verdict", "if this shows a plug or a dipstick, send it again as that")
    choose_kind(phone, "plug")
    phone.wait_for_selector("#overlay:not([hidden])")
    wait_text(phone, "#queue", "All photos")
    wrong, right = photos(shop, job)
    assert (right["body"]["kind"], right["supersedes"]) == ("plug", wrong["id"])
    assert right["body"]["measurement"]["usable"]
    choose_kind(phone, "plug")
    wait_text(phone, "#verdict", "has this photo already")


def test_a_picture_chosen_anew_while_it_is_on_its_way_is_sent_anew(shop, booth, job):
    phone = booth.page(PHONE)
    phone.goto(f"{shop.here}/phone/{job}")
    wait_text(phone, "#line", "Live")
    held = []

    def hold(route):  # the network is slow with the first one
        held.append(route)
        if len(held) > 1:
            route.continue_()

    phone.route("**/photos/*", hold)
    choose_kind(phone, "dipstick")
    until = time.monotonic() + 20
    while not held and time.monotonic() < until:
        phone.wait_for_timeout(50)
    choose_kind(phone, "plug")
    wait_text(phone, "#verdict", "Kept on this phone")
    phone.wait_for_timeout(500)  # the second is kept now
    held[0].continue_()
    until = time.monotonic() + 20
    while len(photos(shop, job)) < 2 and time.monotonic() < until:
        phone.wait_for_timeout(100)
    assert [e["body"]["kind"] for e in photos(shop, job)] == ["dipstick", "plug"]
    wait_text(phone, "#queue", "All photos")


def test_a_waiting_picture_chosen_anew_keeps_the_time_when_it_was_taken(shop, booth, job):
    phone = booth.page(PHONE)
    phone.goto(f"{shop.here}/phone/{job}")
    wait_text(phone, "#line", "Live")
    taken = []

    def no_network(route):
        taken.append(re.search("taken=([^&]*)", route.request.url)[1])
        route.abort()

    phone.route("**/photos/*", no_network)
    choose_kind(phone, "dipstick")
    until = time.monotonic() + 20
    while not taken and time.monotonic() < until:
        phone.wait_for_timeout(50)
    tried = len(taken)
    choose_kind(phone, "plug")
    until = time.monotonic() + 20
    while len(taken) == tried and time.monotonic() < until:
        phone.wait_for_timeout(50)
    assert len(taken) > tried
    assert len(set(taken)) == 1


def test_photos_keep_their_order_where_the_phones_clock_is_wrong(shop, booth, job):
    for text in ("vehicle checked", "warm up done", "wheels chocked", "on stands"):
        shop.say(job, text)
    page = booth.page(PHONE)
    page.clock.install(time="2031-05-01T10:00:00Z")
    page.goto(f"{shop.here}/phone/{job}")
    wait_text(page, "#line", "Live")
    page.context.set_offline(True)
    page.set_input_files("#file", PICTURES / "dipstick-before.jpg")
    wait_text(page, "#queue", "1 photo")
    page.clock.set_system_time("2001-01-01T00:00:00Z")  # the battery was out
    page.set_input_files("#file", PICTURES / "dipstick-after.jpg")
    wait_text(page, "#queue", "2 photos")
    page.context.set_offline(False)
    wait_text(page, "#queue", "All photos")
    first, second = photos(shop, job)
    assert "taken 2031" in str(first)
    assert "taken 2001" in str(second)
    assert (
        first["at"][:4] == second["at"][:4] == shop.entries(job)[0]["at"][:4]
    )  # the PC's own year


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


def test_a_picture_that_comes_after_the_end_stays_on_the_phone_and_is_counted(shop, booth, job):
    phone, bay = booth.page(PHONE), booth.page()
    phone.goto(f"{shop.here}/phone/{job}")
    wait_text(phone, "#line", "Live")
    wait_text(phone, "#queue", "All photos are with the shop PC")
    phone.context.set_offline(True)
    choose_kind(phone, "plug")
    wait_text(phone, "#queue", "1 photo waiting")
    body = {"how": "aborted", "reason": "the customer took the vehicle", "by": "Imani Okafor"}
    shop.client.post(f"/api/jobs/{job}/close", json=body).raise_for_status()
    phone.context.set_offline(False)
    wait_text(phone, "#verdict", "The job is closed")
    bay.goto(f"{shop.here}/job/{job}")
    wait_text(bay, "#findings", "1 photo was refused and is still on the phone")
    phone.reload()
    wait_text(phone, "#queue", "1 photo refused: save or discard it")
    wait_text(phone, "#refused li", "Refused: plug, Kestrel Courier EXA 416. The job is closed")
    phone.goto(f"{shop.here}/phone")  # the phone's list of jobs shows it, too
    wait_text(phone, "#queue", "1 photo refused")
    small = phone.locator("#refused :is(button, .button)").evaluate_all(
        "(all) => all.map((one) => one.getBoundingClientRect().height)"
    )
    assert len(small) == 2
    assert min(small) >= 64
    with phone.expect_download() as saved:
        phone.get_by_text("Save this picture on the phone").click()
    assert saved.value.suggested_filename.endswith(".jpg")
    assert Path(saved.value.path()).read_bytes() == (PICTURES / "plug-before.jpg").read_bytes()
    wait_text(phone, "#queue", "All photos are with the shop PC")
    wait_text(phone, "#refused li", "Saved: plug")  # a saving may fail: it is still here
    bay.wait_for_selector("#findings li:not(.open)")
    assert "refused" not in bay.inner_text("#findings")
    assert not photos(shop, job)


def test_a_refused_picture_is_discarded_only_by_a_second_touch(shop, booth, job):
    phone = booth.page(PHONE)
    phone.goto(f"{shop.here}/phone/{job}")
    wait_text(phone, "#line", "Live")
    nothing = {"name": "x.jpg", "mimeType": "image/jpeg", "buffer": b"not a picture at all"}
    phone.set_input_files("#file", nothing)
    wait_text(phone, "#queue", "1 photo refused")
    phone.get_by_role("button", name="Discard it").click()
    phone.get_by_role("button", name="Discard it for good?").wait_for()
    wait_text(phone, "#queue", "1 photo refused")
    phone.get_by_role("button", name="Discard it for good?").click()
    wait_text(phone, "#queue", "All photos are with the shop PC")
    phone.reload()
    wait_text(phone, "#queue", "All photos are with the shop PC")
    assert phone.locator("#refused li").count() == 0
