"""Who may ask: the pure ASGI layer round the whole app, error pages included.

Loopback is no trust boundary: a page from elsewhere can point its own name at 127.0.0.1. So the
`Host` of every request must be one this server was started for, and a request that changes
something must come from our own pages. The security headers go on every response.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from http import HTTPStatus
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

SECURITY_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; connect-src 'self'; form-action 'self'; font-src 'self'; "
        "style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; frame-ancestors 'none'; base-uri 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
MAX_BODY_BYTES = 64 * 1024 * 1024
LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
SAFE_METHODS = ("GET", "HEAD", "OPTIONS")

ErrorPage = Callable[[int, str, str], Response]
"""Status, heading and sentence to a whole page."""


TOO_LARGE = (
    "That file is too large",
    f"Greyspell reads files of up to {MAX_BODY_BYTES // 1024**2} MB; nothing was changed.",
)
"""Heading and sentence of the page about it."""


class TooLarge(Exception):
    """The body went over the limit while it was being read; the app answers it with the same page."""


def host_name(host: str) -> str:
    """Return a Host value in lower case without its port.

    Examples
    --------
    >>> host_name("LocalHost:8000"), host_name("[::1]:80"), host_name("127.0.0.1")
    ('localhost', '[::1]', '127.0.0.1')
    """
    if host.startswith("["):
        return host.partition("]")[0].lower() + "]"
    return host.partition(":")[0].lower()


class Guard:
    """Refuse foreign hosts, foreign origins and endless bodies; head every response.

    Parameters
    ----------
    app : ASGIApp
        The application inside.
    error_page : callable
        Makes the page that says what was refused and what to do.
    on_close : callable
        Closes what the application holds open.
    hosts : iterable of str
        Host names without port that this server answers to.
    """

    def __init__(
        self, app: ASGIApp, error_page: ErrorPage, on_close: Callable[[], None], hosts: Iterable[str] = LOOPBACK
    ) -> None:
        self.app = app
        self.error_page = error_page
        self.on_close = on_close
        self.hosts = frozenset(hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)

        async def send_headed(message: Message) -> None:
            if message["type"] == "http.response.start":
                out = MutableHeaders(scope=message)
                for name, value in SECURITY_HEADERS.items():
                    out[name] = value
            await send(message)

        refusal = self._refusal(scope["method"], headers)
        if refusal is not None:
            await refusal(scope, receive, send_headed)
            return
        await self._bounded(scope, receive, send_headed)

    def close(self) -> None:
        """Close what the application holds open."""
        self.on_close()

    def _refusal(self, method: str, headers: Headers) -> Response | None:
        host = headers.get("host", "")
        if host_name(host) not in self.hosts:
            return self.error_page(
                HTTPStatus.FORBIDDEN,
                "This address is not mine",
                f"The browser asked for “{host or 'no host'}”, but Greyspell answers only as "
                f"{', '.join(sorted(self.hosts))}. Open it at http://127.0.0.1 with the port it printed at start.",
            )
        if method not in SAFE_METHODS and not self._own(headers):
            return self.error_page(
                HTTPStatus.FORBIDDEN,
                "Not from this page",
                "A change must come from Greyspell's own pages; this one came from elsewhere and nothing was "
                "changed. Open Greyspell at the address it printed at start and make the change there.",
            )
        length = headers.get("content-length", "")
        if length.isdigit() and int(length) > MAX_BODY_BYTES:
            return self.error_page(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, *TOO_LARGE)
        return None

    def _own(self, headers: Headers) -> bool:
        site = headers.get("sec-fetch-site")
        if site is not None:
            return site in ("same-origin", "none")
        return host_name(urlsplit(headers.get("origin", "")).netloc) in self.hosts

    async def _bounded(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Run the app, counting the bytes of the body as they come."""
        read = 0

        async def receive_counted() -> Message:
            nonlocal read
            message = await receive()
            read += len(message.get("body", b""))
            if read > MAX_BODY_BYTES:
                raise TooLarge
            return message

        await self.app(scope, receive_counted, send)
