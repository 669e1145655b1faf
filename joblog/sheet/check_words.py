"""Phrases that can't be told apart, or can't be said, and texts that can't be read."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator

from joblog.errors import SheetError
from joblog.sheet.complaints import Complaint, Found
from joblog.sheet.fragments import expansions
from joblog.sheet.locate import FieldPath
from joblog.sheet.model import Sheet
from joblog.sheet.skeleton import PLACEHOLDERS

FORMS = 200  # sentences that one phrase may stand for
LONGEST_PHRASE = 160  # characters, brackets and variants included
LONGEST_NAME = 60  # characters of what is spoken: a fastener, a reading, a fluid
LONGEST_TEXT = 2000
ENDINGS = (
    "done",
    "complete",
    "finished",
    "okay",
    "is done",
    "is complete",
    "is finished",
    "now done",
    "is now done",
)  # fmt: skip - understood behind every phrase


def forms_of(fragment: str) -> list[str]:
    """Return the sentences of a phrase; raises SheetError where its brackets don't match."""
    return expansions(fragment, FORMS)


def _spoken_texts(sheet: Sheet) -> Iterator[tuple[FieldPath, str, int]]:
    for i, step in enumerate(sheet.steps):
        for j, phrase in enumerate(step.say):
            yield ("steps", i, "say", j), phrase, LONGEST_PHRASE
        if step.torque:
            yield ("steps", i, "torque", "fastener"), step.torque.fastener, LONGEST_NAME
        if step.reading:
            yield ("steps", i, "reading", "name"), step.reading.name, LONGEST_NAME
    for table in ("fluids", "tools", "parts"):
        for i, row in enumerate(getattr(sheet, table)):
            if table == "fluids":
                yield (table, i, "name"), row.name, LONGEST_NAME
            for j, phrase in enumerate(row.say):
                yield (table, i, "say", j), phrase, LONGEST_PHRASE


def compilable(sheet: Sheet) -> bool:
    """Say whether phrases and names are short enough for a grammar to be made of them."""
    return all(len(text) <= most for _, text, most in _spoken_texts(sheet))


def _too_long(sheet: Sheet) -> Found:
    for path, text, most in _spoken_texts(sheet):
        if len(text) > most:
            yield Complaint(
                path,
                f"'{text[:40]}...' has {len(text)} characters, and nobody says that; "
                f"write what people call out, {most} characters at most",
            )


def _texts(sheet: Sheet) -> Found:
    """Tell texts that can't be read: endless ones, and characters that nobody sees."""
    spoken = {path for path, _, _ in _spoken_texts(sheet)}
    for path, text in _all_texts(sheet.model_dump(), ()):
        if len(text) > LONGEST_TEXT and path not in spoken:
            yield Complaint(path, f"a text of {len(text)} characters; write {LONGEST_TEXT} at most")
        odd = next((c for c in text if c not in "\n\t" and _invisible(c)), "")
        if odd:
            yield Complaint(
                path, f"an invisible character (U+{ord(odd):04X}) stands in it; write it anew"
            )


def _invisible(char: str) -> bool:
    return unicodedata.category(char) == "Cc" or unicodedata.bidirectional(char) in _TURNING


_TURNING = {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"}


def _all_texts(value: object, path: FieldPath) -> Iterator[tuple[FieldPath, str]]:
    if isinstance(value, str):
        yield path, value
    elif isinstance(value, dict):
        for key, inner in value.items():
            yield from _all_texts(inner, (*path, key))
    elif isinstance(value, list | tuple):
        for i, inner in enumerate(value):
            yield from _all_texts(inner, (*path, i))


def _phrases(sheet: Sheet) -> Found:
    for i, step in enumerate(sheet.steps):
        for j, phrase in enumerate(step.say):
            path = ("steps", i, "say", j)
            if len(phrase) > LONGEST_PHRASE:
                continue
            try:
                forms = expansions(phrase, FORMS + 1)
            except SheetError as error:
                yield Complaint(path, str(error))
                continue
            if not forms or _may_be_silent(phrase) or not all(map(_has_words, forms)):
                yield Complaint(
                    path,
                    f"'{phrase}' may be said with no word at all; write one that is always said",
                )
            elif len(forms) > FORMS:
                yield Complaint(
                    path,
                    f"'{phrase[:40]}' stands for more than {FORMS} sentences; "
                    "write the two or three that people say",
                )
            elif bare := next((form for form in forms if form in ENDINGS), ""):
                yield Complaint(
                    path,
                    f"'{bare}' is understood behind every phrase and is none by itself; write what "
                    "is done, such as 'wheels on'",
                )
            elif short := next((form for form in forms if len(form.split()) == 1), ""):
                yield Complaint(
                    path,
                    f"'{short}' is one word, and in noise one word is soon taken for another "
                    "('help' was heard as 'filled'); write two or more",
                    True,
                )


def _has_words(form: str) -> bool:
    return all(re.search("[a-z]", word) for word in form.split())


def _may_be_silent(phrase: str) -> bool:
    """Say whether brackets leave a way through the phrase without a word."""
    bare = re.sub(r"[a-z'-]+", "w", phrase)
    previous = ""
    while bare != previous:
        previous = bare
        bare = re.sub(r"\[[^\[\]()]*\]", "", bare)
        bare = re.sub(
            r"\(([^\[\]()]*)\)",
            lambda m: "" if any(not part.strip() for part in m[1].split("|")) else "w",
            bare,
        )
    return any(not part.strip() for part in bare.split("|"))


def _shared(sheet: Sheet) -> Found:
    """One sentence, two steps: by the same words, by variants, or by a 'done' behind them."""
    first: dict[str, tuple[int, str]] = {}
    told: set[tuple[int, int]] = set()
    for i, step in enumerate(sheet.steps):
        for j, phrase in enumerate(step.say):
            for form in _spoken(phrase):
                other, written = first.setdefault(form, (i, phrase))
                if other == i or (other, i) in told:
                    continue
                told.add((other, i))
                how = "" if form == " ".join(written.split()) else f" (by '{written}')"
                yield Complaint(
                    ("steps", i, "say", j),
                    f"the phrase '{form}' already marks step '{sheet.steps[other].key}'{how}; "
                    "say it differently here",
                )


def known_forms(phrase: str) -> list[str]:
    """Return the sentences of a phrase; none where its brackets don't match or it is endless."""
    if len(phrase) > LONGEST_PHRASE:
        return []
    try:
        return forms_of(phrase)
    except SheetError:
        return []


def _spoken(phrase: str) -> list[str]:
    forms = known_forms(phrase)
    return [*forms, *(f"{form} {ending}" for form in forms for ending in ENDINGS)]


_DONE = re.compile(
    r"\b(was|were|has been|have been) (\w+ly )?(\w+(ed|en|wn)|put|set|let|made|done|cut|bled)\b",
    re.IGNORECASE,
)


def _planned(sheet: Sheet) -> Found:
    """Remark on a summary that tells the work as done: it stands on the report of any job."""
    found = _DONE.search(sheet.sheet.summary)
    if found:
        yield Complaint(
            ("sheet", "summary"),
            f"'{found[0]}' is written before anything is done; write what is done, and what for: "
            '"The oil is replaced, so that ..."',
            True,
        )


def _letters(sheet: Sheet) -> Found:
    """Remark on letters that stand for words, such as 'rr': the ear hears the words."""
    for path, text, _ in _spoken_texts(sheet):
        if path[-1] == "name" and path[0] == "fluids":
            continue  # told where a fluid has no 'say'
        words = re.findall(r"[a-z']+", text.lower())
        odd = next((w for w in words if len(w) > 1 and not re.search("[aeiouy]", w)), "")
        if odd:
            yield Complaint(
                path,
                f"'{odd}' is no word that is heard; write it as it is called aloud, such as "
                "'rear right' for 'rr'",
                True,
            )


def _for_customer(sheet: Sheet) -> Found:
    """Remark on a sheet that says nothing to the customer, or still says what 'new' wrote."""
    if sheet.steps and not any(step.customer for step in sheet.steps):
        yield Complaint(
            ("steps", 0),
            "no step has a 'customer' sentence, so page 1 of the report only counts the steps; "
            'write some, such as customer = "The old oil was drained and measured."',
            True,
        )
    due = sheet.sheet.next_due
    texts: list[tuple[FieldPath, str]] = [(("sheet", "summary"), sheet.sheet.summary)]
    texts += [
        (("sheet", "next_due", "watch", i), w) for i, w in enumerate(due.watch if due else ())
    ]
    for path, text in texts:
        if text in PLACEHOLDERS:
            yield Complaint(path, "the customer would read this line; write your own", True)


WORD_RULES = (_texts, _too_long, _planned, _phrases, _shared, _letters, _for_customer)
