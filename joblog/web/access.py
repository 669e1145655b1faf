"""Who may come in.

This machine (loopback) needs nothing. Anybody else on the network needs a token: of a paired phone,
a bay screen, the desk, or a report's link. Tokens are kept as SHA-256 hashes, expire, can be taken
back one by one, and a report's token opens that report alone.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from joblog.errors import StoreError

COOKIE = "joblog_token"
DAY = 86_400
LIFE = {"phone": 30 * DAY, "bay": 180 * DAY, "desk": 180 * DAY, "report": 14 * DAY, "pair": 300}
# What a phone in the pocket or a screen in the bay may do; everything else is the desk's.
BAY_MAY = re.compile(
    r"/voice|/api/voice/(begin|read|leave-out|learn|lesson|forget)"
    r"|/start|/api/start/(said|photos/label)|/jobs|/phone(/[\w-]+)?|/phone-worker\.js|/job/[\w-]+"
    r"|/api/jobs/[\w-]+(/(events|listen|say|confirm|disregard|speaking|refused|photos/\w+|media/\w+))?"
)
LARGEST_FORM = 3_000_000  # bytes of anything that is sent but a photo; a signature is the largest
OPEN_TO_ALL = ("/static/", "/pair/", "/trust", "/report/")  # these check their own tokens
LOOPBACK = frozenset({"127.0.0.1", "::1", "localhost"})
IN_TESTS = "testclient"  # asks in tests: no device on a network has such an address


@dataclass(frozen=True)
class Grant:
    """One token: what it is for, for whom, until when and since when (seconds since 1970)."""

    kind: str
    name: str
    expires: float
    job: str = ""
    made: float = 0.0  # not known of one that an earlier joblog made


class Gate:
    """Keeps the grants in a small file beside the records."""

    def __init__(self, path: Path, now: Callable[[], float] = time.time) -> None:
        self._path = path
        self._now = now
        self._lock = threading.Lock()
        self._grants: dict[str, Grant] = self._read()

    def _read(self) -> dict[str, Grant]:
        try:
            rows = json.loads(self._path.read_text(encoding="utf-8"))
            return {digest: Grant(**row) for digest, row in rows.items()}
        except FileNotFoundError:
            return {}
        except (OSError, ValueError, TypeError) as error:
            raise StoreError(
                f"{self._path} can't be read ({error}); move it away and pair phones again."
            ) from None

    def _write(self) -> None:
        fresh = self._path.with_suffix(".new")
        rows = {digest: asdict(grant) for digest, grant in self._grants.items()}
        try:
            fresh.parent.mkdir(parents=True, exist_ok=True)
            descriptor = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            with os.fdopen(descriptor, "w", encoding="utf-8") as file:
                json.dump(rows, file)
                file.flush()
                os.fsync(file.fileno())  # else a power cut may leave an empty file of that name
            fresh.replace(self._path)
        except OSError as error:
            raise StoreError(
                f"Who may come in can't be kept in {self._path} ({error.strerror or error}); "
                "make room, or let joblog write there, then try again."
            ) from None

    def grant(self, kind: str, name: str, job: str = "", life: float | None = None) -> str:
        """Make a token and return it; it is shown this once."""
        token = secrets.token_urlsafe(32)
        now = self._now()
        expires = now + (LIFE[kind] if life is None else life)
        with self._lock:
            self._drop_expired()
            if kind == "phone":
                name = self._own_name(name)
            self._grants[_digest(token)] = Grant(kind, name, expires, job, now)
            self._write()
        return token

    def _own_name(self, name: str) -> str:
        """Return the name with a number where another phone has it: 'Phone', 'Phone 2'."""
        taken = {grant.name for grant in self._grants.values() if grant.kind == "phone"}
        numbered = (f"{name} {number}" for number in range(2, len(taken) + 3))
        return next(one for one in (name, *numbered) if one not in taken)

    def _drop_expired(self) -> None:
        now = self._now()
        self._grants = {d: g for d, g in self._grants.items() if g.expires > now}

    def look(self, token: str | None) -> Grant | None:
        """Return the grant of a token that still holds."""
        if not token:
            return None
        grant = self._grants.get(_digest(token))
        return grant if grant and grant.expires > self._now() else None

    def use_up(self, token: str, kind: str) -> Grant | None:
        """Return the grant of a one-use token and take it back in the same breath."""
        with self._lock:
            grant = self.look(token)
            if grant is None or grant.kind != kind:
                return None
            del self._grants[_digest(token)]
            self._write()
            return grant

    def listed(self) -> list[tuple[str, Grant]]:
        """Return (handle, grant) of all that hold, for the desk."""
        now = self._now()
        return [
            (d[:12], g) for d, g in self._grants.items() if g.expires > now and g.kind != "pair"
        ]

    def revoke(self, handle: str) -> bool:
        """Take the token with that handle back; says whether there was one."""
        with self._lock:
            found = [d for d in self._grants if d.startswith(handle) and len(handle) >= 12]
            for digest in found:
                del self._grants[digest]
            if found:
                self._write()
            return bool(found)

    def why_not(self, request: Any) -> str:
        """Return '' where the request may pass, else the sentence that refuses it."""
        changes = request.method not in ("GET", "HEAD", "OPTIONS")
        if changes and not from_own_page(request):
            return "This came from another page; open joblog itself and try again."
        if self.may_enter(request) or path_of(request).startswith(OPEN_TO_ALL):
            return ""
        return (
            "This device is not paired for that, or its pairing was taken back; "
            "scan a new code, or do it at the desk."
        )

    def kind_of(self, connection: Any) -> str:
        """Return what asks: 'desk' (this machine, too), 'phone', 'bay', or '' for a stranger."""
        client = connection.client.host if connection.client else ""
        host = _host(f"//{connection.headers.get('host', '')}")
        if client in LOOPBACK and host in LOOPBACK:
            return "desk"
        if client == IN_TESTS and host in (*LOOPBACK, "testserver"):
            return "desk"
        grant = self.look(connection.cookies.get(COOKIE))
        return grant.kind if grant is not None and grant.kind in ("phone", "bay", "desk") else ""

    def may_enter(self, connection: Any) -> bool:
        """Say whether a request or socket comes from this machine or carries a fitting token."""
        kind = self.kind_of(connection)
        if kind in ("phone", "bay"):
            return BAY_MAY.fullmatch(path_of(connection)) is not None
        return kind == "desk"


def from_own_page(connection: Any) -> bool:
    """Say whether a page of another site isn't behind a request or socket."""
    origin = connection.headers.get("origin")
    if not origin:
        return True
    try:
        return bool(urlsplit(origin).netloc == connection.headers.get("host"))
    except ValueError:  # not even in form an address
        return False


def path_of(connection: Any) -> str:
    """Return the path that is routed; an address built from the 'Host' header may hold another."""
    return str(connection.scope["path"])


def _host(address: str) -> str:
    """Return the name in an address, '' where there is none or it has no such form."""
    try:
        return urlsplit(address).hostname or ""
    except ValueError:
        return ""


def too_large(request: Any) -> bool:
    """Say whether a request without a photo says that its body is too large, or doesn't say."""
    if request.method in ("GET", "HEAD", "OPTIONS") or "/photos/" in path_of(request):
        return False
    length = request.headers.get("content-length", "")
    chunked = "transfer-encoding" in request.headers
    return chunked or (length.isdecimal() and int(length) > LARGEST_FORM)


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
