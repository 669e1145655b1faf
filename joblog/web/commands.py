"""``joblog serve``: the screens of the shop, from one small program."""

from __future__ import annotations

import argparse
from pathlib import Path

from joblog.errors import DeviceError, Exit

OPEN_HOSTS = ("127.0.0.1", "localhost", "::1")


def add_commands(subparsers: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    """Add ``joblog serve``."""
    parser = subparsers.add_parser("serve", help="bay screen, phone page and desk in a browser")
    parser.add_argument("--host", default="127.0.0.1", help="address to answer on")
    parser.add_argument("--port", type=int, default=8765)
    parser.add_argument("--data", type=Path, help="folder of the records")
    parser.set_defaults(run=run_serve)


def run_serve(args: argparse.Namespace) -> int:
    """Serve until stopped by the keyboard."""
    import uvicorn

    from joblog.web.app import create_app
    from joblog.web.shop import Shop

    _free(args.host, args.port)
    app = create_app(Shop.at(args.data))
    print(f"joblog is on http://{args.host}:{args.port}/ (stop it with Ctrl-C)")
    if args.host not in OPEN_HOSTS:
        print("Other devices must be paired at the desk; without HTTPS their microphone stays off.")
    uvicorn.run(app, host=args.host, port=args.port, log_level="warning")
    return int(Exit.OK)


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
