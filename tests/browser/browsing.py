"""A shop that really serves, and browsers with a microphone and a camera, for the browser tests.

The shop is ``joblog serve --lan`` in a process of its own, over HTTPS with its own certificate, so
that what a technician starts is what is tested. Chromium's microphone plays a WAV file once, each
time that it is opened, and its camera shows a picture; both files may be changed in between.
"""

from __future__ import annotations

import base64
import hashlib
import json
import os
import shutil
import signal
import socket
import ssl
import subprocess
import sys
import time
from pathlib import Path

import httpx
import numpy as np
import soundfile
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from PIL import Image, ImageOps
from playwright.sync_api import BrowserContext, Page, Playwright, expect

ROOT = Path(__file__).resolve().parents[2]
SOUNDS, PICTURES = ROOT / "sample_audio", ROOT / "sample_images"
SHEETS = Path(__file__).with_name("sheets")
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
PATIENCE = 30_000  # milliseconds that an answer may take on a busy machine; nothing waits that long
PHONE, TABLET, DESK, WALL = (390, 844), (820, 1180), (1280, 800), (1920, 1080)
# Whether all of a thing is in the window with nothing lying over it, and how large its letters are.
IN_SIGHT = """(nodes) => nodes.map((node) => {
  const box = node.getBoundingClientRect(), x = box.left + box.width / 2;
  const clear = [box.top + 2, box.bottom - 2]
    .every((y) => node.contains(document.elementFromPoint(x, y)));
  return [clear, parseFloat(getComputedStyle(node).fontSize)]; })"""
FORM = {
    "sheet": "transaxle-drain-fill", "type": "KT-6F", "make": "Kestrel", "model": "Courier",
    "plate": "EXA 416", "technician": "Imani Okafor", "customer": "Bramble & Rye Bakery",
    "advisor": "Priya Nair", "complaint": "Gearbox fluid service",
}  # fmt: skip


class ShopPC:
    """``joblog serve --lan`` on records of its own; can be cut off and started again."""

    def __init__(self, data: Path) -> None:
        self.data = data
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self.here = f"https://localhost:{self.port}"
        shutil.copytree(SHEETS, data / "sheets")
        self.start()

    def start(self) -> None:
        """Start it and wait until it answers over a certificate that its own authority signed."""
        command = [sys.executable, "-m", "joblog", "serve", "--lan", "--port", str(self.port)]
        self.process = subprocess.Popen(
            [*command, "--data", str(self.data)],
            stdout=subprocess.DEVNULL,
            cwd=ROOT,
            env={**os.environ, "OMP_NUM_THREADS": "2"},
        )
        until = time.monotonic() + 60
        while self.process.poll() is None and time.monotonic() < until:
            try:
                authority = self.data / "certificates" / "shop.crt"
                trust = ssl.create_default_context(cafile=str(authority))
                self.client = httpx.Client(base_url=self.here, verify=trust, timeout=60)
                self.client.get("/static/mark.svg").raise_for_status()
                return
            except (OSError, httpx.HTTPError):
                time.sleep(0.1)
        raise RuntimeError("joblog serve did not come up; its error stands above")

    def stop(self, how: signal.Signals = signal.SIGTERM) -> int:
        """End it (SIGKILL: as if the power went); return its exit status."""
        self.client.close()
        self.process.send_signal(how)
        return self.process.wait(30)

    @property
    def pin(self) -> str:
        """The hash of its key, by which a browser trusts this one certificate alone."""
        leaf = x509.load_pem_x509_certificate(
            (self.data / "certificates" / "leaf.crt").read_bytes()
        )
        key = leaf.public_key().public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
        return base64.b64encode(hashlib.sha256(key).digest()).decode()

    def open_job(self, **changes: str) -> str:
        """Open a job as the form does; return its id."""
        answer = self.client.post("/jobs", data={**FORM, **changes})
        return answer.headers["location"].rsplit("/", 1)[1]

    def view(self, job: str) -> dict:
        """Return what the screens show of a job."""
        return self.client.get(f"/api/jobs/{job}").json()

    def say(self, job: str, text: str) -> dict:
        """Type a phrase on another screen."""
        return self.client.post(f"/api/jobs/{job}/say", json={"text": text}).json()

    def entries(self, job: str) -> list[dict]:
        """Return the job's record."""
        lines = self.client.get(f"/api/jobs/{job}/record.jsonl").text.splitlines()
        return [json.loads(line) for line in lines]


class Booth:
    """One Chromium with a microphone and a camera of its own."""

    def __init__(self, play: Playwright, folder: Path, pin: str) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self._microphone, self._camera = folder / "microphone.wav", folder / "camera.mjpeg"
        self.speak()
        self.show("dipstick-after.jpg")
        self.browser = play.chromium.launch(
            executable_path=CHROMIUM,
            args=[
                "--no-sandbox",
                "--disable-gpu",
                "--disable-background-networking",
                f"--ignore-certificate-errors-spki-list={pin}",
                "--use-fake-device-for-media-stream",
                "--use-fake-ui-for-media-stream",
                f"--use-file-for-fake-audio-capture={self._microphone}%noloop",
                f"--use-file-for-fake-video-capture={self._camera}",
            ],
        )
        self.contexts: list[BrowserContext] = []

    def speak(self, *names: str, before: float = 0.4, after: float = 1.2) -> None:
        """Let the microphone, when it is next opened, say these lines of the sample job."""
        pieces = [np.zeros(int(before * 16_000), np.float32)]
        for name in names:
            sound, rate = soundfile.read(SOUNDS / f"{name}.flac", dtype="float32")
            assert rate == 16_000
            pieces += [sound, np.zeros(int(after * rate), np.float32)]
        fresh = self._microphone.with_suffix(".new")
        soundfile.write(fresh, np.concatenate(pieces), 16_000, subtype="PCM_16", format="WAV")
        fresh.replace(self._microphone)

    def show(self, name: str) -> None:
        """Hold this sample picture before the camera."""
        picture = ImageOps.exif_transpose(Image.open(PICTURES / name)).convert("RGB")
        fresh = self._camera.with_suffix(".new")
        picture.save(fresh, "JPEG", quality=95, subsampling="4:2:0")
        fresh.replace(self._camera)

    def page(self, size: tuple[int, int] = DESK, **more: object) -> Page:
        """Open a page of its own (own cookies, own storage) that fails on any script error."""
        width, height = size
        context = self.browser.new_context(viewport={"width": width, "height": height}, **more)
        context.set_default_timeout(PATIENCE)
        self.contexts.append(context)
        page = context.new_page()
        page.faults = []  # type: ignore[attr-defined]
        page.on("pageerror", lambda error: page.faults.append(str(error)))  # type: ignore[attr-defined]
        return page

    def leave(self) -> None:
        """Close what was opened; a fault of a page's script fails the test here."""
        faults = [f for c in self.contexts for p in c.pages for f in getattr(p, "faults", [])]
        for context in self.contexts:
            context.close()
        self.contexts.clear()
        assert not faults, faults


def wait_text(page: Page, selector: str, words: str) -> None:
    """Wait until these words stand there."""
    expect(page.locator(selector)).to_contain_text(words, timeout=PATIENCE)


def utter(booth: Booth, page: Page, line: str, answer: str) -> None:
    """Open the page's microphone, say a line of the sample job, wait for the answer, close it."""
    booth.speak(line)
    page.click("#open")
    wait_text(page, "#answer", answer)
    page.click("#open")
