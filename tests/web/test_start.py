"""Starting a job: the list of orders, the label, the spoken order, the sheets for a vehicle."""

import io
import re
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import zxingcpp
from PIL import Image
from starlette.testclient import TestClient

from joblog.audio.files import read_audio
from joblog.cli import main
from joblog.measure.vin import check_vin
from joblog.readback.clips import load_clips
from joblog.readback.sound import RATE, spoken_sound
from joblog.sheet.load import sheet_text
from joblog.speech.types import Hearing, Verdict
from joblog.web.app import STATIC, create_app
from joblog.web.choosing import choices
from joblog.web.orderbook import OrderBook
from joblog.web.orders import read_orders
from joblog.web.saying_orders import said_orders, said_vin, spoken_signs, start_grammar
from joblog.web.shop import Shop
from joblog.web.start import start_meaning
from tests.web.conftest import offered

HERE = Path(__file__).parent
EXAMPLE = (STATIC / "orders-example.csv").read_bytes()
VIN = "1KC7F6AB6GH041620"  # invented; its check digit fits
JSON = {"accept": "application/json"}
HEAD = b"order,plate,customer\r\n"


def label(text, code=zxingcpp.BarcodeFormat.Code39):
    """Return a JPEG of a printed code on a grey wall."""
    bars = np.array(zxingcpp.create_barcode(text, code).to_image(scale=3))
    wall = Image.new("L", (bars.shape[1] + 400, bars.shape[0] + 400), 200)
    wall.paste(Image.fromarray(bars), (200, 200))
    file = io.BytesIO()
    wall.convert("RGB").save(file, "JPEG", quality=85)
    return file.getvalue()


def scan(client, data):
    return client.put("/api/start/photos/label", content=data).json()


def test_an_order_for_a_sheet_that_is_not_there_is_left_out_alone(client, tmp_path, capsys):
    text = b"order,sheet\n1,nope\n2,Wheel-Refit\n3,../x\n4,own\n"
    told = client.put("/api/orders", content=text).json()
    assert (told["new"], told["refused"]) == (1, 3)
    assert told["remarks"][0].startswith(
        "Line 2: order 1 was left out: there is no job sheet 'nope';"
    )
    assert "transaxle-drain-fill, wheel-refit." in told["remarks"][0]
    assert client.get("/start", params={"order": "2"}).status_code == 200
    assert client.get("/start", params={"order": "1"}, headers=JSON).status_code == 400
    (tmp_path / "sheets").mkdir()
    (tmp_path / "sheets" / "own.toml").write_bytes(sheet_text("wheel-refit").encode())
    file = tmp_path / "today.csv"
    file.write_bytes(text)
    assert main(["orders", "import", str(file), "--data", str(tmp_path)]) == 1
    out, err = capsys.readouterr()
    assert out == "1 new, 1 renewed, 2 left out.\n"
    assert f"{file}: Line 2: order 1 was left out" in err
    assert "own, transaxle-drain-fill" in err
    only = tmp_path / "only.csv"
    only.write_text("order,sheet\n9,nope\n", encoding="utf-8")
    assert main(["orders", "import", str(only), "--data", str(tmp_path)]) == 1
    assert "0 new, 0 renewed, 1 left out." in capsys.readouterr().out


def test_the_list_is_of_today_renews_by_number_and_forgets_old_orders(tmp_path):
    day = [date(2026, 11, 25)]
    book = OrderBook(tmp_path / "orders.json", today=lambda: day[0])
    assert book.take(read_orders(b"order,plate,date\n1,A,\n2,B,2026-11-26\n")) == (2, 0)
    assert book.take(read_orders(b"order,plate\n1,C\n")) == (0, 1)
    assert [row["plate"] for row in book.listed()] == ["C"]
    day[0] = date(2026, 11, 26)
    assert [row["plate"] for row in book.listed()] == ["B"]
    day[0] = date(2027, 3, 1)
    book.take(read_orders(b"order\n9\n"))
    assert book.find("1") is None
    (tmp_path / "orders.json").write_text("{", encoding="utf-8")
    with pytest.raises(Exception, match="move it away"):
        book.listed()


def test_orders_are_imported_from_the_command_line(tmp_path, capsys):
    file = tmp_path / "day.csv"
    file.write_bytes(EXAMPLE)
    assert main(["orders", "import", str(file), "--data", str(tmp_path / "shop")]) == 0
    assert "4 new, 0 renewed" in capsys.readouterr().out
    assert main(["orders", "list", "--data", str(tmp_path / "shop")]) == 0
    assert "HL-2047  EXA 416" in capsys.readouterr().out
    file.write_bytes(EXAMPLE + b"HL-1,x\r\n")
    assert main(["orders", "import", str(file), "--data", str(tmp_path / "shop")]) == 1
    assert "day.csv: Line 6 has 2 fields" in capsys.readouterr().err
    assert main(["orders", "import", str(tmp_path / "none.csv")]) == 1


def test_order_to_open_job_in_two_requests(listed):
    assert "HL-2047" in listed.get("/start").text
    page = listed.get("/start?order=HL-2047").text
    assert page.index('value="transaxle-drain-fill"') < page.index("Sheets that are not for it")
    fields = {
        "sheet": "transaxle-drain-fill",
        "type": "KT-6F",
        "vin": VIN,
        "order": "HL-2047",
        "customer": "Bramble & Rye Bakery",
        "technician": "Imani Okafor",
    }
    opened = listed.post("/jobs", data=fields, follow_redirects=False)
    assert opened.status_code == 303
    job = opened.headers["location"].removeprefix("/job/")
    assert f"/job/{job}" in listed.get("/start").text  # not offered twice
    assert "begun" in listed.get("/orders").text
    assert "There is no order" in listed.get("/start?order=none").text


def test_an_order_may_bring_an_hour_meter(client):
    (order,) = read_orders(b"order,odometer,odometer_unit\n7,450.5,hours\n").rows
    assert (order["odometer"], order["odometer_unit"]) == ("450.5", "h")
    data = b"order,odometer,odometer_unit\n7,450.5,hours\n"
    client.put("/api/orders", content=data)
    page = client.get("/start?order=7").text
    assert '<option value="h" selected>' in page


def test_a_known_vehicle_brings_what_an_earlier_job_knew_but_not_its_odometer(client):
    client.post(
        "/jobs",
        data={"sheet": "transaxle-drain-fill", "type": "KT-6F", "vin": VIN, "odometer": "91240",
              "make": "Kestrel", "customer": "Bramble & Rye Bakery"},
    )  # fmt: skip
    page = client.get(f"/start?vin={VIN.lower()}").text
    assert 'value="KT-6F"' in page
    assert "Kestrel" in page
    assert 'value="91240"' not in page  # it stands under "Here before", in no field


@pytest.mark.parametrize("then", ["job", "phone"])
def test_what_is_refused_on_the_sheets_page_keeps_what_was_typed(client, then):
    fields = {"sheet": "transaxle-drain-fill", "type": "KT-6F", "vin": VIN, "plate": "OTC 772",
              "technician": "Rosamund Achterberg", "odometer": "131,988", "odometer_unit": "km",
              "then": then}  # fmt: skip
    page = client.post("/jobs", data=fields, headers={"accept": "text/html"})
    assert page.status_code == 400
    assert "whole number, without commas" in page.text
    for kept in ("131,988", "Rosamund Achterberg", VIN, "OTC 772", "km"):
        assert f'value="{kept}"' in page.text
    assert f'name="then" value="{then}"' in page.text
    wrong = fields | {"odometer": "131988", "sheet": "cvt-drain-fill", "override": ""}
    page = client.post("/jobs", data=wrong, headers={"accept": "text/html"})
    assert (page.status_code, 'value="131988"' in page.text) == (400, True)
    assert "error" in client.post("/jobs", data=fields, headers=JSON).json()
    assert not client.app.state.shop.store.jobs()


def test_earlier_jobs_on_the_vehicle_are_named_with_their_reports(client):
    assert "Here before" not in client.get(f"/start?vin={VIN}").text
    jobs = []
    for odometer in ("118420", "131988"):
        data = {"sheet": "transaxle-drain-fill", "type": "KT-6F", "vin": VIN, "odometer": odometer,
                "odometer_unit": "mi"}  # fmt: skip
        opened = client.post("/jobs", data=data, follow_redirects=False)
        jobs.append(opened.headers["location"].removeprefix("/job/"))
    client.post("/jobs", data={"sheet": "coolant", "plate": "no VIN"})
    page = client.get(f"/start?vin={VIN}").text
    links = re.findall(r'<a href="(/job/[^"]+/report.html)">([^<]+)</a>([^<]*)<', page)
    title = "Automatic transaxle: drain and fill"
    assert links == [
        (f"/job/{jobs[1]}/report.html", title, " at 131988 mi"),
        (f"/job/{jobs[0]}/report.html", title, " at 118420 mi"),
    ]
    assert client.get(links[1][0]).status_code == 200
    begun = re.findall(r'href="(/job/[^"/]+)">“[^<]*”, begun [^<]*, is open: go on with it', page)
    assert begun == [f"/job/{job}" for job in reversed(jobs)]  # handed over, not begun anew
    client.post(f"/api/jobs/{jobs[1]}/close", json={"how": "aborted", "reason": "a part broke"})
    assert client.get(f"/start?vin={VIN}").text.count("go on with it") == 1
    phone = client.get(f"/start?vin={VIN}&then=phone").text
    assert "at 118420 mi" in phone
    assert "report.html" not in phone  # a phone is not the desk
    assert "Here before" not in client.get("/start?again=1&type=KT-6F").text


def test_an_odometer_below_that_of_the_last_job_is_remarked_and_opens_the_job(client):
    views = []
    for odometer, unit in (("91240", "mi"), ("9124", "mi"), ("9125", "mi"), ("14684", "km")):
        data = {"sheet": "coolant", "vin": VIN, "odometer": odometer, "odometer_unit": unit}
        opened = client.post("/jobs", data=data, follow_redirects=False)
        assert opened.status_code == 303
        views.append(client.get(opened.headers["location"].replace("/job/", "/api/jobs/")).json())
    assert [len(view["findings"]) for view in views] == [0, 1, 0, 1]  # against the newest alone
    assert views[1]["reply"]["spoken"] == "Miles lower than before."
    assert "9124 mi, less than at an earlier job" in views[1]["reply"]["shown"]
    assert "91240 mi" in views[1]["findings"][0]["text"]
    assert views[3]["reply"]["spoken"] == "Kilometers lower than before."
    assert all(not view["open_findings"] for view in views)
    report = client.get(f"/job/{views[1]['job']}/report.html").text.replace("\xa0", " ")
    assert "Odometer: 9,124 mi, less than at an earlier job (91,240 mi, " in report


@pytest.mark.parametrize(
    ("name", "most"), [("make", 200), ("customer", 200), ("technician", 80), ("complaint", 2000)]
)
def test_a_field_that_is_far_too_long_is_one_sentence(client, name, most):
    data = {"sheet": "coolant", name: "x" * most}
    opened = client.post("/jobs", data=data, follow_redirects=False)
    assert opened.status_code == 303
    said = {"text": "help", "by": data.get("technician", "")}
    job = opened.headers["location"].rsplit("/", 1)[1]
    assert client.post(f"/api/jobs/{job}/say", json=said).status_code == 200
    told = client.post("/jobs", data=data | {name: "x" * (most + 1)}, headers=JSON)
    assert told.status_code == 400
    assert f"The {name} has {most + 1} letters; at most {most}" in told.json()["error"]
    assert len(client.app.state.shop.store.jobs()) == 1


@pytest.mark.parametrize("typed", ["otc772", "OTC-772", " otc 772 ", VIN[-6:].lower()])
def test_a_plate_is_found_however_it_is_spaced(client, typed):
    data = {"sheet": "coolant", "plate": "OTC 772", "vin": VIN}
    client.post("/jobs", data=data)
    assert "OTC 772" in client.get("/", params={"find": typed}).text
    for other in ("otc773", "--", "zzz"):
        assert "No job fits" in client.get("/", params={"find": other}).text


def test_sheets_for_the_vehicle_stand_first_and_the_rest_says_why(client):
    shop = client.app.state.shop
    found = choices(shop.sheets(), {"type": "kt 6f"}, "wheel-refit")
    assert (found[0].key, found[0].ordered) == ("wheel-refit", True)
    assert (found[1].key, found[1].named) == ("transaxle-drain-fill", True)
    refused = {c.key: c.reasons for c in found if c.reasons}
    assert "cvt-drain-fill" in refused
    assert all(why.endswith(".") for reasons in refused.values() for why in reasons)
    wrong = {"sheet": "cvt-drain-fill", "type": "KT-6F"}
    assert client.post("/jobs", data=wrong).status_code == 400
    page = client.get("/start?again=1&type=KT-6F&order=77").text
    assert 'value="77"' in page


@pytest.mark.parametrize("text", [VIN, f"I{VIN}", f"VIN:{VIN};PAINT:7"])
def test_a_scanned_vin_leads_to_its_order(listed, text):
    code = zxingcpp.BarcodeFormat.DataMatrix if ";" in text else zxingcpp.BarcodeFormat.Code39
    answer = scan(listed, label(text, code))
    assert answer["vin"] == VIN
    page = listed.get(answer["go"]).text
    assert "Order HL-2047" in page


def test_a_scanned_order_leads_to_its_vehicle(listed):
    answer = scan(listed, label("HL-2048", zxingcpp.BarcodeFormat.Code128))
    assert answer["order"] == "HL-2048"


def test_labels_that_say_no_vin_or_a_wrong_one_are_told(listed):
    wrong = VIN[:-1] + ("1" if VIN[-1] != "1" else "2")
    assert "check digit" in scan(listed, label(wrong))["told"]
    assert "holds a VIN" in scan(listed, label("OIL 5W30"))["error"]
    blank = io.BytesIO()
    Image.new("RGB", (400, 300), "white").save(blank, "PNG")
    assert "No bar code" in scan(listed, blank.getvalue())["error"]
    assert "no picture" in scan(listed, b"junk")["error"]


def test_a_scanned_or_spoken_wrong_vin_leads_to_the_same_offers(listed, monkeypatch):
    wrong = "1KC7F6AB6GH041621"
    told = scan(listed, label(wrong))
    assert "vin" not in told  # it is not taken
    assert offered(listed.get(told["go"]).text)[0][0] == VIN
    for verdict in (Verdict.ACCEPT, Verdict.ASK, Verdict.REJECT):
        heard = Hearing(f"vin {spoken_signs(wrong)}", verdict, 0.9)
        engine = SimpleNamespace(hear=lambda *_, heard=heard, **__: heard)
        monkeypatch.setattr(listed.app.state.shop, "engine", lambda engine=engine: engine)
        answer = listed.put("/api/start/said?rate=16000", content=bytes(3200)).json()
        assert answer.get("go") == (None if verdict is Verdict.REJECT else told["go"])
        assert "vin" not in answer


@pytest.mark.parametrize("typed", ["HL-2047", "hl 2047", "2047", "EXA 416", "exa416", VIN[-6:]])
def test_an_order_is_typed_by_number_plate_or_the_end_of_its_vin(listed, typed):
    page = listed.get("/start", params={"vin": typed}).text
    assert "Order HL-2047 for Bramble" in page
    assert 'name="sheet"' in page


def test_what_is_no_order_and_no_plate_is_told_so(client):
    rows = b"order,plate,vin\n7-1,EXA 5,\n7-2,EXA 5,\n"
    client.put("/api/orders", content=rows)
    page = client.get("/start?vin=HL-9999").text
    assert "No order of today has &#39;HL-9999&#39; as its number or plate." in page
    both = client.get("/start?vin=exa5").text
    assert "Several orders fit; choose one." in both
    assert both.index("7-1") < both.index("7-2")
    assert 'name="sheet"' not in both
    client.post(
        "/jobs", data={"sheet": "wheel-refit", "vin": VIN, "make": "Kestrel", "plate": "XY 1"}
    )
    client.post("/jobs", data={"sheet": "wheel-refit", "make": "Fennel", "plate": "XY 1"})
    page = client.get("/start?vin=xy1").text
    links = re.findall(r'href="(/start[^"]+)">(Kestrel XY 1|Fennel XY 1)<', page)
    assert len(links) == 2
    pages = {words: client.get(link.replace("&amp;", "&")).text for link, words in links}
    assert "Does this number stand on the vehicle?" in pages["Kestrel XY 1"]
    assert 'name="make" value="Fennel"' in pages["Fennel XY 1"]


def test_an_order_is_chosen_by_voice(listed):
    meant = said_orders(listed.app.state.shop.orders.listed())
    grammar = start_grammar(meant)
    assert meant[spoken_signs("2047")] == "HL-2047"
    assert meant[spoken_signs(VIN[-6:])] == "HL-2047"
    assert grammar.parse("order echo xray alfa four one six") is not None
    sound = spoken_sound("two zero four eight", load_clips())
    pcm = (np.pad(sound, RATE // 2) * 32767).astype("<i2").tobytes()
    answer = listed.put(f"/api/start/said?rate={RATE}", content=pcm).json()
    assert answer["order"] == "HL-2048"
    chatter = spoken_sound("drain plug out", load_clips())
    pcm = (np.pad(chatter, RATE // 2) * 32767).astype("<i2").tobytes()
    assert "go" not in listed.put(f"/api/start/said?rate={RATE}", content=pcm).json()
    assert "error" in listed.put("/api/start/said?rate=5", content=pcm).json()
    assert "error" in listed.put("/api/start/said?rate=16000", content=b"\0").json()


def test_what_may_mean_two_orders_is_never_chosen():
    meant = said_orders([{"order": "A-12"}, {"order": "B-12"}])
    assert spoken_signs("12") not in meant
    assert meant[spoken_signs("A-12")] == "A-12"
    assert start_grammar([]).parse("order one two") is None


def test_a_whole_vin_is_spelled_aloud(listed):
    # data/vin.ogg: the VIN above in the spelling alphabet, by the voice of the sample audio
    samples = read_audio(HERE / "data" / "vin.ogg").samples
    pcm = (samples * 32767).astype("<i2").tobytes()
    clear = listed.put("/api/start/said?rate=16000", content=pcm).json()
    # seventeen signs without a miss: taken, or shown to be confirmed with one touch
    assert clear.get("vin") == VIN or clear["maybe"].endswith(VIN)
    noise = np.random.default_rng(1).standard_normal(len(samples)) * 0.1
    drowned = ((samples * 0.3 + noise).clip(-1, 1) * 32767).astype("<i2").tobytes()
    answer = listed.put("/api/start/said?rate=16000", content=drowned).json()
    assert answer.get("vin", VIN) == VIN  # a VIN that was not said is never taken


def test_a_misheard_vin_is_shown_or_asked_never_taken():
    spelled = spoken_signs(VIN)
    assert said_vin(f"vin {spelled}") == VIN
    assert said_vin("order two zero four seven") == ""
    wrong = VIN[:-1] + ("1" if VIN[-1] != "1" else "2")
    assert "check digit is wrong" in start_meaning(Verdict.ACCEPT, "", wrong)["told"]
    assert start_meaning(Verdict.ASK, "", VIN)["maybe"].endswith(VIN)
    elsewhere = "WZZJ7E2R0LN508317"  # invented; a number that need not have a check digit
    assert not check_vin(elsewhere).check_fits
    assert "Was that" in start_meaning(Verdict.ACCEPT, "", elsewhere)["told"]
    assert "go" not in start_meaning(Verdict.REJECT, "HL-2047", "")


def test_upload_that_is_refused_changes_nothing(listed):
    answer = listed.put("/api/orders", content=b"order,plate\n1,A\n,B\n")
    assert answer.status_code == 400
    assert answer.json()["error"].startswith("Line 3")
    assert "HL-2047" in listed.get("/orders").text


def test_a_paired_phone_may_start_a_job_but_not_import(tmp_path):
    app = create_app(Shop.at(tmp_path))
    with TestClient(app) as desk, TestClient(app, client=("10.0.0.7", 5)) as phone:
        desk.put("/api/orders", content=EXAMPLE)
        assert phone.get("/start").status_code == 403
        phone.cookies.set("joblog_token", app.state.gate.grant("phone", "Phone"))
        assert phone.get("/start?then=phone").status_code == 200
        form = {"sheet": "wheel-refit", "then": "phone"}
        opened = phone.post("/jobs", data=form, follow_redirects=False)
        assert opened.headers["location"].startswith("/phone/")
        assert phone.put("/api/orders", content=EXAMPLE).status_code == 403
        assert phone.get("/orders").status_code == 403


def test_hostile_orders_are_inert(client):
    number = '7"&then=phone<script>'
    quoted = number.replace('"', '""')
    text = f'order,customer,complaint,sheet\n"{quoted}",<script>x</script>,<b>,\n'
    assert client.put("/api/orders", content=text.encode()).json()["new"] == 1
    for path in ("/start", "/orders"):
        page = client.get(path).text
        assert "<script>" not in page
        assert "%3Cscript%3E" in page
    chosen = client.get("/start", params={"order": number})
    assert chosen.status_code == 200
    assert "<script>" not in chosen.text
    link = re.search(r'href="(/start\?order=[^"]+)"', client.get("/orders").text)[1]
    assert client.get(link.replace("&amp;", "&")).text == chosen.text


def test_an_order_whose_job_is_closed_is_not_called_begun(listed):
    form = {"sheet": "wheel-refit", "order": "HL-2051", "vin": ""}
    job = listed.post("/jobs", data=form, follow_redirects=False).headers["location"][5:]
    assert "<b>HL-2051</b> is begun: go on" in listed.get("/start").text
    assert ">begun</a>" in listed.get("/orders").text
    end = {"how": "finished", "reason": "the customer asked for it", "by": "Imani Okafor"}
    listed.post(f"/api/jobs/{job}/close", json=end).raise_for_status()
    page = listed.get("/start").text
    assert "<b>HL-2051</b> is finished: look at it" in page
    assert "begun" not in page
    assert "One more job on HL-2051" in page
    assert ">finished</a>" in listed.get("/orders").text
    assert "This order is finished: look at it" in listed.get("/start?order=HL-2051").text
    steps = len(listed.get(f"/api/jobs/{job}").json()["steps"])
    assert f"finished, 0 of {steps} steps, {steps} left out" in listed.get("/").text
    again = listed.post("/jobs", data=form, follow_redirects=False).headers["location"][5:]
    page = listed.get("/start").text
    assert f'href="/job/{again}"><b>HL-2051</b> is begun: go on' in page
    stop = {"how": "aborted", "reason": "no bay", "by": "Imani Okafor"}
    listed.post(f"/api/jobs/{again}/close", json=stop).raise_for_status()
    assert "<b>HL-2051</b> is stopped: look at it" in listed.get("/start").text
    assert "stopped, 0 of" in listed.get("/").text
    assert listed.get(f"/api/jobs/{again}").json()["state"] == "stopped"
