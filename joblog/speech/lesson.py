"""Reading strings of digits aloud, so that joblog can learn the reader's voice.

A :class:`Lesson` says which string to read next, listens whether it was that one, and learns from
what was read. Nothing that was read otherwise is learnt from: a wrong word would be learnt, too.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from joblog.audio.types import RATE, Samples
from joblog.errors import InputError, ModelError
from joblog.speech.grammar import Grammar
from joblog.speech.second_ear import DIGITS, SecondEar
from joblog.speech.types import Engine, Verdict
from joblog.speech.voice import FEWEST, STRINGS, Learnt, Read, learn_voice
from joblog.speech.voices import Voice, Voices, named

TRIES = 4  # of one string, after which it is better left out
LONGEST = 12  # seconds of one reading: slowed down, it must fit into what is heard
GRAMMAR = f"""#JSGF V1.0;
grammar reading;
<digit> = {" | ".join(DIGITS)};
<pair> = <digit> <digit>;
public <read> = <pair> [<digit>] | <pair> <pair> [<digit>] | <pair> <pair> <pair>;
"""


class Lesson:
    """One technician's reading; ``read`` holds what can be learnt from, nothing else is kept."""

    def __init__(self, name: str) -> None:
        self.name = named(name)
        self.read: list[Read] = []
        self._at = 0
        self._tries = 0
        self._grammar = Grammar.from_text(GRAMMAR)

    @property
    def wanted(self) -> str:
        """The string to read now, '' when all were read."""
        return STRINGS[self._at] if self._at < len(STRINGS) else ""

    @property
    def enough(self) -> bool:
        """Whether something can be learnt from what was read."""
        return len(self.read) >= FEWEST

    @property
    def stuck(self) -> bool:
        """Whether the wanted string was read in vain so often that it is better left out."""
        return self._tries >= TRIES

    def leave_out(self) -> None:
        """Go on with the next string."""
        self._tries = 0
        self._at = min(self._at + 1, len(STRINGS))

    def take(self, engine: Engine, samples: Samples) -> str:
        """Listen to one reading; returns '' where it was the wanted string, else what to do."""
        wanted = self.wanted
        if not wanted:
            raise InputError("All strings were read; let joblog learn from them.")
        self._tries += 1
        if len(samples) > LONGEST * RATE:
            return f"That lasted longer than {LONGEST} s. Read {spaced(wanted)} alone, in one go."
        hearing = engine.hear(samples, self._grammar)
        if not hearing.text:
            return f"{hearing.why or 'Nothing was heard.'} Read {spaced(wanted)} once more."
        found = [hearing.text, *(other.text for other in hearing.alternatives)]
        said = next((words for words in map(str.split, found) if figures(words) == wanted), None)
        heard = figures(hearing.text.split())
        if hearing.verdict is Verdict.ACCEPT and heard != wanted:
            return f"{spaced(heard)} was heard. Read {spaced(wanted)}, digit by digit."
        if said is None and len(heard) < len(wanted):
            return f"Only a part was heard. Read {spaced(wanted)} in one go, without long pauses."
        if said is None:
            return f"That was not clear. Read {spaced(wanted)} once more, in quiet."
        self.read.append((samples, tuple(said)))
        self.leave_out()
        return ""

    def learn(
        self,
        ear: SecondEar,
        voices: Voices,
        others: Sequence[Read],
        told: Callable[[float], None] = lambda _: None,
    ) -> tuple[Learnt, Voice | None]:
        """Learn from what was read, and keep it where it helps; ``told`` hears the share done.

        ``others`` are words that are no digits, by any voice.

        Returns what was learnt, and the kept voice: None where the digits that were held back are
        not found more often than before. Then what was kept earlier stays.
        """
        learnt = learn_voice(self.read, ear, told=told, others=others)
        helps = learnt.after > learnt.before
        return learnt, voices.keep(self.name, learnt) if helps else None


def second_ear_of(engine: Engine) -> SecondEar:
    """Return the part of the recogniser that learns; ModelError where it has none."""
    second = getattr(engine, "second", None)
    if not isinstance(second, SecondEar):
        raise ModelError(
            f"The recogniser '{engine.name}' can't learn a voice; use joblog's, with its adapter."
        )
    return second


def summary(name: str, learnt: Learnt, kept: Voice | None) -> str:
    """Return in one sentence what was learnt."""
    counts = (
        f"in noise that joblog made, it finds {learnt.after} of {learnt.trials} readings that it "
        f"did not learn from, {learnt.before} before"
    )
    if kept is None:
        return f"Nothing is kept, for {counts}. joblog hears {name} as well without it."
    return f"The voice of {name} is learnt: {counts}."


def figures(words: list[str]) -> str:
    """Return spoken digits as figures; 'oh' is a zero."""
    return "".join(str(DIGITS.index(word) % 10) for word in words)


def spaced(string: str) -> str:
    """Return a string as it is read: digit by digit."""
    return " ".join(string)
