"""Which jobs a later report has beside it: closed ones on the same unit, opened before."""

from __future__ import annotations

import hashlib
from pathlib import Path

from fastapi.testclient import TestClient

from joblog.web.app import create_app
from joblog.web.shop import Shop

PICTURES = Path(__file__).parents[2] / "sample_images"
GEARBOX = {"sheet": "transaxle-drain-fill", "type": "KT-6F"}
AXLE = {"sheet": "final-drive", "type": "KA-30"}


def opened(client, vin, unit, picture="after"):
    form = {**unit, "vin": f"EXAMPLE000000000{vin}", "technician": "Imani Okafor"}
    answer = client.post("/jobs", data=form, follow_redirects=False)
    job = answer.headers["location"].rsplit("/", 1)[1]
    data = (PICTURES / f"plug-{picture}.jpg").read_bytes()
    name = hashlib.sha256(data).hexdigest()
    photo = client.put(f"/api/jobs/{job}/photos/{name}?kind=plug", content=data)
    assert photo.json()["measurement"]["usable"]
    return job


def test_a_later_report_charts_the_same_plug_across_services(tmp_path):
    """Neither another vehicle, nor its other unit, nor a job still open; old reports stay."""
    shop = Shop.at(tmp_path)
    with TestClient(create_app(shop)) as client:
        first = opened(client, 1, GEARBOX, "before")
        close = {"how": "finished", "reason": "as agreed"}
        assert client.post(f"/api/jobs/{first}/close", json=close).status_code == 200
        second = opened(client, 1, GEARBOX)  # stays open
        others = [opened(client, 2, GEARBOX), opened(client, 1, AXLE)]
        third = opened(client, 1, GEARBOX)
        for job, earlier in ((first, []), (second, [first]), (third, [first])):
            assert [state.job for state in shop.earlier(job)] == earlier
            report = client.get(f"/job/{job}/report.html").text
            assert ("trend-film" in report) == bool(earlier)
        assert [shop.earlier(job) for job in others] == [[], []]
        assert client.get(f"/job/{second}/report.pdf").content.startswith(b"%PDF-")
