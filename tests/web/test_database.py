"""The shop's records in a database: its address is no folder."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from joblog.cli import main
from joblog.errors import StoreError
from joblog.record.store import data_folder, default_data_dir
from joblog.web.app import STATIC

NOWHERE = "postgresql://nobody@127.0.0.1:9/none"  # the discard port, where no server answers


def test_serve_takes_a_database_and_makes_no_folder_of_its_address(tmp_path, monkeypatch, capsys):
    pytest.importorskip("pg8000", reason="pg8000 is in the dev extra")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("joblog.web.lines.serve", lambda *_a, **_k: None)
    assert main(["serve", "--port", "47613", "--data", NOWHERE]) == 1
    assert "does not answer" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_orders_lie_beside_the_photos_of_a_database(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("JOBLOG_DATA", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("LOCALAPPDATA", str(tmp_path / "home"))
    assert data_folder(NOWHERE) == default_data_dir()
    assert data_folder(str(tmp_path / "shop")) == tmp_path / "shop"
    (tmp_path / "day.csv").write_bytes(b"order\nW-311\n")
    assert main(["orders", "import", "day.csv", "--data", NOWHERE]) == 0
    assert main(["orders", "list", "--data", NOWHERE]) == 0
    assert "W-311" in capsys.readouterr().out
    assert not (tmp_path / "postgresql:").exists()


def test_a_full_disk_refuses_no_photo_for_good(client, job, monkeypatch):
    """A phone sends a photo once more where the shop PC has trouble of its own (status 503)."""
    picture = (Path(__file__).parents[2] / "sample_images" / "dipstick-before.jpg").read_bytes()
    address = f"/api/jobs/{job}/photos/{hashlib.sha256(picture).hexdigest()}?kind=other"

    def full(*_, **__):
        raise StoreError("the disk is full; nothing was written")

    with monkeypatch.context() as away:
        away.setattr(client.app.state.shop.store, "put_media", full)
        answer = client.put(address, content=picture)
        assert (answer.status_code, answer.json()["error"]) == (
            503, "the disk is full; nothing was written",
        )  # fmt: skip
    assert client.put(address, content=picture).status_code == 200
    queue = (STATIC / "queue.js").read_text(encoding="utf-8")
    assert "[400, 413, 422].includes(answer.status)" in queue  # what a phone gives up for good
