"""A number and a value said in one breath: 'nut one fifteen' is nut one at 15, or 115.

The grammar hears one number there. Where a fastener of that number and the rest of the words can be
meant, too, nobody but who said it knows, and a torque must not be filed under another nut: asked.
"""

from __future__ import annotations

from collections.abc import Callable

from joblog.job.aloud import NUMBER_WORDS
from joblog.job.drafts import Draft, Plan, value_question
from joblog.job.meaning import Meaning
from joblog.job.said_units import SaidValue, in_unit_of_sheet, said_values
from joblog.job.settling import either, numbered
from joblog.job.wording import capital, said, shown

# Words between the name and the value: with them the number is the value's alone.
_BETWEEN = (
    "is",
    "are",
    "torqued",
    "torque",
    "tight",
    "to",
    "at",
    "by",
    "turned",
    "another",
    "angle",
)
MOST = len(NUMBER_WORDS) - 1  # the highest number that is said in one word
DraftOf = Callable[[Meaning, SaidValue], Draft]


def number_apart(
    meaning: Meaning, count: int = MOST, unit: str = ""
) -> tuple[str, SaidValue] | None:
    """Return the fastener's number and the value that the words may mean apart, else None.

    ``count`` is the number of fasteners, ``unit`` the sheet's unit of the value.
    """
    if count == 1 or meaning.which or meaning.target == "here":
        return None
    words, (start, end) = meaning.text.split(), meaning.span
    if start == 0 or end - start < 2 or words[start - 1] in _BETWEEN:
        return None
    if words[start] not in NUMBER_WORDS[1 : count + 1]:
        return None
    values = in_unit_of_sheet(said_values(words[start + 1 : end]), unit)
    return (str(NUMBER_WORDS.index(words[start])), values[0]) if values else None


def number_question(
    meaning: Meaning,
    apart: tuple[str, SaidValue] | None,
    draft: DraftOf,
    plausible: Callable[[SaidValue], bool],
    unit: str,
    *,
    name: str = "",
) -> Plan | None:
    """Ask which is meant, where the two are different and the number apart can be meant.

    ``name`` is what the value is of. Figures said one by one (as in nut one one zero) are a value
    unless the rest makes one by itself.
    """
    if apart is None or not meaning.values:
        return None
    number, value = apart
    in_groups = any(v.doubt == "words" for v in meaning.values)
    plain = in_unit_of_sheet(meaning.values, unit)[0]
    meant = [(meaning.of_number(number), value), (meaning, plain)]
    drafts = [draft(*one) for one in meant]
    if drafts[0] == drafts[1] or not (in_groups or plausible(value)):
        return None
    same = drafts[0].body.get("which") == drafts[1].body.get("which")
    spoken = [
        said(v.value, v.unit or unit) if same else _spoken(d, v, unit)
        for d, (_, v) in zip(drafts, meant, strict=True)
    ]
    texts = [_shown(d, v, unit) for d, (_, v) in zip(drafts, meant, strict=True)]
    question = either(numbered(name, drafts[0]) if same else name, *spoken)
    why = f"{capital(name)}: {texts[0]}, or {texts[1]}?"
    return value_question(question, texts, drafts, meaning.tag, why)


def _spoken(draft: Draft, value: SaidValue, unit: str) -> str:
    which, amount = str(draft.body.get("which", "")), said(value.value, value.unit or unit)
    name = f"number {said(int(which), '')}" if which.isdigit() else which
    return f"{name}, {amount}" if name else amount


def _shown(draft: Draft, value: SaidValue, unit: str) -> str:
    which, amount = str(draft.body.get("which", "")), shown(value.value, value.unit or unit)
    name = f"number {which}" if which.isdigit() else which
    return f"{name}: {amount}" if name else amount
