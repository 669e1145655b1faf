"""Every shipped sheet carried out from a spoken script in which something goes wrong.

A script's lines are phrases; ``> words`` must stand in the last answer, ``+N`` lets N seconds pass,
``photo KIND FILE`` takes a sample picture. Order of work and cautions are common practice, no
source.
"""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from joblog.job.session import JobSession
from joblog.record.clock import ManualClock
from joblog.record.store import open_store
from joblog.sheet.load import library, load_sheet, sheet_text

HERE = Path(__file__).parent
PICTURES = HERE.parents[1] / "sample_images"


def opening(key):
    units = load_sheet(key).applies.to
    return {"unit": {"type": units[0]} if units else {}, "technician": "Imani Okafor"}


@pytest.mark.parametrize("key", list(library()))
def test_sheet_runs_from_a_spoken_script(key, tmp_path):
    clock = ManualClock(datetime(2026, 11, 24, 9, tzinfo=UTC))
    store = open_store(tmp_path, clock=clock)
    session = JobSession.start(store, sheet_text(key), opening(key), clock=clock)
    lines = (HERE / "scripts" / f"{key}.txt").read_text(encoding="utf-8").splitlines()
    reply, expected = None, 0
    for line in (text for text in lines if text and not text.startswith("#")):
        clock.advance(5)
        if line.startswith("> "):
            assert line[2:].lower() in f"{reply.spoken} {reply.shown}".lower(), (line, reply)
            expected += 1
        elif line.startswith("+"):
            clock.advance(int(line[1:]))
        elif line.startswith("photo "):
            _, kind, name = line.split()
            reply = session.photo((PICTURES / name).read_bytes(), kind)
        else:
            reply = session.type_in(line)
            assert reply.tone != "again", (line, reply)
    state = session.state
    assert expected >= 2
    assert state.closed == "finished"
    taken_back = [entry for entry in state.entries if entry.kind == "disregarded"]
    assert state.findings or taken_back, "something should have gone wrong"
    assert all(finding.resolved or finding.kind == "observation" for finding in state.findings)
    assert store.verify(session.job).whole
    store.close()


def test_a_sample_that_was_not_taken_in_time_is_not_the_next_step_for_ever(tmp_path):
    """The tank is empty: its old oil can't be sampled any more."""
    store = open_store(tmp_path)
    session = JobSession.start(store, sheet_text("hydraulic-pack"), opening("hydraulic-pack"))
    for line in ("locked out", "pressure is off", "gauge pressure zero bar"):
        session.type_in(line)
    assert session.state.next_step.step.key == "sample"
    reply = session.type_in("tank is empty")
    assert "sample taken must come first" in reply.spoken
    session.type_in("confirm because not possible")
    session.type_in("drained five eight liters")
    assert session.state.next_step.step.key == "line-off"
    store.close()
