"""``joblog bench report``: how long HTML and PDF take, beside a browser's print of the same HTML.

The job is made up and its photos are noise of phone size (12 megapixels), which compress worse
than any photo: the times are on the safe side. The first run has nothing cached; the others show
what a second report of the same job costs.
"""

from __future__ import annotations

import hashlib
import os
import platform
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np
from PIL import Image

from joblog.job.replay import replay
from joblog.record.entry import GENESIS, Entry, content_hash
from joblog.record.times import uuid7
from joblog.report import images
from joblog.report.build import build_report
from joblog.report.html import render_html
from joblog.report.pdf import render_pdf
from joblog.sheet.load import library, sheet_from_text, sheet_text

_BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome")
_START = datetime(2026, 11, 24, 9, 0, tzinfo=UTC)
_PHOTO = (4000, 3000)


@dataclass
class Sample:
    """A job made up for timing: its entries and its photos by hash."""

    entries: list[Entry]
    photos: dict[str, bytes]

    def record(self) -> bytes:
        """Return the job's ``record.jsonl``."""
        return b"".join(entry.line() + b"\n" for entry in self.entries)


def sample(entries: int, photos: int) -> Sample:
    """Return a job of ``entries`` entries, ``photos`` of them photos of 12 megapixels."""
    text = sheet_text(library()["transaxle-drain-fill"])
    made = Sample([], {})
    opening = {
        "sheet": {
            "key": "transaxle-drain-fill",
            "title": "-",
            "revision": "-",
            "sha256": hashlib.sha256(text.encode()).hexdigest(),
            "toml": text,
        },
        "technician": "-",
        "unit": {},
        "customer": {},
    }
    _append(made, "job-opened", opening)
    for i in range(photos):
        data = _picture(i)
        sha256 = hashlib.sha256(data).hexdigest()
        made.photos[sha256] = data
        flakes = [{"length_mm": f"{0.3 + 0.1 * k:.1f}"} for k in range(i % 6)]
        body = {
            "step": "plug-as-found",
            "kind": "plug",
            "phase": "before",
            "measurement": {"usable": True, "film_coverage": "0.4", "flakes": flakes},
        }
        ref = {"sha256": sha256, "mime": "image/jpeg", "role": "photo", "name": f"{i}.jpg"}
        _append(made, "photo", body, [ref])
    for i in range(max(entries - photos - 2, 0)):
        pour = {
            "fluid": "gear-fluid",
            "direction": "in",
            "value": "0.1",
            "unit": "qt_us",
            "step": "filled",
        }
        _append(made, "quantity" if i % 2 else "note", pour if i % 2 else {"text": f"note {i}"})
    _append(made, "job-closed", {"how": "finished", "reason": ""})
    return made


def _picture(seed: int) -> bytes:
    noise = np.random.default_rng(seed).integers(0, 256, (*_PHOTO[::-1], 3), dtype=np.uint8)
    out = BytesIO()
    Image.fromarray(noise).save(out, "JPEG", quality=60)
    return out.getvalue()


def _append(
    made: Sample, kind: str, body: dict[str, Any], media: list[dict[str, str]] | None = None
) -> None:
    count = len(made.entries)
    at = (_START + timedelta(seconds=20 * count)).strftime("%Y-%m-%dT%H:%M:%S.000Z")
    job = made.entries[0].job if made.entries else uuid7(at)
    fields: dict[str, Any] = {
        "id": uuid7(at),
        "job": job,
        "seq": count,
        "at": at,
        "mono": f"{20 * count}.000",
        "boot": "bench",
        "source": "hand",
        "by": "bench",
        "kind": kind,
        "body": body,
        "media": media or [],
        "supersedes": None,
        "prev": made.entries[-1].hash if made.entries else GENESIS,
    }
    made.entries.append(Entry.model_validate_json(_json(fields | {"hash": content_hash(fields)})))


def _json(fields: dict[str, Any]) -> bytes:
    from joblog.record.entry import canonical

    return canonical(fields)


def _timed(work: Callable[[], Any]) -> tuple[float, Any]:
    start = time.perf_counter()
    result = work()
    return time.perf_counter() - start, result


def _once(made: Sample) -> tuple[dict[str, float], str]:
    sheet = sheet_from_text(sheet_text(library()["transaxle-drain-fill"]))
    times: dict[str, float] = {}
    times["replay"], state = _timed(lambda: replay(sheet, made.entries))
    times["build"], report = _timed(lambda: build_report(state, made.photos.__getitem__))
    times["html"], html = _timed(lambda: render_html(report))
    times["pdf"], _ = _timed(lambda: render_pdf(report, made.record()))
    times["all"] = sum(times.values())
    return times, html


def find_browser(named: str | None) -> str | None:
    """Return the path of a Chromium, or None where there is none."""
    return named or next((found for b in _BROWSERS if (found := shutil.which(b))), None)


def print_with_browser(browser: str, html: str, folder: Path) -> float | None:
    """Return the seconds that a headless browser takes to print ``html``, None where it fails."""
    page, pdf = folder / "report.html", folder / "browser.pdf"
    page.write_text(html, encoding="utf-8")
    command = [
        browser,
        "--headless=new",
        "--no-sandbox",
        "--disable-gpu",
        f"--user-data-dir={folder / 'profile'}",
        f"--print-to-pdf={pdf}",
        "--no-pdf-header-footer",
        page.as_uri(),
    ]
    start = time.perf_counter()
    try:
        subprocess.run(command, check=True, capture_output=True, timeout=120)
    except (OSError, subprocess.SubprocessError):
        return None
    return time.perf_counter() - start if pdf.is_file() else None


def bench(entries: int, photos: int, runs: int, named: str | None) -> int:
    """Print the table; return an exit status."""
    made = sample(entries, photos)
    print(
        f"{len(made.entries)} entries, {photos} photos of 12 megapixels; {os.cpu_count()} cores, "
        f"{platform.machine()}, Python {sys.version.split()[0]}"
    )
    images.forget()
    first, html = _once(made)
    later = [_once(made)[0] for _ in range(max(runs, 1))]
    print(f"{'':22}" + "".join(f"{name:>9}" for name in first))
    print(f"{'first report, s':22}" + "".join(f"{t:9.3f}" for t in first.values()))
    medians = [median(run[name] for run in later) for name in first]
    print(f"{f'again, median of {len(later)}, s':22}" + "".join(f"{t:9.3f}" for t in medians))
    browser = find_browser(named)
    if browser is None:
        print("browser's print: no Chromium here, so there is nothing to compare with")
        return 0
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        times = [print_with_browser(browser, html, Path(folder)) for _ in range(3)]
    good = [t for t in times if t is not None]
    if not good:
        print("browser's print: it failed, so there is nothing to compare with")
        return 0
    print(
        f"{'browser prints HTML, s':22}{median(good):9.3f}   (median of {len(good)}, PDF only, "
        "no PDF/A, no attachments)"
    )
    return 0
