"""What holds a value and reports none: denied, asked, still to come; or vague, as 'almost three'.

Two values in one breath ('forty to forty two', 'three or four quarts') are vague, too.

As with other foils (:mod:`joblog.job.foils`), a grammar without them takes 'three quarts aren't in'
for 'three quarts went in', and 'almost three quarts' for 'oh point three quarts'. Who says a vague
value wants it recorded: the value itself is asked for.
"""

from __future__ import annotations

from collections.abc import Iterator

from joblog.job.aloud import fastener_words, words_of
from joblog.job.ranges import may_range
from joblog.job.said_units import reading_rule
from joblog.sheet.model import Sheet, Step

_NOT = "(not | [is] not yet | is not | isn't)"
_ABOUT = (
    "(almost | nearly | about | around | roughly | maybe | over | under | [just | a little]"
    " (over | under) | less than | more than)"
)
_NEAR = "(about | almost | nearly | roughly | maybe | at least | up to)"  # a torque
_BEYOND = "(over | under | above | below)"
# None begins with 'I': with such foils the 'um' before a phrase was heard as one. Free words tell.
_LATER = "(let me | let's | we'll | should i | can you | don't)"
_WAYS = "(in | added | out | drained | poured in | came out)"
_AMOUNT = "(<volume-value> | (another | one more) <more-value>)"

_DENIED_AMOUNTS = (
    f"<volume-value> (not | isn't | aren't | hasn't gone | haven't gone) {_WAYS} [yet]",
    f"(is | are | not) <volume-value> {_WAYS}",
    "(<volume-value> | another <more-value>) (left | short | missing | to go | still to go)",
    f"{_LATER} (add | pour | put) {_AMOUNT} [in]",
    f"(we need | (get | give | hand) me) {_AMOUNT}",
    f"{_AMOUNT} please",
)
_VAGUE_AMOUNTS = (
    f"{_ABOUT} <volume-value> {_WAYS}",
    f"(drained | added | poured) {_ABOUT} <volume-value>",
    "<volume-value> (less | minus | plus) (a | half a) (bit | cup | little)",
    f"[a] (couple [of] | few) <volume-many> {_WAYS}",
    f"<volume-value> (in | out) [and] <volume-value> {_WAYS}",  # two in one breath
    f"(<volume-value> | <two-figures-said>) (or | to) <volume-value> {_WAYS}",
)


def denied_values(sheet: Sheet) -> tuple[str, ...]:
    """Return patterns of what says of a value of ``sheet`` that it is not so, or not yet."""
    amounts = _DENIED_AMOUNTS if _pours(sheet) else ()
    torques = (pattern for step in sheet.steps for pattern in _torque(step))
    return tuple(dict.fromkeys([*amounts, *torques, *_readings(sheet, _NOT)]))


def vague_values(sheet: Sheet) -> tuple[str, ...]:
    """Return patterns of what says a value of ``sheet`` without saying which it is."""
    amounts = _VAGUE_AMOUNTS if _pours(sheet) else ()
    torques = (pattern for step in sheet.steps for pattern in _vague_torque(step))
    beyond = _readings(sheet, f"[is] {_BEYOND}")
    return tuple(dict.fromkeys([*amounts, *torques, *beyond, *_ranges(sheet)]))


def _pours(sheet: Sheet) -> bool:
    return any(step.pour for step in sheet.steps)


def _torque(step: Step) -> Iterator[str]:
    if step.torque is not None:
        name = fastener_words(step)
        yield f"torque {name} {_NOT} [to | at] <torque-value>"
        yield f"{name} {_NOT} [torqued | tight] [to | at] <torque-value>"


def _vague_torque(step: Step) -> Iterator[str]:
    if step.torque is not None:
        name, several = fastener_words(step), "<several-values> [<torque-units>]"
        yield f"torque {name} ({_NEAR} <torque-value> | [is | to | at] {several})"
        yield f"{name} [torqued] [to | at] ({_NEAR} <torque-value> | {several})"


def _ranges(sheet: Sheet) -> Iterator[str]:
    """A gauge that wavers: 'pressure between two ten and two twenty'."""
    for step in sheet.steps:
        if step.reading is not None:
            rule = reading_rule(step.reading.unit)
            unit = "" if rule == "number-value" else f"[<{rule.removesuffix('-value')}-units>]"
            name = words_of(step.reading.name)
            several = "one-or-other" if may_range(step.reading.unit) else "several-values"
            yield f"{name} [is | at | reads | from] <{several}> {unit}"


def _readings(sheet: Sheet, between: str) -> Iterator[str]:
    for step in sheet.steps:
        if step.reading is not None:
            value = f"<{reading_rule(step.reading.unit)}>"
            yield f"{words_of(step.reading.name)} {between} {value}"
