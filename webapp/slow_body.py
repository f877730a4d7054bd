"""A body that comes too slowly: whoever sends a byte now and then would hold a connection for ever."""

from __future__ import annotations

import asyncio

from starlette.datastructures import Headers
from starlette.types import Message, Receive

WAIT_S = 30.0
"""So long is waited for a body, and as long again for each megabyte of it that came (judgement): a file of 64 MB may
take half an hour, so 35 kB a second is fast enough, which a phone at the end of the garden still does."""
MEGABYTE = 1_000_000
TOO_SLOW = (
    "That came too slowly",
    "What was sent did not come in time, so nothing was changed. Go back to the page before: what you typed is still "
    "there; send it again, nearer to the router if it is a phone.",
)
"""Heading and sentence of the page about it."""


class TooSlow(Exception):
    """The body did not come in time; the app answers it with a page."""


def has_body(headers: Headers) -> bool:
    """Tell whether a request brings a body."""
    return "transfer-encoding" in headers or headers.get("content-length", "0") != "0"


class Patience:
    """Receive a request, waiting for its body so long and no longer.

    Only time spent waiting counts, not what is done with the bytes in between.

    Parameters
    ----------
    receive : callable
        The server's own.
    pending : bool
        Whether a body is still to come; an answer given while it is ends the connection.
    """

    def __init__(self, receive: Receive, pending: bool) -> None:
        self._receive = receive
        self.pending = pending
        self._waited_s = 0.0
        self._read = 0

    async def __call__(self) -> Message:
        """Return the next part of the body.

        Raises
        ------
        TooSlow
            If it did not come in time.
        """
        if not self.pending:
            return await self._receive()
        clock = asyncio.get_running_loop().time
        begun_s = clock()
        left_s = WAIT_S * (1 + self._read / MEGABYTE) - self._waited_s
        try:
            message = await asyncio.wait_for(self._receive(), max(0.0, left_s))
        except TimeoutError:
            raise TooSlow from None
        self._waited_s += clock() - begun_s
        self._read += len(message.get("body", b""))
        self.pending = message["type"] == "http.request" and bool(message.get("more_body", False))
        return message
