"""The list of work orders beside the records: what may be started today.

It is a list to choose from, no record: what counts is what a job was opened with. One small JSON
file, replaced as a whole; an import adds orders and renews those whose number is there already.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Callable
from datetime import date
from pathlib import Path

from joblog.errors import StoreError
from joblog.web.orders import Orders

ORDERS = "orders.json"  # its name beside the records
KEPT_DAYS = 60  # orders older than this are dropped at the next import


class OrderBook:
    """Keeps the orders in ``path``; ``today`` is the shop's own day."""

    def __init__(self, path: Path, today: Callable[[], date] = date.today) -> None:
        self._path = path
        self._today = today
        self._lock = threading.Lock()

    def take(self, orders: Orders) -> tuple[int, int]:
        """Add the orders of a file; returns how many are new and how many were renewed.

        An order without a date is for the day of its import. Raises StoreError where the list
        can't be kept.
        """
        with self._lock:
            known = {row["order"]: row for row in self._read()}
            today = self._today()
            fresh = {row["order"]: {"date": today.isoformat(), **row} for row in orders.rows}
            renewed = len(known.keys() & fresh.keys())
            rows = [r for r in (known | fresh).values() if _age(r, today) <= KEPT_DAYS]
            self._write(rows)
        return len(fresh) - renewed, renewed

    def listed(self) -> list[dict[str, str]]:
        """Return the orders of today, by number."""
        today = self._today().isoformat()
        return sorted(
            (row for row in self._read() if row["date"] == today), key=lambda row: row["order"]
        )

    def every(self) -> list[dict[str, str]]:
        """Return the orders of all days, newest first."""
        return sorted(self._read(), key=lambda row: row["date"], reverse=True)

    def find(self, number: str) -> dict[str, str] | None:
        """Return the order with that number, of whatever day."""
        return next((row for row in self._read() if row["order"] == number), None)

    def for_vin(self, vin: str) -> dict[str, str] | None:
        """Return today's order for a vehicle, else its newest one."""
        found = [row for row in self._read() if row.get("vin") == vin]
        today = self._today().isoformat()
        return max(found, key=lambda row: (row["date"] == today, row["date"]), default=None)

    def _read(self) -> list[dict[str, str]]:
        try:
            rows: list[dict[str, str]] = json.loads(self._path.read_text(encoding="utf-8"))
            return [row for row in rows if row["order"] and row["date"]]
        except FileNotFoundError:
            return []
        except (OSError, ValueError, TypeError, KeyError) as error:
            raise StoreError(
                f"The list of orders ({self._path}) can't be read ({error}); move it away and "
                "import the orders again."
            ) from None

    def _write(self, rows: list[dict[str, str]]) -> None:
        fresh = self._path.with_suffix(".new")
        try:
            fresh.parent.mkdir(parents=True, exist_ok=True)
            fresh.write_text(json.dumps(rows, ensure_ascii=False, indent=1), encoding="utf-8")
            fresh.replace(self._path)
        except OSError as error:
            raise StoreError(
                f"The list of orders can't be kept ({error.strerror}); make room and import again."
            ) from None


def _age(row: dict[str, str], today: date) -> int:
    return (today - date.fromisoformat(row["date"])).days
