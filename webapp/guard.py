"""Who may ask: the pure ASGI layer round the whole app, error pages included.

Loopback is no trust boundary: a page from elsewhere can point its own name at 127.0.0.1. So the
`Host` of every request must be one this server was started for (`hosts`), and a request that changes
something must come from our own pages: the browser says so in Sec-Fetch-Site, and where it sends none (a plain http
address of a network) its whole Origin, port included, must be the Host that was asked for. Who asks from another
device signs in first (`door`). The security headers go on every response.
"""

from __future__ import annotations

from collections.abc import Callable
from http import HTTPStatus

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from webapp.hosts import Hosts
from webapp.slow_body import Patience, has_body

SWITCHED_OFF = (
    "accelerometer", "autoplay", "camera", "clipboard-read", "clipboard-write",
    "cross-origin-isolated", "display-capture", "encrypted-media", "fullscreen", "gamepad", "geolocation", "gyroscope",
    "hid", "idle-detection", "local-fonts", "magnetometer", "microphone", "midi", "payment", "picture-in-picture",
    "publickey-credentials-create", "publickey-credentials-get", "screen-wake-lock", "serial", "storage-access",
    "sync-xhr", "usb", "window-management", "xr-spatial-tracking",
)  # fmt: skip
"""What a page could ask a browser for and ours never do; the names Chromium knows (an unknown one is logged)."""
SECURITY_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; connect-src 'self'; form-action 'self'; font-src 'self'; "
        "style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; frame-ancestors 'none'; base-uri 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Permissions-Policy": ", ".join(f"{name}=()" for name in SWITCHED_OFF),
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
"""With no-referrer a browser would send our own forms with `Origin: null`, which does not say where they are from."""
MAX_BODY_BYTES = 64 * 1024 * 1024
EVERYTHING = "/files/everything"
MAX_EVERYTHING_BYTES = 1024 * 1024 * 1024
"""The one longer body: everything kept, as one file, which is never held in memory."""
SAFE_METHODS = ("GET", "HEAD", "OPTIONS")
KEEP_STATIC = "public, max-age=31536000, immutable"
KEEP_NOTHING = "no-store"

ErrorPage = Callable[[int, str, str], Response]
"""Status, heading and sentence to a whole page."""
Gate = Callable[[Scope, Headers], Response | None]
"""Refuses whom it does not know; None lets the request in."""


def longest_said(path: str) -> tuple[str, str]:
    """Return heading and sentence of the page about a body that is longer than the one at `path` may be."""
    most_mb = most_bytes(path) // 1024**2
    return "That file is too large", f"Greyspell reads files of up to {most_mb:,} MB here; nothing was changed."


def most_bytes(path: str) -> int:
    """Return how long a body at an address may be [bytes]."""
    return MAX_EVERYTHING_BYTES if path == EVERYTHING else MAX_BODY_BYTES


class TooLarge(Exception):
    """The body went over the limit while it was being read; the app answers it with the same page."""


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
    hosts : Hosts
        Which host names this server answers to.
    gate : callable
        Refuses whoever has not signed in.
    """

    def __init__(
        self, app: ASGIApp, error_page: ErrorPage, on_close: Callable[[], None], hosts: Hosts, gate: Gate
    ) -> None:
        self.app = app
        self.error_page = error_page
        self.on_close = on_close
        self.hosts = hosts
        self.gate = gate

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            return
        headers = Headers(scope=scope)
        patience = Patience(receive, pending=has_body(headers))

        async def send_headed(message: Message) -> None:
            if message["type"] == "http.response.start":
                out = MutableHeaders(scope=message)
                for name, value in SECURITY_HEADERS.items():
                    out[name] = value
                out.setdefault("Cache-Control", _kept(scope, message["status"]))
                if patience.pending:
                    out["Connection"] = "close"
            await send(message)

        refusal = self._refusal(scope, headers) or self.gate(scope, headers)
        if refusal is not None:
            await refusal(scope, patience, send_headed)
            return
        await self._bounded(scope, patience, send_headed)

    def close(self) -> None:
        """Close what the application holds open."""
        self.on_close()

    def _refusal(self, scope: Scope, headers: Headers) -> Response | None:
        host = headers.get("host", "")
        server = scope.get("server")
        if not self.hosts.answers_to(host, server[0] if server else ""):
            return self.error_page(HTTPStatus.FORBIDDEN, "This address is not mine", self.hosts.remedy(host))
        if scope["method"] not in SAFE_METHODS and not _own(headers):
            return self.error_page(
                HTTPStatus.FORBIDDEN,
                "Not from this page",
                "A change must come from Greyspell’s own pages; this one came from elsewhere and nothing was "
                "changed. Open Greyspell at the address it printed at start and make the change there.",
            )
        length = headers.get("content-length", "")
        if length.isdigit() and int(length) > most_bytes(scope["path"]):
            return self.error_page(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, *longest_said(scope["path"]))
        return None

    async def _bounded(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Run the app, counting the bytes of the body as they come."""
        read, most = 0, most_bytes(scope["path"])

        async def receive_counted() -> Message:
            nonlocal read
            message = await receive()
            read += len(message.get("body", b""))
            if read > most:
                raise TooLarge
            return message

        await self.app(scope, receive_counted, send)


def _own(headers: Headers) -> bool:
    """Whether a change comes from our own pages, by what no page elsewhere can make a browser say."""
    origin = headers.get("origin")
    same = origin is not None and origin.lower() == f"http://{headers.get('host', '').lower()}"
    site = headers.get("sec-fetch-site")
    if site is None:
        return same
    return site in ("same-origin", "none")


def _kept(scope: Scope, status: int) -> str:
    """How long a browser may keep a response that does not say so itself: our own files only, by their digest."""
    named = scope["path"].startswith("/static/") and scope["query_string"].startswith(b"v=")
    return KEEP_STATIC if named and status in (HTTPStatus.OK, HTTPStatus.NOT_MODIFIED) else KEEP_NOTHING
