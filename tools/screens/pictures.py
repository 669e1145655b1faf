"""Make the pictures of docs/bay.md anew: ``python tools/screens/pictures.py [FOLDER]``.

Needs Chromium and the test tools. A real shop is served, a job is typed into it, and its pages are
photographed at the sizes of a phone, a tablet, a desk and a wall screen.
"""

from __future__ import annotations

import hashlib
import io
import sys
import tempfile
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page, sync_playwright

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT / "tests" / "browser"))

from browsing import DESK, PHONE, PICTURES, TABLET, WALL, Booth, ShopPC, wait_text  # noqa: E402

TYPED = (
    "vehicle checked", "standing level", "warm up done", "fluid temperature is 64 celsius",
    "wheels chocked", "on stands", "drain plug out", "disregard", "fill plug loosened", "drain plug removed",
)  # fmt: skip


def photo(shop: ShopPC, job: str, name: str, kind: str) -> None:
    """Put a sample picture into the job."""
    data = (PICTURES / name).read_bytes()
    address = f"/api/jobs/{job}/photos/{hashlib.sha256(data).hexdigest()}?kind={kind}"
    shop.client.put(address, content=data).raise_for_status()


def played(shop: ShopPC) -> str:
    """Open a job and take it to where the magnet has been photographed."""
    job = shop.open_job(
        sheet="transaxle-drain-fill", year="2016", model="Courier 2.0", order="HL-2047"
    )
    for text in TYPED:
        if text == "wheels chocked":
            photo(shop, job, "dipstick-before.jpg", "dipstick")
        shop.say(job, text)
    return job


def keep(page: Page, file: Path) -> None:
    """Keep what the page shows as a small WebP."""
    Image.open(io.BytesIO(page.screenshot())).save(file, "WEBP", quality=80, method=6)
    print(f"{file.name}: {file.stat().st_size / 1000:.0f} kB")


def take(shop: ShopPC, booth: Booth, job: str, folder: Path) -> None:
    """Photograph each page."""
    shots = (
        ("bay-wall-dark", f"/job/{job}", WALL, "dark"),
        ("bay-desk-light", f"/job/{job}", DESK, "light"),
        ("bay-tablet-light", f"/job/{job}", TABLET, "light"),
        ("bay-phone-dark", f"/job/{job}", PHONE, "dark"),
        ("phone-light", f"/phone/{job}", PHONE, "light"),
        ("desk-light", f"/desk/{job}", DESK, "light"),
        ("desk-tablet-dark", f"/desk/{job}", TABLET, "dark"),
        ("start-light", "/start", TABLET, "light"),
        ("start-phone-dark", "/start", PHONE, "dark"),
        ("jobs-light", "/", DESK, "light"),
        ("pairing-light", "/phones", TABLET, "light"),
    )
    for name, path, size, scheme in shots:
        page = booth.page(size, color_scheme=scheme, reduced_motion="reduce")
        page.goto(shop.here + path)
        if page.locator("#line").count():
            wait_text(page, "#line", "Live")
        if path == "/phones":
            page.get_by_role("button", name="Pair a phone").click()
            page.wait_for_selector(".code svg")  # the page that answers, not the one that was left
        if name == "phone-light":
            page.locator("#kinds [data-kind=plug]").click()
            page.set_input_files("#file", PICTURES / "plug-before.jpg")
            page.wait_for_selector("#overlay:not([hidden])")
            page.mouse.wheel(0, 380)
            page.locator("#overlay").evaluate("image => image.decode()")
        keep(page, folder / f"{name}.webp")
        booth.leave()


def main() -> None:
    """Serve, play, photograph."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / "docs" / "pictures"
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as scratch, sync_playwright() as play:
        shop = ShopPC(Path(scratch) / "shop")
        booth = Booth(play, Path(scratch) / "booth", shop.pin)
        try:
            take(shop, booth, played(shop), folder)
        finally:
            booth.browser.close()
            shop.stop()


if __name__ == "__main__":
    main()
