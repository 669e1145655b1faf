"""Names that are spoken (fasteners, readings, fluids, wrenches): sayable, and unlike each other."""

from __future__ import annotations

import re
from collections import defaultdict

from joblog.sheet.check_words import known_forms
from joblog.sheet.complaints import Complaint, Found
from joblog.sheet.locate import FieldPath
from joblog.sheet.model import Sheet

_NUMBERS = (
    "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen"  # noqa: SIM905 - legible
    " fifteen sixteen seventeen eighteen nineteen twenty".split()
)
_LOST = re.compile(r"[^\W_a-z]")  # figures, and letters that no phrase may hold


def _number_words(figures: str) -> str:
    whole = len(figures) == 1 or (len(figures) == 2 and figures[0] != "0")
    if whole and int(figures) < len(_NUMBERS):
        return _NUMBERS[int(figures)]
    return " ".join(_NUMBERS[int(figure)] for figure in figures)


def _lost_in(name: str) -> str:
    """Return why ``name`` isn't said as it is written, with what to write; '' where it is."""
    if not _LOST.search(name.lower()):
        return ""
    told = f"'{name}' would be said '{_plain(name)}': "
    words = re.sub(r"(?<=[0-9])[.,](?=[0-9])", " point ", name.lower())
    words = re.sub(r"[0-9]+", lambda found: f" {_number_words(found[0])} ", words)
    if _LOST.search(words):
        return f"{told}letters outside a to z can't be spoken; write it as it is called aloud"
    told += "figures fall out of a name; write it in words"
    if _plain(words).split()[-1] in _NUMBERS:  # 'plug two' and '20' would be 'plug two two zero'
        return f'{told} that don\'t end with a number, such as "upper {_plain(name) or "plug"}"'
    return f'{told}, such as "{_plain(words)}"'


def _plain(name: str) -> str:
    return " ".join(re.sub(r"[^a-z' ]+", " ", name.lower().replace("-", " ")).split())


def _fluids(sheet: Sheet) -> Found:
    poured = {s.pour.fluid for s in sheet.steps if s.pour}
    fluids: dict[str, str] = {}
    for i, fluid in enumerate(sheet.fluids):
        for said in fluid.say or ([_plain(fluid.name)] if fluid.key in poured else []):
            path = ("fluids", i, "say" if fluid.say else "name")
            if not re.search("[a-z]{2}", said):
                yield Complaint(path, f"'{fluid.name}' can't be spoken; add say = [\"the oil\"]")
            elif not fluid.say:
                yield from _shortened(path, fluid.name)
            other = fluids.setdefault(said, fluid.key)
            if said and other != fluid.key:
                yield Complaint(
                    path,
                    f"'{said}' already is '{other}'; add a 'say' that tells the two fluids apart",
                )


def _shortened(path: FieldPath, name: str) -> Found:
    """Remark on a name that is said without its figures; 'say' would give it another."""
    if _LOST.search(name.lower()):
        yield Complaint(
            path,
            f"'{name}' is said '{_plain(name)}', for only words can be; add a 'say' if people "
            "call it otherwise",
            True,
        )


def _wrenches(sheet: Sheet) -> Found:
    """Wrenches that are spoken of: where there are several, or one has a 'say'."""
    wrenches = [(i, tool) for i, tool in enumerate(sheet.tools) if tool.highest]
    if len(wrenches) < 2 and not any(tool.say for _, tool in wrenches):
        return
    known: dict[str, str] = {}
    for i, tool in wrenches:
        path: FieldPath = ("tools", i, "say" if tool.say else "name")
        said = {form for phrase in tool.say for form in known_forms(phrase)} or {_plain(tool.name)}
        other = next((known[form] for form in sorted(said) if form in known), "")
        if other:
            yield Complaint(
                path,
                f"'{tool.name}' is said as '{other}' is; add say = [\"...\"] with words that tell "
                "the two wrenches apart",
                stops=False,  # a job that needs only one of them may open
            )
        elif not tool.say:
            yield from _shortened(path, tool.name)
        known |= dict.fromkeys(said, tool.name)


def _fasteners(sheet: Sheet) -> Found:
    written: dict[str, str] = {}
    for i, step in enumerate(sheet.steps):
        if step.torque is None:
            continue
        path, name = ("steps", i, "torque", "fastener"), _plain(step.torque.fastener)
        if not name:
            yield Complaint(
                path, f"'{step.torque.fastener}' can't be spoken; write words: \"drain plug\""
            )
            continue
        lost = _lost_in(step.torque.fastener)
        if lost:
            yield Complaint(path, lost)
            continue
        other = written.setdefault(name, step.torque.fastener)
        if " ".join(other.lower().split()) != " ".join(step.torque.fastener.lower().split()):
            yield Complaint(
                path,
                f"'{step.torque.fastener}' and '{other}' are both said '{name}'; "
                "tell them apart by words",
            )


def _reading_names(sheet: Sheet) -> Found:
    units: dict[str, set[str]] = defaultdict(set)
    for i, step in enumerate(sheet.steps):
        if step.reading is None:
            continue
        path, name = ("steps", i, "reading", "name"), _plain(step.reading.name)
        if not name:
            yield Complaint(
                path, f"'{step.reading.name}' can't be spoken; write words: \"oil level\""
            )
        elif lost := _lost_in(step.reading.name):
            yield Complaint(path, lost)
            continue
        units[name].add(step.reading.unit)
        if len(units[name]) > 1:
            yield Complaint(
                path,
                f"'{name}' is read in {' and '.join(sorted(units[name]))} on this sheet; use one "
                "unit, or another name",
            )
            units[name] = {step.reading.unit}


NAME_RULES = (_fluids, _wrenches, _fasteners, _reading_names)
