"""A whole job through the pages, heard and seen by the browser's own microphone and camera."""

import io

import pytest
import zxingcpp
from browsing import PHONE, utter, wait_text
from PIL import Image
from pypdf import PdfReader

from joblog.record.chain import verify_lines

# What was spoken is in sample_audio/script.toml; what the pictures hold is in
# sample_images/truth.json, written from the rendered scene.
SPOKEN = (
    ("01-vehicle-checked", "Vehicle checked. Next: fill plug loose."),
    ("09-drain-plug-out-early", "fill plug loose must come first"),
    ("10-disregard", "Disregarded: drain plug out."),
    ("11-fill-plug-loose", "Fill plug loose. Next: drain plug out."),
    ("12-drain-plug-removed", "Drain plug out. Wanted: photo plug."),
)


def opened(desk, shop):
    """Open the job in the form; return its id."""
    desk.goto(f"{shop.here}/new")
    desk.get_by_label("Job sheet").select_option("short-drain")
    for label, text in (
        ("Registration", "EXA 416"),
        ("Make", "Kestrel"),
        ("Model", "Courier"),
        ("Technician", "Imani Okafor"),
        ("Customer", "Bramble & Rye Bakery"),
        ("Advisor", "Priya Nair"),
    ):
        desk.get_by_label(label, exact=True).fill(text)
    desk.get_by_role("button", name="Open the job").click()
    desk.wait_for_url("**/job/*")
    return desk.url.rsplit("/", 1)[1]


def scanned(desk, shop):
    """Read the pairing code off the desk's screen, as a phone's camera does; return its address."""
    desk.goto(f"{shop.here}/phones")
    desk.get_by_role("button", name="Pair a phone").click()
    picture = Image.open(io.BytesIO(desk.locator(".code svg").screenshot()))
    return zxingcpp.read_barcode(picture).text


def paired(booth, desk, shop):
    """Pair a phone by its code; return its page, which lists the open jobs."""
    phone = booth.page(PHONE, has_touch=True, is_mobile=True, user_agent="Android")
    address = scanned(desk, shop)
    if "localhost" not in address and "127.0.0.1" not in address:
        before = phone.goto(address.split("/pair/")[0] + "/phone")
        assert before.status == 403  # not paired yet: nothing to see
    phone.goto(address)
    phone.get_by_role("button", name="Pair this phone").tap()
    phone.wait_for_url("**/phone")
    return phone


def snap(booth, phone, picture, kind, verdict):
    """Hold a picture before the phone's camera and take the photo."""
    booth.show(picture)
    phone.locator(f"#kinds [data-kind={kind}]").tap()
    phone.tap("#look")
    phone.tap("#snap")
    phone.tap("#look")  # closes the camera
    wait_text(phone, "#verdict", verdict)
    wait_text(phone, "#queue", "All photos are with the shop PC")


def sign(desk):
    desk.locator("#pad").scroll_into_view_if_needed()
    box = desk.locator("#pad").bounding_box()
    desk.mouse.move(box["x"] + 40, box["y"] + 60)
    desk.mouse.down()
    desk.mouse.move(box["x"] + 200, box["y"] + 90, steps=4)
    desk.mouse.up()
    desk.get_by_role("button", name="Keep the signature").click()
    wait_text(desk, "#signed", "Signature kept.")


def test_whole_job_is_heard_seen_closed_and_handed_over(shop, booth, tmp_path):
    desk, bay = booth.page(), booth.page()
    job = opened(desk, shop)
    phone = paired(booth, desk, shop)
    phone.locator(f"a[href='/phone/{job}']").tap()
    wait_text(phone, "#line", "Live")
    bay.goto(f"{shop.here}/job/{job}")
    for line, answer in SPOKEN:
        utter(booth, bay, line, answer)
        if line.startswith("01"):
            bay.wait_for_selector("body.speaking")  # said aloud; nothing is heard meanwhile
            bay.wait_for_selector("body:not(.speaking)")
            bay.click("#mute")  # the others are only shown, so that the test is quick
    snap(booth, phone, "plug-before.jpg", "plug", "Photo plug, good.")
    wait_text(bay, "#answer", "Photo plug, good.")  # the phone's photo is on the wall at once
    utter(booth, bay, "19-torque-four-one", "Torque drain plug, four one foot-pounds, in spec.")
    snap(booth, phone, "dipstick-after.jpg", "dipstick", "Photo dipstick, good.")
    wait_text(bay, "#next", "All steps done")

    desk.goto(f"{shop.here}/desk/{job}")
    desk.get_by_role("button", name="Close as finished").click()
    wait_text(desk, "#state", "finished")
    wait_text(bay, "#next", "Job finished")
    sign(desk)
    with desk.expect_download() as download:
        desk.get_by_role("link", name="PDF", exact=True).click()
    download.value.save_as(tmp_path / "report.pdf")

    check_pdf(tmp_path / "report.pdf")
    check_record(shop.entries(job))


def check_pdf(path):
    reader = PdfReader(path)
    text = " ".join(page.extract_text() for page in reader.pages).replace("\xa0", " ")
    for words in ("Kestrel", "EXA 416", "Bramble & Rye Bakery", "Imani Okafor", "41 lbf·ft"):
        assert words in text, words
    assert verify_lines(reader.attachments["record.jsonl"][0])[0].whole


def check_record(entries):
    heard = [e["body"]["text"] for e in entries if e["kind"] == "heard"]
    assert heard == [
        "vehicle checked", "drain plug out", "disregard", "fill plug loose",
        "drain plug removed", "torque four one foot pounds",
    ]  # fmt: skip
    assert all(e["by"] == "Imani Okafor" for e in entries if e["kind"] == "heard")
    plug, dipstick = (e["body"]["measurement"] for e in entries if e["kind"] == "photo")
    assert float(plug["longest_flake_mm"]) == pytest.approx(1.3, abs=0.15)
    assert float(dipstick["level_fraction"]) == pytest.approx(0.78, abs=0.05)
    assert [e["kind"] for e in entries[-2:]] == ["job-closed", "signature"]
