"""WCAG 2.2 AA on every page, by axe-core in the browser: each size, in light and in dark."""

from importlib.resources import files

import pytest
from browsing import PHONE, PICTURES, TABLET, WALL, wait_text

try:
    AXE = files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")
except ModuleNotFoundError:
    AXE = ""
pytestmark = pytest.mark.skipif(
    not AXE, reason="axe-core is not installed (package axe-playwright-python)"
)
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
PAGES = (
    "/", "/new", "/orders", "/start", "/start?vin=1KC7F6AB6GH041621",
    "/start?vin=1KC7F6AB6GH041620&was=1KC7F6AB6GH041621", "/phones", "/trust", "/pair/CODE",
    "/phone", "/report/guessed", "/job/JOB", "/phone/JOB", "/desk/JOB", "/job/JOB/report.html",
)  # fmt: skip


@pytest.fixture(scope="module")
def lived_in(shop):
    """A job with everything on it that a page can show: findings, a question, a clock, a photo."""
    import hashlib

    job = shop.open_job(sheet="transaxle-drain-fill", plate="EXA 303")
    shop.say(job, "vehicle checked")
    shop.say(job, "note the wipers smear")
    shop.say(job, "drain plug out")
    data = (PICTURES / "plug-before.jpg").read_bytes()
    name = hashlib.sha256(data).hexdigest()
    shop.client.put(f"/api/jobs/{job}/photos/{name}?kind=plug", content=data)
    shop.say(job, "engine off")  # its reading window is a running clock
    return job


@pytest.mark.parametrize("path", PAGES)
def test_axe_finds_nothing(shop, booth, lived_in, path):
    if path == "/pair/CODE":
        page_with_code = shop.client.post("/phones/pair").text
        path = "/pair/" + page_with_code.split("/pair/")[1].split("<")[0]
    page = booth.page(WALL, bypass_csp=True, reduced_motion="reduce")  # axe comes from outside
    answer = page.goto(shop.here + path.replace("JOB", lived_in))
    assert answer.status in (200, 404 if "guessed" in path else 200)
    if path.startswith(("/job/JOB", "/phone/JOB", "/desk/JOB")) and "report" not in path:
        wait_text(page, "#line", "Live")
        if path in ("/job/JOB", "/phone/JOB"):
            page.wait_for_selector("#noted:not([hidden])")
        for folded in page.locator("summary:visible").all():
            folded.click()
        if path == "/job/JOB":
            page.wait_for_selector("#running:not([hidden])")
    page.evaluate(AXE)
    found = []
    for size in (PHONE, TABLET, WALL):
        page.set_viewport_size({"width": size[0], "height": size[1]})
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            found += [(size, scheme, *complaint) for complaint in complaints(page)]
    assert not found


def complaints(page):
    """Return what axe objects to, and contrasts that it could not judge, with the elements."""
    result = page.evaluate(
        "tags => axe.run({runOnly: {type: 'tag', values: tags}, iframes: false})", TAGS
    )
    assert len(result["passes"]) > 5  # it did look
    unsure = [
        {**rule, "nodes": nodes}
        for rule in result["incomplete"]
        if rule["id"] == "color-contrast"
        # what is written inside a drawing can't be judged by axe: charts are looked at by eye
        and (nodes := [n for n in rule["nodes"] if not n["html"].startswith("<text")])
    ]
    return [
        (
            rule["id"],
            [(node["html"][:120], node["failureSummary"][-120:]) for node in rule["nodes"]],
        )
        for rule in result["violations"] + unsure
    ]


def test_axe_would_find_a_fault(shop, booth):
    page = booth.page(WALL, bypass_csp=True)
    page.goto(f"{shop.here}/new")
    page.evaluate(AXE)
    page.evaluate("document.querySelector('label').style.color = '#bbb'")
    page.evaluate("document.querySelector('select').removeAttribute('id')")
    assert {rule for rule, _ in complaints(page)} >= {"color-contrast", "select-name"}
