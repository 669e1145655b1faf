"""How long answers sound: every answer of the shipped sheets' scripts, spoken with clips.

python tests/bench/answers.py
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "readback"))
from test_readback import CLIPS, spoken_replies

from joblog.readback.sound import RATE, spoken_sound
from joblog.sheet.load import library


def main() -> None:
    """Print median, 95 % and the longest."""
    lengths = []
    for key in library():
        with tempfile.TemporaryDirectory() as folder:
            spoken = [reply.spoken for reply in spoken_replies(key, Path(folder)) if reply.spoken]
        lengths += [len(spoken_sound(text, CLIPS)) / RATE for text in spoken]
    median, most, longest = np.percentile(lengths, [50, 95, 100])
    print(
        f"{len(lengths)} answers: median {median:.1f} s, 95 % {most:.1f} s, longest {longest:.1f} s"
    )


if __name__ == "__main__":
    main()
