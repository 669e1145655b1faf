"""A shop of its own for each test, and a job that is open in it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from joblog.web.app import STATIC, create_app
from joblog.web.shop import Shop

FORM = {"sheet": "transaxle-drain-fill", "type": "KT-6F", "technician": "Imani Okafor"}


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    """This PC's browser, at a shop whose records lie in ``tmp_path``."""
    with TestClient(create_app(Shop.at(tmp_path))) as client:
        yield client


@pytest.fixture
def job(client: TestClient, request: pytest.FixtureRequest) -> str:
    """The id of a job, opened as the form of the test's module says where that has a FORM."""
    form = getattr(request.module, "FORM", FORM)
    answer = client.post("/jobs", data=form, follow_redirects=False)
    assert answer.status_code == 303
    return answer.headers["location"].rsplit("/", 1)[1]


@pytest.fixture
def listed(client: TestClient) -> TestClient:
    """The same browser, with the orders of the example file on today's list."""
    example = (STATIC / "orders-example.csv").read_bytes()
    assert client.put("/api/orders", content=example).json()["new"] == 4
    return client


def offered(page: str) -> list[tuple[str, str]]:
    """Return the VINs that a page offers, in its order, with the words beside them."""
    pattern = r'href="/start\?vin=(\w+)&amp;was[^>]*><span[^>]*>[^<]*</span> <small>([^<]*)<'
    return re.findall(pattern, page)
