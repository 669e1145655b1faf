"""What the rooms' tests share: one picture is measured once in a run."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, settings

# The same examples in every run, so that a change fails for what it changed; "other" draws others.
# None depends on how busy the machine is.
CALM = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile("same", CALM, derandomize=True)
settings.register_profile("other", CALM)
settings.load_profile("same")

# Their jobs take the same few sample pictures again and again. What the eye sees in them, and that
# it is the same each time, is tested in tests/vision.
TAKE_PHOTOS = {"job", "sheet", "readback", "report"}
READINGS = {}


@pytest.fixture(autouse=True)
def measured_once(request, monkeypatch):
    """Give the reading of a picture that was measured before, as it was then."""
    if request.path.parent.name not in TAKE_PHOTOS:
        return
    from joblog.vision import measure_photo

    measure = measure_photo._measured

    def once(photo, kind, *distances):
        key = (photo.sha256, photo.name, kind, *distances)
        if key not in READINGS:
            READINGS[key] = measure(photo, kind, *distances)
        return READINGS[key]

    monkeypatch.setattr(measure_photo, "_measured", once)
