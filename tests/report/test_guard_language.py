"""The guard's sentences in another language: none of the shipped sheets' falls back to English.

And none is changed in its facts: made anew in English, it has the numbers, units and steps of the
guard's own.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from joblog.job.session import JobSession
from joblog.job.types import Finding, JobState
from joblog.job.values import converted
from joblog.job.wrenches import good_range
from joblog.record.clock import ManualClock
from joblog.record.store import open_store
from joblog.report.build import build_report
from joblog.report.catalogue import sheet_texts
from joblog.report.context import Context
from joblog.report.language import Language, languages
from joblog.report.sentences import _RULES, guard_sentence
from joblog.report.settings import ShopSettings
from joblog.sheet.load import library, sheet_text
from joblog.sheet.model import Sheet, Step

OTHERS = [code for code in languages() if code != "en"]
SHEETS = list(library())
# Words that no sentence in Spanish has; the guard's English is full of them.
ENGLISH = re.compile(
    r"\b(the|was|were|is|are|and|must|before|after|which|reported|of|out|not|only|with|to|at|went)\b",
    re.I,
)
TOOTHLESS = "made up"  # a unit that no sheet is for


def spoilt(s: Any) -> None:
    """Do everything on a sheet wrong: backwards, out of limits, too early, and half of it not."""
    unit = {"type": TOOTHLESS, "engine": TOOTHLESS, "vin": TOOTHLESS}
    meter = {"job": "a", "at": "2026-05-03T08:00:00.000Z", "value": "91240", "unit": "mi"}
    s.open(unit=unit | {"odometer": "9124", "odometer_unit": "mi"}, earlier_meter=meter)
    sheet: Sheet = s.sheet
    label = {"usable": True, "why": None, "labels": [], "vin": "1M8GDM9AXKP042788"}
    s.photo(None, "label", "once", label)
    taken_back = s.step(sheet.steps[-1].key)
    s.add("disregarded", {}, supersedes=taken_back)
    for part in sheet.parts:
        s.add("part", {"part": part.key, "state": "reused", "step": None})
    for step in reversed(sheet.steps[1:]):  # the first is left out
        if step.window:
            for _ in range(2):
                s.add("clock", {"name": "fan-cycle", "event": "start"}, 1)
            s.step(step.window.since, 5)
            if step.photo:
                body = {"usable": True, "level_fraction": "0.5", "level_uncertainty": "0.01"}
                s.photo(step.key, step.photo.kind, step.photo.phase, body, 5)
        values(s, step)
        s.step(step.key)
    s.add("job-closed", {"how": "finished", "reason": ""})


def values(s: Any, step: Step) -> None:
    if step.torque:
        for which in range(step.torque.count, 1, -1):
            one = {"value": str(step.torque.value * 2), "unit": step.torque.unit}
            s.add("torque", {"step": step.key, "which": str(which), **one})
        if step.torque.count == 1:
            one = {"value": str(step.torque.value), "unit": step.torque.unit}
            s.add("torque", {"step": step.key, "wrench": unfit(s.sheet, step), **one})
    if step.reading and (step.reading.high or step.reading.low) is not None:
        value = step.reading.high + 50 if step.reading.high is not None else step.reading.low - 50
        body = {"step": step.key, "name": step.reading.name, "value": str(value)}
        s.add("reading", body | {"unit": step.reading.unit})
    if step.pour:
        fluid = next(f for f in s.sheet.fluids if f.key == step.pour.fluid)
        amount = fluid.service
        value = "9" if step.pour.direction == "in" else "0.1"
        body = {"fluid": fluid.key, "direction": step.pour.direction, "value": value}
        s.add("quantity", body | {"unit": amount.unit if amount else "L", "step": step.key})


def unfit(sheet: Sheet, step: Step) -> str:
    """A wrench of the sheet that is not good for the step's torque, else any."""
    assert step.torque
    for tool in sheet.tools:
        band = good_range(tool) if tool.highest else None
        if band is None or tool.highest is None:
            continue
        exact = converted(step.torque.value, step.torque.unit, tool.highest.unit) or Fraction(0)
        if not band[0] <= exact <= band[1]:
            return tool.key
    return next((t.key for t in sheet.tools if t.highest), "")


def own_english(sheet: Sheet, t: Language) -> set[str]:
    """The sheet's texts that have another wording in the language."""
    return {text for text in sheet_texts(sheet) if t.sheet(text) != text}


def check(state: JobState, media: Any, code: str) -> None:
    t = Language.find(code)
    report = build_report(state, media, language=code)
    assert len(report.findings) == len(state.findings)
    for finding, found in zip(state.findings, report.findings, strict=True):
        said = found.text
        assert found.original == "", (finding.key, finding.text)
        assert said != finding.customer, finding.key
        if code == "es":
            assert not ENGLISH.search(said.replace(TOOTHLESS, "")), (finding.key, said)
        for text in own_english(state.sheet, t):
            assert text not in said, (finding.key, said)


@pytest.mark.parametrize("code", OTHERS)
@pytest.mark.parametrize("key", SHEETS)
def test_no_guard_sentence_of_a_shipped_sheet_is_english(
    new_script: Callable[..., Any], key: str, code: str
) -> None:
    script = new_script(sheet_key=key)
    spoilt(script)
    state = script.state()
    assert len({rule(f) for f in state.findings}) >= 5
    check(state, script.media, code)


def rule(finding: Finding) -> str:
    return finding.key.partition(":")[0]


def clocked(folder: Path) -> Iterator[JobState]:
    """Jobs of which the clock was set, and the machine restarted in the middle of a window."""
    unit = {"unit": {"type": "KT-6F"}, "technician": "Imani Okafor"}
    for restarts in (False, True):
        clock = ManualClock(datetime(2026, 11, 24, 9, tzinfo=UTC))
        with open_store(folder / str(restarts), clock=clock) as store:
            text = sheet_text("transaxle-drain-fill")
            job = JobSession.start(store, text, unit, clock=clock)
            job.type_in("engine off")
            clock.advance(60)
            way = 1 if restarts else -1
            if restarts:
                clock.restart("again")
            else:
                clock.set_wall(datetime(2026, 11, 24, 9, tzinfo=UTC) + timedelta(hours=way))
            photo = Path(__file__).parents[2] / "sample_images" / "dipstick-after.jpg"
            job.photo(photo.read_bytes(), "dipstick", "level-read")
            yield job.state


@pytest.mark.parametrize("code", OTHERS)
def test_a_set_clock_and_a_restart_are_told_in_the_language(tmp_path: Path, code: str) -> None:
    for state in clocked(tmp_path):
        check(state, lambda _: b"", code)


def test_these_jobs_break_every_rule_that_the_shipped_sheets_can_break(
    new_script: Callable[..., Any], tmp_path: Path
) -> None:
    """None of them tightens in stages or offers a wrench that is not good for its torque."""
    tried = {rule(f) for state in clocked(tmp_path) for f in state.findings}
    for key in SHEETS:
        script = new_script(sheet_key=key)
        spoilt(script)
        tried |= {rule(f) for f in script.state().findings}
    assert set(_RULES) - tried == {"stage", "wrench"}
    assert "undone" in tried


SHOPS_OWN = (
    (Path(__file__).parents[1] / "browser/sheets/short-drain.toml").read_text(encoding="utf-8")
    + """
[[tools]]
key = "small-wrench"
name = "Small torque wrench"
say = ["small wrench"]
lowest = { value = 5, unit = "lbf.ft" }
highest = { value = 30, unit = "lbf.ft" }

[[steps]]
key = "cover-one"
title = "Tapa, primera vuelta"
say = ["first round done"]
torque = { fastener = "cover bolt", value = 20, unit = "lbf.ft", tolerance = 2, stage = 1 }

[[steps]]
key = "cover-two"
title = "Tapa, segunda vuelta"
say = ["second round done"]
after = ["cover-one"]
torque = { fastener = "cover bolt", value = 40, unit = "lbf.ft", tolerance = 2, stage = 2 }
"""
)


def test_stages_and_wrenches_of_a_shops_own_sheet_are_told_in_full(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        job = JobSession.start(store, SHOPS_OWN, {"technician": "Imani Okafor"})
        for step, value, wrench in (
            ("cover-one", "20", "torque-wrench"),
            ("cover-two", "40", "small-wrench"),  # reads to 30
            ("cover-one", "20", "torque-wrench"),  # loosened and begun again
        ):
            body = {"step": step, "value": value, "unit": "lbf.ft", "wrench": wrench}
            store.append(job.job, "torque", body, source="hand", by="Imani Okafor")
        report = build_report(job.state, store.read_media, language="es")
    assert [found.text.replace("\xa0", " ") for found in report.findings] == [
        "En «Tapa, segunda vuelta» se apretó a 40 lbf·ft con una llave que vale para 5 a 30 "
        "lbf·ft.",
        "«Tapa, primera vuelta» se repitió después de «Tapa, segunda vuelta», que debe ir detrás.",
    ]
    assert not any(found.original for found in report.findings)


def test_what_was_wrong_is_said_in_full(new_script: Callable[..., Any]) -> None:
    script = new_script(sheet_key="wheel-refit")
    spoilt(script)
    report = build_report(script.state(), script.media, language="es", units="metric")
    said = {found.text.replace("\xa0", " ") for found in report.findings}
    for words in (
        "En «Delantera derecha: par final, en cruz» el número 2 se apretó antes que el número 1.",
        "En «Delantera derecha: par final, en cruz» se comunicó 230 N·m (n.º 2); lo especificado "
        "es 109 a 121 N·m.",
        "En «Delantera derecha: par final, en cruz» falta esto: par de apriete n.º 1.",
        "«El vehículo está sobre sus caballetes» no se comunicó como hecho.",
    ):
        assert words in said, said


SPAN = re.compile(r"(?:\b(\d+) h)?(?: ?\b(\d+) min)?(?: ?\b(\d+) s\b)?")
FIGURE = re.compile(r"-?\d+(?:[.,]\d+)*")
SIGN = re.compile(r"-?\d+(?:[.,]\d+)* (lbf·ft|lbf·in|N·m|US qt|qt|L|mL|°C|°F|mm|in|°|psi|V)(?!\w)")


def plain(text: str) -> str:
    return text.replace("\xa0", " ").translate({0x2068: None, 0x2069: None})


def seconds(text: str) -> str:
    """The text with '2 min 15 s' as '135 s'."""

    def one(found: re.Match[str]) -> str:
        hours, minutes, rest = (int(n or 0) for n in found.groups())
        return f"{hours * 3600 + minutes * 60 + rest} s" if found[0].strip() else found[0]

    return SPAN.sub(one, text)


def facts(text: str) -> tuple[list[str], list[str], list[str]]:
    """Numbers, units and quoted titles, in no order."""
    text = seconds(plain(text))
    titles = re.findall(r"“([^”]*)”", text)
    rest = re.sub(r"“[^”]*”", "", text)
    numbers = [n.replace(",", "") for n in FIGURE.findall(rest)]
    return sorted(numbers), sorted(SIGN.findall(rest)), sorted(titles)


def told(state: JobState, finding: Finding) -> list[str]:
    contexts = (Context(state, Language.find("en"), u, ShopSettings()) for u in ("us", "metric"))
    return [guard_sentence(c, finding) for c in contexts]


def _same_facts(guards: str, anew: str) -> bool:
    """The same numbers and units, and each title; the report may name one step more.

    A range from 0 to 0 is told as 0.
    """
    (numbers, signs, titles), (*others, more) = facts(guards), facts(anew)
    same = [set(numbers), set(signs)] == [set(other) for other in others]
    return same and set(titles) <= set(more)


def unlike(state: JobState) -> list[tuple[str, str, str]]:
    """Findings of which neither a US nor a metric reader is told what the guard noticed.

    That a sheet isn't for a unit is left out: the guard sets the sheet's title in other marks. So
    is a meter: the guard writes its date in figures.
    """
    return [
        (finding.key, finding.customer, anew[0])
        for finding in state.findings
        if all(anew := told(state, finding))
        and not any(_same_facts(finding.customer, one) for one in anew)
        and not finding.key.startswith(("unit:", "meter:"))
    ]


@pytest.mark.parametrize("key", list(library()))
def test_a_sentence_made_anew_has_the_same_facts(new_script: Callable[..., Any], key: str) -> None:
    script = new_script(sheet_key=key)
    spoilt(script)
    state = script.state()
    assert sum(all(told(state, f)) for f in state.findings) >= 5
    assert unlike(state) == []


def test_so_it_is_with_clocks(tmp_path: Path) -> None:
    for state in clocked(tmp_path):
        assert unlike(state) == []


def test_what_was_typed_and_dropped_is_told_so(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        job = JobSession.start(store, SHOPS_OWN, {"technician": "Imani Okafor"})
        for line in ("drain plug torqued to 400 ft lb", "negative"):
            job.type_in(line, by="Imani Okafor")
        told = {f.text for f in build_report(job.state, {}.__getitem__, language="es").findings}
    assert (
        "Una frase escrita no quedó clara; el programa preguntó. No se registró nada de ella."
        in told
    )


def test_photos_confirmed_and_then_taken_back_are_told_in_full(
    new_script: Callable[..., Any],
) -> None:
    script = new_script()
    script.open()
    level = {"usable": True, "level_fraction": "1.4", "level_uncertainty": "0.01"}
    blurred = {"usable": False, "why": "the photo is blurred; hold the phone still"}
    for step, kind, phase, measured, rule in (
        ("level-read", "dipstick", "", level, "level"),
        ("plug-as-found", "plug", "before", blurred, "photo"),
    ):
        shot = script.photo(step, kind, phase, measured)
        told = {"finding": f"{rule}:{shot.id}", "reason": "it was checked twice"}
        script.add("confirmed", told)
        script.add("disregarded", {}, supersedes=shot)
    found = {
        code: build_report(script.state(), script.media, language=code).findings
        for code in ("en", "es")
    }
    ended = [row for row in found["es"] if "retirado" in row.resolved]
    titles = [s.title for s in script.sheet.steps if s.key == "plug-as-found"]
    assert [row.text for row in ended] == [
        "La foto muestra el nivel del fluido por encima de la marca alta.",
        f"La foto para «{Language.find('es').sheet(titles[0])}» no sirvió, porque salió borrosa.",
    ], ended
    assert not any(row.original for row in ended)
    told_of = [row.text for row in found["en"] if "taken back" in row.resolved]
    assert told_of[1].endswith("was not usable, as it was blurred.")
