"""Keys alone, a screen reader that clicks, and letters of twice the size."""

import pytest
from browsing import DESK, IN_SIGHT, PHONE, PICTURES, utter, wait_text
from playwright.sync_api import expect

TWICE = "html { font-size: 200% !important }"
WIDER = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
# What stands out of the page, or out of its own button, on either side.
OUT = """() => [...document.querySelectorAll("main :is(button, input, select, a, h1, p), nav a")]
  .filter((e) => e.getClientRects().length && !e.closest(".visually-hidden, .skip"))
  .filter((e) => e.getBoundingClientRect().right > document.documentElement.clientWidth + 1
    || e.matches("button") && e.scrollWidth > e.clientWidth + 1)
  .map((e) => `${e.tagName} ${e.id} ${e.textContent.slice(0, 30)}`)"""


@pytest.mark.parametrize("path", ["/job/{}", "/phone/{}", "/desk/{}", "/start", "/", "/voice"])
def test_letters_of_twice_the_size_fit_a_narrow_screen(shop, booth, job, path):
    shop.say(job, "drain plug out")  # findings and buttons for them
    shop.say(job, "drain plug torque 141 foot pounds")
    page = booth.page(PHONE)
    page.goto(f"{shop.here}{path.format(job)}")
    page.add_style_tag(content=TWICE)
    if "{}" in path:
        wait_text(page, "#line", "Live")
    assert page.evaluate(WIDER) <= 1
    assert page.evaluate(OUT) == []


def test_who_answers_with_keys_is_on_the_answer_then_and_on_no_other_button(shop, booth, job):
    page = booth.page()
    page.goto(f"{shop.here}/job/{job}")
    page.fill("#phrase", "drain plug torque 141 foot pounds")
    page.press("#phrase", "Enter")
    page.locator("#options button", has_text="negative").focus()
    shop.say(job, "what is next")  # on another screen: the buttons stay, and so does who is on one
    wait_text(page, "#heard", "what is next")
    expect(page.locator("#options button", has_text="negative")).to_be_focused()
    page.keyboard.press("Enter")
    wait_text(page, "#answer", "Nothing noted.")
    expect(page.locator("#answer")).to_be_focused()
    page.fill("#phrase", "drain plug out")
    page.press("#phrase", "Enter")
    expect(page.locator("#back")).to_be_visible()
    page.locator("#back").focus()
    page.keyboard.press("Enter")
    wait_text(page, "#answer", "Disregarded")
    expect(page.locator("#answer")).to_be_focused()


def test_the_same_answer_once_more_is_read_out_once_more(shop, booth, job):
    page = booth.page()
    page.goto(f"{shop.here}/job/{job}")
    wait_text(page, "#line", "Live")
    page.evaluate(
        """() => { window.told = 0; new MutationObserver(() => { window.told += 1; })
             .observe(document.getElementById("answer"), { childList: true }); }"""
    )
    for times in (1, 2, 3):
        with page.expect_response(f"**/api/jobs/{job}/say"):
            page.fill("#phrase", "no such words")
            page.press("#phrase", "Enter")
        page.wait_for_function("(times) => window.told >= times", arg=times)


def test_a_click_without_a_hand_holds_the_line_open_until_the_next(shop, booth, job):
    page = booth.page()
    page.goto(f"{shop.here}/job/{job}")
    for pressed in ("true", "false"):
        page.dispatch_event("#hold", "click")
        expect(page.locator("#hold")).to_have_attribute("aria-pressed", pressed)
    page.focus("#hold")
    page.keyboard.down("Space")
    expect(page.locator("#hold")).to_have_attribute("aria-pressed", "true")
    page.keyboard.up("Space")
    expect(page.locator("#hold")).to_have_attribute("aria-pressed", "false")


def test_the_kind_of_photo_is_chosen_with_the_arrows(shop, booth, job):
    page = booth.page(PHONE)
    page.goto(f"{shop.here}/phone/{job}")
    wait_text(page, "#line", "Live")
    kinds = page.locator("#kinds button")
    chosen = page.locator("#kinds [aria-checked=true]")
    first = chosen.get_attribute("data-kind")
    chosen.focus()
    page.keyboard.press("ArrowRight")
    expect(chosen).to_be_focused()
    assert chosen.get_attribute("data-kind") != first
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("ArrowLeft")
    order = [kinds.nth(i).get_attribute("data-kind") for i in range(kinds.count())]
    assert chosen.get_attribute("data-kind") == order[order.index(first) - 1]
    assert page.locator("#kinds [tabindex='0']").count() == 1


def test_a_running_clock_changes_its_words_and_not_its_place(shop, booth):
    job = shop.open_job(sheet="transaxle-drain-fill")
    shop.say(job, "engine off")
    page = booth.page()
    page.goto(f"{shop.here}/job/{job}")
    line = page.wait_for_selector("#clocks .time")
    before = line.inner_text()
    page.wait_for_function(
        "([node, words]) => node.isConnected && node.textContent !== words", arg=[line, before]
    )


def test_on_the_phone_a_photo_out_of_order_is_let_stand_or_taken_back_without_a_word(
    shop, booth, job
):
    page = booth.page(PHONE)
    page.goto(f"{shop.here}/phone/{job}")
    page.set_input_files("#file", PICTURES / "dipstick-before.jpg")
    wait_text(page, "#verdict", "must come first")
    page.get_by_role("button", name="Confirm because").click()
    page.get_by_role("button", name="It was not possible").click()
    wait_text(page, "#verdict", "Confirmed")
    assert [e["body"]["reason"] for e in shop.entries(job) if e["kind"] == "confirmed"] == [
        "It was not possible"
    ]
    page.set_input_files("#file", PICTURES / "dipstick-after.jpg")
    wait_text(page, "#verdict", "Level not sure.")  # the two photos disagree
    page.click("#back")
    wait_text(page, "#verdict", "Disregarded")
    assert [e["kind"] for e in shop.entries(job)][-1] == "disregarded"


def test_at_the_desk_each_field_says_which_finding_or_note_it_is_about(shop, booth, job):
    shop.say(job, "drain plug out")
    shop.say(job, "note the wipers smear")
    page = booth.page()
    page.goto(f"{shop.here}/desk/{job}")
    wait_text(page, "#line", "Live")
    about = page.get_by_role("group", name="Drain plug out, but fill plug loose must come first.")
    expect(about.get_by_label("For the customer")).to_be_visible()
    note = page.get_by_role("group", name="the wipers smear")
    expect(note.get_by_role("button", name="Tell the customer")).to_be_visible()


@pytest.mark.parametrize("size", [PHONE, DESK])
def test_on_the_phone_a_question_is_answered_by_touch_or_key(shop, booth, job, size):
    page = booth.page(size)
    page.goto(f"{shop.here}/phone/{job}")
    wait_text(page, "#line", "Live")
    expect(page.locator("#question")).to_be_hidden()
    shop.say(job, "torque drain plug fourteen foot pounds")
    wait_text(page, "#asked", "first, one four foot-pounds, or second, four zero foot-pounds?")
    answers = page.locator("#question button")
    expect(answers).to_have_text(["first: 14 lbf·ft", "second: 40 lbf·ft", "negative"])
    for seen, _ in answers.evaluate_all(IN_SIGHT):  # at the foot of the screen, not of the page
        assert seen
    page.locator("#help").focus()  # nothing lies over what has the focus
    assert page.locator("#help").evaluate_all(IN_SIGHT)[0][0]
    answers.nth(1).focus()
    page.keyboard.press("Enter")
    wait_text(page, "#answer", "Torque drain plug, four zero foot-pounds.")
    expect(page.locator("#answer")).to_be_focused()
    expect(page.locator("#question")).to_be_hidden()
    assert page.locator("#answer").evaluate_all(IN_SIGHT)[0][0]
    assert [e["body"]["value"] for e in shop.entries(job) if e["kind"] == "torque"] == ["40"]


def test_a_question_that_was_said_on_the_phone_stands_there_once(shop, booth, job):
    page = booth.page(PHONE)
    page.goto(f"{shop.here}/phone/{job}")
    wait_text(page, "#line", "Live")
    page.click("#mute")
    utter(booth, page, "39-note", "Go ahead.")
    expect(page.locator("#asked")).to_be_visible()
    assert page.inner_text("#asked") == page.text_content("#answer")
    assert page.locator("#answer").bounding_box()["width"] <= 1  # for a screen reader alone
    page.evaluate("scrollTo(0, 0)")
    page.locator("#options button").dispatch_event("click")  # a touch on an iPhone gives no focus
    wait_text(page, "#answer", "Disregarded")
    assert page.locator("#answer").evaluate_all(IN_SIGHT)[0][0]


def test_the_customer_signs_with_keys_alone(shop, booth, job):
    page = booth.page()
    page.goto(f"{shop.here}/desk/{job}")
    page.get_by_role("button", name="Keep the signature").focus()
    page.keyboard.press("Enter")
    wait_text(page, "#signed", "or type your name below it")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.type("Tomas Lindqvist")
    page.keyboard.press("Enter")
    wait_text(page, "#signed", "Signature kept, as typed.")
    expect(page.get_by_label("type your name")).to_have_value("")
    page.keyboard.press("Enter")  # signs nothing once more
    (kept,) = [e for e in shop.entries(job) if e["kind"] == "signature"]
    assert kept["body"] == {"name": "Tomas Lindqvist", "how": "typed"}
    assert kept["media"] == []
