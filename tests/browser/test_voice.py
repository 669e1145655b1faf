"""The read-back and the start of a job in a real browser."""

import shutil
import socket
import threading
import time
from itertools import pairwise
from pathlib import Path

import httpx
import numpy as np
import pytest
import uvicorn
import zxingcpp
from PIL import Image
from soundfile import write

from joblog.audio.files import read_audio
from joblog.readback.clips import FOLDER, SOUND, load_clips, stock
from joblog.readback.sound import RATE as CLIP_RATE
from joblog.readback.sound import spoken_sound
from joblog.web.app import STATIC, create_app
from joblog.web.shop import Shop

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed")
FORM = {"sheet": "transaxle-drain-fill", "type": "KT-6F", "technician": "Imani Okafor"}
DATA = Path(__file__).resolve().parents[1] / "web" / "data"
VIN = "1KC7F6AB6GH041620"  # invented; its check digit fits
# Notes, on the audio clock, when clips start and how long they are, and when the shop PC is told.
WATCH = """
window.notes = [];
const start = AudioBufferSourceNode.prototype.start;
AudioBufferSourceNode.prototype.start = function (at) {
  window.notes.push({ what: "clip", at, until: at + this.buffer.duration, audio: this.context });
  window.audio = this.context;
  return start.call(this, at);
};
const asked = window.fetch;
window.fetch = (path, options) => {
  if (String(path).endsWith("/speaking")) {
    const { seconds } = JSON.parse(options.body);
    window.notes.push({ what: seconds ? "begun" : "ended", at: window.audio?.currentTime ?? 0 });
  }
  return asked(path, options);
};
"""


class Server:
    """The shop on a free port."""

    def __init__(self, shop):
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        config = uvicorn.Config(create_app(shop), port=port, log_level="error", lifespan="on")
        self.server = uvicorn.Server(config)
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()
        until = time.monotonic() + 20
        while not self.server.started and time.monotonic() < until:
            time.sleep(0.05)
        self.address = f"http://127.0.0.1:{port}"

    def job(self, **changes):
        answer = httpx.post(f"{self.address}/jobs", data=FORM | changes)
        return answer.headers["location"].rsplit("/", 1)[1]

    def stop(self):
        self.server.should_exit = True
        self.thread.join(10)


@pytest.fixture(scope="module")
def shop_folder(tmp_path_factory):
    return tmp_path_factory.mktemp("shop")


@pytest.fixture(scope="module")
def server(shop_folder):
    server = Server(Shop.at(shop_folder))
    yield server
    server.stop()


@pytest.fixture(scope="module")
def chromium(play):
    browser = play.chromium.launch(
        executable_path=CHROMIUM,
        args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
    )
    yield browser
    browser.close()


def wait_text(page, selector, words):
    from playwright.sync_api import expect

    expect(page.locator(selector)).to_contain_text(words, timeout=20_000)


def wait_note(page, what):
    """Wait until the page noted that; the page's own policy forbids waiting inside it."""
    until = time.monotonic() + 20
    while not page.evaluate("what => notes.some((n) => n.what === what)", what):
        assert time.monotonic() < until, f"never {what}"
        page.wait_for_timeout(50)


def type_phrase(page, text):
    page.fill("#phrase", text)
    page.press("#phrase", "Enter")


def open_bay(browser, address, job, place="job"):
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    page.add_init_script(WATCH)
    with page.expect_response("**/events"):
        page.goto(f"{address}/{place}/{job}")
    wait_text(page, "#line", "Live")
    return page


def test_answer_is_played_from_clips_and_the_ears_are_deaf_until_the_last_sample(chromium, server):
    page = open_bay(chromium, server.address, server.job())
    type_phrase(page, "vehicle checked")
    wait_note(page, "ended")
    notes = page.evaluate("notes.map(({ what, at, until }) => ({ what, at, until }))")
    assert (notes[0]["what"], notes[-1]["what"]) == ("begun", "ended")
    clips = [n for n in notes if n["what"] == "clip"]
    assert len(clips) == 3  # vehicle checked, next, vehicle level
    assert notes[-1]["at"] >= max(n["until"] for n in clips)
    for one, following in pairwise(clips):
        assert one["until"] <= following["at"] + 1e-6  # no two clips at once
    assert page.inner_text("#voice") == ""
    page.close()


@pytest.mark.parametrize("place", ["job", "phone"])
def test_the_caution_of_the_first_step_is_said_when_the_page_opens(chromium, server, place):
    job = server.job(sheet="air-compressor", type="AC-15")
    page = open_bay(chromium, server.address, job, place)
    caution = "Caution: Lock the power out and tag it before guards come off."
    if place == "phone":
        wait_text(page, "#answer", caution)
    else:
        wait_text(page, "#caution", caution)
        assert page.inner_text("#answer") == "Next: locked out."
    page.click("#line")  # a browser that plays nothing before it was touched goes on now
    wait_note(page, "ended")
    clips = page.evaluate("notes.filter(({ what }) => what === 'clip').length")
    assert clips == 4  # next, locked out, caution, its sentence
    page.close()


def test_muting_stops_what_is_being_said_and_says_nothing_after(chromium, server):
    page = open_bay(chromium, server.address, server.job())
    type_phrase(page, "drain plug out")  # a long answer: the order is wrong
    wait_note(page, "clip")
    last = page.evaluate("Math.max(...notes.filter((n) => n.what === 'clip').map((n) => n.until))")
    page.click("#mute")
    wait_note(page, "ended")
    assert page.evaluate("notes.at(-1).at") < last
    before = page.evaluate("notes.length")
    type_phrase(page, "disregard")
    wait_text(page, "#answer", "Disregarded")
    page.wait_for_timeout(500)
    assert page.evaluate("notes.length") == before
    page.reload()
    assert page.get_attribute("#mute", "aria-pressed") == "true"  # remembered on this device
    page.close()


def test_clips_that_do_not_arrive_are_told_and_the_browsers_own_voice_speaks(chromium, server):
    page = open_bay(chromium, server.address, server.job())
    page.route("**/voice.ogg*", lambda route: route.abort())
    type_phrase(page, "vehicle checked")
    wait_text(page, "#voice", "The read-back clips can't be used")
    page.close()


def test_altered_clips_are_told_on_the_screen(chromium, tmp_path):
    shutil.copytree(FOLDER, tmp_path / "clips")
    (tmp_path / "clips" / SOUND).write_bytes(b"OggS")
    shop = Shop.at(tmp_path / "shop")
    shop.voice = stock(tmp_path / "clips")
    server = Server(shop)
    page = open_bay(chromium, server.address, server.job())
    wait_text(page, "#voice", "was altered")
    page.close()
    server.stop()


def test_orders_are_uploaded_and_a_scanned_label_leads_to_the_open_job(chromium, server, tmp_path):
    page = chromium.new_page(viewport={"width": 390, "height": 844})
    page.goto(f"{server.address}/orders")
    bad = tmp_path / "bad.csv"
    bad.write_text("order,plate\n1,A\n2\n", encoding="utf-8")
    page.set_input_files("#csv", bad)
    wait_text(page, "#imported", "Line 3")
    page.set_input_files("#csv", STATIC / "orders-example.csv")
    wait_text(page, "#imported", "4 new")
    wait_text(page, "#list", "HL-2047")  # the list above, at once
    assert "No orders for today yet" not in page.inner_text("main")
    bars = zxingcpp.create_barcode(VIN, zxingcpp.BarcodeFormat.Code39).to_image(scale=3)
    photo = np.pad(np.array(bars), 120, constant_values=210)
    Image.fromarray(photo).save(tmp_path / "label.png")
    begun = time.monotonic()
    page.goto(f"{server.address}/start")
    page.set_input_files("#label", tmp_path / "label.png")
    page.wait_for_selector("#opening")
    assert "HL-2047" in page.inner_text("main")
    page.click("button.main[name=sheet]")
    page.wait_for_selector("#bay")
    assert "EXA 416" in page.inner_text("h1")
    print(f"from the start page to the bay screen: {time.monotonic() - begun:.1f} s")
    page.close()


def speaking(chromium, sound):
    """Return a browser whose microphone hears this file, from when it is opened, once."""
    return chromium.browser_type.launch(
        executable_path=CHROMIUM,
        args=[
            "--no-sandbox",
            "--disable-gpu",
            "--use-fake-ui-for-media-stream",
            "--use-fake-device-for-media-stream",
            f"--use-file-for-fake-audio-capture={sound}%noloop",
        ],
    )


def test_a_vin_spelled_into_the_microphone_leads_to_its_sheets(server, chromium, tmp_path):
    spoken = read_audio(DATA / "vin.ogg").samples
    silence = np.zeros(16_000, np.float32)
    write(tmp_path / "mic.wav", np.concatenate([silence, spoken, silence]), 16_000)
    fake = speaking(chromium, tmp_path / "mic.wav")
    page = fake.new_page(viewport={"width": 390, "height": 844})
    page.goto(f"{server.address}/start")
    page.hover("#hold")
    page.mouse.down()
    page.wait_for_timeout(round(len(spoken) / 16) + 3_000)
    page.mouse.up()
    # taken, or shown to be confirmed with one touch
    page.wait_for_selector("#opening, #maybe:not([hidden])", timeout=30_000)
    if page.query_selector("#maybe:not([hidden])"):
        page.click("#maybe")
        page.wait_for_selector("#opening", timeout=30_000)
    assert VIN in page.inner_text("main")
    fake.close()


def test_a_row_of_digits_is_read_into_the_microphone(server, chromium, tmp_path):
    sound = np.asarray(spoken_sound("four zero seven one", load_clips()), np.float32).reshape(-1)
    silence = np.zeros(CLIP_RATE // 2, np.float32)
    write(tmp_path / "mic.wav", np.concatenate([silence, sound, silence]), CLIP_RATE)
    fake = speaking(chromium, tmp_path / "mic.wav")
    page = fake.new_page(viewport={"width": 390, "height": 844})
    page.goto(f"{server.address}/voice?name=Imani%20Okafor")
    page.click("text=Begin")
    page.wait_for_selector("#lesson:not([hidden])", timeout=30_000)
    assert page.inner_text("#wanted") == "4 0 7 1"
    page.hover("#hold")
    page.mouse.down()
    page.wait_for_timeout(round(1000 * len(sound) / CLIP_RATE) + 2_000)
    page.mouse.up()
    page.wait_for_selector("#count:text-is('1 of 12 read')", timeout=30_000)
    assert page.inner_text("#wanted") == "2 9 5 3"
    page.click("#leave")
    page.wait_for_selector("#wanted:text-is('8 6 2 0')")
    fake.close()
