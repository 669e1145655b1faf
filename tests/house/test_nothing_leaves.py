"""Nothing of a shop's work is told to anybody, not by the libraries below joblog, either."""

import os
import subprocess
import sys

PROGRAM = """
from joblog.vision.networks import network
network("plug-circles")
from joblog.speech.second_ear import SecondEar
SecondEar()
"""


def test_the_networks_runtime_opens_no_report_on_its_use(tmp_path):
    """Where it does, it keeps the number of its session in the folder for scratch files."""
    kept = {k: v for k, v in os.environ.items() if k != "ORT_DISABLE_TELEMETRY"}
    homes = dict.fromkeys(("TMPDIR", "TEMP", "TMP", "HOME", "XDG_CACHE_HOME"), str(tmp_path))
    done = subprocess.run([sys.executable, "-c", PROGRAM], env=kept | homes, check=False)
    assert done.returncode == 0
    assert not list(tmp_path.iterdir())


def test_no_library_is_asked_to_report():
    names = "ORT_DISABLE_TELEMETRY", "OTEL_SDK_DISABLED"
    code = f"import joblog, os; print(*map(os.environ.get, {names}))"
    asked = {**os.environ, "ORT_DISABLE_TELEMETRY": "0", "OTEL_SDK_DISABLED": "false"}
    done = subprocess.run(
        [sys.executable, "-c", code], env=asked, check=True, capture_output=True, text=True
    )
    assert done.stdout.split() == ["1", "true"]
