"""What is paired: each phone and each link is told from the others; what a phone may do."""

import hashlib
import re
from pathlib import Path

from starlette.testclient import TestClient

from joblog.web.app import STATIC, create_app
from joblog.web.shop import Shop

PLUG = (Path(__file__).parents[2] / "sample_images" / "plug-before.jpg").read_bytes()
FORM = {"sheet": "transaxle-drain-fill", "type": "KT-6F", "make": "Kestrel", "plate": "EXA 416"}


def test_each_phone_and_link_is_told_from_the_others(tmp_path):
    app = create_app(Shop.at(tmp_path))
    android = {"user-agent": "Mozilla (Android 14)"}
    with TestClient(app) as desk, TestClient(app, client=("10.0.0.7", 5)) as phone:
        for name in ("Imani's phone", "Imani's phone", "", ""):
            code = re.search(r"/pair/([\w-]+)</p>", desk.post("/phones/pair").text)[1]
            data = {"name": name}
            phone.post(f"/pair/{code}", data=data, headers=android, follow_redirects=False)
        job = desk.post("/jobs", data=FORM, follow_redirects=False).headers["location"][5:]
        desk.post(f"/api/jobs/{job}/link", json={}).raise_for_status()
        page = desk.get("/phones").text
    names = re.findall(r"<strong>([^<]+)</strong>", page)
    assert names[0] == "customer&#39;s link"
    assert names[1:] == ["Android 2", "Android", "Imani&#39;s phone 2", "Imani&#39;s phone"]
    told = re.findall(r"\(((?:phone|link)[^)]*)\)", page)
    line = re.compile(r"since \d{4}-\d\d-\d\d.\d\d:\d\d, until \d{4}-")
    assert all(line.search(one) for one in told)
    assert "EXA 416" in told[0]
    assert "Automatic transaxle: drain and fill" in told[0]


def test_a_photo_is_taken_back_on_a_paired_phone_and_the_report_leaves_it_out(tmp_path):
    app = create_app(Shop.at(tmp_path))
    with TestClient(app) as desk, TestClient(app, client=("10.0.0.7", 5)) as phone:
        code = re.search(r"/pair/([\w-]+)</p>", desk.post("/phones/pair").text)[1]
        phone.post(f"/pair/{code}", data={"name": "Imani's"}, follow_redirects=False)
        job = desk.post("/jobs", data=FORM, follow_redirects=False).headers["location"][5:]
        sent = f"/api/jobs/{job}/photos/{hashlib.sha256(PLUG).hexdigest()}?kind=dipstick"
        phone.put(sent, content=PLUG).raise_for_status()
        desk.post(f"/api/jobs/{job}/say", json={"text": "vehicle checked"})
        (listed,) = phone.get(f"/api/jobs/{job}").json()["photos"]
        assert listed["what"] == "Photo dipstick, not usable"
        assert phone.get(f"/api/jobs/{job}/media/{listed['sha256']}").content == PLUG
        back = {"photo": listed["entry"], "by": "Imani"}
        reply = phone.post(f"/api/jobs/{job}/disregard", json=back).json()
        assert reply["spoken"].startswith("Disregarded: photo dipstick")
        again = phone.post(f"/api/jobs/{job}/disregard", json=back)
        assert again.status_code == 400
        assert "taken back already" in again.json()["error"]
        assert phone.put(sent, content=PLUG).json()["again"]  # it doesn't come in once more
        assert phone.get(f"/api/jobs/{job}").json()["photos"] == []
        report = desk.get(f"/job/{job}/report.html").text
        assert "<img" not in report
        assert "not usable" not in report
        assert "taken back" in report


def test_a_paired_phone_or_bay_screen_lets_a_finding_stand(tmp_path):
    app = create_app(Shop.at(tmp_path))
    with TestClient(app) as desk, TestClient(app, client=("10.0.0.7", 5)) as phone:
        job = desk.post("/jobs", data=FORM, follow_redirects=False).headers["location"][5:]
        desk.post(f"/api/jobs/{job}/say", json={"text": "drain plug out"})
        (key, *_) = desk.get(f"/api/jobs/{job}").json()["settle"]["keys"]
        reason = {"finding": key, "text": "It was not possible", "by": "Imani"}
        assert phone.post(f"/api/jobs/{job}/confirm", json=reason).status_code == 403
        code = re.search(r"/pair/([\w-]+)</p>", desk.post("/phones/pair").text)[1]
        phone.post(f"/pair/{code}", data={"name": "Imani's"}, follow_redirects=False)
        reply = phone.post(f"/api/jobs/{job}/confirm", json=reason)
        assert reply.status_code == 200
        assert reply.json()["spoken"].startswith("Confirmed: Drain plug out, but")
        assert phone.post(f"/api/jobs/{job}/explain", json=reason).status_code == 403  # the desk's


def test_a_phone_keeps_every_file_that_its_page_is_made_of():
    """Without a network one module that is missing leaves the page dead."""
    found, wanted = set(), ["phone.js", "phone-jobs.js"]
    while wanted:
        name = wanted.pop()
        found.add(name)
        source = (STATIC / name).read_text(encoding="utf-8")
        wanted += set(re.findall(r'from "\./([\w-]+\.js)"', source)) - found
    kept = set(re.findall(r'"/static/([\w-]+\.js)"', (STATIC / "phone-worker.js").read_text()))
    assert {"question.js", "settle.js"} <= found <= kept
