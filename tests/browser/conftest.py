"""One shop and one browser for all browser tests: starting them is what takes time."""

import pytest
from browsing import CHROMIUM, Booth, ShopPC


def pytest_collection_modifyitems(items):
    if CHROMIUM is None:
        for item in items:
            if "/browser/" in item.path.as_posix():
                item.add_marker(pytest.mark.skip(reason="Chromium is not installed"))


@pytest.fixture(scope="session")
def shop(tmp_path_factory):
    shop = ShopPC(tmp_path_factory.mktemp("shop"))
    yield shop
    shop.stop()


@pytest.fixture(scope="session")
def play():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        yield play


@pytest.fixture(scope="session")
def browser(shop, play, tmp_path_factory):
    booth = Booth(play, tmp_path_factory.mktemp("booth"), shop.pin)
    yield booth
    booth.browser.close()


@pytest.fixture
def booth(browser):
    """The browser, left clean; a fault in a page's script fails the test."""
    yield browser
    browser.leave()


@pytest.fixture
def job(shop):
    return shop.open_job()
