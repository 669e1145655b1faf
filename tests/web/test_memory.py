"""What a shop PC that is open for days keeps in memory: what is in use, not the most ever used."""

import subprocess
import sys
from pathlib import Path

import pytest

SAMPLES = Path(__file__).parents[2] / "sample_images"

# Each in a new program: what a program took before its test would be counted, too.
HELD = """
from pathlib import Path
def held():
    return int(Path("/proc/self/status").read_text().split("VmRSS:")[1].split()[0]) // 1024
"""

PHOTOS = """
import io, sys, threading, time
from PIL import Image
from joblog.vision.load import load_photo
from joblog.vision.measure_photo import measure_photo
from joblog.web import memory
memory.EVERY = 0.2
stop = threading.Event()
threading.Thread(target=memory.giving_back, args=(stop,), daemon=True).start()
def look(path, width):
    picture = Image.open(path)
    size = (width, width * picture.height // picture.width)
    file = io.BytesIO()
    picture.resize(size).save(file, "JPEG")
    del picture
    kind = Path(path).name.split("-")[0]
    measure_photo(load_photo(file.getvalue()), kind, plug_diameter_mm=18)
looked = 0
for width in (1600, 4000, 2200, 3600, 2800):
    rows = [threading.Thread(target=look, args=(path, width)) for path in sys.argv[1:]]
    for row in rows:
        row.start()
    for row in rows:
        row.join()
time.sleep(1)
print(held())
"""


def held_by(program: str, *words: str) -> int:
    """Return what the program prints last, in MB."""
    run = [sys.executable, "-c", HELD + program, *words]
    done = subprocess.run(run, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return int(done.stdout.split()[-1])


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux tells VmRSS")
def test_behind_large_photos_memory_is_given_back():
    photos = [str(SAMPLES / name) for name in ("plug-before.jpg", "dipstick-after.jpg")]
    assert held_by(PHOTOS, *photos) < 300  # 188 on two cores; with all that was freed kept 440
