"""Photos from a watched folder and from a camera (a picture file stands at its door)."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from draw_swatch import Swatch, draw_swatch

from joblog.errors import DeviceError
from joblog.vision.camera import grab_frame
from joblog.vision.load import load_photo
from joblog.vision.watch import FolderWatch, watch_folder


def test_a_growing_file_is_waited_for(tmp_path):
    watch = FolderWatch(tmp_path)
    path = tmp_path / "IMG_0001.JPG"
    path.write_bytes(b"half")
    assert watch.look() == []
    path.write_bytes(b"half and half")
    assert watch.look() == []
    assert watch.look() == [path]
    assert watch.look() == []


def test_old_files_and_other_files_are_left_alone(tmp_path):
    (tmp_path / "old.jpg").write_bytes(b"x")
    watch = FolderWatch(tmp_path)
    (tmp_path / "note.txt").write_text("x")
    (tmp_path / ".hidden.jpg").write_bytes(b"x")
    watch.look()
    assert watch.look() == []
    everything = FolderWatch(tmp_path, also_old=True)
    everything.look()
    assert everything.look() == [tmp_path / "old.jpg"]


def test_watching_yields_and_stops(tmp_path):
    (tmp_path / "a.jpg").write_bytes(b"x")
    looks = iter([False, False, True])
    found = list(watch_folder(tmp_path, every_s=0, also_old=True, stop=lambda: next(looks)))
    assert found == [tmp_path / "a.jpg"]


def test_a_folder_that_is_not_there(tmp_path):
    with pytest.raises(DeviceError, match="watched folder"):
        FolderWatch(tmp_path / "gone")


def test_frame_from_a_picture_file_is_a_photo(tmp_path):
    rgb = draw_swatch(Swatch())
    path = tmp_path / "frame.png"
    cv2.imwrite(str(path), rgb[..., ::-1])
    photo = load_photo(grab_frame(str(path)))
    assert photo.size == (800, 600)
    assert np.abs(photo.rgb.astype(int) - rgb).mean() < 6


def test_no_camera_is_one_sentence(tmp_path):
    with pytest.raises(DeviceError, match="can't be opened"):
        grab_frame(str(tmp_path / "nothing.mp4"))
