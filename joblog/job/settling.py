"""One value to record, a question, or a refusal."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from joblog.job.drafts import Draft, Plan, refusal, value_question
from joblog.job.meaning import Meaning
from joblog.job.numbers import number_text
from joblog.job.ranges import said_ends, shown_ends
from joblog.job.said_units import SaidValue
from joblog.job.types import JobState
from joblog.job.wording import capital, said
from joblog.measure.units import unit_of

Check = Callable[[SaidValue], bool]


def wrong_kind(
    values: tuple[SaidValue, ...],
    dimension: str,
    unit: str,
    *,
    signed: bool = False,
    ranged: bool = False,
) -> Plan | None:
    """Refuse what can't be meant: no number, a torque in litres or a range, an amount below zero.

    ``signed`` and ``ranged`` say that the value may be below zero, or a range.
    """
    if not values:
        why = (
            "No number in it was clear, or it was a range in two units: say '2 minutes 5 seconds', "
            "not '2 minutes 5', and a range in one unit."
        )
        return refusal("Say the number again.", why)
    plain = values[0]
    if plain.unit and unit_of(plain.unit).dimension != dimension:
        other = unit_of(plain.unit)
        return refusal(
            "That unit does not fit. Say it again.",
            f"{capital(other.plural)} are a unit of {other.dimension}, but a {dimension} belongs "
            f"here; say it in {unit_of(unit).plural}.",
        )
    if plain.upper is not None and not ranged:
        return refusal("Say the number again.", f"A {dimension} is one value: say which it is.")
    if not signed and plain.value <= 0:
        return refusal(
            "That must be above zero. Say it again.",
            f"{number_text(plain.value)} can't be meant: a {dimension} is above zero.",
        )
    return None


def corrected_id(state: JobState, meaning: Meaning, kind: str, *about: str) -> str | None:
    """Return the id of the value that a correction replaces: the last one of its kind."""
    if not meaning.correction:
        return None
    for value in reversed(state.values):
        body = value.entry.body
        mine = (
            (body.get("fluid"), body.get("direction"))
            if kind == "quantity"
            else (body.get("step"),)
        )
        numbered = not meaning.which or body.get("which") == meaning.which
        if value.entry.kind == kind and mine == about and numbered:
            return value.entry.id
    return None


def in_unit(values: tuple[SaidValue, ...], unit: str) -> tuple[SaidValue, ...]:
    """Return ``values`` in ``unit`` where they were said without one."""
    return tuple(v if v.unit or v.units else replace(v, unit=unit) for v in values)


def in_corrected_unit(
    state: JobState, values: tuple[SaidValue, ...], corrected: str | None
) -> tuple[SaidValue, ...]:
    """Return ``values`` in the unit of the value that they correct, where none was said."""
    units = [v.unit for v in state.values if v.entry.id == corrected]
    return in_unit(values, units[0]) if units else values


@dataclass(frozen=True)
class Wanted:
    """What a value is for: how it is drafted, called and judged.

    ``fits`` says whether a value is what the sheet wants, ``plausible`` whether it can be meant at
    all. Where ``always_ask``, words with two meanings are asked even if only one makes sense.
    ``doubt`` gives the question and its reason for a value that can't be meant, '' for the usual.
    """

    name: str
    unit: str
    draft: Callable[[SaidValue], Draft]
    fits: Check
    plausible: Check
    always_ask: bool = False
    doubt: Callable[[SaidValue], tuple[str, str]] = lambda _: ("", "")


def settled(meaning: Meaning, wanted: Wanted) -> Plan:
    """Record the one value that can be meant, or ask."""
    plain = meaning.values[0]
    fitting = [v for v in meaning.values if _same_kind(v, wanted.unit)]
    words = [v for v in fitting if v.doubt == "words"]
    sounds = [v for v in fitting if v.doubt == "sound" and _sounds_like(plain, v, wanted)]
    sounds.sort(key=wanted.fits, reverse=True)
    sensible = [v for v in (plain, *words, *sounds) if wanted.plausible(v)]
    sensible.sort(key=wanted.fits, reverse=True)  # two are offered
    if words:
        fits = [v for v in sensible if wanted.fits(v)]
        only = fits if len(fits) == 1 else sensible
        if len(only) == 1 and only[0].doubt != "sound" and not wanted.always_ask:
            return Plan((wanted.draft(only[0]),))
        others = [v for v in (plain, *words) if v not in sensible]
        return _choice(meaning, wanted, [*sensible, *others])
    if wanted.plausible(plain) and (not sounds or wanted.fits(plain)):
        return Plan((wanted.draft(plain),))
    if sounds:
        return _choice(meaning, wanted, [plain, *sounds])
    return _doubt(meaning, wanted, plain)


def settled_reading(meaning: Meaning, wanted: Wanted) -> Plan:
    """Record a reading that can be meant, or ask.

    Always about a range said with its higher end first, which may as well be one number ('four to
    two' sounds as 'four two two'), and about 'minus five to ten': it may be -10 to -5.
    """
    plain = meaning.values[0]
    if plain.upper is None or plain.value < 0 < plain.upper:
        always = wanted.always_ask or plain.upper is not None
        return settled(meaning, replace(wanted, always_ask=always))
    if not plain.reversed:
        return settled(meaning, wanted)
    turned = replace(plain, value=plain.upper, upper=plain.value)
    if plain.upper == plain.value:
        turned = replace(plain, upper=None)
    ones = [v for v in meaning.values if v.upper is None and wanted.plausible(v)]
    if ones:
        return _choice(meaning, wanted, [*ones[:1], turned])
    asked = _doubt(meaning, wanted, turned)
    unit = plain.unit or wanted.unit
    said_so = f"{shown_ends(plain.value, plain.upper, unit)} was said, which is no range."
    return replace(asked, shown=f"{said_so} Is it {shown_ends(turned.value, turned.upper, unit)}?")


def _sounds_like(plain: SaidValue, other: SaidValue, wanted: Wanted) -> bool:
    """Say whether ``other`` may be meant; a range for one number only where the sheet wants it."""
    one_number = plain.upper is None and other.upper is not None
    return wanted.fits(other) if one_number else wanted.plausible(other)


def _same_kind(value: SaidValue, unit: str) -> bool:
    return not value.unit or unit_of(value.unit).dimension == unit_of(unit).dimension


def _choice(meaning: Meaning, wanted: Wanted, values: Sequence[SaidValue]) -> Plan:
    offered = sorted(values[:2], key=lambda v: v.value)
    units = [v.unit or wanted.unit for v in offered]
    names = [said_ends(v.value, v.upper, unit) for v, unit in zip(offered, units, strict=True)]
    texts = [shown_ends(v.value, v.upper, unit) for v, unit in zip(offered, units, strict=True)]
    drafts = [wanted.draft(v) for v in offered]
    question = either(numbered(wanted.name, drafts[0]), *names)
    why = f"{capital(numbered_shown(wanted.name, drafts[0]))}: {texts[0]} or {texts[1]}?"
    return value_question(question, texts, drafts, meaning.tag, why)


def either(name: str, first: str, second: str) -> str:
    """Return the question which of two values of ``name`` was meant."""
    return f"{capital(name)}: first, {first}, or second, {second}?"


def numbered(name: str, draft: Draft) -> str:
    """Return ``name`` as it is said, with the number of the one of several that ``draft`` is of."""
    which = str(draft.body.get("which", ""))
    if which == "all":
        return f"{name}, all"
    return f"{name} number {said(int(which), '')}" if which.isdigit() else name


def numbered_shown(name: str, draft: Draft) -> str:
    """Return ``name`` as it is shown, with the number of the one of several."""
    which = str(draft.body.get("which", ""))
    return f"{name} {which}" if which else name


def _doubt(meaning: Meaning, wanted: Wanted, value: SaidValue) -> Plan:
    unit, draft = value.unit or wanted.unit, wanted.draft(value)
    name = capital(numbered(wanted.name, draft))
    question = f"{name}, {said_ends(value.value, value.upper, unit)}? Affirm or negative."
    text = shown_ends(value.value, value.upper, unit)
    why = f"{capital(numbered_shown(wanted.name, draft))}, {text}"
    # A value inside a limit may be as far from it as it likes: it is only asked about.
    far = "" if wanted.fits(value) else " is far from what the sheet expects."
    why += f"{far} Is that right?" if far else ": is that right?"
    own = wanted.doubt(value)
    question, why = own if own[0] else (question, why)
    return value_question(question, [text], [draft], meaning.tag, why)
