"""Two bays at once, each with a microphone of its own that stays open, on one recogniser."""

from browsing import Booth, wait_text

# What was spoken is in sample_audio/script.toml; the pauses are those of somebody at work.
LEFT = ("01-vehicle-checked", "02-standing-level", "03-warm-up-done")
RIGHT = ("07-wheels-chocked", "06-chatter", "08-on-stands")


def heard(shop, job):
    said = [e["body"] for e in shop.entries(job) if e["kind"] == "heard"]
    return [body["text"] for body in said if body["verdict"] != "reject"]


def test_each_of_two_bays_hears_its_own_microphone_alone(shop, booth, play, tmp_path):
    other = Booth(play, tmp_path, shop.pin)
    try:
        jobs = shop.open_job(plate="EXA 101"), shop.open_job(plate="EXA 202")
        pages = booth.page(), other.page()
        for page, job in zip(pages, jobs, strict=True):
            page.goto(f"{shop.here}/job/{job}")
            page.click("#mute")  # the next line comes before an answer would be said
        booth.speak(*LEFT)
        other.speak(*RIGHT)
        for page in pages:
            page.click("#open")
        wait_text(pages[0], "#answer", "Warm up done.")
        wait_text(pages[1], "#answer", "On stands.")
        assert heard(shop, jobs[0]) == ["vehicle checked", "standing level", "warm up done"]
        assert heard(shop, jobs[1]) == ["wheels chocked", "vehicle on stands"]
        other.leave()
    finally:
        other.browser.close()
