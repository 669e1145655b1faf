"""What leaves the shop is cleared of its place, and a copy never passes for the original."""

from __future__ import annotations

import hashlib
import io
from pathlib import Path

import pytest
from PIL import Image

from joblog.cli import main
from joblog.record import JOB_CLOSED, open_store

GPS = 0x8825  # EXIF's pointer to the place, CIPA DC-008
PLUG = Path(__file__).parents[2] / "sample_images" / "plug-before.jpg"


@pytest.fixture
def data(tmp_path: Path) -> Path:
    """Return a store with a photo that tells its place and a sound."""
    folder = tmp_path / "data"
    with open_store(folder) as store:
        job = store.start_job()
        media = [
            store.put_media(PLUG.read_bytes(), "image/jpeg", "photo", "IMG_1.jpg"),
            store.put_media(b"RIFF a sound", "audio/wav", "sound", "said.wav"),
        ]
        store.append(job, "photo", {"kind": "plug"}, source="photo", media=media)
        store.append(job, JOB_CLOSED, {}, source="program")
    return folder


def joblog(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str]:
    status = main([str(word) for word in arguments])
    out = capsys.readouterr()
    return status, out.out + out.err


def places(folder: Path) -> list[Path]:
    """Return the pictures in ``folder`` that tell where they were taken."""
    found = [path for path in folder.rglob("*") if path.suffix in {".jpg", ".png"}]
    return [path for path in found if place(path.read_bytes())]


def place(picture: bytes) -> object:
    with Image.open(io.BytesIO(picture)) as image:
        return dict(image.getexif().get_ifd(GPS))


def test_an_export_holds_no_place_and_says_that_it_holds_copies(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert place(PLUG.read_bytes())
    out = tmp_path / "out"
    status, told = joblog(capsys, "export", "last", out, "--data", data)
    assert (status, "1 written as copies without the place" in told) == (0, True)
    assert places(out) == []
    (copy,) = (out / "copies").iterdir()
    assert copy.stem == hashlib.sha256(PLUG.read_bytes()).hexdigest()
    with Image.open(copy) as cleared, Image.open(PLUG) as original:
        assert cleared.tobytes() == original.tobytes()
    assert [path.suffix for path in (out / "media").iterdir()] == [".wav"]
    status, told = joblog(capsys, "verify", out)
    assert (status, "The record is whole and unaltered" in told) == (0, True)
    assert "1 in this export only as copies without their place, not as the originals" in told
    assert "1 examined, unaltered" in told
    assert "not beside the record" not in told


def test_copies_are_not_imported_as_originals(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, second = tmp_path / "out", tmp_path / "second"
    joblog(capsys, "export", "last", out, "--data", data)
    status, told = joblog(capsys, "import", out, "--data", second)
    assert (status, "1 of its pictures as copies" in told) == (1, True)
    assert "make the export again with --originals" in told
    assert joblog(capsys, "import", out, "--data", second, "--without-media")[0] == 0
    status, told = joblog(capsys, "verify", "--job", "last", "--data", second)
    assert (status, "1 not beside the record" in told) == (0, True)


def test_originals_move_to_another_pc_and_are_not_taken_for_copies(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, second = tmp_path / "out", tmp_path / "second"
    status, told = joblog(capsys, "export", "last", out, "--data", data, "--originals")
    assert (status, "copies" in told) == (0, False)
    assert len(places(out)) == 1
    assert joblog(capsys, "import", out, "--data", second)[0] == 0
    assert "2 examined" in joblog(capsys, "verify", "--job", "last", "--data", second)[1]
    status, told = joblog(capsys, "export", "last", out, "--data", data)
    assert (status, "holds originals, with the place they were taken" in told) == (1, True)


def test_a_picture_that_can_not_be_cleared_stays_at_home(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data, out = tmp_path / "data", tmp_path / "out"
    with open_store(data) as store:
        job = store.start_job()
        photo = store.put_media(PLUG.read_bytes()[:5000], "image/jpeg", "photo", "cut.jpg")
        store.append(job, "photo", {"kind": "plug"}, source="photo", media=[photo])
    status, told = joblog(capsys, "export", "last", out, "--data", data)
    assert (status, "1 left out" in told) == (0, True)
    assert [path.name for path in out.rglob("*")] == ["record.jsonl"]
    assert "1 not beside the record" in joblog(capsys, "verify", out)[1]
