"""Starting a job by a VIN: what can't be right is never taken; what may be meant is compared."""

import re

import pytest

from joblog.measure.vin import check_vin
from joblog.measure.vin_labels import vin_trouble, vins_in
from joblog.web.choosing import details
from tests.web.conftest import offered

VIN = "1KC7F6AB6GH041620"  # invented; its check digit fits


def test_typed_vins_are_judged_by_the_published_rule(client):
    # 49 CFR 565.15(c); the sample number of many descriptions of it, from memory
    assert vin_trouble(check_vin("1M8GDM9AXKP042788")) == ""
    assert "check digit" in vin_trouble(check_vin("1M8GDM9AXKP042789"))
    assert "17 characters, this has 16" in vin_trouble(check_vin(VIN[:16]))
    assert "never part of a VIN" in vin_trouble(check_vin("O" + VIN[1:]))
    page = client.get(f"/start?vin={VIN[:8]}{'8' if VIN[8] != '8' else 'B'}{VIN[9:]}").text
    assert "check digit" in page
    assert vins_in(["order 7", f"*{VIN}*", VIN]) == [VIN]


def test_a_vin_with_two_neighbours_swapped_is_asked_about(client):
    swapped = f"{VIN[:15]}{VIN[16]}{VIN[15]}"
    page = client.get(f"/start?vin={swapped}").text
    assert "Was one of these meant? None is taken before it was compared" in page
    assert (VIN, "Possible; not known here") in offered(page)
    assert len(offered(page)) <= 5
    assert details(None, None, VIN)["year"] == "2016"


@pytest.mark.parametrize(
    "typed",
    [
        "1KC7F6AB6GH041621",  # the last sign is wrong: not one that is often mixed up
        "1KC7F6AB6GH04162",  # one is missing
        "1KC7F6AB6GH0411620",  # one is too many
        "1KC7F6AB6GHO4I620",  # O and I for 0 and 1
        "1kc7 f6ab 6gh0 4126 0",
    ],
)
def test_a_wrong_vin_offers_todays_vehicle_first_and_never_takes_one(listed, typed):
    page = listed.get("/start", params={"vin": typed}).text
    first = offered(page)[0]
    assert first == (
        VIN,
        "Today&#39;s order HL-2047: 2016 Kestrel Courier 2.0 delivery van EXA 416",
    )
    assert all(words.startswith("Possible") for _, words in offered(page)[1:])
    assert "right" not in page
    for vin, _ in offered(page):  # one touch leads to no sheet, only to the question
        after = listed.get("/start", params={"vin": vin, "was": typed}).text
        assert "Does this number stand on the vehicle?" in after
        assert 'name="sheet"' not in after
        assert "Yes, the vehicle shows this number" in after
    known = listed.get("/start", params={"vin": VIN, "was": "1KC7F6AB6GH041621"}).text
    assert "Sign 17 is 0, not 1." in known
    assert "order HL-2047" in known


def test_a_vin_without_a_binding_check_digit_near_a_known_one_is_compared_first(client):
    known = "VS7ZZZ1KZGH041620"  # invented, of Europe: its check digit says nothing
    client.post("/jobs", data={"sheet": "wheel-refit", "vin": known, "plate": "EXA 9"})
    assert 'name="sheet"' in client.get("/start", params={"vin": known}).text
    slip = known[:-1] + "8"
    page = client.get("/start", params={"vin": slip}).text
    assert offered(page) == [
        (known, "Here before: EXA 9"),
        (slip, "As it was given: a vehicle that is new here"),
    ]
    assert 'name="sheet"' not in page
    after = client.get("/start", params={"vin": slip, "was": slip}).text
    assert "Does this number stand on the vehicle?" in after
    yes = re.search(r'href="([^"]+)">Yes, the vehicle', after)[1].replace("&amp;", "&")
    assert 'name="sheet"' in client.get(yes).text
    far = client.get("/start", params={"vin": "VS7ZZZ9NZ1R777777"}).text
    assert 'name="sheet"' in far


def test_the_form_offers_the_same_for_a_wrong_vin_and_has_it_compared(listed):
    form = {"form": "new", "sheet": "wheel-refit", "vin": "1KC7F6AB6GH041621", "plate": "EXA 416"}
    page = listed.post("/jobs", data=form, headers={"accept": "text/html"})
    assert page.status_code == 400
    assert "check digit" in page.text
    choices = re.findall(r'name="meant" value="(\w+)".*?<small>([^<]*)<', page.text)
    assert choices[0][0] == VIN
    assert choices[0][1].startswith("Today&#39;s order HL-2047")
    chosen = listed.post("/jobs", data=form | {"meant": VIN}, headers={"accept": "text/html"})
    assert "Sign 17 is 0, not 1. Compare all signs at the vehicle" in chosen.text
    assert f'name="vin" value="{VIN}"' in chosen.text
    assert 'value="EXA 416"' in chosen.text  # what was typed stays
    assert 'name="meant"' not in chosen.text
    assert not listed.app.state.shop.store.jobs()  # nothing is opened at a touch
    right = listed.post("/jobs", data=form | {"vin": VIN}, follow_redirects=False)
    assert right.status_code == 303


def test_a_wrong_vin_offers_a_vehicle_of_an_earlier_job(client):
    form = {"sheet": "wheel-refit", "vin": VIN, "make": "Kestrel", "plate": "EXA 9"}
    client.post("/jobs", data=form)
    page = client.get("/start", params={"vin": VIN[:-1] + "1"}).text
    assert offered(page)[0] == (VIN, "Here before: Kestrel EXA 9")
