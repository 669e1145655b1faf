"""The engine oil sheet from a spoken script: metric units, a wait without an end."""

from __future__ import annotations

SCRIPT = (
    "right vehicle and oil",
    "engine warm",
    "chocks in",
    "vehicle on stands",
    "drain plug removed is done",
    "stopped dripping",
    "drain plug tightened",
    "torque three nine newton metres",
    "old filter out",
    "new filter fitted okay",
    "vehicle down",
    "five litres in",
    "point four litres in",
    "filling done",
    "engine started",
    "engine stopped",
)


def test_the_job_runs_clean_up_to_the_wait(bench):
    job = bench("engine-oil-filter")
    job.ok(*SCRIPT)
    assert job.open_keys() == []
    assert job.state.fluids[0].poured_in * 10 == 54


def test_filling_short_of_the_sheet_is_told_where_nothing_was_drained(bench):
    job = bench("engine-oil-filter")
    job.ok(*SCRIPT[:11])
    job.say("four litres in", "filling done")
    assert job.open_keys() == ["quantity:engine-oil:below"]
    job.say("another")  # one container: a litre
    assert job.open_keys() == ["quantity:engine-oil:below"]
    job.say("a half litre in")
    assert job.open_keys() == []


def test_mixed_units_are_added_exactly(bench):
    # 1 US qt = 0.946352946 L exactly (NIST SP 811, B.8: 1 gal = 231 in³, 1 in = 25.4 mm)
    job = bench("engine-oil-filter")
    job.ok(*SCRIPT[:11])
    job.ok("four litres in", "one quart in")
    assert str(job.state.fluids[0].poured_in * 10**9) == "4946352946"


def test_a_wait_without_end_opens_and_never_closes(bench):
    job = bench("engine-oil-filter")
    job.ok(*SCRIPT)
    assert job.session.tick() == []
    job.clock.advance(180)
    assert [r.spoken for r in job.session.tick()] == ["Reading window open: level read."]
    job.clock.advance(86400)
    assert job.session.tick() == []
    assert job.say("level read").tone == "ok"


def test_chocks_before_stands(bench):
    job = bench("engine-oil-filter")
    reply = job.say("vehicle on stands")
    assert reply.findings[0].key == "condition:raised:chocked"
    assert "the wheels are chocked" in reply.spoken
