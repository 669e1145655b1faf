"""What the things of a sheet are called aloud, in words that a grammar may hold."""

from __future__ import annotations

import re
from decimal import Decimal

from joblog.sheet.model import Fluid, Step, Torque
from joblog.speech.numbers import digits_of

NUMBER_WORDS = tuple(
    "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen"  # noqa: SIM905 - legible
    " fifteen sixteen seventeen eighteen nineteen twenty".split()
)
_NOT_WORDS = re.compile(r"[^a-z' -]+")


def words_of(text: str) -> str:
    """Return ``text`` (a name on the sheet) as plain words that a grammar may hold."""
    return " ".join(_NOT_WORDS.sub(" ", text.lower()).replace("-", " ").split())


def digits(value: Decimal) -> str:
    """Return a sheet's own value as it is said digit by digit, for examples."""
    return digits_of(format(value, "f"))


def either(patterns: tuple[str, ...] | list[str]) -> str:
    """Return the pattern (JSGF) that allows any of ``patterns``."""
    return " | ".join(f"({pattern})" for pattern in dict.fromkeys(patterns))


def fastener_words(step: Step) -> str:
    """Return what the fastener of ``step`` is called aloud, with its stage where it has several."""
    assert step.torque is not None
    return staged(words_of(step.torque.fastener), step.torque)


def staged(name: str, torque: Torque) -> str:
    """Return the name of a fastener with the stage of ``torque``, where it is not the first."""
    return name if torque.stage == 1 else f"{name} stage {_count_word(torque.stage)}"


def _count_word(number: int) -> str:
    return NUMBER_WORDS[number] if number < len(NUMBER_WORDS) else digits_of(str(number))


def plural(name: str) -> str:
    """Return the plural of a fastener's name."""
    return name if name.endswith("s") else f"{name}s"


def fluid_words(fluid: Fluid) -> list[str]:
    """Return what ``fluid`` is called aloud."""
    return list(fluid.say) or [words_of(fluid.name)]
