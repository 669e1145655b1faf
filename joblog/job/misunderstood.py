"""Why a typed line was not understood, and what would be: in the writer's own words and numbers."""

from __future__ import annotations

from difflib import get_close_matches

from joblog.job.aloud import words_of
from joblog.job.grammar import grammar_for_sheet
from joblog.job.meaning import Meaning, meaning_of
from joblog.job.phrases import example_sentence, phrases_of
from joblog.job.said_units import said_unit_names
from joblog.job.typed import NUMBERS, spelled
from joblog.job.values import step_named
from joblog.job.wording import capital
from joblog.measure.units import unit_of
from joblog.sheet.model import Sheet
from joblog.speech.units_spoken import SPOKEN_UNITS

_ANY = "..."  # stands for a number of one's own
_IN_NUMBERS = NUMBERS | {"point", "minus", "oh"}
_NEAR = 0.5
_OUT = frozenset({"out", "drained"})


def why_not_understood(text: str, sheet: Sheet) -> str:
    """Return one sentence that says what in the typed ``text`` can't be understood, and a hint."""
    made = spelled(text)
    words = [word for word, _ in made]
    known = grammar_for_sheet(sheet).vocabulary
    strange = [typed for word, typed in made if word not in known]
    if not words:
        return "Nothing was said."
    if "minus" in words:
        bare = meaning_of(" ".join(w for w in words if w != "minus"), sheet)
        if bare is not None and bare.values:
            reading = bare.act.startswith("reading")
            what = "On this sheet such a reading" if reading else "A quantity or torque"
            return f"{what} is above zero; say it again without 'minus'."
    clear = (
        _to_stop(words)
        or _number_alone(words, sheet)
        or _foreign_unit(" ".join(words), sheet)
        or _number_of_a_fastener(words, sheet)
        or _unit_of_another_job(made, sheet)
    )
    if clear:
        return clear
    near = hints(words, sheet)
    hint = f" Did you mean {' or '.join(repr(one) for one in near)}?" if near else ""
    if strange:
        told = " or ".join(repr(word) for word in dict.fromkeys(strange))
        return f"No phrase of this job has the word {told}.{hint}"
    return f"'{text.strip()}' is no phrase of this job.{hint}"


def _to_stop(words: list[str]) -> str:
    """Say how a job is stopped, or the last entry taken back, where somebody asks for that."""
    whole = words[-1:] == ["job"] and words[0] in ("stop", "cancel", "end")
    if words[0] in ("abort", "quit") or words == ["stop"] or whole:
        return "A job is stopped at the desk, with a reason."
    if words[0] in ("undo", "cancel"):
        return "To take back what was said last, say 'disregard'."
    return ""


def _number_alone(words: list[str], sheet: Sheet) -> str:
    """Say that a number alone is of nothing, and how this one would be said of something."""
    if not set(words) <= _IN_NUMBERS:
        return ""
    number = " ".join(words)
    readings = [words_of(step.reading.name) for step in sheet.steps if step.reading]
    ways = [f"{name} {number}" for name in ("torque", *readings)]
    way = next((one for one in ways if meaning_of(one, sheet) is not None), "")
    return f"A number alone may be of anything: say '{way}'." if way else ""


def _foreign_unit(words: str, sheet: Sheet) -> str:
    """Say so where the sentence would be understood but for its unit: a torque in litres."""
    for code, name in said_unit_names():
        if not words.endswith(f" {name}"):
            continue
        bare = meaning_of(words.removesuffix(f" {name}"), sheet)
        if bare is None or not bare.values:
            continue
        found, wanted = unit_of(code), _measured(bare, sheet)
        if found.dimension == wanted:
            continue
        return (
            f"{capital(found.plural)} are a unit of {found.dimension}, but a {wanted} "
            "belongs here; say it again with its unit."
        )
    return ""


def _measured(meaning: Meaning, sheet: Sheet) -> str:
    """Return what the value of ``meaning`` is a value of: 'torque', 'temperature', 'volume'."""
    act = meaning.act.split("-")[0]
    if act == "torque":
        return "torque"
    if act != "reading":
        return "angle" if act == "angle" else "volume"
    step = step_named(sheet, meaning.target)
    return unit_of(step.reading.unit).dimension if step and step.reading else "reading"


def _number_of_a_fastener(words: list[str], sheet: Sheet) -> str:
    """Say so where a word is lacking behind a fastener's number: 'nut two 115'."""
    for i, word in enumerate(words[1:-1], 1):
        name = words[:i] if words[i - 1] != "number" else words[: i - 1]
        said = " ".join([*name, "number", word, "at", *words[i + 1 :]])
        meaning = meaning_of(said, sheet) if word in NUMBERS else None
        if meaning is not None and meaning.which:
            return f"A fastener's number needs a word behind it; say '{said}'."
    return ""


def _unit_of_another_job(made: list[tuple[str, str]], sheet: Sheet) -> str:
    """Say so where a unit is all that no phrase has, and which of its kind the job has."""
    known = grammar_for_sheet(sheet).vocabulary
    strange = {word: typed for word, typed in made if word not in known}
    words = f" {' '.join(word for word, _ in made)} "
    for code, name in said_unit_names():
        parts = name.split()
        if f" {name} " not in words or not strange.keys() or not strange.keys() <= set(parts):
            continue
        dimension = unit_of(code).dimension
        kin = [u.plural for u in SPOKEN_UNITS.values() if u.dimension == dimension]
        have = [name for name in kin if set(name.replace("-", " ").split()) <= known]
        way = f"; it has {', '.join(have)}" if have else ""
        return f"No phrase of this job has the unit '{next(iter(strange.values()))}'{way}."
    return ""


def hints(words: list[str], sheet: Sheet) -> list[str]:
    """Return up to two phrases like ``words``: of the same fastener, and with no number but theirs.

    Their number stands in a phrase where it makes one, else dots; what goes in is no hint for what
    comes out.
    """
    names = _names(sheet)
    known = {_join(name) for name in names}
    typed = _joined(words, names)
    start, end = _number_in(typed)
    mine = known & set(typed)
    found: dict[str, str] = {}
    for phrase in phrases_of(sheet):
        example = _joined(example_sentence(phrase).split(), names)
        others = known & set(example)
        if (mine and others and not mine & others) or _other_way(phrase.tag, words):
            continue
        if not _of_one_kind(typed, example):
            continue
        number = typed[start:end] if _keeps_its_value(typed, example) else []
        found.update([_with(number, example, sheet)])
    near = get_close_matches(" ".join(words), found, n=2, cutoff=_NEAR)
    return list(dict.fromkeys(found[one] for one in near if found[one] != " ".join(words)))


def _other_way(tag: str, words: list[str]) -> bool:
    """Say whether a phrase of ``tag`` is of what goes in where ``words`` say out, or reversed."""
    act = tag.partition(":")[0]
    if _OUT & set(words):
        return act in ("in", "more", "share")
    return act == "out" and "in" in words


def _with(number: list[str], example: list[str], sheet: Sheet) -> tuple[str, str]:
    """Return what to compare and what to show of an example with ``number`` for its own.

    Dots are shown where that is no phrase, and where no number was typed.
    """
    start, end = _number_in(example)
    if start == end:
        return (_plain(example),) * 2
    rest = example[end:]
    many = [f"{rest[0]}s", *rest[1:]] if rest else []
    for after in (rest, many):
        mine = _plain([*example[:start], *number, *after])
        if number and meaning_of(mine, sheet) is not None:
            return mine, mine
    return mine, _plain([*example[:start], _ANY, *rest])


def _plain(words: list[str]) -> str:
    return " ".join(words).replace("_", " ")


def _names(sheet: Sheet) -> list[str]:
    """Return the spoken names of the fasteners, the longest first."""
    names = {words_of(step.torque.fastener) for step in sheet.steps if step.torque}
    return sorted(names, key=len, reverse=True)


def _join(name: str) -> str:
    return name.replace(" ", "_")


def _joined(words: list[str], names: list[str]) -> list[str]:
    """Return ``words`` with each name as one of them: the ten of 'm ten bolt' is no number."""
    text = f" {' '.join(words)} "
    for name in names:
        text = text.replace(f" {name} ", f" {_join(name)} ")
    return text.split()


def _number_in(words: list[str]) -> tuple[int, int]:
    """Return where the last number in ``words`` stands, as a slice; an empty one without any."""
    end = next((i + 1 for i in reversed(range(len(words))) if words[i] in _IN_NUMBERS), 0)
    start = end
    while start and words[start - 1] in _IN_NUMBERS:
        start -= 1
    return (0, 0) if words[max(start - 1, 0)] == "this" else (start, end)  # 'of this one'


def _of_one_kind(typed: list[str], example: list[str]) -> bool:
    """Say whether the units behind both numbers measure the same, as far as they are told."""
    return len({unit_of(code).dimension for code in (_unit(typed), _unit(example)) if code}) < 2


def _keeps_its_value(typed: list[str], example: list[str]) -> bool:
    """Say whether the number typed would be the same value in ``example``.

    It would be another in another unit, or where it is not the only one.
    """
    start, end = _number_in(typed)
    alone = not _IN_NUMBERS & set(typed[:start])
    return alone and (typed[end:] == [] or _unit(typed) == _unit(example))


def _unit(words: list[str]) -> str:
    """Return the code of the unit behind the last number in ``words``, '' where none stands."""
    start, end = _number_in(words)
    rest = f"{' '.join(words[end:])} "
    found = (
        code for code, name in said_unit_names() if start < end and rest.startswith(f"{name} ")
    )
    return next(found, "")
