"""A phone's pictures in a real browser: without a network, of another kind, in their order."""

import hashlib
import re
import time
from pathlib import Path

from browsing import PHONE, PICTURES, wait_text

CHOSEN = "#kinds [aria-checked=true]"


def photos(shop, job):
    return [e for e in shop.entries(job) if e["kind"] == "photo"]


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
