"""People's recordings through the real recogniser, with the grammars that came with them.

Recordings, transcripts, cards grammar: pocketsphinx 5.1.1 (BSD), see ../audio/data/README.md.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from joblog.audio.files import read_audio
from joblog.speech.engines import get_engine
from joblog.speech.grammar import Grammar
from joblog.speech.numbers import parse_number
from tests.speech.test_grammar import CARDS

DATA = Path(__file__).parents[1] / "audio" / "data"
HEAD = "#JSGF V1.0;\ngrammar g;\n"
MOVES = (
    HEAD
    + """public <move> = go <direction> <distance> [meter | meters];
<direction> = forward | backward;
<distance> = one | two | three | four | five | six | seven | eight | nine | ten;
"""
)
DIGITS = (
    HEAD
    + """public <digits> = <digit> <digit> <digit> [<digit> [<digit>]];
<digit> = zero | oh | one | two | three | four | five | six | seven | eight | nine;
"""
)


@pytest.mark.parametrize(
    ("grammar", "name", "said"),
    [
        (CARDS, "cards-002", "four queen of clubs"),
        (CARDS, "cards-004", "five five"),
        (CARDS, "cards-005", "eight of spades four of clubs seven of hearts"),
        (MOVES, "goforward", "go forward ten meters"),
        (DIGITS, "tidigits-2934z", "two nine three four zero"),
    ],
)
def test_what_people_said_is_heard(grammar: str, name: str, said: str) -> None:
    samples = read_audio(DATA / f"{name}.flac").samples
    assert get_engine().hear(samples, Grammar.from_text(grammar)).text == said


def test_digits_that_a_person_said_become_their_number() -> None:
    samples = read_audio(DATA / "tidigits-2934z.flac").samples
    heard = get_engine().hear(samples, Grammar.from_text(DIGITS))
    reading = parse_number(heard.text)
    assert reading is not None
    assert reading.value == 29340
