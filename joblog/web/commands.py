"""``joblog serve``: the screens of the shop, from one small program."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from joblog.errors import DeviceError, Exit

if TYPE_CHECKING:
    from fastapi import FastAPI

OPEN_HOSTS = ("127.0.0.1", "localhost", "::1")


def add_commands(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add ``joblog serve``."""
    parser = subparsers.add_parser("serve", help="bay screen, phone page and desk in a browser")
    parser.add_argument("--host", default="127.0.0.1", help="address to answer on")
    parser.add_argument("--port", type=int, default=8765)
    parser.add_argument("--data", type=Path, help="folder of the records")
    parser.add_argument(
        "--lan", action="store_true", help="let paired phones in, over HTTPS of the shop's own"
    )
    parser.set_defaults(run=run_serve)


def run_serve(args: argparse.Namespace) -> int:
    """Serve until stopped by the keyboard."""
    import uvicorn

    from joblog.record.store import default_data_dir
    from joblog.web.app import create_app
    from joblog.web.shop import Shop

    host = "0.0.0.0" if args.lan and args.host in OPEN_HOSTS else args.host
    _free(host, args.port)
    shop = Shop.at(args.data)
    app = create_app(shop)
    secure: dict[str, str] = {}
    if args.lan:
        secure = _certified(app, args.data or default_data_dir(), args.port)
    else:
        print(f"joblog is on http://{host}:{args.port}/ (stop it with Ctrl-C)")
        if host not in OPEN_HOSTS:
            print("Other devices must be paired; without --lan their microphone stays off.")
    uvicorn.run(app, host=host, port=args.port, log_level="warning", **secure)  # type: ignore[arg-type]
    return int(Exit.OK)


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

    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise DeviceError(
                f"Port {port} on {host} can't be used ({error.strerror}); choose another --port."
            ) from None
