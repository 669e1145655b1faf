"""What comes while something else is under way: twice at once, or while a report is made."""

import hashlib
import threading
from pathlib import Path

from joblog.report.attached import verify_report_pdf

ROOT = Path(__file__).resolve().parents[2]


def test_a_photo_sent_several_times_at_once_is_kept_once(client, job):
    picture = (ROOT / "sample_images" / "dipstick-before.jpg").read_bytes()
    for k in range(6):  # six pictures: one alone could come through by luck
        start, data = threading.Barrier(4), picture + bytes([k])

        name = hashlib.sha256(data).hexdigest()

        def put(start=start, data=data, name=name):
            start.wait()
            client.put(f"/api/jobs/{job}/photos/{name}?kind=other", content=data)

        phones = [threading.Thread(target=put) for _ in range(4)]
        for phone in phones:
            phone.start()
        for phone in phones:
            phone.join()
    assert len(client.app.state.shop.session(job).state.photos) == 6


def test_a_report_carries_the_record_that_it_tells_though_work_goes_on(client, job, monkeypatch):
    shop = client.app.state.shop
    earlier = shop.earlier

    def somebody_speaks_meanwhile(of):
        client.post(f"/api/jobs/{job}/say", json={"text": "vehicle checked", "by": "Imani"})
        return earlier(of)

    monkeypatch.setattr(shop, "earlier", somebody_speaks_meanwhile)
    pdf = client.get(f"/job/{job}/report.pdf").content
    found = verify_report_pdf(pdf)
    assert found.agree, found.sentence
