"""Replay is a pure function of the entries: properties, and sums recomputed by hand."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from joblog.job.replay import replay
from joblog.job.types import JobState
from joblog.record.clock import Moment
from joblog.record.entry import GENESIS, Entry, content_hash
from joblog.record.times import uuid7
from joblog.sheet.load import load_sheet, sheet_text

PATH = Path(__file__).parent / "data" / "transaxle-drain-fill.toml"
SHEET = load_sheet(PATH)
TOML = sheet_text(PATH)
START = "2026-11-25T09:00:00.000Z"
STEPS = [step.key for step in SHEET.steps]

# One wish to append an entry: kind, body, and how many entries back it supersedes (0: none).
Wish = tuple[str, dict[str, Any], int]


def entries_of(wishes: Iterable[Wish]) -> list[Entry]:
    """Chain entries as a store does, a second apart."""
    job = uuid7(START)
    opened: Wish = ("job-opened", {"sheet": {"toml": TOML}, "unit": {"type": "KT-6F"}}, 0)
    chain: list[Entry] = []
    for n, (kind, body, back) in enumerate([opened, *wishes]):
        moment = Moment(START, f"{n}.000", "boot")
        old = chain[-back].id if 0 < back < len(chain) else None
        fields = {
            "id": uuid7(START),
            "job": job,
            "seq": n,
            "at": moment.at,
            "mono": moment.mono,
            "boot": moment.boot,
            "source": "voice",
            "by": "Imani Okafor",
            "kind": kind,
            "body": body,
            "media": (),
            "supersedes": old,
            "prev": chain[-1].hash if chain else GENESIS,
        }
        digest = content_hash({**fields, "media": []})
        chain.append(Entry(**fields, hash=digest))
    return chain


values = st.decimals(min_value=0, max_value=60, places=1).map(str)
quantities = st.fractions(min_value=Fraction(1, 8), max_value=3, max_denominator=8)


def quantity(value: Fraction, direction: str = "in", unit: str = "qt_us") -> dict[str, Any]:
    text = f"{value.numerator}/{value.denominator}"
    return {"fluid": "gear-fluid", "direction": direction, "value": text, "unit": unit}


wishes = st.one_of(
    st.tuples(
        st.just("step-done"),
        st.fixed_dictionaries({"step": st.sampled_from([*STEPS, "no-such-step"])}),
        st.just(0),
    ),
    st.tuples(
        st.just("torque"),
        st.fixed_dictionaries(
            {
                "step": st.sampled_from(["drain-plug-in", "fill-plug-in"]),
                "value": values,
                "unit": st.sampled_from(["lbf.ft", "N.m", "L", "nonsense"]),
            }
        ),
        st.integers(0, 3),
    ),
    st.tuples(
        st.just("quantity"),
        st.builds(quantity, quantities, st.sampled_from(["in", "out"])),
        st.integers(0, 3),
    ),
    st.tuples(
        st.just("reading"),
        st.fixed_dictionaries(
            {
                "step": st.just("warmed-up"),
                "name": st.just("fluid temperature"),
                "value": values,
                "unit": st.just("degC"),
            }
        ),
        st.integers(0, 2),
    ),
    st.tuples(st.just("note"), st.fixed_dictionaries({"text": st.text(max_size=8)}), st.just(0)),
    st.tuples(st.just("disregarded"), st.just({}), st.integers(1, 4)),
    st.tuples(st.just("confirmed"), st.fixed_dictionaries({"reason": st.just("x")}), st.just(0)),
    st.tuples(st.just("asked"), st.just({"about": "close", "question": "?"}), st.just(0)),
    st.tuples(st.sampled_from(["from-the-future", "photo", "clock"]), st.just({}), st.just(0)),
)
scripts = st.lists(wishes, max_size=25)


@settings(max_examples=60)
@given(scripts)
def test_replaying_the_same_entries_gives_the_same_job(script):
    entries = entries_of(script)
    assert replay(SHEET, entries) == replay(SHEET, list(entries))


@settings(max_examples=40)
@given(scripts)
def test_every_beginning_of_a_record_is_a_job_and_keys_of_findings_are_unique(script):
    entries = entries_of(script)
    for length in range(len(entries) + 1):
        state = replay(SHEET, entries[:length])
        keys = [finding.key for finding in state.findings]
        assert len(keys) == len(set(keys))
        assert state.entries == tuple(entries[:length])


def facts(state: JobState) -> tuple[object, ...]:
    """Everything of a job that doesn't depend on the ids of its entries."""
    return (
        [(s.step.key, s.status, s.missing, [v.value for v in s.values]) for s in state.steps],
        state.fluids,
        state.conditions,
        [
            (f.kind, f.text, bool(f.resolved))
            for f in state.findings
            if not f.key.startswith("undone:")  # what was taken back is told, and changes nothing
        ],
    )


@settings(max_examples=40)
@given(scripts, st.data())
def test_notes_and_unknown_entries_change_nothing_wherever_they_come(script, data):
    script = [(kind, body, 0) for kind, body, _ in script if kind != "disregarded"]
    at = data.draw(st.integers(0, len(script)))
    kind = data.draw(st.sampled_from(["note", "from-the-future", "heard"]))
    extra = (kind, {"text": "by the way"}, 0)
    plain = replay(SHEET, entries_of(script))
    longer = replay(SHEET, entries_of([*script[:at], extra, *script[at:]]))
    assert facts(longer) == facts(plain)
    assert len(longer.entries) == len(plain.entries) + 1


@settings(max_examples=60)
@given(st.lists(st.tuples(quantities, st.sampled_from(["in", "out"])), max_size=12))
def test_sums_are_exact(pours):
    state = replay(SHEET, entries_of([("quantity", quantity(v, d), 0) for v, d in pours]))
    fluid = state.fluids[0]
    assert fluid.poured_in == sum((v for v, d in pours if d == "in"), Fraction(0))
    assert fluid.poured_out == sum((v for v, d in pours if d == "out"), Fraction(0))


@settings(max_examples=40)
@given(st.lists(quantities, min_size=1, max_size=6))
def test_only_the_last_correction_counts(amounts):
    script: list[Wish] = [("quantity", quantity(amounts[0]), 0)]
    script += [("quantity", quantity(v), 1) for v in amounts[1:]]
    state = replay(SHEET, entries_of(script))
    assert state.fluids[0].poured_in == amounts[-1]
    (value,) = state.values
    assert [Fraction(e.body["value"]) for e in value.corrected_from] == amounts[:-1]


@settings(max_examples=60)
@given(st.lists(quantities, min_size=2, max_size=5))
def test_two_corrections_of_the_same_entry_don_t_count_twice(amounts):
    script: list[Wish] = [("quantity", quantity(amounts[0]), 0)]
    script += [("quantity", quantity(v), back) for back, v in enumerate(amounts[1:], start=1)]
    assert replay(SHEET, entries_of(script)).fluids[0].poured_in == amounts[-1]


@settings(max_examples=40)
@given(scripts)
def test_taking_the_last_entry_back_gives_the_job_before_it(script):
    wanted = [w for w in script if w[0] not in ("disregarded", "asked", "confirmed")]
    if not wanted:
        return
    before = replay(SHEET, entries_of(wanted[:-1]))
    undone = replay(SHEET, entries_of([*wanted, ("disregarded", {}, 1)]))
    if wanted[-1][0] in ("from-the-future",):
        return
    assert facts(undone) == facts(before)


def test_a_sheet_s_unit_of_account_is_exact_across_units():
    # 1 US qt = 0.946352946 L exactly (NIST SP 811, B.8): 0.946352946 L in is 1 qt.
    script: list[Wish] = [
        ("quantity", {**quantity(Fraction(1)), "value": "0.946352946", "unit": "L"}, 0)
    ]
    assert replay(SHEET, entries_of(script)).fluids[0].poured_in == 1


def test_the_share_renewed_is_what_the_mixing_formula_gives():
    # 3.3 of 7.6 quarts: 43.42 % (common practice, no source); here on a sheet of that size.
    fluid = SHEET.fluids[0]
    total = fluid.total.model_copy(update={"value": Decimal("7.6")})
    sheet = SHEET.model_copy(update={"fluids": (fluid.model_copy(update={"total": total}),)})
    script: list[Wish] = [
        ("quantity", quantity(Fraction("3.3"), "out"), 0),
        ("quantity", quantity(Fraction("3.3")), 0),
    ]
    assert replay(sheet, entries_of(script)).fluids[0].renewed == Decimal("0.4342")
