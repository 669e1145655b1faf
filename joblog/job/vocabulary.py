"""The closed vocabulary of spoken replies, so that they can be spoken from recorded clips."""

from __future__ import annotations

import re

from joblog.job.aloud import plural, words_of
from joblog.job.cautions import spoken_caution
from joblog.job.grammar import phrase_words
from joblog.job.photo_faults import Fault
from joblog.job.wording import step_name
from joblog.measure.units import UNITS
from joblog.sheet.model import Sheet
from joblog.speech.numbers import digits_of
from joblog.speech.units_spoken import SPOKEN_UNITS

# Every sentence that replies are made of, without the words that come from the sheet.
SENTENCES = """
Next: Torque in spec. Corrected: is above the limit, is below the limit, but must come first. should
have come before. only when, not while. angle And more. one Say confirm because, and the reason, or
disregard.
Not complete. Missing: Wanted: and photo torque quantity drained filled of. Disregarded: clock
note reading quantity confirmed. Confirmed. Noted. Fan cycle. Clock started. Clock stopped. good.
in all. in out. Job complete. Job stopped. Say job complete. That was the last step. First, or
second? Affirm or negative? Say again. Go ahead. There was no question. Nothing to confirm. Say
confirm because, and the reason. Nothing to disregard. The job is closed. Which one? Say it with
its name. Which fluid? Which reading? Say the number again. That unit does not fit. Say it again.
That must be above zero. Nothing to correct. Nothing is missing. Once more, No value yet. No fluid
on this sheet. No clock is running. opens in the window is closed. the window is open. left.
Reading window open. Reading window closed. too early. too late. not sure. time not sure. The
clock was set forward. The clock was set back. Photo not usable. Take it again. Flakes on the
plug. Much film on the plug. Level above the upper mark. Level below the lower mark. Label of
another vehicle. Wrong unit for this sheet. The sheet has another unit. more in than came out. less
in than came out. That is more than the sheet says. That is less than the sheet says.
The sheet says no quantity. Drained. cycle. plug dipstick fluid
label other picture is was say what added because reason number the first second affirm
negative to after below or more number correction torque nothing
"""
FRACTIONS = "half halves third thirds quarter quarters fifth fifths sixth sixths seventh sevenths "
FRACTIONS += "eighth eighths ninth ninths tenth tenths and over point minus"
# What is said to joblog for help or in a question, and what no question of joblog's repeats.
ONLY_HEARD = frozenset({"help", "can", "using", "many", "goes", "isn't", "between"})


def spoken_words(text: str) -> list[str]:
    """Return the words of a spoken reply: lower case, without punctuation, hyphens kept."""
    return re.findall(r"[a-z][a-z'-]*", text.lower())


def closed_vocabulary(sheet: Sheet) -> set[str]:
    """Return every word that a spoken reply on a job of ``sheet`` may use."""
    words = set(spoken_words(SENTENCES)) | set(FRACTIONS.split())
    words |= set(digits_of("0123456789").split())
    words |= set(phrase_words(sheet)) - ONLY_HEARD
    for unit in SPOKEN_UNITS.values():
        words |= set(spoken_words(f"{unit.singular} {unit.plural}"))
    for other in UNITS.values():
        words |= set(spoken_words(f"{other.singular} {other.plural}"))
    several = [s.torque for s in sheet.steps if s.torque and s.torque.count > 1]
    for text in (*_names(sheet), *(plural(words_of(torque.fastener)) for torque in several)):
        words |= set(spoken_words(text))
    return words


def _names(sheet: Sheet) -> list[str]:
    names = list(sheet.conditions.values())
    for step in sheet.steps:
        names += [words_of(step.torque.fastener), step.torque.fastener] if step.torque else []
        names += [step.reading.name] if step.reading else []
    return names


# Whole phrases that are spoken as one piece, for they sound better than their words one by one.
PHRASES = (
    "in spec.",
    "confirm with a reason, or disregard.",
    "but",
    "must come first.",
    "should have come before",
    "only when",
    "is above the limit,",
    "is below the limit,",
    "and one more.",
    "not complete.",
    "job complete.",
    "job stopped.",
    "say job complete.",
    "that was the last step.",
    "affirm or negative.",
    "say again.",
    "say it again.",
    "say the number again.",
    "go ahead.",
    "there was no question.",
    "nothing to confirm.",
    "say confirm because, and the reason.",
    "nothing to disregard.",
    "nothing to correct.",
    "nothing is missing.",
    "the job is closed.",
    "which one?",
    "which fluid?",
    "which reading?",
    "say it with its name.",
    "that unit does not fit.",
    "that must be above zero.",
    "no value yet.",
    "no fluid on this sheet.",
    "no clock is running.",
    "the window is closed.",
    "the window is open.",
    "opens in",
    "one zero seconds left.",
    "reading window open.",
    "reading window closed.",
    "is too early.",
    "is too late.",
    "time not sure.",
    "clock started.",
    "clock stopped.",
    "fan cycle",
    "the clock was set forward.",
    "the clock was set back.",
    "not usable.",
    "take it again.",
    "flakes on the plug.",
    "much film on the plug.",
    "level above the upper mark.",
    "level below the lower mark.",
    "wrong unit for this sheet.",
    "the sheet has another unit.",
    "more in than came out.",
    "less in than came out.",
    "that is more than the sheet says.",
    "that is less than the sheet says.",
    "quantity drained",
    "photo plug",
    "photo dipstick",
    "photo fluid",
    "in all.",
    "disregarded",
    "corrected",
    "confirmed.",
    "noted.",
    "drained.",
    "see the screen.",
    "caution",
)
_FIGURES = "0123456789"


def phrases_spoken_whole(sheet: Sheet) -> list[str]:
    """Return the phrases of replies on ``sheet`` that deserve a clip of their own.

    Lower case with their punctuation: fixed sentences, the sheet's steps, fasteners, readings and
    conditions, units, two figures in a row. All their words are in :func:`closed_vocabulary`.
    """
    found = [*PHRASES, *(words_of(name) for name in _names(sheet))]
    found += [f"{step_name(step)}." for step in sheet.steps]
    found += [f"torque {words_of(s.torque.fastener)}" for s in sheet.steps if s.torque]
    for unit in SPOKEN_UNITS.values():
        found += [unit.singular, unit.plural]
    found += [digits_of(one + other) for one in _FIGURES for other in _FIGURES]
    found += [digits_of(f"{figure}.") for figure in _FIGURES]
    return list(dict.fromkeys(found))


def faults_spoken_whole() -> list[str]:
    """Return what is said to be wrong with a photo: each is one clip, its words have none."""
    return [f"{fault}." for fault in Fault]


def cautions_spoken_whole(sheet: Sheet) -> list[str]:
    """Return what is said of the cautions of ``sheet``: each is one clip, its words have none."""
    return [spoken_caution(caution).lower() for caution in sheet.cautions if caution.steps]
