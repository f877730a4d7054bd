"""Sun records: the household's own daily kWh, or measured sunshine near it, brought as a file or pasted; their list.

Files are taken apart in the server's threads (`uploads`).
"""

from __future__ import annotations

from http import HTTPStatus

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from engine.errors import InputError
from webapp import sky_store
from webapp.editing import Sent, meant, opened, save, store_of
from webapp.pages import record
from webapp.parts import with_values
from webapp.records_reading import first_choices, guessed
from webapp.records_use import SKY_FIELDS, standing, unset
from webapp.records_words import row
from webapp.render import Page, render
from webapp.uploads import MOST_MB, Brought, Upload

PAGE = Page("Check", "Sun records", "/records", "What do my own records of sun change?")
router = APIRouter()


def _show(
    request: Request, errors: dict[str, str] | None = None, sent: Brought | None = None, status: int = 422
) -> Response:
    _, house = opened(request)
    return render(
        request,
        "records.html",
        status=status if errors else 200,
        here=PAGE.path,
        **record.KEPT.lists(request, row),
        standing=standing(house.site, house.sun),
        from_file=house.sun.sky_file,
        errors=errors or {},
        pasted=sent.pasted if sent else "",
        most_mb=MOST_MB,
    )


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the records of the open household and the way to bring one."""
    return _show(request)


@router.post(PAGE.path)
def upload(request: Request, sent: Upload) -> Response:
    """Take a file or pasted rows in as a draft, or say in one sentence why not."""
    try:
        saved = meant(request, sent.household)
        content = sent.one_of()
        reading = guessed(content)
    except InputError as fault:
        return _show(request, {sent.field: fault.message}, sent)
    choices = first_choices(reading)
    kept = sky_store.add(store_of(request), saved.household_id, sent.name, reading.kind, content, choices)
    return RedirectResponse(f"{PAGE.path}/{kept.id}", HTTPStatus.SEE_OTHER)


@router.post(f"{PAGE.path}/remove")
def remove(request: Request, sent: Sent) -> Response:
    """Take what came from a file out of the household again; undo brings it back."""
    _, house = opened(request)
    return save(
        request,
        sent,
        lambda document: with_values(document, "sun", "", unset(*SKY_FIELDS)),
        f"“{house.sun.sky_file}” taken out of the sky"[:120],
        f"{PAGE.path}#standing",
        lambda errors, status: _show(request, errors, status=status),
    )


router.include_router(record.router)
