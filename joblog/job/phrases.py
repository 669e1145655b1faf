"""The one list of what can be said on a job.

Grammar, parser, help card and tests all come from :func:`phrases_of`; nothing else knows a phrase.
Each phrase carries the tag that names its meaning::

    step:KEY  torque:KEY  torque-at:KEY  torque:here  angle:KEY  reading:KEY  reading-at:KEY
    in:FLUID  in:here  out:FLUID  out:here  more:FLUID  share:FLUID  photo:KIND  clock:NAME
    part-new:PART  part-old:PART
    control:NAME  note
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from joblog.job.controls import ANY, CONTROLS, Phrase
from joblog.job.ranges import may_range, range_rule
from joblog.job.said_units import fluid_unit, reading_rule, torque_unit, unit_words
from joblog.job.wording import capital, step_name
from joblog.sheet.fragments import spoken_form
from joblog.sheet.model import Fluid, Sheet, Step, Torque
from joblog.speech.numbers import digits_of

DONE = "[is] [now] (done | complete | finished) | okay"
_NOT_WORDS = re.compile(r"[^a-z' -]+")


def digits(value: Decimal) -> str:
    """Return a sheet's own value as it is said digit by digit, for examples."""
    return digits_of(format(value, "f"))


def words_of(text: str) -> str:
    """Return ``text`` (a name on the sheet) as plain words that a grammar may hold."""
    return " ".join(_NOT_WORDS.sub(" ", text.lower()).replace("-", " ").split())


def phrases_of(sheet: Sheet) -> tuple[Phrase, ...]:
    """Return everything that can be said on a job of ``sheet``."""
    found = [
        *_step_phrases(sheet),
        *_torque_phrases(sheet),
        *_quantity_phrases(sheet),
        *_reading_phrases(sheet),
        *_photo_phrases(sheet),
        *_part_phrases(sheet),
        *_question_phrases(sheet),
        *CONTROLS,
    ]
    return tuple(found)


def help_card(sheet: Sheet) -> dict[str, list[Phrase]]:
    """Return the phrases under their headings, in the order of the list."""
    card: dict[str, list[Phrase]] = {}
    for phrase in phrases_of(sheet):
        card.setdefault(phrase.group, []).append(phrase)
    return card


def _either(patterns: tuple[str, ...] | list[str]) -> str:
    return " | ".join(f"({pattern})" for pattern in dict.fromkeys(patterns))


def _step_phrases(sheet: Sheet) -> Iterator[Phrase]:
    for step in sheet.steps:
        yield Phrase(
            tag=f"step:{step.key}",
            pattern=f"({_either(step.say)}) [{DONE}]",
            example=step_name(step),
            does=f"marks: {step.title}",
            group="Steps",
        )


def fastener_words(step: Step) -> str:
    """Return what the fastener of ``step`` is called aloud, with its stage where it has several."""
    assert step.torque is not None
    return _staged(words_of(step.torque.fastener), step.torque)


def _staged(name: str, torque: Torque) -> str:
    return name if torque.stage == 1 else f"{name} stage {_count_word(torque.stage)}"


NUMBER_WORDS = tuple(
    "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen"  # noqa: SIM905 - legible
    " fifteen sixteen seventeen eighteen nineteen twenty".split()
)


def _count_word(number: int) -> str:
    return NUMBER_WORDS[number] if number < len(NUMBER_WORDS) else digits_of(str(number))


def _torque_phrases(sheet: Sheet) -> Iterator[Phrase]:
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
            pattern=f"({_either(step.say)}) [and] (torqued | torque | at) [to | at] <torque-value>"
            f"{wrench}",
            example=f"{step_name(step)} torqued to {digits(step.torque.value)} {unit}",
            does=f"records the torque: {step.title}",
            group="Values",
            correctable=True,
        )
        if step.torque.angle is not None:
            yield _angle_phrase(step.key, name, step.title, step.torque)
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
    if any(s.torque and s.torque.angle is not None for s in sheet.steps):
        yield from _angle_at_hand(sheet)


def _count(torque: Torque) -> int:
    return torque.count


def _with_wrench(sheet: Sheet) -> str:
    """Return how the wrench is said behind a torque, '' where there is no choice to speak of."""
    wrenches = [tool for tool in sheet.tools if tool.highest]
    if len(wrenches) < 2 and not any(tool.say for tool in wrenches):
        return ""
    ways = [
        f"({_either(tool.say or [words_of(tool.name)])}) {{wrench:{tool.key}}}" for tool in wrenches
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
    many = _staged(plural(words_of(torque.fastener)), torque)
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


def plural(name: str) -> str:
    """Return the plural of a fastener's name."""
    return name if name.endswith("s") else f"{name}s"


def fluid_words(fluid: Fluid) -> list[str]:
    """Return what ``fluid`` is called aloud."""
    return list(fluid.say) or [words_of(fluid.name)]


def _quantity_phrases(sheet: Sheet) -> Iterator[Phrase]:
    poured = {(s.pour.fluid, s.pour.direction) for s in sheet.steps if s.pour}
    several = len({key for key, _ in poured}) > 1
    for fluid in sheet.fluids:
        words = fluid_words(fluid)
        name, unit = f"[of] ({_either(words)})", fluid_unit(fluid)
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


def _reading_phrases(sheet: Sheet) -> Iterator[Phrase]:
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
            pattern=f"({_either(step.say)}) [at | is] {value}",
            example=f"{step_name(step)} at eight zero {unit}",
            does=f"records the reading: {step.title}",
            group="Values",
            correctable=True,
        )


def _photo_phrases(sheet: Sheet) -> Iterator[Phrase]:
    kinds = dict.fromkeys(s.photo.kind for s in sheet.steps if s.photo)
    for kind in kinds:
        word = "picture" if kind == "other" else kind
        yield Phrase(
            tag=f"photo:{kind}",
            pattern=f"(photo | picture) [of] [the] {word} [before {{phase:before}} | after "
            "{phase:after}]",
            example=f"photo {word}",
            does=f"takes a photo: {capital(word)}",
            group="Photos",
        )
    back = "(disregard | take back)"
    for kind in kinds:
        word = "picture" if kind == "other" else kind
        # 'photo plug' behind 'disregard' would be two phrases in one breath: the order differs.
        name = word if kind == "other" else f"{word} (photo | picture)"
        yield Phrase(
            tag=f"control:disregard-photo:{kind}",
            pattern=f"{back} (the | that) {name} [before {{phase:before}} | after {{phase:after}}]",
            example=f"disregard the {word}{'' if kind == 'other' else ' photo'}",
            does=f"takes back the last photo of this kind: {capital(word)}",
            group="Correcting",
        )
    if kinds:
        yield Phrase(
            tag=f"control:disregard-photo:{ANY}",
            pattern=f"{back} (the | that) [last] photo",
            example="disregard the last photo",
            does="takes back the last photo, whatever came after it",
            group="Correcting",
        )


def _question_phrases(sheet: Sheet) -> Iterator[Phrase]:
    """Questions about the sheet's own values, where it has any; none records anything."""
    if any(step.torque for step in sheet.steps):
        yield Phrase(
            tag="control:torque",
            pattern="what torque [is it] | (what is | what's) the torque",
            example="what torque",
            does="gives the sheet's torque for the step at hand",
            group="Asking",
        )
    if not sheet.fluids:
        return
    names = _either(["fluid | oil", *(name for f in sheet.fluids for name in fluid_words(f))])
    yield Phrase(
        tag="control:amount",
        pattern=f"how much ({names} | [fluid | oil] goes in)"
        " | how many (quarts | liters | pints | ounces) [go in]",
        example="how much fluid",
        does="gives the amount that goes in by the sheet",
        group="Asking",
    )
    yield Phrase(
        tag="control:fluid",
        pattern=f"(which | what) ({names}) [goes in]",
        example="which fluid",
        does="names the fluid of the sheet",
        group="Asking",
    )


def _part_phrases(sheet: Sheet) -> Iterator[Phrase]:
    """Of parts that the sheet gives a spoken name: fitted new, or the old one put back."""
    for part in sheet.parts:
        if not part.say:
            continue
        name = f"({_either(part.say)})"
        said = spoken_form(part.say[0])
        yield Phrase(
            tag=f"part-new:{part.key}",
            pattern=f"new {name} [is] (in | on | fitted)",
            example=f"new {said} fitted",
            does=f"records a new part: {part.name}",
            group="Parts",
        )
        yield Phrase(
            tag=f"part-old:{part.key}",
            pattern=f"(old | used | same) {name} [is] (kept | in | on | fitted | reused)"
            f" | {name} reused",
            example=f"old {said} kept",
            does=f"records that the old one was put back: {part.name}",
            group="Parts",
        )


def example_sentence(phrase: Phrase) -> str:
    """Return a sentence that the phrase's pattern allows, for help and tests."""
    return phrase.example or spoken_form(phrase.pattern)
