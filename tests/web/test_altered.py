"""A record that was altered in the database: no page and no report tells it as a fact."""

import sqlite3
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from joblog.web.app import create_app
from joblog.web.shop import Shop

FORM = {
    "sheet": "transaxle-drain-fill", "type": "KT-6F", "make": "Kestrel", "model": "Courier",
    "plate": "EXA 416", "vin": "EXAMPLE", "technician": "Imani Okafor", "customer": "Bramble & Rye",
}  # fmt: skip
PAGES = ("job/{}", "desk/{}", "phone/{}", "job/{}/report.html", "job/{}/report.pdf",
         "api/jobs/{}", "api/jobs/{}/record.jsonl", "api/jobs/{}/events")  # fmt: skip
BROWSER = {"accept": "text/html"}


def opened(client) -> str:
    answer = client.post("/jobs", data=FORM, follow_redirects=False)
    return answer.headers["location"].rsplit("/", 1)[1]


def torque(client, job, words="drain plug torqued to 41 ft lb") -> None:
    said = client.post(f"/api/jobs/{job}/say", json={"text": words, "by": "Imani"}).json()
    assert "41" in said["shown"]


def alter(folder: Path, job: str, old: str = '"value":"41"', new: str = '"value":"44"') -> None:
    raw = sqlite3.connect(folder / "joblog.db")
    raw.execute("DROP TRIGGER IF EXISTS joblog_keep_entries_update")
    before = raw.total_changes
    raw.execute(
        "UPDATE joblog_entries SET line = replace(line, ?, ?) WHERE job = ? AND instr(line, ?)",
        [old, new, job, old],
    )
    assert raw.total_changes > before
    raw.commit()
    raw.close()


def refused(client, path: str) -> None:
    for headers in (BROWSER, {}):
        answer = client.get(path, headers=headers)
        assert answer.status_code == 400, path
        assert answer.text.count("The record is NOT whole: entry") == 1
        assert "restore the records from a backup" in answer.text
        assert "44" not in answer.text.split("was changed")[1].split("restore")[0]
        assert "lbf" not in answer.text


def test_an_altered_job_is_not_opened(tmp_path):
    with TestClient(create_app(Shop.at(tmp_path))) as client:
        job, other = opened(client), opened(client)
        torque(client, job)
        link = client.post(f"/api/jobs/{job}/link").json()["path"]
        assert client.get(link).status_code == 200
    alter(tmp_path, job)
    (tmp_path / "joblist.json").unlink(missing_ok=True)
    with TestClient(create_app(Shop.at(tmp_path))) as client:
        for page in PAGES:
            refused(client, "/" + page.format(job))
        refused(client, link)
        said = client.post(f"/api/jobs/{job}/say", json={"text": "drain plug in", "by": ""})
        assert said.status_code == 400
        listed = client.get("/").text
        assert "The record is NOT whole" in listed
        assert client.get(f"/desk/{other}").status_code == 200  # the others go on
        assert client.get(f"/job/{other}/report.html").status_code == 200


def test_altered_while_it_is_open_gives_no_desk_page_and_no_report(client, job, tmp_path):
    torque(client, job)
    assert client.get(f"/desk/{job}").status_code == 200
    alter(tmp_path, job)
    for page in PAGES[1:2] + PAGES[3:5]:
        refused(client, "/" + page.format(job))
    view = client.get(f"/api/jobs/{job}").text  # the bay goes on with what it checked and knows
    assert "41" in view
    assert "44 lbf" not in view


@pytest.mark.parametrize("role", ["photo", "audio"])
def test_an_altered_photo_or_sound_gives_no_report(tmp_path, role):
    shop = Shop.at(tmp_path)
    with TestClient(create_app(shop)) as client:
        job = opened(client)
        ref = shop.store.put_media(b"kept as it was", "image/jpeg", role)
        shop.store.append(
            job, "heard", {"text": "", "verdict": "reject"}, source="voice", media=[ref]
        )
        assert client.get(f"/job/{job}/report.html").status_code == 200
        shop.store.media_path(ref.sha256).write_bytes(b"another")
        for page in PAGES[3:5]:
            answer = client.get("/" + page.format(job), headers=BROWSER)
            assert answer.status_code == 400
            assert "was altered. No report was made" in answer.text


def test_an_earlier_job_that_was_altered_is_left_out_of_a_later_report(tmp_path):
    form = FORM | {"vin": "1M8GDM9AXKP042788"}  # the example VIN of 49 CFR 565 with its check digit
    with TestClient(create_app(Shop.at(tmp_path))) as client:
        for number in ("HL-7001", "HL-7002", "HL-7003"):
            answer = client.post("/jobs", data=form | {"order": number}, follow_redirects=False)
            job = answer.headers["location"].rsplit("/", 1)[1]
            if number == "HL-7002":
                middle = job
            if number != "HL-7003":
                close = {"how": "finished", "reason": "as agreed"}
                assert client.post(f"/api/jobs/{job}/close", json=close).status_code == 200
        assert "HL-7002" in client.get(f"/job/{job}/report.html").text
    alter(tmp_path, middle, '"HL-7002"', '"HL-9999"')
    for cached in (True, False):
        if not cached:
            (tmp_path / "joblist.json").unlink()
        with TestClient(create_app(Shop.at(tmp_path))) as client:
            text = client.get(f"/job/{job}/report.html").text
            assert "HL-7001" in text
            assert "HL-7002" not in text
            assert "HL-9999" not in text


@pytest.mark.parametrize("port", ["99999", "0", "-1", "70000000000"])
def test_a_port_that_is_none_is_one_sentence(tmp_path, capsys, port):
    from joblog.cli import main

    assert main(["serve", "--port", port, "--data", str(tmp_path)]) == 2
    told = capsys.readouterr().err
    assert f"There is no port {port}; choose one from 1 to 65535 with --port." in told
    assert told.count("\n") == 1
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    "host", ["a" * 70, "é" * 64, "no.such.invalid", "..", "\x00"]
)  # .invalid: RFC 6761
def test_a_host_that_is_none_is_one_sentence(tmp_path, capsys, host):
    from joblog.cli import main

    assert main(["serve", "--host", host, "--data", str(tmp_path)]) == 2
    assert "isn't known here; give another --host" in capsys.readouterr().err
