"""Make the small web fonts beside this file from the whole ones (development only).

Run with fonttools and brotli installed: ``python joblog/report/fonts/make_woff2.py``. What is left
are Latin letters with their accents and the signs that a report prints; any other letter falls
back to the reader's own fonts. The Open Font License allows it: these families have no reserved
names.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

KEEP = (
    "U+0020-007E,U+00A0-017F,U+2010-2027,U+202F,U+2030,U+2032,U+2033,U+2039,U+203A,U+20AC,"
    "U+2122,U+2190-2193,U+2212,U+2264,U+2265,U+25A1"
)
FACES = {
    "Literata_400Regular.ttf": "Literata-400.woff2",
    "Literata_600SemiBold.ttf": "Literata-600.woff2",
    "AtkinsonHyperlegibleNext_400Regular.ttf": "AtkinsonHyperlegibleNext-400.woff2",
    "AtkinsonHyperlegibleNext_600SemiBold.ttf": "AtkinsonHyperlegibleNext-600.woff2",
    "AtkinsonHyperlegibleMono_400Regular.ttf": "AtkinsonHyperlegibleMono-400.woff2",
}


def main() -> int:
    """Write every web font; return an exit status."""
    folder = Path(__file__).parent
    for whole, small in FACES.items():
        options = [f"--unicodes={KEEP}", "--layout-features=kern,liga,tnum,pnum,ccmp,locl,mark"]
        command = [sys.executable, "-m", "fontTools.subset", str(folder / whole), *options]
        command += ["--flavor=woff2", "--no-hinting", f"--output-file={folder / small}"]
        subprocess.run(command, check=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
