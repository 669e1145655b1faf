"""What goes wrong in a shop: told plainly on the page, the job unharmed."""

import re
import signal
import socket
import ssl

from browsing import PHONE, PICTURES, ShopPC, wait_text

from joblog.record.chain import verify_lines

WHOLE = (PICTURES / "dipstick-after.jpg").read_bytes()


def photos(shop, job):
    return [e for e in shop.entries(job) if e["kind"] == "photo"]


def whole(shop, job):
    record = shop.client.get(f"/api/jobs/{job}/record.jsonl").content
    return verify_lines(record)[0].whole


def choose(page, data, name="photo.jpg"):
    page.set_input_files("#file", {"name": name, "mimeType": "image/jpeg", "buffer": data})


def test_power_cut_in_the_middle_of_a_job_loses_nothing(booth, play, tmp_path):
    shop = ShopPC(tmp_path)
    own = type(booth)(play, tmp_path / "booth", shop.pin)
    try:
        job = shop.open_job()
        bay, phone = own.page(), own.page(PHONE)
        bay.goto(f"{shop.here}/job/{job}")
        phone.goto(f"{shop.here}/phone/{job}")
        for page in (bay, phone):
            wait_text(page, "#line", "Live")
        shop.say(job, "vehicle checked")
        wait_text(bay, "#next", "Vehicle on level ground")
        shop.stop(signal.SIGKILL)
        wait_text(bay, "#line", "No connection to the shop PC")
        wait_text(phone, "#line", "No connection to the shop PC")
        bay.fill("#phrase", "standing level")
        bay.press("#phrase", "Enter")
        wait_text(bay, "#answer", "does not answer")  # told, not swallowed
        choose(phone, WHOLE)
        wait_text(phone, "#queue", "1 photo waiting")
        shop.start()
        shop.say(job, "standing level")  # while the pages are still away
        wait_text(bay, "#line", "Live")
        wait_text(phone, "#queue", "All photos")
        wait_text(bay, "#next", shop.view(job)["next"]["title"])  # what was missed is shown
        assert shop.view(job)["next"]["title"] != "Vehicle on level ground"
        assert len(photos(shop, job)) == 1
        assert whole(shop, job)
        ended = shop.stop()  # with the screens open: they don't keep it from ending
        assert ended in (0, -signal.SIGTERM)
        own.leave()
    finally:
        own.browser.close()
        shop.process.kill()


def test_phone_whose_pairing_is_taken_back_is_told_and_keeps_its_photos(shop, booth, job):
    address = shop.client.post("/phones/pair").text
    code = re.search(r"<p class=\"quiet\">(\S+)</p>", address)[1]
    phone = booth.page(PHONE)
    phone.goto(code.replace("localhost", "127.0.0.1"))
    phone.get_by_role("button", name="Pair this phone").click()
    there = phone.url.rsplit("/", 1)[0]
    assert "localhost" not in there, "this machine has no network address to pair over"
    phone.goto(f"{there}/phone/{job}")
    wait_text(phone, "#line", "Live")
    handle = re.findall(r"/phones/(\w+)/revoke", shop.client.get("/phones").text)[0]  # the newest
    shop.client.post(f"/phones/{handle}/revoke")
    wait_text(phone, "#line", "its pairing was taken back")
    choose(phone, WHOLE)
    wait_text(phone, "#verdict", "its pairing was taken back")
    wait_text(phone, "#queue", "1 photo waiting")
    assert not photos(shop, job)
    for path in ("/", "/phone", f"/phone/{job}", f"/job/{job}"):
        answer = phone.goto(there + path)
        assert answer.status == 403
        wait_text(
            phone, ".lead", "This device is not paired for that, or its pairing was taken back"
        )
        wait_text(phone, "main", "open “Phones” on the shop PC")
        assert phone.locator(".top a, main a").count() == 0  # nothing that leads here once more
        assert phone.evaluate("[innerWidth, document.documentElement.scrollWidth]") == [390, 390]


def test_a_paired_phone_is_offered_only_what_it_may_use(shop, booth, job):
    code = re.search(r"<p class=\"quiet\">(\S+)</p>", shop.client.post("/phones/pair").text)[1]
    phone = booth.page(PHONE, has_touch=True, is_mobile=True)
    phone.goto(code)
    phone.get_by_role("button", name="Pair this phone").tap()
    phone.wait_for_url("**/phone")
    there = phone.url.rsplit("/", 1)[0]
    shop.client.post(
        "/jobs", data={"sheet": "wheel-refit", "vin": "1KC7F6AB6GH041620", "make": "Kestrel"}
    )
    refused = "/orders"
    paths = ("/phone", f"/phone/{job}", f"/job/{job}", "/start", "/start?then=phone", refused)
    seen = set()
    for path in (*paths, "/start?vin=1KC7F6AB6GH041620", "/no/such", "/trust"):
        phone.goto(there + path)
        links = phone.eval_on_selector_all("a[href]", "(all) => all.map((one) => one.href)")
        seen |= {link for link in links if link.startswith(there) and "#" not in link}
    assert f"{there}/phone" in seen
    for link in sorted(seen):
        assert phone.evaluate("async (link) => (await fetch(link)).status", link) < 400, link


def test_browser_that_cannot_send_sound_says_so_and_types(shop, booth, job):
    page = booth.page()
    page.add_init_script("delete window.AudioWorkletNode")
    page.goto(f"{shop.here}/job/{job}")
    page.click("#open")
    wait_text(page, "#mic", "too old to send sound; use a newer one, or type")
    assert page.get_attribute("#open", "aria-pressed") == "false"
    page.fill("#phrase", "vehicle checked")
    page.press("#phrase", "Enter")
    wait_text(page, "#answer", "Vehicle checked")


def test_microphone_that_is_not_allowed_is_told(shop, booth, job):
    page = booth.page()
    page.add_init_script(
        "navigator.mediaDevices.getUserMedia = () =>"
        " Promise.reject(new DOMException('no', 'NotAllowedError'))"
    )
    page.goto(f"{shop.here}/job/{job}")
    page.keyboard.press("PageDown")
    wait_text(page, "#mic", "can't be opened (NotAllowedError); allow it for this page")


def test_half_a_photo_and_no_photo_are_told_and_not_kept(shop, booth, job):
    page = booth.page(PHONE)
    page.goto(f"{shop.here}/phone/{job}")
    choose(page, WHOLE[: len(WHOLE) // 2])
    wait_text(page, "#verdict", "damaged or cut short")
    choose(page, b"not a picture at all")
    wait_text(page, "#verdict", "no picture that can be read")
    wait_text(page, "#queue", "2 photos refused: save or discard them")
    choose(page, WHOLE)
    wait_text(page, "#verdict", "Dipstick as found")
    assert len(photos(shop, job)) == 1
    assert page.locator("#overlay").is_visible()
    choose(page, b"not a picture either")
    wait_text(page, "#verdict", "The photo is no picture that can be read")
    assert not page.locator("#overlay").is_visible()  # the measurement of the photo before
    assert whole(shop, job)


def test_a_photo_of_something_else_is_taken_back_with_two_touches(shop, booth, job):
    page = booth.page(PHONE, has_touch=True)
    page.goto(f"{shop.here}/phone/{job}")
    wait_text(page, "#line", "Live")
    assert not page.locator("#taken").is_visible()
    choose(page, WHOLE)
    shop.say(job, "vehicle checked")
    page.locator("#taken summary").tap()
    wait_text(page, "#photos li", "Photo dipstick, measured")
    page.locator("#photos button").tap()
    wait_text(page, "#photos button", "Take it back?")
    assert len(photos(shop, job)) == 1
    page.locator("#photos button").tap()
    wait_text(page, "#answer", "Disregarded: photo dipstick")
    page.wait_for_selector("#taken", state="hidden")
    assert whole(shop, job)


def test_200_megabytes_are_refused_by_the_phone_and_by_the_shop(shop, booth, job):
    page = booth.page(PHONE)
    page.goto(f"{shop.here}/phone/{job}")
    page.evaluate(
        """() => {
          const chosen = new DataTransfer();
          const data = new Uint8Array(200_000_000);
          chosen.items.add(new File([data], "huge.jpg", {type: "image/jpeg"}));
          const field = document.querySelector("#file");
          field.files = chosen.files;
          field.dispatchEvent(new Event("change"));
        }"""
    )
    wait_text(page, "#verdict", "larger than 30 MB")
    wait_text(page, "#queue", "1 photo refused")
    page.reload()
    wait_text(page, "#refused", "larger than 30 MB")
    # Whoever sends it all the same is refused from what its first line says, before it has sent it.
    trust = ssl.create_default_context(cafile=str(shop.data / "certificates" / "shop.crt"))
    with (
        socket.create_connection(("localhost", shop.port), timeout=20) as plain,
        trust.wrap_socket(plain, server_hostname="localhost") as line,
    ):
        line.sendall(
            f"PUT /api/jobs/{job}/photos/{'0' * 64}?kind=plug HTTP/1.1\r\nHost: localhost\r\n"
            "Content-Length: 200000000\r\n\r\n".encode()
        )
        answer = line.recv(4096)
    assert answer.startswith(b"HTTP/1.1 413")
    assert not photos(shop, job)
