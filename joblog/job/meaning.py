"""What a sentence of the job's grammar means."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from joblog.job.grammar import grammar_for_sheet
from joblog.job.ranges import RANGED
from joblog.job.said_ranges import as_range, said_range
from joblog.job.said_units import SaidValue, said_values
from joblog.job.typed import ranges_apart, reason_in, typed_words
from joblog.job.value_rules import RANGE_RULES, VALUE_RULES
from joblog.sheet.model import Sheet
from joblog.speech.grammar import Parse


@dataclass(frozen=True)
class Meaning:
    """A sentence understood.

    ``act`` is the tag before its first colon: step, torque, in, out, more, share, reading, photo,
    clock, control, note, bare, or foil, of what is not done; ``target`` what follows it. ``text``
    is the sentence without a lead ('uh'). ``values`` are the readings that the spoken number allows
    (one, unless it is ambiguous); their unit is '' where none was said. ``correction`` is set by
    the word 'correction'. ``span`` is where in ``text`` the words of the value begin and end;
    (0, 0) where there is none. ``own_reason`` is a reason in typed words, where ``reason`` is none
    of those that can be said.
    """

    act: str
    target: str
    text: str
    values: tuple[SaidValue, ...] = ()
    correction: bool = False
    reason: str = ""
    own_reason: str = ""
    phase: str = ""
    which: str = ""
    wrench: str = ""
    span: tuple[int, int] = (0, 0)

    @property
    def tag(self) -> str:
        """The tag of the phrase, as the grammar carries it."""
        return f"{self.act}:{self.target}" if self.target else self.act

    @property
    def value(self) -> Fraction | None:
        """The plain reading of the value."""
        return self.values[0].value if self.values else None

    @property
    def unit(self) -> str:
        """The unit that was said, '' where none was."""
        return self.values[0].unit if self.values else ""

    def with_values(self, values: tuple[SaidValue, ...]) -> Meaning:
        """Return the same meaning with other values."""
        return replace(self, values=values)

    def of_number(self, which: str) -> Meaning:
        """Return the same meaning of the fastener numbered ``which``."""
        return replace(self, which=which)

    @property
    def gist(self) -> tuple[object, ...]:
        """What distinguishes two sentences that say different things from two that don't."""
        values = tuple((v.value, v.upper, v.unit) for v in self.values)
        return (self.tag, values, self.correction, self.reason, self.phase, self.which, self.wrench)


def meaning_of(sentence: str, sheet: Sheet) -> Meaning | None:
    """Return what ``sentence`` (lower-case words) means on ``sheet``, None for nothing."""
    parse = grammar_for_sheet(sheet).parse(sentence)
    return None if parse is None else from_parse(parse)


def meaning_of_typed(typed: str, sheet: Sheet) -> Meaning | None:
    """Return what typed words mean: a phrase, a reason in somebody's own words, or a range."""
    meaning = meaning_of(typed_words(typed), sheet)
    return meaning or own_reason(typed) or typed_range(typed, sheet)


def own_reason(typed: str) -> Meaning | None:
    """Return what a typed 'confirm because ...' in somebody's own words means, None for others.

    Only typed words are sure enough for that. Without a reason in it, it is asked for.
    """
    text = typed.strip()
    if text.partition(" ")[0].lower().strip(".,:;!") != "confirm":
        return None
    return Meaning("control", "confirm", text, own_reason=reason_in(text))


def typed_range(typed: str, sheet: Sheet) -> Meaning | None:
    """Return what typed words with a range such as '40-42' mean, None for others."""
    meaning = meaning_of(typed_words(ranges_apart(typed)), sheet)
    ranged = meaning is not None and any(v.upper is not None for v in meaning.values[:1])
    return meaning if ranged else None


def with_ranges(bare: Meaning) -> Meaning:
    """Return a number alone with the ranges that it sounds like, for a reading that may be one."""
    values = bare.values
    if not values or any(v.upper is not None for v in values):
        return bare
    ranges = as_range(bare.text.split()[slice(*bare.span)])
    unit = values[0].unit
    return bare.with_values((*values, *(replace(v, unit=v.unit or unit) for v in ranges)))


def from_parse(parse: Parse) -> Meaning | None:
    """Return what the tags and spans of a parsed sentence mean, None without a tag."""
    fields: dict[str, str] = {}
    act, target, correction = "", "", False
    for tag in parse.tags:
        head, _, rest = tag.partition(":")
        if tag == "correction":
            correction = True
        elif head in ("reason", "phase", "which", "wrench"):
            fields[head] = rest
        elif not act:
            act, target = head, rest
    if not act:
        return None
    value = next((s for s in parse.spans if s.rule in VALUE_RULES | RANGE_RULES), None)
    said = parse.words[value.start : value.end] if value else ()
    lead = 1 if any(s.rule == "lead" for s in parse.spans) else 0
    return Meaning(
        act=act,
        target=target,
        text=" ".join(parse.words[lead:]),
        values=_values(act, value.rule, said) if value else (),
        correction=correction,
        span=(value.start - lead, value.end - lead) if value else (0, 0),
        **fields,
    )


def _values(act: str, rule: str, said: Sequence[str]) -> tuple[SaidValue, ...]:
    if rule in RANGE_RULES:
        return said_range(said)
    values = said_values([word for word in said if word != "more"])  # 'two more quarts'
    reading = act in ("reading", "reading-at") and rule.removesuffix("-value") in RANGED
    return (*values, *as_range(said)) if values and reading else values
