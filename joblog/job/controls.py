"""What can be said whatever the sheet: procedure words, questions, photos, notes.

The procedure words are those of radiotelephony (ICAO Annex 10 vol. II; Doc 9432), made for noisy
channels and tired people: say again, read back, correction, disregard, affirm, negative, stand by.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Phrase:
    """One thing that can be said.

    ``tag`` names the meaning; ``pattern`` is JSGF, in which ``<...-value>`` rules stand for numbers
    with their units; ``example`` is a sentence of it; ``does`` says in plain words what it is for;
    ``group`` is its heading on the help card. ``correctable`` phrases may follow 'correction';
    ``answers`` are listened for only while a question is open. There is no bare 'yes' or 'no':
    short words are easily heard into anything, and 'yes' would make a doubtful value a fact.
    """

    tag: str
    pattern: str
    example: str
    does: str
    group: str
    correctable: bool = False
    answers: bool = False


ANY = "any"  # in the tag of 'disregard the last photo', which names no kind

# Reasons with which a finding may be confirmed by voice; who types gives any words of their own.
REASONS: dict[str, tuple[str, str]] = {
    "already-done": ("already done", "it was done before"),
    "checked-twice": ("checked twice | measured twice", "it was checked twice"),
    "service-information": (
        "service information [says so] | by the book",
        "the service information says so",
    ),
    "customer": ("customer asked [for it] | customer wants it", "the customer asked for it"),
    "not-needed": ("not needed | not fitted", "it is not needed on this unit"),
    "not-possible": ("not possible | no access", "it was not possible"),
    "loosened": ("loosened and checked", "it was loosened and checked"),
    "tool": ("no tool | tool not available", "the tool was not available"),
    "note": ("see note | reason in [the] note", "the reason is in the note"),
}

CONFIRM = Phrase(
    "control:confirm",
    "confirm [it] [anyway] [because | reason | with a reason] [<reason>]",
    "confirm because checked twice",
    "lets a finding stand, with your reason",
    "Answering",
)

CONTROLS: tuple[Phrase, ...] = (
    Phrase(
        "control:affirm",
        "affirm | affirmative | that is correct | yes that is right",
        "affirm",
        "yes, as you said it",
        "Answering",
        answers=True,
    ),
    Phrase(
        "control:negative",
        "negative | [no] that is (wrong | not right | not correct)"
        " | [no] that isn't (right | correct)",
        "negative",
        "no, that is wrong",
        "Answering",
        answers=True,
    ),
    Phrase(
        "control:first",
        "[the] first [one]",
        "first",
        "takes the first reading",
        "Answering",
        answers=True,
    ),
    Phrase(
        "control:second",
        "[the] second [one]",
        "second",
        "takes the second reading",
        "Answering",
        answers=True,
    ),
    CONFIRM,
    Phrase(
        "control:help",
        "help | what can i say",
        "help",
        "says two or three things that can be said now",
        "Asking",
    ),
    Phrase(
        "control:say-again",
        "say again | say that again | repeat that",
        "say again",
        "repeats the last answer",
        "Asking",
    ),
    Phrase("control:read-back", "read back", "read back", "reads the last value", "Asking"),
    Phrase(
        "control:next",
        "what is next | what's next | next step",
        "what is next",
        "names the next step and its values",
        "Asking",
    ),
    Phrase(
        "control:how-much",
        "how much is in | how much so far",
        "how much is in",
        "gives the sum that went in",
        "Asking",
    ),
    Phrase(
        "control:time",
        "how long [is left] | how much time [is left] | how much longer",
        "how long",
        "gives the time until the window opens or closes",
        "Asking",
    ),
    Phrase(
        "control:missing",
        "what is missing | what's missing | what is open",
        "what is missing",
        "names what is still open",
        "Asking",
    ),
    Phrase(
        "control:disregard",
        "disregard [that] | take that back",
        "disregard",
        "takes the last entry back",
        "Correcting",
    ),
    Phrase(
        "control:disregard-note",
        "(disregard | take back) (the | that) [last] note",
        "disregard the note",
        "takes back your last note, whatever came after it",
        "Correcting",
    ),
    Phrase("control:stand-by", "stand by", "stand by", "does nothing, says nothing", "Other"),
    Phrase(
        "control:complete",
        "job complete | job done | job finished",
        "job complete",
        "closes the job, or says what is missing",
        "Other",
    ),
    Phrase("note", "note", "note", "your next words are written down as a note", "Other"),
    Phrase(
        "clock:fan-cycle",
        "fan cycle",
        "fan cycle",
        "counts one run of the cooling fan",
        "Clocks",
    ),
    Phrase("clock:start", "start [the] clock", "start clock", "starts the stop watch", "Clocks"),
    Phrase("clock:stop", "stop [the] clock", "stop clock", "stops the stop watch", "Clocks"),
)
