"""'Help' names what can be said now: every phrase it names is understood, and moves the job on."""

from __future__ import annotations

import re

import pytest

from joblog.job.meaning import meaning_of
from joblog.job.session import JobSession
from joblog.readback.clips import load_clips
from joblog.readback.sequence import free_text, pieces_of
from joblog.sheet.load import library, load_sheet, sheet_text


def phrases(reply) -> list[str]:
    return re.findall("“([^”]+)”", reply.shown)


def test_at_the_start_it_names_the_next_step(bench):
    reply = bench().ok("help")
    assert reply.spoken == "Say vehicle checked, or what is next, or say again."
    assert reply.shown == "Say “vehicle checked”, or “what is next”, or “say again”."
    assert not reply.entries


def test_it_names_what_a_begun_step_still_wants(bench):
    job = bench()
    job.say("drain plug out", "drain plug in")
    assert job.say("help").spoken.startswith("Say torque, and the number, or confirm because")
    job.say("torque four one foot pounds")
    assert "torque" not in job.say("what can i say").spoken


def test_after_a_question_it_names_the_answers(bench):
    job = bench()
    job.say("drain plug in", "torque four one zero foot pounds")
    assert job.state.question is not None
    first, *others = phrases(job.say("help"))
    assert first in ("affirm", "first")
    assert others[-1] == "negative"


def test_a_closed_job_says_so(bench):
    job = bench()
    job.session.close("aborted", "no time")
    assert job.say("help").spoken == "The job is closed."


@pytest.mark.parametrize("key", sorted(library()))
def test_following_it_alone_leads_through_every_sheet(key, store, clock):
    """A newcomer who only repeats what help names gets to the end of each shipped sheet."""
    sheet = load_sheet(key)
    unit = {"type": sheet.applies.to[0]} if sheet.applies.to else {}
    session = JobSession.start(store, sheet_text(key), {"unit": unit}, clock=clock)
    clips = load_clips().by_name
    named = set()
    for _ in range(3 * len(sheet.steps)):
        clock.advance(30)
        reply = session.type_in("help")
        assert len(phrases(reply)) <= 3
        assert not free_text(pieces_of(reply.spoken, clips)), reply.spoken
        for words in phrases(reply):
            number = meaning_of(words, sheet) is None  # 'torque' wants its number behind it
            assert f"“{words}” and the" in reply.shown or not number, words
        marks = [m for w in phrases(reply) if (m := meaning_of(w, sheet)) and m.act == "step"]
        if not marks:
            break
        named.add(marks[0].tag)
        session.type_in(marks[0].text)
    assert named == {f"step:{step.key}" for step in sheet.steps}
