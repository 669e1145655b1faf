"""A plug as found and afterwards: side by side, at the same scale, whatever the cameras did."""

from __future__ import annotations

from collections.abc import Callable
from io import BytesIO
from typing import Any

import numpy as np
import pytest
from PIL import Image, ImageDraw

from joblog.report.attached import verify_report_pdf
from joblog.report.html import render_html
from joblog.report.model import Report
from joblog.report.pdf import render_pdf

PLUG_MM = 18
PHASES = (("plug-as-found", "before"), ("plug-cleaned", "after"))


def shot(
    mm_per_px: float, center: tuple[int, int], size: tuple[int, int] = (1600, 1200), turn: int = 1
) -> tuple[bytes, dict[str, Any]]:
    """Return a photo of a white disc as wide as a plug, and its measurement.

    ``turn`` is an EXIF orientation: the file's pixels lie on their side, the measurement doesn't.
    """
    image = Image.new("RGB", size, (40, 60, 90))
    half = PLUG_MM / mm_per_px / 2
    x, y = center
    ImageDraw.Draw(image).ellipse((x - half, y - half, x + half, y + half), fill="white")
    exif = Image.Exif()
    exif[0x0112] = turn
    if turn == 6:  # to be turned clockwise: CIPA DC-008
        image = image.transpose(Image.Transpose.ROTATE_90)
    out = BytesIO()
    image.save(out, "JPEG", quality=95, exif=exif)
    measured = {
        "usable": True,
        "why": None,
        "film_coverage": "0.4",
        "flakes": [],
        "plug_diameter_mm": str(PLUG_MM),
        "mm_per_px": str(mm_per_px),
        "magnet": {"center_px": [str(x), str(y)], "semi_axes_px": ["100", "100"], "angle_deg": "0"},
    }
    return out.getvalue(), measured


@pytest.fixture
def job(new_script: Any) -> Callable[..., Any]:
    """Return a function that plays a job of a plug's photos."""

    def played(*shots: tuple[bytes, dict[str, Any]], phases: Any = PHASES) -> Any:
        script = new_script(number=71)
        script.open()
        for (data, measured), (step, phase) in zip(shots, phases, strict=True):
            script.photo(step, "plug", phase, measured, data=data)
        return script

    return played


def halves(report: Report) -> list[np.ndarray]:
    (pair,) = report.pairs
    with Image.open(BytesIO(report.images[pair.image])) as image:
        grey = np.asarray(image.convert("L")).astype(int)
    side = grey.shape[0]
    return [grey[:, :side], grey[:, -side:]]


def test_both_plugs_are_equally_large_and_in_the_middle(
    job: Callable[..., Any], make: Callable[..., Report]
) -> None:
    """The second photo is larger, the plug near its border, the camera on its side."""
    far = shot(0.03, (3300, 1000), (4000, 3000), turn=6)
    report = make(job(shot(0.025, (800, 600)), far))
    for half in halves(report):
        middle = half.shape[0] // 2
        disc = np.flatnonzero(half[middle] > 200)
        assert np.ptp(disc) == pytest.approx(half.shape[0] / 1.35, abs=3)
        assert (disc.min() + disc.max()) / 2 == pytest.approx(middle, abs=2)


def test_the_bar_is_as_long_as_the_words_say(
    job: Callable[..., Any], make: Callable[..., Report]
) -> None:
    report = make(job(shot(0.02, (800, 600)), shot(0.03, (800, 600))), units="both")
    assert "the bar is 5\u00a0mm (0.20\u00a0in)." in report.pairs[0].text
    for half in halves(report):
        side = half.shape[0]
        row = half[side - 32, : side // 2]
        bar = np.flatnonzero(row > 200)
        assert np.ptp(bar) * PLUG_MM * 1.35 / side == pytest.approx(5, rel=0.03)


def test_no_pair_without_both(job: Callable[..., Any], make: Callable[..., Report]) -> None:
    good, bare = shot(0.02, (800, 600)), shot(0.02, (700, 500))
    refused = (bare[0], {"usable": False, "why": "too dark: light the plug from the side"})
    old = (bare[0], {"usable": True, "why": None, "film_coverage": "0.1"})  # an older record's
    for other in (refused, old):
        assert make(job(good, other)).pairs == ()
        assert make(job(other, good)).pairs == ()
    assert make(job(good, bare, phases=PHASES[::-1])).pairs == ()
    script = job(good, bare)
    assert make(script).pairs
    script.blobs.popitem()
    assert make(script).pairs == ()


def test_a_photo_taken_again_takes_the_place_of_the_first(
    job: Callable[..., Any], make: Callable[..., Report]
) -> None:
    shots = (shot(0.02, (800, 600)), shot(0.02, (790, 600)), shot(0.02, (780, 600)))
    report = make(job(*shots, phases=(PHASES[0], *PHASES)))
    assert "(photo 2)" in report.pairs[0].text
    assert "(photo 3)" in report.pairs[0].text


def test_a_second_photo_afterwards_takes_the_place_of_the_first(
    job: Callable[..., Any], make: Callable[..., Report]
) -> None:
    """The plug was wiped once more; what the first photo showed is no longer how it was left."""
    shots = (shot(0.02, (800, 600)), shot(0.02, (790, 600)), shot(0.02, (780, 600)))
    report = make(job(*shots, phases=(*PHASES, PHASES[1])))
    assert "(photo 1)" in report.pairs[0].text
    assert "(photo 3)" in report.pairs[0].text


def test_a_scale_that_can_not_be_takes_no_report_away(
    job: Callable[..., Any], make: Callable[..., Report]
) -> None:
    """A record of elsewhere is whole and may hold any number."""
    data, measured = shot(0.02, (800, 600))
    for scale in ("1e-300", "1e300"):
        strange = data, measured | {"mm_per_px": scale}
        assert len(make(job(strange, strange)).pictures) == 2


def test_the_pair_is_in_both_forms_and_can_be_verified(
    job: Callable[..., Any], make: Callable[..., Report]
) -> None:
    script = job(shot(0.02, (800, 600)), shot(0.03, (800, 600)))
    report = make(script, language="es")
    assert report.pairs[0].text.startswith("Izquierda: Tapón magnético, como se encontró (foto 1).")
    assert report.pairs[0].text in render_html(report)
    found = verify_report_pdf(render_pdf(report, script.record()))
    assert found.agree, found.sentence
    assert found.exact
