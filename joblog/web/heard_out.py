"""An answer before all has been sent: the rest is read and thrown away, so that it arrives.

Who is refused in the middle of a large upload goes on sending. A line that is closed then is reset,
and many programs lose the sentence with it. So the answer goes out at once, and its end waits until
the rest has come, was too much, or took too long. Nothing of it is kept.
"""

from __future__ import annotations

import asyncio
import contextlib
from typing import Any

MOST, LONGEST = 1_000_000_000, 120.0  # bytes, and seconds, that are still read


class HeardOut:
    """Ends no answer before its request has ended, within bounds."""

    def __init__(self, app: Any, most: int = MOST, longest: float = LONGEST) -> None:
        self._app, self._most, self._longest = app, most, longest

    async def __call__(self, scope: Any, receive: Any, send: Any) -> None:
        """Answer one request."""
        headers = {name for name, _ in scope.get("headers", ())}
        if scope["type"] != "http" or not headers & {b"content-length", b"transfer-encoding"}:
            await self._app(scope, receive, send)
            return
        ended = False

        async def hear() -> Any:
            nonlocal ended
            message = await receive()
            ended = not message.get("more_body", False)  # so it is where the sender went away
            return message

        async def tell(message: Any) -> None:
            last = message["type"] == "http.response.body" and not message.get("more_body", False)
            if not last or ended:
                await send(message)
                return
            await send({**message, "more_body": True})
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(self._longest):
                    left = self._most
                    while not ended and left > 0:
                        left -= len((await hear()).get("body", b""))
            await send({"type": "http.response.body", "body": b"", "more_body": False})

        await self._app(scope, hear, tell)
