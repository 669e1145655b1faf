"""One frame of a webcam, on the word 'photo': as JPEG bytes, like any other photo.

OpenCV opens the camera; the same door takes a video or picture file, or a network camera's address.
A camera needs a moment to set its exposure, so the first frames are thrown away and of the next few
the sharpest is taken.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from joblog.errors import DeviceError

SETTLE_FRAMES = 12
CHOICE_FRAMES = 5
WISHED_SIZE = (3840, 2160)  # the camera gives the nearest it has


def grab_frame(source: int | str = 0, *, quality: int = 92) -> bytes:
    """Return one frame as JPEG bytes.

    ``source`` is a camera's number, or the path or address of a video or picture. Raises
    DeviceError where it can't be opened or gives no picture.
    """
    capture = cv2.VideoCapture(source)
    try:
        if not capture.isOpened():
            raise DeviceError(
                f"The camera {source!r} can't be opened: check that it is plugged in, that no "
                "other program uses it, and that its number is right (0 is the first)."
            )
        frame = _sharpest(capture, live=isinstance(source, int))
    finally:
        capture.release()
    if frame is None:
        raise DeviceError(
            f"The camera {source!r} gives no picture: unplug it and plug it in again."
        )
    ok, data = cv2.imencode(".jpg", frame, [cv2.IMWRITE_JPEG_QUALITY, quality])
    if not ok:
        raise DeviceError(f"The frame of camera {source!r} can't be made into a JPEG.")
    return bytes(data)


def _sharpest(capture: Any, *, live: bool) -> NDArray[np.uint8] | None:
    """Return the sharpest of a few frames, after a live camera has settled."""
    if live:
        capture.set(cv2.CAP_PROP_FRAME_WIDTH, WISHED_SIZE[0])
        capture.set(cv2.CAP_PROP_FRAME_HEIGHT, WISHED_SIZE[1])
        for _ in range(SETTLE_FRAMES):
            capture.grab()
    best: NDArray[np.uint8] | None = None
    most = -1.0
    for _ in range(CHOICE_FRAMES):
        ok, frame = capture.read()
        if not ok:
            break
        grey = cv2.cvtColor(frame, cv2.COLOR_BGR2GRAY)
        detail = float(cv2.Laplacian(grey, cv2.CV_32F).var())
        if detail > most:
            best, most = np.asarray(frame, np.uint8), detail
    return best
