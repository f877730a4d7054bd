"""The door for other devices: who comes in without a word, who has signed in, and what the others are told."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from http import HTTPStatus
from urllib.parse import quote

from starlette.datastructures import Headers
from starlette.requests import cookie_parser
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import Scope

from webapp.hosts import made_here
from webapp.sign_in import COOKIE, SignIn, own_path
from webapp.sign_in_limits import Tries

PATH = "/sign-in"
OPEN = (PATH, "/favicon.ico")
OPEN_BELOW = "/static/"
"""What anybody may see: the page to sign in, and the style sheet and icon that it is drawn with."""
SIGN_IN_FIRST = (
    "This device is not signed in, so nothing was answered and nothing was changed. Open Greyspell in another tab, "
    "sign in there, then come back to this page: what you typed is still there."
)
SEND_AGAIN = (
    "This device is not signed in, so nothing was changed. Open Greyspell in another tab, sign in there, then come "
    "back here and load this page again: the browser sends what you typed once more."
)
AT_ONCE_S = 1.0
"""Said to whoever tries while another try is being looked at: only one is at a time, for each takes 32 MiB."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Knock:
    """What came of a try: whether it was looked at and right, and how long until the next is taken."""

    seen: bool = True
    right: bool = False
    wait_s: float = 0.0


class Door:
    """Let in who is at this machine, or has signed in.

    Parameters
    ----------
    sign_in : SignIn
        The pass phrase and the cookies.
    tries : Tries
        Who tried how often.
    error_page : callable
        Makes a page of a status, a heading and a sentence.
    """

    def __init__(self, sign_in: SignIn, tries: Tries, error_page: Callable[[int, str, str], Response]) -> None:
        self.sign_in = sign_in
        self._error_page = error_page
        self._tries = tries
        self._one_at_a_time = threading.Lock()

    def __call__(self, scope: Scope, headers: Headers) -> Response | None:
        """Refuse a request of a device that has not signed in; mark the others as made here or not."""
        client = scope.get("client")
        here = made_here(client[0] if client else "", headers)
        scope.setdefault("state", {})["here"] = here
        path = scope["path"]
        if here or path in OPEN or path.startswith(OPEN_BELOW) or self.knows(headers):
            return None
        return self._refusal(scope, headers)

    def knows(self, headers: Headers) -> bool:
        """Tell whether a request carries a cookie of ours that holds."""
        return self.sign_in.holds(cookie_parser(headers.get("cookie", "")).get(COOKIE, ""))

    def knock(self, phrase: str, address: str) -> Knock:
        """Try a pass phrase, unless this address still has to wait."""
        if not self._one_at_a_time.acquire(blocking=False):
            return Knock(seen=False, wait_s=AT_ONCE_S)
        try:
            wait_s = self._tries.wait_s(address)
            if wait_s > 0:
                return Knock(seen=False, wait_s=wait_s)
            if self.sign_in.is_phrase(phrase):
                self._tries.went_right(address)
                return Knock(right=True)
            self._tries.went_wrong(address)
            return Knock(wait_s=self._tries.wait_s(address))
        finally:
            self._one_at_a_time.release()

    def _refusal(self, scope: Scope, headers: Headers) -> Response:
        """Send a person who wants to see a page to the one to sign in; tell anybody else in a sentence."""
        if scope["method"] in ("GET", "HEAD") and not is_script(scope, headers):
            query = scope["query_string"].decode("latin-1")
            wanted = own_path(quote(scope["path"], safe="/") + (f"?{query}" if query else ""))
            return RedirectResponse(f"{PATH}?to={quote(wanted, safe='')}", HTTPStatus.SEE_OTHER)
        if scope["path"].endswith(".json"):
            refusal: Response = JSONResponse({"error": SIGN_IN_FIRST}, HTTPStatus.UNAUTHORIZED)
        elif is_script(scope, headers):
            refusal = PlainTextResponse(SIGN_IN_FIRST, HTTPStatus.UNAUTHORIZED)
        else:
            refusal = self._error_page(HTTPStatus.UNAUTHORIZED, "Please sign in first", SEND_AGAIN)
        refusal.headers["WWW-Authenticate"] = 'Form realm="Greyspell"'
        return refusal


def is_script(scope: Scope, headers: Headers) -> bool:
    """Tell whether a request was made by a script, which cannot follow a person to another page."""
    return scope["path"].endswith(".json") or "HX-Request" in headers
