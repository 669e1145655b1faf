"""The pages in a real browser: phrases on the bay screen, photos from a phone without a network."""

import shutil
import socket
import threading
import time
from pathlib import Path

import httpx
import pytest
import uvicorn

from joblog.web.app import create_app
from joblog.web.shop import Shop

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="Chromium is not installed")
PICTURES = Path(__file__).resolve().parents[2] / "sample_images"
FORM = {
    "sheet": "transaxle-drain-fill", "type": "KT-6F", "make": "Kestrel", "model": "Courier",
    "plate": "EXA 416", "technician": "Imani Okafor",
}  # fmt: skip


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    app = create_app(Shop.at(tmp_path_factory.mktemp("shop")))
    server = uvicorn.Server(uvicorn.Config(app, port=port, log_level="error", lifespan="on"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    until = time.monotonic() + 20
    while not server.started and time.monotonic() < until:
        time.sleep(0.05)
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join(10)


@pytest.fixture(scope="module")
def browser():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(
            executable_path=CHROMIUM,
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        yield browser
        browser.close()


@pytest.fixture
def job(address):
    answer = httpx.post(f"{address}/jobs", data=FORM)
    return answer.headers["location"].rsplit("/", 1)[1]


def wait_text(page, selector, words):
    from playwright.sync_api import expect

    expect(page.locator(selector)).to_contain_text(words, timeout=15_000)


def view(address, job):
    return httpx.get(f"{address}/api/jobs/{job}").json()


def test_bay_screen_answers_and_follows_another_screen_live(browser, address, job):
    page = browser.new_page(viewport={"width": 1280, "height": 800})
    faults = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    page.goto(f"{address}/job/{job}")
    page.fill("#phrase", "vehicle checked")
    page.press("#phrase", "Enter")
    wait_text(page, "#answer", "Vehicle")
    httpx.post(f"{address}/api/jobs/{job}/say", json={"text": "drain plug out"})
    page.wait_for_selector("#findings li.open")
    assert "must come first" in page.inner_text("#findings")
    assert page.locator("#hold").bounding_box()["height"] >= 64
    assert not faults
    page.close()


def test_phone_keeps_photos_without_a_network_and_sends_them_once(browser, address, job):
    context = browser.new_context(viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.goto(f"{address}/phone/{job}")
    wait_text(page, "#line", "Live")
    page.wait_for_timeout(1500)  # the service worker installs
    page.reload()  # the worker now has the page
    context.set_offline(True)
    page.set_input_files("#file", PICTURES / "dipstick-after.jpg")
    wait_text(page, "#queue", "1 photo")
    page.reload()  # survives a reload with a dead network
    wait_text(page, "#queue", "1 photo")
    assert not [r for r in view(address, job)["recent"] if r["what"] == "Photo dipstick"]
    context.set_offline(False)
    wait_text(page, "#queue", "All photos")
    page.wait_for_selector("#overlay:not([hidden])")
    photos = [r for r in view(address, job)["recent"] if r["what"] == "Photo dipstick"]
    assert len(photos) == 1
    context.close()


def test_desk_makes_a_link_that_opens_the_report(browser, address, job):
    page = browser.new_page()
    page.goto(f"{address}/desk/{job}")
    page.click("#link")
    wait_text(page, "#linked", "/report/")
    page.goto(page.inner_text("#linked").split(" ")[0])
    assert "Kestrel" in page.inner_text("body")
    page.close()
