"""Connections of the server: none may sit there without asking, and nobody may hold them all.

The server bounds idle time between two requests itself, not the time until a request's head is whole, and its own
answer to what is no HTTP carries no security headers; both are added here. Not covered: how slowly an answer is read,
which only the number of connections bounds, and a network flooded with packets, which is the router’s to stop.
"""

from __future__ import annotations

import asyncio
from collections import Counter
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from webapp.guard import KEEP_NOTHING, SECURITY_HEADERS
from webapp.hosts import is_loopback_address

HEAD_S = 20.0
"""So long a connection may take to say what it asks (judgement): a browser sends it in one piece."""
MOST_EACH, MOST = 32, 200
"""Connections of one other device, and of all together (judgement): a browser opens six. This machine itself is never
turned away."""
NO_HTTP = "That is no HTTP request, so nothing was answered."


class Connection(H11Protocol):
    """One connection; closed when the head of a request does not come, or when there are too many."""

    _head_timer: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for a request, or turn the connection away."""
        super().connection_made(transport)
        if self._too_many():
            transport.close()
        else:
            self._wait_for_head()

    def data_received(self, data: bytes) -> None:
        """Take what came; where that is no whole head, its time goes on."""
        super().data_received(data)
        if self._asked():
            self._stop_waiting()
        elif self._head_timer is None:
            self._wait_for_head()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the timer with the connection."""
        self._stop_waiting()
        super().connection_lost(exc)

    def send_400_response(self, msg: str) -> None:
        """Answer what is no HTTP, with the headers of every other answer."""
        if self.conn.our_state in (h11.IDLE, h11.SEND_RESPONSE):
            said = SECURITY_HEADERS | {
                "Content-Type": "text/plain; charset=utf-8",
                "Content-Length": str(len(NO_HTTP)),
                "Cache-Control": KEEP_NOTHING,
                "Connection": "close",
            }
            headers = [(name.encode(), value.encode()) for name, value in said.items()]
            events: tuple[Any, ...] = (
                h11.Response(status_code=400, headers=headers, reason=b"Bad Request"),
                h11.Data(data=NO_HTTP.encode()),
                h11.EndOfMessage(),
            )
            self.transport.write(b"".join(self.conn.send(event) or b"" for event in events))
        self.transport.close()

    def _asked(self) -> bool:
        """Whether a request is being answered just now."""
        return self.cycle is not None and not self.cycle.response_complete

    def _wait_for_head(self) -> None:
        self._head_timer = self.loop.call_later(HEAD_S, self._give_up)

    def _stop_waiting(self) -> None:
        if self._head_timer is not None:
            self._head_timer.cancel()
            self._head_timer = None

    def _give_up(self) -> None:
        if not self._asked():
            self.transport.close()

    def _too_many(self) -> bool:
        own = self.client[0] if self.client else ""
        if is_loopback_address(own):
            return False
        others = Counter(one.client[0] for one in self.connections if isinstance(one, Connection) and one.client)
        return others[own] > MOST_EACH or len(self.connections) > MOST
