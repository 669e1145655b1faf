"""``joblog say``: the read-back voice on this PC, for trying the loudspeaker."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from joblog.errors import DeviceError, Exit, UsageError


def add_commands(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add ``joblog say``."""
    parser = subparsers.add_parser(
        "say", help="say a reply with the read-back clips, on the loudspeaker or into a file"
    )
    parser.add_argument("text", help="such as: 'torque, three six foot-pounds, in spec.'")
    parser.add_argument("--tone", choices=("none", "ok", "again", "warn"), default="none")
    parser.add_argument("--out", type=Path, metavar="FILE.wav", help="write it instead of playing")
    parser.set_defaults(run=run_say)


def run_say(args: argparse.Namespace) -> int:
    """Play or write one sentence; words without a clip are named and end the command."""
    import numpy as np

    from joblog.readback.clips import load_clips
    from joblog.readback.sequence import free_text, pieces_of
    from joblog.readback.sound import RATE, joined, tone_sound
    from joblog.readback.speaker import play

    clips = load_clips()
    pieces = pieces_of(args.text, clips.by_name)
    strange = free_text(pieces)
    if strange:
        words = ", ".join(f"'{word}'" for word in strange)
        raise UsageError(f"there is no clip for {words}; use words of the job sheets.")
    sound = np.concatenate([tone_sound(args.tone), joined(pieces, clips)])
    if args.out is None:
        play(sound, RATE)
        return int(Exit.OK)
    import soundfile

    try:
        soundfile.write(args.out, sound, RATE, subtype="PCM_16", format="WAV")
    except (OSError, soundfile.LibsndfileError) as error:
        raise DeviceError(f"{args.out} can't be written ({error}); choose another place.") from None
    print(f"{args.out}: {len(sound) / RATE:.1f} s", file=sys.stderr)
    return int(Exit.OK)
