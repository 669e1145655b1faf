"""What is next after something was said or photographed out of its order."""

from __future__ import annotations

from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SHEET = (ROOT / "tests/browser/sheets/short-drain.toml").read_text(encoding="utf-8")
PLUG = (ROOT / "sample_images/plug-before.jpg").read_bytes()


def early(bench, how):
    """The drain plug came out, said or photographed, before the fill plug was loose."""
    job = bench(toml=SHEET)
    job.ok("vehicle checked")
    reply = job.say("drain plug out") if how == "said" else job.session.photo(PLUG, "plug")
    assert "fill plug loose must come first" in reply.shown
    assert job.status("drain-plug-out") != "open"  # it is recorded all the same
    return job


def next_key(job):
    return job.state.next_step.step.key


@pytest.mark.parametrize("how", ["said", "photographed"])
def test_the_step_that_must_come_first_stays_next(bench, how):
    job = early(bench, how)
    assert next_key(job) == "fill-plug-loose"
    assert "fill plug loose" in job.say("what is next").spoken.lower()
    job.say("fill plug loose")
    assert not job.open_keys()
    assert next_key(job) == "drain-plug-in"


@pytest.mark.parametrize("how", ["said", "photographed"])
def test_once_the_order_is_confirmed_with_a_reason_the_job_goes_on(bench, how):
    job = early(bench, how)
    job.session.confirm("order:drain-plug-out:fill-plug-loose", "it was loose before", "Imani")
    assert next_key(job) == "drain-plug-in"


def test_taken_back_it_is_as_if_it_was_not_said(bench):
    job = early(bench, "said")
    job.say("disregard")
    assert next_key(job) == "fill-plug-loose"
    assert job.status("drain-plug-out") == "open"


TANK = """
[[steps]]
key = "tank-cleaned"
title = "Clean the tank"
say = ["tank cleaned"]
after = ["fill-plug-loose"]
"""


def test_nothing_waits_for_a_step_whose_moment_has_passed(bench):
    """Else the screens would say 'All steps done' while the tank is still dirty."""
    job = bench(toml=SHEET + TANK)
    job.ok("vehicle checked")
    job.say("drain plug out")
    job.session.confirm("order:drain-plug-out:fill-plug-loose", "it was loose before", "Imani")
    proposed = []
    while (following := job.state.next_step) and "tank-cleaned" not in proposed:
        assert following.step.key not in (*proposed, "fill-plug-loose")
        proposed.append(following.step.key)
        body = {"step": following.step.key}
        job.session.store.append(job.session.job, "step-done", body, source="hand", by="Imani")
    assert proposed[-1] == "tank-cleaned"
