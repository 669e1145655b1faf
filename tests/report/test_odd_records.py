"""Records that are whole but odd: another program's, an older version's, or plain nonsense."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, assume, given, settings
from hypothesis import strategies as st

from joblog.report.html import render_html
from joblog.report.model import Report
from joblog.report.pdf import render_pdf

PHASES = (Phase.explicit, Phase.reuse, Phase.generate)  # shrinking whole jobs takes minutes
KINDS = [
    "step-done",
    "torque",
    "quantity",
    "reading",
    "photo",
    "note",
    "asked",
    "answered",
    "confirmed",
    "explained",
    "disregarded",
    "heard",
    "clock",
    "signature",
    "job-closed",
    "something-new",
]
TEXT = st.text(max_size=12) | st.sampled_from(
    [
        "drain-plug-in",
        "gear-fluid",
        "plug",
        "dipstick",
        "fluid",
        "label",
        "before",
        "in",
        "out",
        "lbf.ft",
        "qt_us",
        "40",
        "-1",
        "1/3",
        "1/0",
        "NaN",
        "1e9",
        "Infinity",
        "aborted",
        "np.float64(1)",
    ]
)
JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**6), 10**6) | TEXT,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXT, inner, max_size=3),
    max_leaves=6,
)
NAMES = [
    "step",
    "value",
    "unit",
    "fluid",
    "direction",
    "name",
    "kind",
    "phase",
    "text",
    "finding",
    "reason",
    "heard",
    "how",
    "verdict",
    "confidence",
    "question",
    "options",
    "event",
]
MEASURED = [
    "usable",
    "why",
    "film_coverage",
    "flakes",
    "flake_count",
    "longest_flake_mm",
    "magnet_diameter_mm",
    "level_fraction",
    "level_uncertainty",
    "lab",
    "labels",
]
BODY = st.fixed_dictionaries(
    {},
    optional=dict.fromkeys(NAMES, TEXT)
    | {"measurement": st.dictionaries(st.sampled_from(MEASURED), JSON, max_size=5)},
)
ENTRIES = st.lists(st.tuples(st.sampled_from(KINDS), BODY, st.integers(0, 3)), max_size=8)


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck), phases=PHASES)
@given(
    entries=ENTRIES,
    opening=st.dictionaries(
        st.sampled_from(["shop", "unit", "customer", "order", "technician", "complaint"]),
        JSON,
        max_size=4,
    ),
)
def test_any_whole_record_gives_a_report(
    entries: list[Any], opening: dict[str, Any], new_script: Any, make: Callable[..., Report]
) -> None:
    s = new_script(number=50)
    s.open(**opening)
    for kind, body, back in entries:
        old = s.entries[-back] if 0 < back < len(s.entries) else None
        s.add(kind, body, supersedes=old)
    try:
        s.state()
    except (AttributeError, TypeError, ValueError, ArithmeticError):
        assume(False)  # what replay makes of such bodies is the job room's to test
    for language, units in (("en", "both"), ("es", "metric")):
        report = make(s, language=language, units=units)
        assert render_html(report).rstrip().endswith("</html>")
        assert report.final_hash == s.entries[-1].hash


@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck), phases=PHASES)
@given(text=st.text(max_size=200))
def test_any_text_can_be_typeset(text: str, new_script: Any, make: Callable[..., Report]) -> None:
    s = new_script(number=51)
    s.open(complaint=text, technician=text, customer={"name": text}, order=text)
    s.say("note", "note", {"text": text})
    assert render_pdf(make(s), s.record()).startswith(b"%PDF-1.7")


@pytest.mark.parametrize("value", ["abc", None, [], {"a": 1}, True, "NaN", "-5", "1e400"])
def test_an_odd_odometer_is_left_out(
    value: object, new_script: Any, make: Callable[..., Report], play: Callable[..., Any]
) -> None:
    s = play(new_script(number=52))
    assert s.entries[0].body["unit"]["odometer"] == "88412"
    odd = new_script(number=53)
    odd.open(unit={"odometer": value, "odometer_unit": "parsec", "make": 7})
    odd.add("job-closed", {"how": "finished"})
    report = make(odd)
    assert render_html(report)
