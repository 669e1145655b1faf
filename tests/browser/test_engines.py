"""What Safari, Firefox and older phones do otherwise, done to Chromium before the page loads."""

import time

import pytest
from browsing import PATIENCE, PHONE, PICTURES, wait_text
from playwright.sync_api import expect

# Safari lets sound begin only while a touch is handled; an AudioContext made later stays silent.
ONLY_INSIDE_A_TOUCH = """
let inside = false;
for (const name of ["pointerup", "click", "keydown"]) {
  addEventListener(name, () => { inside = true; setTimeout(() => { inside = false; }); }, true);
}
const resume = AudioContext.prototype.resume, state = new WeakMap();
const real = Object.getOwnPropertyDescriptor(BaseAudioContext.prototype, "state").get;
Object.defineProperty(AudioContext.prototype, "state", {
  get() { return state.has(this) ? real.call(this) : "suspended"; },
});
AudioContext.prototype.resume = function () {
  if (!inside && !state.has(this)) return new Promise(() => {});
  state.set(this, true);
  return resume.call(this);
};
"""
NEVER = "AudioContext.prototype.resume = () => new Promise(() => {});" + (
    "Object.defineProperty(AudioContext.prototype, 'state', { get: () => 'suspended' });"
)
TRACKS = """
window.opened = [];
const ask = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
navigator.mediaDevices.getUserMedia = async (wish) => {
  const stream = await ask(wish);
  window.opened.push(...stream.getTracks());
  return stream;
};
"""


def at_bay(booth, shop, job, script, size=PHONE, **more):
    page = booth.page(size, **more)
    page.add_init_script(script)
    page.goto(f"{shop.here}/job/{job}")
    wait_text(page, "#line", "Live")
    return page


def typed(page, text):
    page.fill("#phrase", text)
    page.press("#phrase", "Enter")


def test_sound_begins_inside_the_first_touch(shop, booth, job):
    page = at_bay(booth, shop, job, ONLY_INSIDE_A_TOUCH)
    typed(page, "vehicle checked")
    with page.expect_request("**/speaking"):  # the PC is told: it is said aloud
        wait_text(page, "#answer", "Vehicle checked")
    assert page.inner_text("#voice") == ""


def test_an_answer_that_could_not_sound_is_told_until_the_page_is_touched(shop, booth, job):
    page = at_bay(booth, shop, job, ONLY_INSIDE_A_TOUCH)
    page.evaluate(
        "phrase.value = 'vehicle checked'; document.querySelector('#typed').requestSubmit()"
    )  # as a program does, without a touch
    wait_text(page, "#voice", "plays no sound yet; touch the page once")
    page.click("#h-next")
    typed(page, "what is next")
    expect(page.locator("#voice")).to_have_text("", timeout=PATIENCE)


def test_a_microphone_without_sound_says_so_and_is_closed_again(shop, booth, job):
    """Firefox on a PC without a loudspeaker: its sound never starts."""
    page = at_bay(booth, shop, job, NEVER + TRACKS)
    page.click("#open")
    wait_text(page, "#mic", "Sound doesn't start in this browser")
    assert page.get_attribute("#open", "aria-pressed") == "false"
    assert page.evaluate("opened.map((track) => track.readyState)") == ["ended"]
    typed(page, "vehicle checked")
    wait_text(page, "#answer", "Vehicle checked")


def test_a_browser_that_keeps_no_screen_awake_has_a_bay_all_the_same(shop, booth, job):
    gone = "Object.defineProperty(navigator, 'wakeLock', { value: undefined });"
    page = at_bay(booth, shop, job, gone)
    typed(page, "vehicle checked")
    wait_text(page, "#answer", "Vehicle checked")


@pytest.mark.parametrize("where", ["/job/{}", "/start"])
def test_a_finger_that_slides_goes_on_talking(shop, booth, job, where):
    page = booth.page(PHONE, has_touch=True, is_mobile=True)
    page.goto(shop.here + where.format(job))
    if where != "/start":
        wait_text(page, "#line", "Live")
    page.locator("#hold").scroll_into_view_if_needed()
    box = page.locator("#hold").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    line = page.context.new_cdp_session(page)

    def touch(what, *points):
        line.send("Input.dispatchTouchEvent", {"type": what, "touchPoints": list(points)})

    touch("touchStart", {"x": x, "y": y})
    page.wait_for_selector("#hold[aria-pressed=true]")
    for step in range(1, 9):
        touch("touchMove", {"x": x, "y": y - 8 * step})
        page.wait_for_timeout(30)
    assert page.get_attribute("#hold", "aria-pressed") == "true"
    assert page.evaluate("scrollY") == 0
    touch("touchEnd")
    page.wait_for_selector("#hold[aria-pressed=false]")


NO_OGG = """
window.decoded = 0;
const decode = BaseAudioContext.prototype.decodeAudioData;
BaseAudioContext.prototype.decodeAudioData = async function (data) {
  if (new TextDecoder().decode(data.slice(0, 4)) === "OggS") {
    throw new DOMException("Decoding failed", "EncodingError");
  }
  const sound = await decode.call(this, data);
  window.decoded += sound.duration > 0.3;
  return sound;
};
"""


def test_an_iphone_that_decodes_no_ogg_says_the_same_clips_from_mp3(shop, booth, job):
    """Safari before 18.4."""
    page = at_bay(booth, shop, job, NO_OGG)
    with page.expect_response("**/voice.mp3*") as got:
        typed(page, "vehicle checked")
    assert got.value.ok
    wait_text(page, "#answer", "Vehicle checked")
    until = time.monotonic() + 20
    while page.evaluate("decoded") < 3 and time.monotonic() < until:
        page.wait_for_timeout(50)
    assert page.evaluate("decoded") == 3  # vehicle checked, next, vehicle level
    assert page.inner_text("#voice") == ""


def test_clips_that_no_decoder_takes_are_told_and_the_answer_stands(shop, booth, job):
    nothing = "BaseAudioContext.prototype.decodeAudioData = () => Promise.reject(new Error('no'));"
    page = at_bay(booth, shop, job, nothing)
    typed(page, "vehicle checked")
    wait_text(page, "#answer", "Vehicle checked")
    wait_text(page, "#voice", "The read-back clips can't be used")


def at_phone(booth, shop, job, script):
    page = booth.page(PHONE)
    page.add_init_script(script)
    page.goto(f"{shop.here}/phone/{job}")
    wait_text(page, "#line", "Live")
    return page


FULL = """
IDBObjectStore.prototype.put = () => { throw new DOMException("full", "QuotaExceededError"); };
"""
SWITCHED_OFF = """
IDBFactory.prototype.open = function () { throw new DOMException("no", "SecurityError"); };
"""


@pytest.mark.parametrize("store", [FULL, SWITCHED_OFF])
def test_a_photo_that_the_phone_cannot_keep_is_sent_all_the_same(shop, booth, job, store):
    phone = at_phone(booth, shop, job, store)
    phone.context.set_offline(True)
    phone.set_input_files("#file", PICTURES / "dipstick-after.jpg")
    wait_text(phone, "#verdict", "no room to keep the photo: leave this page open")
    wait_text(phone, "#queue", "1 photo waiting")
    phone.context.set_offline(False)
    wait_text(phone, "#queue", "All photos")
    assert len([e for e in shop.entries(job) if e["kind"] == "photo"]) == 1


def test_a_phone_that_lost_the_line_to_its_store_opens_it_anew(shop, booth, job):
    """An iPhone does while the page lies in the back."""
    keep = """
    window.stores = [];
    const transaction = IDBDatabase.prototype.transaction;
    IDBDatabase.prototype.transaction = function (...asked) {
      window.stores.push(this);
      return transaction.apply(this, asked);
    };
    """
    phone = at_phone(booth, shop, job, keep)
    wait_text(phone, "#queue", "All photos")
    phone.evaluate("stores.forEach((store) => store.close())")
    phone.context.set_offline(True)
    phone.set_input_files("#file", PICTURES / "dipstick-after.jpg")
    wait_text(phone, "#queue", "1 photo waiting")
    assert "no room" not in phone.inner_text("#verdict")  # it lies in the phone's store
    phone.context.set_offline(False)
    wait_text(phone, "#queue", "All photos")


def test_a_browser_that_refuses_the_worker_has_a_phone_page(shop, booth, job):
    refused = "navigator.serviceWorker.register = () => Promise.reject(new Error('no'));"
    phone = at_phone(booth, shop, job, refused)
    wait_text(phone, "#queue", "All photos")  # and no error of the script, which would fail here


def test_the_advisors_words_are_given_back_by_the_name_of_their_finding(shop, booth, job):
    """Firefox fills in after a reload what was typed: never into another finding's field."""
    early = booth.page()
    early.goto(f"{shop.here}/desk/{job}")
    wait_text(early, "#line", "Live")
    shop.say(job, "drain plug out")
    wait_text(early, "#findings", "must come first")  # drawn live
    late = booth.page()
    late.goto(f"{shop.here}/desk/{job}")
    forms = "(all) => all.map((f) => [f.dataset.finding, f.querySelector('textarea').name])"
    for page in (early, late):
        pairs = page.locator("#findings form").evaluate_all(forms)
        assert len(pairs) > 1
        assert all(finding == name for finding, name in pairs), pairs
