"""Phrases that say a value: torques and angles, amounts, readings."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from joblog.job.aloud import (
    NUMBER_WORDS,
    digits,
    either,
    fastener_words,
    fluid_words,
    plural,
    staged,
    words_of,
)
from joblog.job.controls import Phrase
from joblog.job.ranges import may_range, range_rule
from joblog.job.said_units import fluid_unit, reading_rule, torque_unit, unit_words
from joblog.job.wording import step_name
from joblog.sheet.model import Sheet, Torque


def torque_phrases(sheet: Sheet) -> Iterator[Phrase]:
    """The name of a fastener stands for the step at hand where several steps tighten it."""
    named: set[str] = set()
    wrench = _with_wrench(sheet)
    for step in sheet.steps:
        if step.torque is None:
            continue
        name, unit = fastener_words(step), unit_words(step.torque.unit)
        if name not in named:
            named.add(name)
            yield Phrase(
                tag=f"torque:{step.key}",
                pattern=_suffixed(_torque_pattern(name, step.torque), wrench),
                example=f"{name} torqued to {digits(step.torque.value)} {unit}",
                does=f"records the torque: {step.torque.fastener}",
                group="Values",
                correctable=True,
            )
        yield Phrase(
            tag=f"torque-at:{step.key}",
            pattern=f"({either(step.say)}) [and] (torqued | torque | at) [to | at] <torque-value>"
            f"{wrench}",
            example=f"{step_name(step)} torqued to {digits(step.torque.value)} {unit}",
            does=f"records the torque: {step.title}",
            group="Values",
            correctable=True,
        )
        if step.torque.angle is not None:
            yield _angle_phrase(step.key, name, step.title, step.torque)
    yield from _torque_at_hand(sheet, wrench)
    if any(s.torque and s.torque.angle is not None for s in sheet.steps):
        yield from _angle_at_hand(sheet)


def _torque_at_hand(sheet: Sheet, wrench: str) -> Iterator[Phrase]:
    """A torque without a name; with the number of its fastener where a step has several."""
    first = next((step.torque for step in sheet.steps if step.torque), None)
    most = max((step.torque for step in sheet.steps if step.torque), key=_count, default=None)
    if first is not None and most is not None:
        numbered = f" | number ({_numbers_said(most)}) [is | torqued | torque | at] [to | at]"
        numbered = f"{numbered} <torque-value>" if most.count > 1 else ""
        pattern = f"(torque | torqued) [to | is | at] <torque-value>{numbered}"
        yield Phrase(
            tag="torque:here",
            pattern=_suffixed(pattern, wrench) if numbered else f"{pattern}{wrench}",
            example=f"torque {digits(first.value)} {unit_words(torque_unit(sheet))}",
            does="records the torque of the step at hand",
            group="Values",
            correctable=True,
        )


def _count(torque: Torque) -> int:
    return torque.count


def _with_wrench(sheet: Sheet) -> str:
    """Return how the wrench is said behind a torque, '' where there is no choice to speak of."""
    wrenches = [tool for tool in sheet.tools if tool.highest]
    if len(wrenches) < 2 and not any(tool.say for tool in wrenches):
        return ""
    ways = [
        f"({either(tool.say or [words_of(tool.name)])}) {{wrench:{tool.key}}}" for tool in wrenches
    ]
    return f" [(with | using) [the] ({' | '.join(ways)})]"


def _suffixed(pattern: str, suffix: str) -> str:
    return f"({pattern}){suffix}" if suffix else pattern


def _torque_pattern(name: str, torque: Torque) -> str:
    value = "<torque-value>"
    ways = f"[is] [torqued | torque | tight] [to | at] {value}"
    if torque.count == 1:
        return f"{name} {ways} | torque {name} [to | is | at] {value}"
    # A number needs a word after it, or 'nut five one ten' could be taken apart in two ways.
    numbers, every = _numbers_said(torque), _every(name, torque)
    return (
        f"{name} {ways} | {name} [number] ({numbers}) (is | torqued | torque | tight | at)"
        f" [torqued] [to | at] {value} | {every} [are | is] [torqued | torque | tight] [to | at]"
        f" {value} | torque ({every} | {name}) [to | is | at] {value}"
    )


def _numbers_said(torque: Torque) -> str:
    numbered = enumerate(NUMBER_WORDS[1 : torque.count + 1], 1)
    return " | ".join(f"{word} {{which:{n}}}" for n, word in numbered)


def _every(name: str, torque: Torque) -> str:
    many = staged(plural(words_of(torque.fastener)), torque)
    return f"((all [the] | each) {{which:all}}) ({name} | {many})"


def _angle_phrase(key: str, name: str, title: str, torque: Torque) -> Phrase:
    value = "<angle-value>"
    turned = f"([is | are] turned [by | another] | angle [is]) {value}"
    ways = f"{name} {turned} | angle {name} {value}"
    if torque.count > 1:
        every = _every(name, torque)
        ways += f" | {name} [number] ({_numbers_said(torque)}) {turned} | {every} {turned}"
        ways += f" | angle {every} {value}"
    return Phrase(
        tag=f"angle:{key}",
        pattern=ways,
        example=f"{name} turned nine zero degrees",
        does=f"records the angle after the torque: {title}",
        group="Values",
        correctable=True,
    )


def _angle_at_hand(sheet: Sheet) -> Iterator[Phrase]:
    """An angle without a name, where no reading of the sheet has that very name."""
    if any(s.reading and words_of(s.reading.name) == "angle" for s in sheet.steps):
        return
    yield Phrase(
        tag="angle:here",
        pattern="(angle | turned) [is | by | another] <angle-value>",
        example="angle nine zero degrees",
        does="records the angle of the step at hand",
        group="Values",
        correctable=True,
    )


def quantity_phrases(sheet: Sheet) -> Iterator[Phrase]:
    """What is poured in or out, of each fluid by its name and of the one at hand without."""
    poured = {(s.pour.fluid, s.pour.direction) for s in sheet.steps if s.pour}
    several = len({key for key, _ in poured}) > 1
    for fluid in sheet.fluids:
        words = fluid_words(fluid)
        name, unit = f"[of] ({either(words)})", fluid_unit(fluid)
        named = _Poured(fluid.key, name, fluid.name, unit, words[0] if several else "")
        if (fluid.key, "in") in poured:
            yield from _in_phrases(named)
        if (fluid.key, "out") in poured:
            yield _out_phrase(named)
    first = next((f for f in sheet.fluids if f.key in {key for key, _ in poured}), None)
    here = _Poured("here", "", "the fluid at hand", fluid_unit(first) if first else "L")
    if any(direction == "in" for _, direction in poured):
        yield from _in_phrases(here)
    if any(direction == "out" for _, direction in poured):
        yield _out_phrase(here)


@dataclass(frozen=True)
class _Poured:
    """A fluid in the phrases of what is poured: ``name`` is its pattern, ``unit`` the sheet's own.

    ``called`` is its name in the examples, '' where the sheet has no other.
    """

    key: str
    name: str
    label: str
    unit: str
    called: str = ""

    def amount(self, number: str) -> str:
        """Return an amount in the sheet's own unit, as one says it."""
        unit = unit_words(self.unit)
        unit = unit.removesuffix("s") if number == "one" else unit
        return f"{number} {unit} of {self.called}" if self.called else f"{number} {unit}"


def _in_phrases(fluid: _Poured) -> Iterator[Phrase]:
    key, name, label = fluid.key, fluid.name, fluid.label
    into = "(in | added | poured in | went in | gone in)"
    yield Phrase(
        tag=f"in:{key}",
        pattern=f"<volume-value> {name} {into} | (add | added | pour | poured | filled [with])"
        f" <volume-value> {name} [in]",
        example=f"{fluid.amount('one')} in",
        does=f"adds to the sum that went in: {label}",
        group="Values",
        correctable=True,
    )
    yield Phrase(
        tag=f"more:{key}",
        pattern=f"(another | one more) <more-value> {name} [{into}]"
        f" | <further-value> {name} {into}"
        f" | (another [one | bottle | container] | one more (bottle | container)) {name} [{into}]",
        example=fluid.amount("one").replace("one", "another", 1),
        does=f"adds one more: {label}",
        group="Values",
    )
    yield Phrase(
        tag=f"share:{key}",
        pattern=f"<share-value> [of] (this | that) (one | bottle | container) {name} [{into}]",
        example=f"a third of this one {fluid.called}".strip(),
        does=f"adds a share of one container: {label}",
        group="Values",
    )


def _out_phrase(fluid: _Poured) -> Phrase:
    key, name, label = fluid.key, fluid.name, fluid.label
    return Phrase(
        tag=f"out:{key}",
        pattern=f"(drained | drain) <volume-value> {name}"
        f" | <volume-value> {name} (out | drained | came out | drained out)",
        example=f"drained {fluid.amount('three point one')}",
        does=f"records what came out: {label}",
        group="Values",
        correctable=True,
    )


def reading_phrases(sheet: Sheet) -> Iterator[Phrase]:
    """The name of a reading stands for the step at hand where several steps want it."""
    named: set[str] = set()
    for step in sheet.steps:
        if step.reading is None:
            continue
        value, unit = f"<{reading_rule(step.reading.unit)}>", unit_words(step.reading.unit)
        if may_range(step.reading.unit):
            value = f"({value} | <{range_rule(step.reading.unit)}>)"
        name = words_of(step.reading.name)
        if name not in named:
            named.add(name)
            yield Phrase(
                tag=f"reading:{step.key}",
                pattern=f"{name} [is | at | reads] {value}",
                example=f"{name} eight zero {unit}",
                does=f"records the reading: {step.reading.name}",
                group="Values",
                correctable=True,
            )
        yield Phrase(
            tag=f"reading-at:{step.key}",
            pattern=f"({either(step.say)}) [at | is] {value}",
            example=f"{step_name(step)} at eight zero {unit}",
            does=f"records the reading: {step.title}",
            group="Values",
            correctable=True,
        )
