"""An upload far too large, sent to a shop that really serves: its sender sees one sentence."""

import asyncio
import http.client
import json
import re
import socket
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import pytest

from joblog.web.heard_out import HeardOut

SIZE, PIECE = 300_000_000, 1_000_000
SENTENCE = "The photo is larger than 30 MB; take it with a smaller resolution."


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    """The process of ``joblog serve`` and its port."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, "-m", "joblog", "serve", "--port", str(port), "--data"]
    with subprocess.Popen(
        [*command, str(tmp_path_factory.mktemp("shop"))], stdout=subprocess.DEVNULL
    ) as process:
        until = time.monotonic() + 60
        while time.monotonic() < until and process.poll() is None:
            try:
                socket.create_connection(("127.0.0.1", port)).close()
                break
            except OSError:
                time.sleep(0.1)
        yield process, port
        process.terminate()


def request(port, method, path, body, **headers):
    with closing(http.client.HTTPConnection("127.0.0.1", port, timeout=60)) as line:
        line.request(method, path, body, headers)
        answer = line.getresponse()
        return answer, answer.read()


@pytest.fixture(scope="module")
def place(shop):
    """Where a photo of a job is sent to."""
    form = {"Content-Type": "application/x-www-form-urlencoded"}
    opened, _ = request(shop[1], "POST", "/jobs", "sheet=coolant", **form)
    job = opened.headers["location"].rsplit("/", 1)[1]
    return f"/api/jobs/{job}/photos/{'0' * 64}?kind=plug"


def pieces():
    for _ in range(SIZE // PIECE):
        yield bytes(PIECE)


def most_memory(process):
    """Return the most bytes that a process ever held, where the system tells."""
    status = Path(f"/proc/{process.pid}/status")
    found = re.search(r"VmHWM:\s+(\d+) kB", status.read_text()) if status.exists() else None
    return int(found[1]) * 1000 if found else 0


@pytest.mark.parametrize("headers", [{"Content-Length": str(SIZE)}, {}], ids=["told", "chunked"])
@pytest.mark.parametrize("line", ["close", "keep-alive"])
def test_a_photo_far_too_large_is_one_sentence(shop, place, headers, line):
    process, port = shop
    before = most_memory(process)
    answer, data = request(port, "PUT", place, pieces(), Connection=line, **headers)
    assert answer.status == 413
    assert json.loads(data) == {"error": SENTENCE}
    assert most_memory(process) - before < 100_000_000


def test_the_line_goes_on_behind_it(shop, place):
    with closing(http.client.HTTPConnection("127.0.0.1", shop[1], timeout=60)) as line:
        for _ in range(2):
            line.request("PUT", place, pieces(), {"Content-Length": str(SIZE)})
            answer = line.getresponse()
            answer.read()
            assert answer.status == 413
        line.request("GET", "/api/jobs/none")
        assert line.getresponse().status == 400


def test_who_waits_to_be_told_to_go_on_is_told_before_anything_is_sent(shop, place):
    with socket.create_connection(("127.0.0.1", shop[1]), timeout=20) as line:
        line.sendall(
            f"PUT {place} HTTP/1.1\r\nHost: localhost\r\nExpect: 100-continue\r\n"
            f"Content-Length: {SIZE}\r\n\r\n".encode()
        )
        answer = line.recv(4096)
    assert answer.startswith(b"HTTP/1.1 413")


def test_a_form_far_too_large_is_one_sentence(shop):
    answer, data = request(
        shop[1], "POST", "/jobs", pieces(), Connection="close", **{"Content-Length": str(SIZE)}
    )
    assert answer.status == 413
    assert "too large to be a form" in json.loads(data)["error"]


@pytest.mark.parametrize("waits", [0, 3600], ids=["endless", "silent"])
def test_who_never_ends_is_not_heard_for_ever(waits):
    told, pieces_taken = [], 0

    async def refuse(_scope, _receive, send):
        await send({"type": "http.response.start", "status": 413})
        await send({"type": "http.response.body", "body": b"no"})

    async def receive():
        nonlocal pieces_taken
        pieces_taken += 1
        await asyncio.sleep(waits)
        return {"type": "http.request", "body": bytes(1000), "more_body": True}

    async def send(message):
        told.append((message.get("body"), message.get("more_body")))

    scope = {"type": "http", "headers": [(b"transfer-encoding", b"chunked")]}
    app = HeardOut(refuse, most=5000, longest=5 if waits == 0 else 0.05)
    with ThreadPoolExecutor(1) as other:  # where no browser's test has left an event loop running
        other.submit(asyncio.run, app(scope, receive, send)).result(timeout=20)
    assert told == [(None, None), (b"no", True), (b"", False)]
    assert pieces_taken == (5 if waits == 0 else 1)
