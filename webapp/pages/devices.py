"""Other devices: where a phone finds Greyspell, the pass phrase it asks for, signing out, and how to stop sharing."""

from __future__ import annotations

from http import HTTPStatus

from fastapi import APIRouter, Request
from markupsafe import Markup
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from engine.errors import InputError
from webapp.pages.sign_in import Form, door_of
from webapp.render import Page, render
from webapp.sign_in import LASTS_S, LONGEST, SHORTEST
from webapp.store_schema import StoreFault

PAGE = Page("", "Other devices", "/devices", "Open Greyspell on a phone at home")
router = APIRouter()

QUIET_MODULES = 4
"""White round a QR picture: 4 modules, as ISO/IEC 18004 asks for."""
MODULE_PX = 6


def qr_svg(text: str) -> Markup:
    """Return a QR picture of a text, black on white whatever the theme is."""
    import segno

    code = segno.make(text, error="m", micro=False)
    drawn = code.svg_inline(scale=MODULE_PX, border=QUIET_MODULES, dark="#000", light="#fff", omitsize=True)
    return Markup(drawn)


def _show(request: Request, errors: dict[str, str] | None = None, status: int = 200) -> Response:
    sharing = request.app.state.sharing
    links = sharing.links() if sharing else []
    return render(
        request,
        "devices.html",
        status=status,
        sharing=sharing is not None,
        links=links,
        named=sharing.named_links() if sharing else [],
        qr=qr_svg(links[0]) if links else "",
        at_home=request.state.here,
        is_set=door_of(request).sign_in.is_set,
        lasts_days=LASTS_S // 86400,
        shortest=SHORTEST,
        longest=LONGEST,
        errors=errors or {},
        done={"all": "Every device is signed out.", "set": "The pass phrase is set; every device is signed out."}.get(
            request.query_params.get("out", ""), ""
        ),
    )


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show where other devices find Greyspell."""
    return _show(request)


@router.post("/devices/phrase")
def set_phrase(request: Request, form: Form) -> Response:
    """Set the pass phrase; only at the machine itself."""
    if not request.state.here:
        raise HTTPException(
            HTTPStatus.FORBIDDEN,
            "The pass phrase is changed only on the machine that Greyspell runs on, at http://127.0.0.1",
        )
    phrase = form.get("phrase", "")
    if phrase != form.get("again", ""):
        return _show(request, {"again": "The two are not the same: type the pass phrase again in both fields."}, 422)
    try:
        door_of(request).sign_in.set_phrase(phrase)
    except StoreFault:
        raise
    except InputError as fault:
        return _show(request, {"phrase": fault.message}, 422)
    return RedirectResponse(f"{PAGE.path}?out=set", HTTPStatus.SEE_OTHER)
