"""The advisor's desk: what is open first, notes for the customer, no words lost in two tabs."""

import base64
import io
import json
import re

from PIL import Image

from joblog.report.attached import verify_report_pdf

FORM = {
    "sheet": "transaxle-drain-fill", "type": "KT-6F", "make": "Kestrel", "model": "Courier",
    "plate": "EXA 416", "technician": "Imani Okafor", "advisor": "Priya Nair",
}  # fmt: skip


def ink():
    """Return a drawn signature as a browser sends it."""
    out = io.BytesIO()
    Image.linear_gradient("L").resize((900, 260)).save(out, "PNG")
    return "data:image/png;base64," + base64.b64encode(out.getvalue()).decode()


INK = ink()


def say(client, job, text):
    return client.post(f"/api/jobs/{job}/say", json={"text": text, "by": "Imani Okafor"}).json()


def view(client, job):
    return client.get(f"/api/jobs/{job}").json()


def explain(client, job, key, text, **more):
    told = {"finding": key, "text": text, "by": "Priya Nair"} | more
    return client.post(f"/api/jobs/{job}/explain", json=told)


def test_a_note_waits_at_the_desk_until_the_customer_is_told(client, job):
    say(client, job, "note the left rear tire is worn")
    assert "1 note the customer is not told of" in client.get("/").text
    desk = client.get(f"/desk/{job}").text
    assert "the left rear tire is worn" in desk
    assert "Tell the customer" in desk
    assert "The customer is not told yet." in desk
    (note,) = view(client, job)["notes"]
    page = client.get(f"/job/{job}/report.html").text
    assert "The technician left 1 note: it is on the pages behind." in page
    told = explain(client, job, note["key"], "Your left rear tire is worn out.", seen="").json()
    assert told["kept"]
    page = client.get(f"/job/{job}/report.html").text
    front = page[: page.index("Findings")] if "Findings" in page else page
    assert "Your left rear tire is worn out." in front
    assert "The technician left" not in page
    assert "not told of" not in client.get("/").text
    assert "Told on page 1." in client.get(f"/desk/{job}").text


def test_a_note_that_is_taken_back_is_told_no_more_and_the_desk_sees_it(client, job):
    say(client, job, "note the left rear tire is worn")
    (note,) = view(client, job)["notes"]
    explain(client, job, note["key"], "Your left rear tire is worn out.")
    assert view(client, job)["notes"][0]["what"].endswith("”, told to the customer")
    say(client, job, "vehicle checked")
    back = {"note": note["entry"], "by": "Imani Okafor"}
    told = client.post(f"/api/jobs/{job}/disregard", json=back).json()
    assert told["spoken"] == "Disregarded: note."
    assert view(client, job)["notes"] == []
    line = (
        "Imani Okafor took back the note “the left rear tire is worn”: page 1 says no more “Your "
        "left rear tire is worn out.” Tell the customer, where the report was handed over before."
    )
    assert view(client, job)["notes_withdrawn"] == [line]
    assert line in client.get(f"/desk/{job}").text
    front, _, behind = client.get(f"/job/{job}/report.html").text.partition("Order of work</h2>")
    assert "worn out" not in front
    assert "Then taken back by Imani Okafor" in behind
    assert explain(client, job, note["key"], "Still worn.").status_code == 400
    again = client.post(f"/api/jobs/{job}/disregard", json=back)
    assert again.status_code == 400


def test_an_odometer_that_was_typed_wrong_is_corrected_at_the_desk(client):
    answer = client.post("/jobs", data=FORM | {"odometer": "1319880"}, follow_redirects=False)
    job = answer.headers["location"].rsplit("/", 1)[1]
    assert "Odometer 1319880 mi" in client.get(f"/desk/{job}").text
    told = {"odometer": "131,988", "odometer_unit": "mi", "by": "Priya Nair"}
    refused = client.post(f"/api/jobs/{job}/meter", json=told)
    assert refused.status_code == 400
    assert "without commas" in refused.json()["error"]
    reply = client.post(f"/api/jobs/{job}/meter", json=told | {"odometer": "131988"}).json()
    assert reply["shown"] == "Corrected: odometer 131988 mi, not 1319880 mi."
    assert view(client, job)["meter"] == "Odometer 131988 mi."
    front, _, behind = client.get(f"/job/{job}/report.html").text.partition("Order of work</h2>")
    assert "131,988" in front
    assert "1,319,880" not in front
    assert "1,319,880" in behind


def test_the_desk_says_that_a_phone_still_holds_a_refused_photo(client, job):
    told = '<p id="refused" class="lead" role="status">{}</p>'
    assert told.format("") in client.get(f"/desk/{job}").text
    client.post(f"/api/jobs/{job}/refused", json={"who": "a phone", "count": 1})
    one = "1 photo was refused and is still on the phone: save or discard it there."
    assert told.format(one) in client.get(f"/desk/{job}").text


def test_empty_words_get_one_clear_sentence(client, job):
    say(client, job, "drain plug out")
    key = view(client, job)["findings"][0]["key"]
    for words in ("", "  \n"):
        answer = explain(client, job, key, words)
        assert answer.status_code == 400
        assert answer.json()["error"] == (
            "There are no words for the customer yet: write a sentence first."
        )


def test_of_two_tabs_the_later_does_not_overwrite_words_it_has_not_seen(client, job):
    say(client, job, "drain plug out")
    key = view(client, job)["findings"][0]["key"]
    assert explain(client, job, key, "We checked it.", seen="").json()["kept"]
    late = explain(client, job, key, "All is well.", by="Omar Haddad", seen="").json()
    assert not late["kept"]
    assert late["shown"].startswith("Priya Nair has kept other words meanwhile: “We checked it.”")
    assert late["explained"] == "We checked it."
    assert view(client, job)["findings"][0]["explained"] == "We checked it."
    again = explain(client, job, key, "All is well.", by="Omar Haddad", seen=late["explained"])
    assert again.json()["kept"]
    assert view(client, job)["findings"][0]["explained"] == "All is well."


def test_what_is_open_stands_first_and_is_marked(client, job):
    say(client, job, "drain plug out")
    say(client, job, "confirm because checked twice")
    say(client, job, "torque drain plug 50 foot pounds")
    findings = [f for f in view(client, job)["findings"] if not f["undone"]]
    assert findings[0]["resolved"]
    assert [f["key"] for f in findings if f["open"]] != [f["key"] for f in findings][:1]
    desk = client.get(f"/desk/{job}").text
    own = re.findall(r'data-finding="([^"]+)"', desk)
    by_rank = [f["key"] for f in sorted(findings, key=lambda f: f["rank"])]
    assert own == by_rank
    assert sum(f["open"] for f in findings) == desk.count('<b class="mark">Open, </b>') > 0
    assert desk.index("Open, ") < desk.index("Ended: ")


def test_the_customer_s_link_gives_the_language_and_units_asked_for(client, job):
    say(client, job, "vehicle checked")
    path = client.post(f"/api/jobs/{job}/link", json={}).json()["path"]
    assert "What was planned" in client.get(path).text
    spanish = client.get(f"{path}?language=es&units=metric&paper=letter").text
    assert 'lang="es"' in spanish
    assert "Lo previsto" in spanish
    assert client.get(f"{path}?language=xx").status_code >= 400


def test_a_shop_s_own_language_and_units_are_chosen_beforehand(client, job, tmp_path):
    own = '[shop]\nlanguage = "es-MX"\nunits = "metric"\npaper = "letter"\n'
    (tmp_path / "shop.toml").write_text(own, encoding="utf-8")
    desk = client.get(f"/desk/{job}").text
    assert re.findall(r'value="([^"]+)" selected', desk)[:3] == ["es-MX", "metric", "letter"]
    assert "Español" in desk
    assert 'lang="es"' in client.get(f"/job/{job}/report.html").text
    assert 'lang="en"' in client.get(f"/job/{job}/report.html?language=en").text


def test_a_shop_without_a_name_is_told_how_to_set_it(client, job, tmp_path):
    desk = client.get(f"/desk/{job}").text
    assert "The report has no shop name yet." in desk
    assert str(tmp_path / "shop.toml") in desk
    (tmp_path / "shop.toml").write_text('[shop]\nname = "Harrow Lane"\n', encoding="utf-8")
    assert "no shop name" not in client.get(f"/desk/{job}").text
    assert "Harrow Lane" in client.get(f"/job/{job}/report.html").text
    (tmp_path / "shop.toml").write_text('[shop]\naccent = "grey"\n', encoding="utf-8")
    assert client.get(f"/desk/{job}").status_code == 200


def sign(client, job, **signature):
    return client.post(f"/api/jobs/{job}/sign", json={"name": "Tomas Lindqvist"} | signature)


def test_a_name_that_was_typed_is_a_signature_and_is_told_as_typed(client, job):
    assert sign(client, job, typed=True).json() == {"shown": "Signature kept, as typed."}
    lines = client.get(f"/api/jobs/{job}/record.jsonl").text.splitlines()
    kept = json.loads(lines[-1])
    assert (kept["kind"], kept["media"]) == ("signature", [])
    assert kept["body"] == {"name": "Tomas Lindqvist", "how": "typed"}
    for language, told in (("en", "signed by typing the name"), ("es", "escribiendo el nombre")):
        page = client.get(f"/job/{job}/report.html?language={language}").text
        assert "Tomas Lindqvist" in page
        assert told in page
        assert 'class="signature"' not in page


def test_nobody_signs_by_halves(client, job):
    for wrong in ({}, {"typed": True, "image": INK}, {"typed": True, "name": "  "}):
        assert sign(client, job, **wrong).status_code in (400, 422), wrong
    assert '"signature"' not in client.get(f"/api/jobs/{job}/record.jsonl").text


def test_the_last_signature_stands_alone(client, job):
    """A drawing is never shown beside the name of somebody who typed, and the other way round."""
    sign(client, job, name="Ada Bramble", image=INK).raise_for_status()
    page = client.get(f"/job/{job}/report.html").text
    assert 'class="signature"' in page
    assert "typing" not in page
    sign(client, job, typed=True).raise_for_status()
    page = client.get(f"/job/{job}/report.html").text
    assert 'class="signature"' not in page
    assert "Ada Bramble" not in page
    found = verify_report_pdf(client.get(f"/job/{job}/report.pdf").content)
    assert found.exact, found.sentence
    sign(client, job, name="Ada Bramble", image=INK).raise_for_status()
    assert "typing" not in client.get(f"/job/{job}/report.html").text
    assert verify_report_pdf(client.get(f"/job/{job}/report.pdf").content).exact
