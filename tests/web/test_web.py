"""The real application on a real store: pages, phrases, photos, access, the microphone socket."""

import base64
import hashlib
import json
import re
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from joblog.audio.files import read_audio
from joblog.record.chain import verify_lines
from joblog.record.clock import ManualClock
from joblog.record.store import open_store
from joblog.record.times import parse_time
from joblog.sheet.load import sheet_text
from joblog.speech.engines import get_engine
from joblog.web.access import COOKIE, Gate
from joblog.web.app import create_app
from joblog.web.phone import own_address
from joblog.web.pool import BusyError, FairPool
from joblog.web.shop import Shop
from joblog.web.view import job_view

ROOT = Path(__file__).resolve().parents[2]
FORM = {
    "sheet": "transaxle-drain-fill", "type": "KT-6F", "make": "Kestrel", "model": "Courier",
    "plate": "EXA 416", "technician": "Imani Okafor", "customer": "Bramble & Rye <script>",
}  # fmt: skip


def say(client, job, text):
    return client.post(f"/api/jobs/{job}/say", json={"text": text, "by": "Imani"}).json()


def put_photo(client, job, data, kind="dipstick", name=None):
    name = name or hashlib.sha256(data).hexdigest()
    return client.put(f"/api/jobs/{job}/photos/{name}?kind={kind}", content=data)


def test_job_is_opened_listed_found_and_shown(client, job):
    assert "EXA 416" in client.get("/").text
    assert "EXA 416" in client.get("/?find=bramble").text
    assert "No job fits" in client.get("/?find=nobody").text
    opened = parse_time(client.get(f"/api/jobs/{job}").json()["opened_at"]).astimezone()
    assert f"begun {opened:%Y-%m-%d\u00a0%H:%M}" in client.get("/").text
    for path in (f"/job/{job}", f"/desk/{job}", f"/phone/{job}", "/phones", "/trust", "/new"):
        assert client.get(path).status_code == 200


def test_the_list_shows_times_in_the_shops_zone_and_opens_with_a_mistake_in_it(client, job):
    folder = client.app.state.shop.folder
    opened = parse_time(client.get(f"/api/jobs/{job}").json()["opened_at"])
    (folder / "shop.toml").write_text('time_zone = "Pacific/Kiritimati"', encoding="utf-8")
    there = opened.astimezone(timezone(timedelta(hours=14)))  # IANA tz database: +14 all year
    assert f"begun {there:%Y-%m-%d\u00a0%H:%M}" in client.get("/").text
    (folder / "shop.toml").write_text('time_zone = "Mars/Base"', encoding="utf-8")
    assert f"begun {opened.astimezone():%Y-%m-%d\u00a0%H:%M}" in client.get("/").text


def test_a_mistake_in_the_form_is_told_inside_the_filled_form(client):
    browser, filled = {"accept": "text/html"}, FORM | {"form": "new"}
    slip = client.post("/jobs", data=filled | {"odometer": "abc"}, headers=browser)
    assert slip.status_code == 400
    assert "The odometer is a whole number" in slip.text
    for kept in ('value="abc"', 'value="EXA 416"', 'value="transaxle-drain-fill" selected'):
        assert kept in slip.text
    assert 'name="override"' not in slip.text
    unfit = client.post("/jobs", data=filled | {"type": "ZZ-1"}, headers=browser)
    assert unfit.status_code == 400
    assert 'name="override"' in unfit.text
    assert "override" not in re.sub(r"<[^>]*>", "", unfit.text)
    assert "To use this sheet all the same, write down the reason." in unfit.text
    reason = filled | {"type": "ZZ-1", "override": "same unit, other plate"}
    opened = client.post("/jobs", data=reason, headers=browser, follow_redirects=False)
    assert opened.status_code == 303


def test_a_machine_is_opened_with_its_hour_meter(client):
    form = client.get("/new").text
    assert "hour meter" in form.lower()
    assert '<option value="h"' in form
    machine = {"sheet": "hydraulic-pack", "type": "HP-60", "odometer": "450.5"}
    opened = client.post("/jobs", data={**machine, "odometer_unit": "h"}, follow_redirects=False)
    assert opened.status_code == 303
    session = client.app.state.shop.session(opened.headers["location"].rsplit("/", 1)[1])
    unit = session.state.opened["unit"]
    assert (unit["odometer"], unit["odometer_unit"]) == ("450.5", "h")
    for meter, sentence in (
        ({"odometer_unit": "mi"}, "The odometer is a whole number"),
        ({"odometer_unit": "h", "odometer": "1,450"}, "The hour meter is a number such as 1450.5"),
        ({"odometer_unit": "furlong"}, "miles, kilometres or hours"),
    ):
        slip = client.post("/jobs", data=machine | meter | {"form": "new"})
        assert slip.status_code == 400
        assert sentence in slip.text
    browser = {"accept": "text/html"}
    slip = client.post("/jobs", data={"form": "new", "odometer_unit": "h"}, headers=browser)
    assert '<option value="h" selected>' in slip.text


def test_hostile_text_is_inert(client, job):
    for path in ("/", f"/desk/{job}", f"/job/{job}/report.html"):
        page = client.get(path)
        assert "<script>" not in page.text.replace('<script type="module"', "")
        assert "Content-Security-Policy" in page.headers


def test_phrases_move_the_job_and_the_guard_speaks(client, job):
    assert say(client, job, "vehicle checked")["tone"] == "ok"
    early = say(client, job, "drain plug out")
    assert early["tone"] == "warn"
    assert "must come first" in early["spoken"]
    view = client.get(f"/api/jobs/{job}").json()
    assert any(not f["resolved"] for f in view["findings"])


def test_not_complete_is_no_question_and_a_question_offers_what_answers_it(client, job):
    assert "Not complete" in say(client, job, "job complete")["shown"]
    assert client.get(f"/api/jobs/{job}").json()["question"] is None
    say(client, job, "note")
    asked = client.get(f"/api/jobs/{job}").json()["question"]
    assert asked["answers"] == ["disregard"]
    say(client, job, asked["answers"][0])
    assert client.get(f"/api/jobs/{job}").json()["question"] is None


def test_desk_folds_steps_not_done_into_one_line_until_the_job_is_closed(client, job):
    say(client, job, "vehicle checked")
    say(client, job, "drain plug out")
    say(client, job, "job complete")
    view = client.get(f"/api/jobs/{job}").json()
    folded = [f for f in view["findings"] if f["undone"]]
    assert len(folded) > 5
    assert {f["kind"] for f in folded} == {"missing"}
    assert re.fullmatch(r"\d+ steps are not done yet\.", view["undone"])
    lacking = sum(f["missing"] for f in view["findings"])
    assert view["missing"].startswith(f"{lacking} things are missing. Next: ")
    desk = client.get(f"/desk/{job}").text
    assert view["undone"] in desk
    own = [f["key"] for f in view["findings"] if not f["undone"]]
    assert own
    assert re.findall(r'data-finding="([^"]+)"', desk) == own
    given_up = {"how": "aborted", "reason": "The customer came for the van"}
    client.post(f"/api/jobs/{job}/close", json=given_up)
    closed = client.get(f"/api/jobs/{job}").json()
    assert closed["closed"]
    assert closed["undone"] == ""
    assert closed["missing"] == ""
    assert not any(f["undone"] for f in closed["findings"])


def test_a_step_names_all_that_it_wants(client, job):
    steps = {s["key"]: s["wants"] for s in client.get(f"/api/jobs/{job}").json()["steps"]}
    assert steps["drained"] == ["how much came out", "photo of the fluid"]
    assert steps["filled"] == ["how much went in"]
    assert steps["warmed-up"] == ["fluid temperature"]
    say(client, job, "fluid temperature is sixty four celsius")
    steps = {s["key"]: s["wants"] for s in client.get(f"/api/jobs/{job}").json()["steps"]}
    assert steps["warmed-up"] == []  # a reading that is there is wanted no longer


def test_the_list_tells_observations_from_open_findings(client, job):
    say(client, job, "drained one point zero quarts")  # early, and much less than the sheet says
    view = client.get(f"/api/jobs/{job}").json()
    kinds = [f["kind"] for f in view["findings"] if not f["resolved"]]
    assert kinds == ["observation", "out of order"]
    listed = client.get("/").text
    assert "1 open finding," in listed
    assert "1 observation" in listed


def test_photo_is_measured_kept_once_and_refused_where_damaged(client, job):
    data = (ROOT / "sample_images" / "dipstick-after.jpg").read_bytes()
    first = put_photo(client, job, data).json()
    assert first["measurement"]["usable"]
    assert client.get(f"/api/jobs/{job}/media/{first['overlay']}").content.startswith(b"\xff\xd8")
    assert put_photo(client, job, data).json()["again"]
    half = put_photo(client, job, data[: len(data) // 2], name=hashlib.sha256(data).hexdigest())
    assert half.status_code == 400
    assert "incomplete" in half.json()["error"]
    view = client.get(f"/api/jobs/{job}").json()
    assert sum(line["what"] == "Photo dipstick" for line in view["recent"]) == 1


def photos_of(client, job):
    """Return (kind, step, usable) of the photos that count."""
    photos = client.app.state.shop.session(job).state.photos
    return [(photo.kind, photo.step, photo.usable) for photo in photos]


def test_a_photo_sent_as_the_wrong_kind_is_sent_again_as_the_right_one(client, job):
    data = (ROOT / "sample_images" / "plug-before.jpg").read_bytes()
    wrong = put_photo(client, job, data, "dipstick").json()
    assert not wrong["measurement"]["usable"]
    right = put_photo(client, job, data, "plug").json()
    assert not right["again"]
    assert right["measurement"]["usable"]
    assert photos_of(client, job) == [("plug", "plug-as-found", True)]
    again = put_photo(client, job, data, "plug").json()
    assert again["again"]
    assert again["measurement"]["usable"]  # the reading that counts, not the first one
    view = client.get(f"/api/jobs/{job}").json()
    assert not [f for f in view["findings"] if "not usable" in f["text"]]
    report = client.get(f"/job/{job}/report.html").text
    other = client.post("/jobs", data=FORM, follow_redirects=False).headers["location"]
    put_photo(client, other.rsplit("/", 1)[1], data, "plug")
    straight = client.get(f"{other}/report.html").text
    for shown in ("<figure", "<img", "plug as found", "not usable"):
        assert report.count(shown) == straight.count(shown), shown


def test_a_photo_may_be_set_right_twice(client, job):
    data = (ROOT / "sample_images" / "fluid-old.jpg").read_bytes()
    kinds = ["plug", "dipstick", "fluid", "dipstick", "fluid"]
    answers = [put_photo(client, job, data, kind).json() for kind in kinds]
    assert not any(answer["again"] for answer in answers)
    assert photos_of(client, job) == [("fluid", "drained", True)]


def test_a_photo_kept_on_the_phone_goes_where_it_was_taken(client, job):
    for text in ("warm up done", "drain plug out", "plug as found", "plug cleaned"):
        say(client, job, text)
    data = (ROOT / "sample_images" / "plug-after.jpg").read_bytes()
    name = hashlib.sha256(data).hexdigest()
    for age in ("nan", "-1", "inf", "old"):
        answer = client.put(f"/api/jobs/{job}/photos/{name}?kind=plug&age={age}", content=data)
        assert answer.status_code in (400, 422)
    client.put(f"/api/jobs/{job}/photos/{name}?kind=plug&age=0.0", content=data)
    assert photos_of(client, job) == [("plug", "plug-cleaned", True)]


def test_what_is_no_picture_or_too_large_is_one_sentence(client, job):
    assert put_photo(client, job, b"plain text").status_code == 400
    answer = put_photo(client, job, b"\0" * 31_000_000)
    assert answer.status_code == 413
    assert "30 MB" in answer.json()["error"]
    assert put_photo(client, job, b"x", kind="cat").status_code == 400


def test_report_record_and_customer_link(client, job):
    assert client.get(f"/job/{job}/report.pdf").content.startswith(b"%PDF-")
    record = client.get(f"/api/jobs/{job}/record.jsonl").content
    assert verify_lines(record)[0].whole
    path = client.post(f"/api/jobs/{job}/link").json()["path"]
    assert "Kestrel" in client.get(path).text
    assert client.get("/report/guessed").status_code == 404


def test_a_customers_link_says_where_it_works(tmp_path):
    app = create_app(Shop.at(tmp_path))
    with TestClient(app, base_url="http://127.0.0.1:8765") as here:
        opened = here.post("/jobs", data=FORM, follow_redirects=False)
        job = opened.headers["location"].rsplit("/", 1)[1]
        alone = here.post(f"/api/jobs/{job}/link").json()
        assert alone["url"] == f"http://127.0.0.1:8765{alone['path']}"
        assert "this PC only" in alone["where"]
        assert "joblog serve --lan" in alone["where"]
        app.state.authority = tmp_path / "shop.crt"  # as 'joblog serve --lan' sets it
        shared = here.post(f"/api/jobs/{job}/link").json()
        assert shared["where"].startswith("works on this shop's network")
        assert shared["url"] == f"http://{own_address()}:8765{shared['path']}"


def test_the_desks_report_shows_the_shops_own_times(client, job, tmp_path):
    """shop.toml beside the records; a slip in it is one sentence, not a lost report."""
    assert "Times: UTC" in client.get(f"/job/{job}/report.html").text
    (tmp_path / "shop.toml").write_text('time_zone = "America/Denver"\n', encoding="utf-8")
    assert "Times: Mountain" in client.get(f"/job/{job}/report.html").text
    (tmp_path / "shop.toml").write_text('accent = "grey"\n', encoding="utf-8")
    slip = client.get(f"/job/{job}/report.html")
    assert slip.status_code == 400
    assert "six hex digits" in slip.text


def test_advisor_explains_and_customer_signs(client, job):
    say(client, job, "drain plug out")
    finding = client.get(f"/api/jobs/{job}").json()["findings"][0]["key"]
    told = {"finding": finding, "text": "We checked this twice.", "by": "Priya"}
    assert client.post(f"/api/jobs/{job}/explain", json=told).status_code == 200
    assert "We checked this twice." in client.get(f"/desk/{job}").text
    bad = {"name": "Tomas", "image": "data:text/html,hello"}
    assert client.post(f"/api/jobs/{job}/sign", json=bad).status_code == 400


def test_unknown_job_is_told_as_page_and_as_json(client):
    assert client.get("/api/jobs/nothing").json()["error"].startswith("There is no such job")
    page = client.get("/job/nothing", headers={"accept": "text/html"})
    assert page.status_code == 400
    assert "There is no such job" in page.text


def test_post_from_another_page_is_refused(client, job):
    answer = client.post(
        f"/api/jobs/{job}/say", json={"text": "no leaks"}, headers={"origin": "http://evil.example"}
    )
    assert answer.status_code == 403


def test_stranger_on_the_network_pairs_once_and_can_be_revoked(tmp_path):
    app = create_app(Shop.at(tmp_path))
    with TestClient(app) as desk, TestClient(app, client=("10.0.0.7", 5)) as phone:
        assert phone.get("/").status_code == 403
        page = desk.post("/phones/pair").text
        code = re.search(r"/pair/([\w-]+)</p>", page)[1]
        assert phone.get(f"/pair/{code}").status_code == 200  # looking doesn't use it up
        paired = phone.post(f"/pair/{code}", follow_redirects=False)
        assert COOKIE in paired.cookies
        assert phone.get("/phone").status_code == 200
        again = phone.post(f"/pair/{code}", follow_redirects=False)
        assert again.status_code == 403
        handle = re.search(r"/phones/(\w+)/revoke", desk.get("/phones").text)[1]
        desk.post(f"/phones/{handle}/revoke")
        assert phone.get("/phone").status_code == 403


def test_tokens_expire_and_are_not_kept_in_the_clear(tmp_path):
    now = [1000.0]
    gate = Gate(tmp_path / "access.json", now=lambda: now[0])
    token = gate.grant("report", "link", job="j", life=10)
    assert gate.look(token).job == "j"
    assert token not in (tmp_path / "access.json").read_text()
    now[0] += 11
    assert gate.look(token) is None


def test_microphone_socket_hears_a_phrase(client, job):
    sound = read_audio(ROOT / "sample_audio" / "02-standing-level.flac").samples
    pcm = (np.concatenate([sound, np.zeros(24_000)]) * 32767).astype("<i2").tobytes()
    with client.websocket_connect(f"/api/jobs/{job}/listen") as socket:
        socket.send_text(json.dumps({"rate": 16000, "mode": "push", "by": "Imani"}))
        socket.send_text("press")
        for start in range(0, len(pcm), 3200):
            socket.send_bytes(pcm[start : start + 3200])
        socket.send_text("release")
        answer = socket.receive_json()
    assert "Vehicle level" in answer["reply"]["spoken"]


def test_a_shops_own_sheet_is_offered_and_a_wrong_one_is_told(client, tmp_path):
    own = tmp_path / "sheets"
    own.mkdir()
    text = sheet_text("wheel-refit").replace("Wheels on: tighten in sequence", "Our wheels")
    (own / "our-wheels.toml").write_text(text)
    (own / "broken.toml").write_text("[sheet]\nkey = ")
    page = client.get("/new").text
    assert ">Our wheels<" in page
    assert "broken.toml:2" in page
    assert str(tmp_path) not in page
    form = {**FORM, "sheet": "our-wheels"}
    assert client.post("/jobs", data=form, follow_redirects=False).status_code == 303


def test_another_site_cannot_reach_the_microphone_socket(client, job):
    headers = {"origin": "http://evil.example"}
    with (
        pytest.raises(WebSocketDisconnect),
        client.websocket_connect(f"/api/jobs/{job}/listen", headers=headers) as socket,
    ):
        socket.receive_json()


def test_paired_phone_works_in_the_bay_alone_and_its_socket_ends_when_revoked(tmp_path):
    app = create_app(Shop.at(tmp_path))
    with TestClient(app) as desk, TestClient(app, client=("10.0.0.7", 5)) as phone:
        job = desk.post("/jobs", data=FORM, follow_redirects=False).headers["location"][5:]
        code = re.search(r"/pair/([\w-]+)</p>", desk.post("/phones/pair").text)[1]
        phone.post(f"/pair/{code}", follow_redirects=False)
        for path in ("/phone", f"/phone/{job}", f"/job/{job}", f"/api/jobs/{job}"):
            assert phone.get(path).status_code == 200
        for path in ("/", "/phones", f"/desk/{job}", f"/job/{job}/report.pdf"):
            assert phone.get(path).status_code == 403
        assert phone.post("/phones/pair").status_code == 403
        assert phone.post(f"/api/jobs/{job}/link").status_code == 403
        closing = {"how": "aborted", "reason": "x"}
        assert phone.post(f"/api/jobs/{job}/close", json=closing).status_code == 403
        handle = re.search(r"/phones/(\w+)/revoke", desk.get("/phones").text)[1]
        with phone.websocket_connect(f"/api/jobs/{job}/listen") as socket:
            socket.send_text(json.dumps({"rate": 16000}))
            desk.post(f"/phones/{handle}/revoke")
            socket.send_bytes(b"\0\0" * 1600)
            assert "taken back" in socket.receive_json()["error"]


def test_damaged_signature_and_slips_of_the_hand_are_refused(client, job):
    junk = base64.b64encode(b"\x89PNG junk").decode()
    body = {"name": "Tomas", "image": f"data:image/png;base64,{junk}"}
    assert client.post(f"/api/jobs/{job}/sign", json=body).status_code == 400
    for slip in ({"odometer": "abc"}, {"vin": "1M8GDM9AXKP042789"}):
        answer = client.post("/jobs", data={**FORM, **slip}, follow_redirects=False)
        assert answer.status_code == 400
    empty = client.post(f"/api/jobs/{job}/say", json={"text": ""})
    assert "'text' can't be used" in empty.json()["error"]
    large = client.post(f"/api/jobs/{job}/sign", content=b" " * 4_000_000)
    assert large.status_code == 413


@pytest.mark.parametrize(
    "hello", ["[]", "3", "null", "junk", '{"rate": 5}', '{"rate": 16000, "mode": "sing"}']
)
def test_junk_on_the_socket_is_told_and_the_job_unharmed(client, job, hello):
    with client.websocket_connect(f"/api/jobs/{job}/listen") as socket:
        socket.send_text(hello)
        assert socket.receive_json()["error"].endswith(".")
        with pytest.raises(WebSocketDisconnect):
            socket.receive_json()
    assert say(client, job, "vehicle checked")["tone"] == "ok"


def test_every_clock_announcement_is_said_aloud_on_the_screen(tmp_path):
    clock = ManualClock(datetime(2026, 11, 24, 9, tzinfo=UTC))
    shop = Shop(open_store(tmp_path, clock=clock), get_engine)
    job = shop.begin(sheet_text("transaxle-drain-fill"), {"unit": {"type": "KT-6F"}})
    session = shop.session(job)
    session.type_in("engine off")
    assert not job_view(session)["reply"]["announced"]
    spoken = []
    for seconds in (46, 65, 10):  # the sheet's example window: 45 to 120 s
        clock.advance(seconds)
        session.tick()
        reply = job_view(session)["reply"]
        assert reply["announced"]
        spoken.append(reply["spoken"])
    assert len(set(spoken)) == 3
    assert "seconds left" in spoken[1]
    shop.close()


def test_noisy_bay_cannot_starve_another():
    import threading

    pool, order, gate = FairPool(workers=1), [], threading.Event()
    started = threading.Event()
    pool.submit("noisy", lambda: (started.set(), gate.wait()))
    started.wait(5)  # one call runs, the queue behind it is empty
    waiting = [pool.submit("noisy", lambda i=i: order.append(f"noisy {i}")) for i in range(4)]
    quiet = pool.submit("quiet", lambda: order.append("quiet"))
    with pytest.raises(BusyError):
        pool.submit("noisy", gate.wait)
    gate.set()
    quiet.result(5)
    waiting[-1].result(5)
    assert order.index("quiet") <= 1
    assert pool.dropped == {"noisy": 1}
    pool.close()


def test_own_certificate_is_made_once_and_renewed_for_a_new_address(tmp_path):
    from cryptography import x509

    from joblog.web.lan import certificates

    authority, leaf, key = certificates(tmp_path, "192.168.7.20")
    before = authority.read_bytes(), leaf.read_bytes()
    assert (key.stat().st_mode & 0o777) == 0o600
    certificates(tmp_path, "192.168.7.20")
    assert (authority.read_bytes(), leaf.read_bytes()) == before
    certificates(tmp_path, "192.168.7.21")
    assert authority.read_bytes() == before[0]
    made = x509.load_pem_x509_certificate(leaf.read_bytes())
    names = made.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert "192.168.7.21" in [str(a) for a in names.get_values_for_type(x509.IPAddress)]
    assert (made.not_valid_after_utc - made.not_valid_before_utc).days <= 825
    made.verify_directly_issued_by(x509.load_pem_x509_certificate(authority.read_bytes()))
