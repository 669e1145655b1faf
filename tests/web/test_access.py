"""A hostile or careless visitor on the shop's network: what is asked, by whom, under which name."""

import re
from types import SimpleNamespace

import pytest
from starlette.testclient import TestClient

from joblog.errors import StoreError
from joblog.web.access import COOKIE, Gate, path_of
from joblog.web.app import create_app
from joblog.web.shop import Shop

FORM = {"sheet": "coolant"}
VISITOR = ("10.0.0.7", 5)


@pytest.fixture
def visitor(client):
    """A device on the network that was never paired, at the same shop."""
    return TestClient(client.app, client=VISITOR)


def routes_of(router):
    """Return (method, path) of every route, those of included routers too."""
    for route in router.routes:
        inner = getattr(route, "original_router", None)
        if inner is not None:
            yield from routes_of(inner)
        else:
            yield from ((method, route.path) for method in getattr(route, "methods", None) or ())


def test_nobody_enters_by_any_route_without_a_pairing(client, visitor, job):
    link = client.post(f"/api/jobs/{job}/link", json={}).json()["path"].rsplit("/", 1)[1]
    code = re.search(r"/pair/([\w-]+)</p>", client.post("/phones/pair").text)[1]
    tried = 0
    for method, path in sorted(routes_of(client.app.router)):
        if path.startswith(("/trust", "/pair/", "/report/")):  # these look at their own tokens
            continue
        there = re.sub(r"\{(\w+)\}", lambda name: job if name[1] == "job" else "0" * 64, path)
        for token in ("", link, code, "A" * 43):
            cookie = {"cookie": f"{COOKIE}={token}"} if token else {}
            answer = visitor.request(method, there, headers=cookie, follow_redirects=False)
            assert answer.status_code == 403, (method, path, token)
            tried += 1
    assert tried > 150


@pytest.mark.parametrize("name", ["[::1", "[127.0.0.1]", "]", "evil.example", "localhost@evil"])
def test_a_name_that_is_none_of_ours_lets_nobody_in(tmp_path, name):
    headers = {"host": name}
    for who in (VISITOR, ("127.0.0.1", 5)):
        with TestClient(create_app(Shop.at(tmp_path)), client=who) as visitor:
            assert visitor.get("/", headers=headers).status_code == 403


def test_the_name_that_tests_ask_is_no_name_of_the_shop_pc(tmp_path):
    """Somebody on the network may answer to it, and a page from there would be the desk."""
    with TestClient(create_app(Shop.at(tmp_path)), client=("127.0.0.1", 5)) as browser:
        assert browser.get("/", headers={"host": "testserver"}).status_code == 403
        assert browser.get("/", headers={"host": "localhost:8765"}).status_code == 200


@pytest.mark.parametrize("origin", ["http://[", "null", "http://testserver.evil.example", "x"])
def test_an_origin_that_is_no_page_of_ours_changes_nothing(client, job, origin):
    before = client.get(f"/api/jobs/{job}").json()["seq"]
    said = {"json": {"text": "vehicle checked"}, "headers": {"origin": origin}}
    assert client.post(f"/api/jobs/{job}/say", **said).status_code == 403
    assert client.get(f"/api/jobs/{job}").json()["seq"] == before


def test_what_may_be_done_is_judged_by_the_path_that_is_routed(tmp_path):
    """Some versions of the framework build the address from the 'Host' header alone."""
    asked = SimpleNamespace(
        scope={"path": "/api/jobs/x"},
        url=SimpleNamespace(path="/static/"),
        method="GET",
        client=SimpleNamespace(host=VISITOR[0]),
        headers={"host": "x/static/?"},
        cookies={},
    )
    assert path_of(asked) == "/api/jobs/x"
    assert "not paired" in Gate(tmp_path / "access.json").why_not(asked)


def test_what_cant_be_read_is_told_in_a_sentence(client, job):
    headers = {"content-type": "application/json"}
    for body in (b"[" * 100_000, b'{"text":', b"\xff\xfe"):
        answer = client.post(f"/api/jobs/{job}/say", content=body, headers=headers)
        assert answer.status_code in (400, 422)
        assert answer.json()["error"].endswith("check it and send it again.")
    answer = client.delete("/jobs")
    assert answer.status_code == 405
    assert "go on from the list" in answer.json()["error"]
    page = client.get(f"/job/{job}/report.html?units=q", headers={"accept": "text/html"})
    assert page.status_code == 422
    assert "&#39;units&#39; can&#39;t be used" in page.text


def test_a_strangers_form_for_a_code_that_is_none_is_not_read(client, visitor, monkeypatch):
    async def never(_):
        raise AssertionError("it was read")

    monkeypatch.setattr("joblog.web.phone.body_of", never)
    assert visitor.post("/pair/" + "A" * 43, data={"name": "x"}).status_code == 403


def test_a_name_turns_no_line_around_and_the_record_keeps_it(client):
    name = "Rye\u202e \u2066\x1b]0;x\x07\0 & Co"
    form = {"sheet": "coolant", "customer": name, "technician": name, "make": name}
    job = client.post("/jobs", data=form, follow_redirects=False).headers["location"][5:]
    for place in ("/", f"/job/{job}", f"/desk/{job}", f"/phone/{job}", "/phone", f"/?find={job}"):
        text = client.get(place, headers={"accept": "text/html"}).text
        assert not re.search("[\0\x07\x1b\u202e\u2066]", text), place
    assert "Rye ]0;x &amp; Co" in client.get("/").text
    assert client.get(f"/api/jobs/{job}").json()["customer"] == name


def test_a_photo_shows_before_or_after_and_nothing_else(client, job):
    place = f"/api/jobs/{job}/photos/{'0' * 64}?kind=plug&phase="
    assert client.put(place + "%3Cb%3E", content=b"x").status_code == 422
    assert client.put(place + "before", content=b"x").status_code == 400  # it is no photo


def test_a_record_that_holds_what_nobody_expected_takes_no_page_away(client, job, monkeypatch):
    """An import brings whole records, of a newer joblog or of whoever wrote one."""
    shop = client.app.state.shop
    for kind in ("heard", "note", "photo"):
        shop.store.append(job, kind, {}, source="import")
        assert client.get(f"/job/{job}").status_code == 200
        assert client.get(f"/api/jobs/{job}").status_code == 200

    def fails(_):
        raise KeyError("of a kind that nobody thought of")

    other = client.post("/jobs", data=FORM, follow_redirects=False).headers["location"][5:]
    assert "not readable" not in client.get("/").text
    shop.store.append(job, "note", {"text": "x"}, source="import")
    monkeypatch.setattr("joblog.web.jobindex.job_line", fails)
    page = client.get("/")
    assert page.status_code == 200
    assert "nobody thought of" in page.text
    assert other in page.text


@pytest.mark.parametrize("error", [StoreError("the database is busy"), OSError("no more files")])
def test_a_job_that_could_not_be_read_once_is_read_again(client, job, monkeypatch, error):
    """A closed job never changes: it would stay 'not readable' for good."""

    def fails(_):
        raise error

    with monkeypatch.context() as meanwhile:
        meanwhile.setattr("joblog.web.jobindex.job_line", fails)
        client.app.state.shop.index._lines = {}
        assert "not readable" in client.get("/").text
    assert "not readable" not in client.get("/").text
