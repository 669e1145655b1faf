"""Rules of the guard that the two scripts don't reach."""

from __future__ import annotations

import io
import threading
from pathlib import Path

import pytest
from PIL import Image
from small_sheets import fluid, step

from joblog.job.guard_photos import debris_findings
from joblog.job.session import JobSession
from joblog.job.types import FindingKind, Photo
from joblog.sheet.model import DebrisLimits

ORDER = """
[sheet]
key = "order"
title = "Order"
revision = "1"
summary = "Steps in order."

[conditions]
bled = "the brakes are bled"
open = "the system is open"

[[steps]]
key = "first"
title = "First"
say = ["first thing"]
before = ["last"]

[[steps]]
key = "washed"
title = "Washed"
say = ["washed"]
optional = true
before = ["last"]

[[steps]]
key = "opened"
title = "Opened"
say = ["opened"]
sets = ["open"]

[[steps]]
key = "closed"
title = "Closed"
say = ["closed up"]
clears = ["open"]

[[steps]]
key = "last"
title = "Last"
say = ["last thing"]
not_while = ["open"]
only_when = ["bled"]

[[steps]]
key = "bled"
title = "Bled"
say = ["brakes bled"]
sets = ["bled"]
"""


def test_before_is_after_read_from_the_other_side(bench):
    job = bench(toml=ORDER)
    job.say("brakes bled", "last thing")
    assert job.open_keys() == ["order:last:first"]
    job.say("first thing")
    assert job.state.finding("order:last:first").resolved == "done afterwards"


def test_an_optional_step_may_be_left_out_but_not_done_too_late(bench):
    job = bench(toml=ORDER)
    job.say("first thing", "brakes bled", "last thing")
    assert job.open_keys() == []
    reply = job.say("washed")
    assert reply.spoken.startswith("Washed should have come before last thing.")


def test_conditions_are_judged_at_the_moment_of_the_step(bench):
    job = bench(toml=ORDER)
    job.say("first thing", "opened", "last thing")
    assert set(job.open_keys()) == {"condition:last:open", "condition:last:bled"}
    job.say("closed up", "brakes bled")
    # That it was open cannot be mended afterwards; that it was bled may have been true all along.
    assert job.open_keys() == ["condition:last:open"]
    job.say("last thing")
    assert job.open_keys() == ["condition:last:open"]  # the second time was in order


def test_of_two_things_noticed_at_once_a_reason_is_for_the_one_named_aloud(bench):
    job = bench(toml=ORDER)
    told = job.say("first thing", "opened", "last thing")
    (one, other) = told.findings
    assert (one.spoken in told.spoken, other.spoken in told.spoken) == (True, False)
    reply = job.say("confirm because checked twice")
    assert reply.spoken == f"Confirmed: {one.spoken} Not confirmed yet: {other.spoken}"
    assert job.open_keys() == [other.key]
    job.say("confirm because checked twice")
    assert job.open_keys() == []


@pytest.mark.parametrize("spoken", ["one quart in", "another quart"])
def test_pouring_in_while_the_drain_plug_is_out(bench, spoken):
    job = bench()
    job.say("vehicle checked", "fill plug loose", "drain plug out")
    reply = job.say(spoken)
    assert reply.spoken.startswith("One quart in. Filled, but drain plug in must come first.")
    job.say("another quart")
    keys = [k for k in job.open_keys() if k.startswith("order:filled")]
    assert keys == ["order:filled:drain-plug-in"]


def test_a_cold_reading_doesn_t_make_the_fluid_warm(bench):
    job = bench()
    job.say("vehicle checked")
    reply = job.say("fluid temperature two five celsius")
    assert reply.findings[0].kind is FindingKind.OUT_OF_SPEC
    assert job.status("warmed-up") == "open"
    assert "warm" not in job.state.conditions


def test_the_same_quart_heard_by_two_people_is_asked(bench, store, clock):
    job = bench()
    job.say("drain plug in", "one quart in", by="Imani Okafor")
    clock.advance(1)
    other = JobSession.resume(store, job.session.job, clock=clock)
    reply = other.type_in("one quart in", by="Marek Dvorak")
    assert reply.tone == "again"
    assert reply.spoken == "Once more, one quart in? Affirm or negative."
    assert other.state.fluids[0].poured_in == 1
    other.type_in("affirm", by="Marek Dvorak")
    assert other.state.fluids[0].poured_in == 2
    clock.advance(5)
    job.say("one quart in", by="Imani Okafor")
    job.say("one quart in", by="Imani Okafor")  # the same person means two
    assert job.state.fluids[0].poured_in == 4


def test_two_fluids_need_their_names_or_the_step_at_hand(bench):
    job = bench(steps=TWO_FLUIDS)
    assert "Which fluid?" in job.say("one liter in").spoken
    job.ok("one liter of coolant in")
    job.ok("half a liter of washer fluid in")
    assert [str(f.poured_in) for f in job.state.fluids] == ["1", "1/2"]
    job.say("coolant full")
    job.ok("half a liter in")  # only one of the two is still to be filled
    assert [str(f.poured_in) for f in job.state.fluids] == ["1", "1"]


TWO_FLUIDS = (
    fluid("coolant", "Coolant", say=["coolant"], total="6 L")
    + fluid("washer", "Washer fluid", say=["washer fluid", "screen wash"], total="4 L")
    + step("coolant-in", "Coolant in", "coolant full", into="coolant")
    + step("washer-in", "Washer fluid in", "washer full", into="washer")
)


def test_an_unusable_photo_is_told_and_settled_by_the_next(bench):
    """The first bytes are a grey picture, in which no dipstick can be found."""
    job = bench()
    grey = io.BytesIO()
    Image.new("RGB", (640, 480), (128, 128, 128)).save(grey, "PNG")
    job.say("vehicle checked", "warm up done")
    reply = job.session.photo(grey.getvalue(), "dipstick")
    assert reply.tone == "warn"
    assert reply.spoken.startswith("Photo dipstick not usable, no dipstick found. Take it again.")
    assert job.status("level-before") == "open"
    good = (Path(__file__).parents[2] / "sample_images" / "dipstick-after.jpg").read_bytes()
    job.session.photo(good, "dipstick")
    assert job.status("level-before") == "done"
    assert [f.resolved for f in job.state.findings if f.key.startswith("photo:")] == [
        "photo retaken"
    ]
    assert [p.entry.body["trial"] for p in job.state.photos] == [1, 2]


def test_two_sessions_at_once_lose_nothing(bench, store):
    """A phone and the bay's microphone write to one job at the same time."""
    job = bench()
    job.say("drain plug in")
    other = JobSession.resume(store, job.session.job)

    def report(session: JobSession, by: str) -> None:
        for _ in range(10):
            session.type_in("fan cycle", by=by)

    threads = [
        threading.Thread(target=report, args=(session, by))
        for session, by in ((job.session, "Imani Okafor"), (other, "Marek Dvorak"))
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert job.state.fan_cycles == other.state.fan_cycles == 20
    assert store.verify(job.session.job).whole


@pytest.mark.parametrize(("count", "said"), [(1, "1 flake of 0.3 mm"), (2, "2 flakes of 0.3 mm")])
def test_one_flake_is_not_called_flakes(bench, count, said):
    job = bench()
    job.say("right vehicle and fluid")
    measurement = {"usable": True, "flakes": [{"length_mm": 0.5}] * count}
    photo = Photo("plug", "before", measurement, job.state.entries[-1], None)
    (found,) = debris_findings(DebrisLimits(flakes=1), photo)
    assert found.text.startswith(said)


@pytest.mark.parametrize("phase", ["before", "once", "after"])
def test_a_flake_is_told_whatever_the_photo_was_taken_for(bench, phase):
    entry = bench().state.entries[-1]
    shown = {"usable": True, "flakes": [{"length_mm": 1.3}], "film_coverage": 0.9}
    flake, film = debris_findings(DebrisLimits(), Photo("plug", phase, shown, entry))
    assert "flake of 1.3 mm, the longest found on" in flake.text
    assert ("cleaned" in flake.text, "cleaned" in film.text) == ((phase == "after"),) * 2
    clean = {"usable": True, "flakes": [], "film_coverage": 0.1}
    assert not list(debris_findings(DebrisLimits(), Photo("plug", phase, clean, entry)))
