"""``joblog serve``: the screens of the shop, from one small program."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path
from threading import Event
from typing import TYPE_CHECKING, Any

from joblog.bench import bench_parsers
from joblog.errors import DeviceError, Exit, InputError, UsageError
from joblog.web.voice_commands import add_voice

if TYPE_CHECKING:
    from fastapi import FastAPI

    from joblog.web.orderbook import OrderBook
    from joblog.web.shop import Shop

PORTS = range(1, 65536)
OPEN_HOSTS = ("127.0.0.1", "localhost", "::1")


def add_commands(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add ``joblog serve``."""
    parser = subparsers.add_parser("serve", help="bay screen, phone page and desk in a browser")
    parser.add_argument("--host", default="127.0.0.1", help="address to answer on")
    parser.add_argument("--port", type=int, default=8765)
    parser.add_argument("--data", help="folder or database URL of the records")
    parser.add_argument(
        "--lan", action="store_true", help="let paired phones in, over HTTPS of the shop's own"
    )
    parser.add_argument(
        "--watch",
        type=Path,
        metavar="FOLDER",
        help="take the pictures that a camera copies there into the job that wants one",
    )
    parser.add_argument(
        "--camera",
        metavar="N",
        help="take a frame of this camera (0 is the first; or a network camera's address) "
        "when a job asks for a photo",
    )
    parser.set_defaults(run=run_serve)
    bench = bench_parsers(subparsers).add_parser(
        "talkers", help="how long many talkers at once wait for their answers"
    )
    bench.add_argument("folder", type=Path, metavar="FOLDER", help="labelled speech")
    bench.add_argument("--talkers", type=int, nargs="+", default=[1, 4, 8, 16])
    bench.add_argument("--seconds", type=float, default=60)
    bench.set_defaults(run=run_talkers)
    beside = "folder of the records; with a database URL, that of the photos"
    orders = subparsers.add_parser("orders", help="the list of work orders that jobs start from")
    what = orders.add_subparsers(dest="orders_command", metavar="ACTION", required=True)
    take = what.add_parser(
        "import",
        help="import a CSV file of work orders",
        description="One order a row; the first row names the columns. 'order' is needed; "
        "docs/bay.md names the others. A file with a mistake changes nothing; an order for a job "
        "sheet that isn't there is left out alone (exit status 1).",
    )
    take.add_argument("file", type=Path, metavar="FILE.csv")
    take.add_argument("--data", help=beside)
    take.set_defaults(run=run_import)
    shown = what.add_parser("list", help="print the orders of today")
    shown.add_argument("--data", help=beside)
    shown.set_defaults(run=run_list)
    add_voice(subparsers, beside)


def run_talkers(args: argparse.Namespace) -> int:
    """Measure the waits."""
    from joblog.web.talkers import run

    run(args.folder, tuple(args.talkers), args.seconds)
    return int(Exit.OK)


def run_serve(args: argparse.Namespace) -> int:
    """Serve until stopped by the keyboard."""
    from joblog.web.app import create_app
    from joblog.web.lines import serve
    from joblog.web.shop import Shop

    host = "0.0.0.0" if args.lan and args.host in OPEN_HOSTS else args.host
    _free(host, args.port)
    shop = Shop.at(args.data)
    app = create_app(shop, beside=_beside(shop, args))
    secure: dict[str, Any] = {}
    if args.lan:
        secure = _certified(app, shop.folder, args.port)
    else:
        print(f"joblog is on http://{host}:{args.port}/ (stop it with Ctrl-C)")
        if host not in OPEN_HOSTS:
            print("Other devices must be paired; without --lan their microphone stays off.")
    options: dict[str, Any] = {"log_level": "warning", "timeout_graceful_shutdown": 2}
    options["proxy_headers"] = False  # who asks is who is connected, whatever a header says
    serve(app, host, args.port, **options, **secure)  # open screens never end
    return int(Exit.OK)


def _beside(shop: Shop, args: argparse.Namespace) -> list[Callable[[Event], None]]:
    """Return what runs beside the pages: eyes that need no phone, and who tidies up."""
    from joblog.web.memory import giving_back

    found: list[Callable[[Event], None]] = [giving_back]
    if args.watch is not None or args.camera is not None:
        from joblog.web.arrivals import aiming, watching

        if args.watch is not None:
            found.append(watching(shop, args.watch))
        if args.camera is not None:
            number = args.camera.isdecimal()
            found.append(aiming(shop, int(args.camera) if number else args.camera))
    return found


def run_import(args: argparse.Namespace) -> int:
    """Import a CSV file of work orders."""
    from joblog.record.store import data_folder
    from joblog.sheet.load import sheets_beside
    from joblog.web.orders import read_orders

    try:
        data = args.file.read_bytes()
    except OSError as error:
        raise InputError(f"{args.file} can't be read ({error.strerror}).") from None
    try:
        orders = read_orders(data, sheets_beside(data_folder(args.data)))
    except InputError as error:
        raise InputError(f"{args.file}: {error}") from None
    new, renewed = _book(args.data).take(orders)
    for remark in orders.remarks:
        print(f"joblog: {remark}", file=sys.stderr)
    for refusal in orders.refused:
        print(f"joblog: {args.file}: {refusal}", file=sys.stderr)
    left_out = f", {len(orders.refused)} left out" if orders.refused else ""
    print(f"{new} new, {renewed} renewed{left_out}.")
    return int(Exit.FAILED if orders.refused else Exit.OK)


def run_list(args: argparse.Namespace) -> int:
    """Print the orders of today, one a line."""
    for row in _book(args.data).listed():
        words = (row.get(k, "") for k in ("order", "plate", "make", "model", "customer"))
        print("  ".join(word for word in words if word))
    return int(Exit.OK)


def _book(data: str | None) -> OrderBook:
    from joblog.record.store import data_folder
    from joblog.web.orderbook import ORDERS, OrderBook

    return OrderBook(data_folder(data) / ORDERS)


def _certified(app: FastAPI, data: Path, port: int) -> dict[str, str]:
    """Make or renew the shop's certificates; say how phones come to trust them."""
    from joblog.web.lan import certificates
    from joblog.web.phone import own_address

    address = own_address()
    authority, leaf, key = certificates(data / "certificates", address)
    app.state.authority = authority
    print(f"joblog is on https://{address}:{port}/ (stop it with Ctrl-C)")
    print(
        f"This PC: https://localhost:{port}/. Phones: pair them at https://localhost:{port}/phones"
    )
    print(f"Each phone must trust {authority} once: see https://{address}:{port}/trust")
    return {"ssl_certfile": str(leaf), "ssl_keyfile": str(key)}


def _free(host: str, port: int) -> None:
    """Say in one sentence where the port is taken, before anything is opened."""
    import socket

    from joblog.web.lines import REUSES

    if port not in PORTS:
        raise UsageError(f"There is no port {port}; choose one from 1 to 65535 with --port.")
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, REUSES)
        try:
            probe.bind((host, port))
        except (socket.gaierror, UnicodeError, TypeError):  # unknown, or not even in form a name
            raise UsageError(
                f"The address {host!r} isn't known here; give another --host."
            ) from None
        except OSError as error:
            raise DeviceError(
                f"Port {port} on {host} can't be used ({error.strerror}); choose another --port "
                "or --host."
            ) from None
