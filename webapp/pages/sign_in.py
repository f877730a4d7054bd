"""Signing in on another device, and out again. Not in the list of pages: only who must comes here."""

from __future__ import annotations

import math
from http import HTTPStatus
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Depends, Request
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, RedirectResponse, Response

from webapp.door import PATH, Door, Knock
from webapp.sign_in import COOKIE, LASTS_S, own_path

router = APIRouter()

LONGEST_FORM_BYTES = 8192
"""Of a form that anybody in the network may send."""
FORM = "application/x-www-form-urlencoded"
NOT_SET = (
    "No pass phrase is set yet, so nobody can sign in. On the machine that Greyspell runs on, open its page Other "
    "devices and set one."
)


async def short_form(request: Request) -> dict[str, str]:
    """Return what the short form of this page sent; anything longer is not even read."""
    length = request.headers.get("Content-Length", "")
    kind = request.headers.get("Content-Type", "").partition(";")[0].strip().lower()
    if (
        "Transfer-Encoding" in request.headers
        or not length.isdigit()
        or int(length) > LONGEST_FORM_BYTES
        or kind != FORM
    ):
        raise HTTPException(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, "Only a short form is read here")
    async with request.form(max_files=0, max_fields=10) as form:
        return {name: str(form[name]) for name in form}


Form = Annotated[dict[str, str], Depends(short_form)]


def door_of(request: Request) -> Door:
    """Return the door of the app."""
    door: Door = request.app.state.door
    return door


def _inside(request: Request) -> bool:
    return bool(request.state.here) or door_of(request).knows(request.headers)


def _show(request: Request, to: str, error: str = "", status: int = 200, wait_s: float = 0.0) -> Response:
    html = request.app.state.env.get_template("sign_in.html").render(
        nav=(), here=PATH, saved=None, to=to, error=error, is_set=door_of(request).sign_in.is_set, not_set=NOT_SET
    )
    return HTMLResponse(html, status, {"Retry-After": f"{math.ceil(wait_s)}"} if wait_s else None)


def in_words(wait_s: float) -> str:
    """Write a wait.

    Examples
    --------
    >>> in_words(0.2), in_words(59.1), in_words(3600)
    ('1 second', '60 seconds', '3600 seconds')
    """
    seconds = math.ceil(wait_s)
    return f"{seconds} second{'s' if seconds != 1 else ''}"


def refused(knock: Knock) -> str:
    """Say what came of a try that did not open."""
    if not knock.seen:
        return (
            f"This try was not looked at: after several wrong ones the next is taken in {in_words(knock.wait_s)}. "
            "On the machine that Greyspell runs on nobody has to wait."
        )
    wrong = "That is not the pass phrase: capital letters and spaces count."
    return f"{wrong} The next try is taken in {in_words(knock.wait_s)}." if knock.wait_s else wrong


@router.get(PATH)
def page(request: Request, to: str = "/") -> Response:
    """Ask for the pass phrase."""
    wanted = own_path(to)
    return RedirectResponse(wanted, HTTPStatus.SEE_OTHER) if _inside(request) else _show(request, wanted)


@router.post(PATH)
def sign_in(request: Request, form: Form) -> Response:
    """Take the pass phrase, and go on to where one wanted."""
    door, wanted = door_of(request), own_path(form.get("to", "/"))
    if not door.sign_in.is_set:
        return _show(request, wanted, status=HTTPStatus.FORBIDDEN)
    knock = door.knock(form.get("phrase", ""), request.client.host if request.client else "")
    if not knock.right:
        status = HTTPStatus.UNAUTHORIZED if knock.seen else HTTPStatus.TOO_MANY_REQUESTS
        return _show(request, wanted, refused(knock), status, knock.wait_s)
    answer = RedirectResponse(wanted, HTTPStatus.SEE_OTHER)
    answer.set_cookie(COOKIE, door.sign_in.token(), max_age=LASTS_S, path="/", httponly=True, samesite="lax")
    return answer


@router.post("/sign-out")
def sign_out(request: Request) -> Response:
    """Forget this device."""
    answer = RedirectResponse(f"{PATH}?to={quote('/', safe='')}", HTTPStatus.SEE_OTHER)
    answer.delete_cookie(COOKIE, path="/", httponly=True, samesite="lax")
    return answer


@router.post("/sign-out/all")
def sign_all_out(request: Request) -> Response:
    """Forget every device."""
    door_of(request).sign_in.sign_all_out()
    return RedirectResponse("/devices?out=all", HTTPStatus.SEE_OTHER)
