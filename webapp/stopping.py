"""Stopping within a second, whatever is being worked out just then.

Answers that are nearly done are still given. A calculation in a thread cannot be broken off, so after `STOP_S` the
process ends without it: what was saved is saved, for SQLite undoes a write that was not finished.
"""

from __future__ import annotations

import os
import socket
import threading
from collections.abc import Callable

import uvicorn

STOP_S = 0.7
"""So long after the signal the process ends at the latest (choice); the server looks for a signal every 0.1 s."""


class Server(uvicorn.Server):
    """A server that ends in time.

    Parameters
    ----------
    config : uvicorn.Config
        How it serves.
    before_end : callable
        Tidies what must not be left behind.
    """

    def __init__(self, config: uvicorn.Config, before_end: Callable[[], None]) -> None:
        super().__init__(config)
        self._before_end = before_end

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Finish what is nearly done; the end does not wait for the rest."""
        ending = threading.Timer(STOP_S, self._end)
        ending.daemon = True
        ending.start()
        await super().shutdown(sockets)

    def _end(self) -> None:
        self._before_end()
        os._exit(0)
