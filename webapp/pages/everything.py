"""Everything as one file: taken out for a backup, and put back in the place of all that is kept."""

from __future__ import annotations

import tempfile
from http import HTTPStatus
from pathlib import Path

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from engine.errors import InputError
from webapp.editing import store_of
from webapp.render import render
from webapp.store_schema import FILE_NAME
from webapp.uploads import Upload

router = APIRouter()


@router.get("/files/everything.sqlite3")
def everything(request: Request) -> Response:
    """Give all that is kept as one file of SQLite."""
    with tempfile.TemporaryDirectory(prefix="greyspell-") as folder:
        path = Path(folder) / FILE_NAME
        store_of(request).write_all(path)
        content = path.read_bytes()
    name = f"greyspell-{request.app.state.clock():%Y-%m-%d}.sqlite3"
    headers = {"Content-Disposition": f'attachment; filename="{name}"', "Cache-Control": "no-store"}
    return Response(content, media_type="application/vnd.sqlite3", headers=headers)


@router.post("/files/everything")
def put_back(request: Request, sent: Upload) -> Response:
    """Put everything of such a file in the place of all that is kept; what stood is kept beside it."""
    try:
        if not sent.file_name:
            raise InputError("all", "No file was chosen: choose a file of everything first.")
        with tempfile.TemporaryDirectory(prefix="greyspell-") as folder:
            path = Path(folder) / FILE_NAME
            path.write_bytes(sent.content)
            store_of(request).replace_all(path)
    except InputError as fault:
        status = getattr(fault, "status", HTTPStatus.UNPROCESSABLE_ENTITY)
        errors = {str(number): part.message for number, part in enumerate(fault.every())}
        return render(request, "refused.html", status=status, errors=errors, back="/files")
    return RedirectResponse("/files?replaced", HTTPStatus.SEE_OTHER)
