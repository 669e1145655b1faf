"""Write what the read-back clips must hold: one word or phrase a line, for all shipped sheets.

Besides them stand words of the trade that a shop's own sheets are likely to use (trade_words.txt).
"""

from __future__ import annotations

from pathlib import Path

from joblog.job.vocabulary import (
    cautions_spoken_whole,
    closed_vocabulary,
    faults_spoken_whole,
    phrases_spoken_whole,
)
from joblog.sheet.load import library, load_sheet


def main() -> None:
    """Print single words with a comma (spoken as if more followed), phrases as they end."""
    words = set(Path(__file__).with_name("trade_words.txt").read_text(encoding="utf-8").split())
    phrases: list[str] = []
    for path in library().values():
        sheet = load_sheet(path)
        words |= closed_vocabulary(sheet)
        phrases += [*phrases_spoken_whole(sheet), *cautions_spoken_whole(sheet)]
    single = {p.rstrip(",.?") for p in phrases if " " not in p}
    for phrase in dict.fromkeys(phrases):
        print(phrase if phrase[-1] in ",.?" else f"{phrase},")
    for word in sorted(words - single):
        print(f"{word},")
    for fault in faults_spoken_whole():
        print(fault)


if __name__ == "__main__":
    main()
