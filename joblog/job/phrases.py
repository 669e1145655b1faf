"""The one list of what can be said on a job.

Grammar, parser, help card and tests all come from :func:`phrases_of`. Those of the sheet's values
are made in ``value_phrases.py``, those of every job stand in ``controls.py``. Each phrase carries
the tag that names its meaning::

    step:KEY  torque:KEY  torque-at:KEY  torque:here  angle:KEY  reading:KEY  reading-at:KEY
    in:FLUID  in:here  out:FLUID  out:here  more:FLUID  share:FLUID  photo:KIND  clock:NAME
    part-new:PART  part-old:PART
    control:NAME  note
"""

from __future__ import annotations

from collections.abc import Iterator

from joblog.job.aloud import either, fluid_words
from joblog.job.controls import ANY, CONTROLS, Phrase
from joblog.job.value_phrases import quantity_phrases, reading_phrases, torque_phrases
from joblog.job.wording import capital, step_name
from joblog.sheet.fragments import spoken_form
from joblog.sheet.model import Sheet

DONE = "[is] [now] (done | complete | finished) | okay"


def phrases_of(sheet: Sheet) -> tuple[Phrase, ...]:
    """Return everything that can be said on a job of ``sheet``."""
    found = [
        *_step_phrases(sheet),
        *torque_phrases(sheet),
        *quantity_phrases(sheet),
        *reading_phrases(sheet),
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


def _step_phrases(sheet: Sheet) -> Iterator[Phrase]:
    for step in sheet.steps:
        yield Phrase(
            tag=f"step:{step.key}",
            pattern=f"({either(step.say)}) [{DONE}]",
            example=step_name(step),
            does=f"marks: {step.title}",
            group="Steps",
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
    names = either(["fluid | oil", *(name for f in sheet.fluids for name in fluid_words(f))])
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
        name = f"({either(part.say)})"
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
