"""Average adapters of several trainings: the mean of their weights hears better than each.

    soup.py --bundle DIR --out adapter.npz ONE.npz [WEIGHT] TWO.npz [WEIGHT] ...

A weight is a number after a file, 1 where there is none; they are made to add up to 1. (Wortsman et
al. 2022, 'Model soups: averaging weights of multiple fine-tuned models'.) The trainings must have
begun from the same weights.
"""

from __future__ import annotations

import argparse
from pathlib import Path

import model
import numpy as np

from joblog.speech.shipped import note_shipped
from joblog.speech.whisper.weights import merge_adapter, parse_weights


def soup(base: Path, parts: dict[Path, float], out: Path) -> None:
    """Write the weighted mean of adapters."""
    plain = parse_weights(base.read_bytes())
    total = sum(parts.values())
    mean: dict[str, np.ndarray] = {}
    for path, weight in parts.items():
        merged = dict(plain)
        merge_adapter(merged, path)
        for name in (name for name in plain if model.changes(name) and plain[name].ndim):
            change = (merged[name] - plain[name]) * (weight / total)
            mean[name] = mean[name] + change if name in mean else change
    np.savez(out, **model.packed(mean))  # type: ignore[arg-type]
    note_shipped(out)


def main() -> None:
    """Run the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bundle", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("parts", nargs="+")
    given = parser.parse_args()
    parts: dict[Path, float] = {}
    for word in given.parts:
        if word.endswith(".npz"):
            parts[Path(word)] = 1.0
        else:
            parts[next(reversed(parts))] = float(word)
    soup(given.bundle / "model.bin", parts, given.out)


if __name__ == "__main__":
    main()
