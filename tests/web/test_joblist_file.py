"""The file that keeps the list of jobs over a restart: damaged or altered, it tells nothing."""

import json

import pytest
from starlette.testclient import TestClient

from joblog.web.app import create_app
from joblog.web.jobindex import _digest
from joblog.web.shop import Shop

FORM = {
    "sheet": "transaxle-drain-fill", "type": "KT-6F", "customer": "Bramble & Rye",
    "vin": "1M8GDM9AXKP042788", "odometer": "88000", "odometer_unit": "mi",
}  # fmt: skip


def opened(client, odometer="88000"):
    form = FORM | {"odometer": odometer}
    answer = client.post("/jobs", data=form, follow_redirects=False)
    return answer.headers["location"].rsplit("/", 1)[1]


@pytest.fixture
def lines(tmp_path):
    with TestClient(create_app(Shop.at(tmp_path))) as client:
        job = opened(client)
        client.get("/")
    path = tmp_path / "joblist.json"
    kept = json.loads(path.read_text(encoding="utf-8"))
    return path, kept, kept["lines"][job][1]


@pytest.mark.parametrize("damage", [{"customer": "Somebody else"}, None])
def test_a_damaged_file_is_made_anew(tmp_path, lines, damage):
    path, kept, line = lines
    if damage is None:
        line.clear()
    else:
        line.update(damage)
    path.write_text(json.dumps(kept), encoding="utf-8")
    with TestClient(create_app(Shop.at(tmp_path))) as client:
        for page in ("/", "/start", "/phones", "/phone"):
            assert client.get(page).status_code == 200
        assert "Bramble" in client.get("/").text
        assert "Somebody else" not in client.get("/").text


def test_a_new_record_takes_nothing_from_the_file(tmp_path, lines):
    path, kept, line = lines
    line["unit"]["odometer"] = "999999"
    kept["sha256"] = _digest(kept["lines"])  # by somebody who knows how
    path.write_text(json.dumps(kept), encoding="utf-8")
    shop = Shop.at(tmp_path)
    with TestClient(create_app(shop)) as client:
        job = opened(client, "89000")
        before = shop.session(job).state.opened["earlier_meter"]
        assert before["value"] == "88000"
