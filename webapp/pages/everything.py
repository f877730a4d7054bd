"""Everything as one file: taken out for a backup, and put back in the place of all that is kept.

Years of logs and cell tests make it long, so it goes from disk to disk and is never held in memory.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import AsyncIterator
from contextlib import suppress
from http import HTTPStatus
from pathlib import Path
from typing import Annotated, BinaryIO

from fastapi import APIRouter, Depends, Request
from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.responses import FileResponse, RedirectResponse, Response

from engine.errors import InputError
from webapp.editing import autosaves_of, store_of
from webapp.guard import EVERYTHING
from webapp.render import render
from webapp.store_copies import remove
from webapp.store_schema import FILE_NAME, StoreFault

router = APIRouter()
PIECE_BYTES = 1024**2
PREFIX = ".greyspell-everything-"


@router.get("/files/everything.sqlite3")
def everything(request: Request) -> Response:
    """Give all that is kept as one file of SQLite."""
    folder = _beside(request)
    try:
        store_of(request).write_all(folder / FILE_NAME)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    return FileResponse(
        folder / FILE_NAME,
        headers={"Cache-Control": "no-store"},
        media_type="application/vnd.sqlite3",
        filename=f"greyspell-{request.app.state.clock():%Y-%m-%d}.sqlite3",
        background=BackgroundTask(shutil.rmtree, folder, ignore_errors=True),
    )


async def brought_file(request: Request) -> AsyncIterator[Path | None]:
    """Keep the file that a form sent on disk while it is looked at; None where none was chosen."""
    async with request.form(max_files=1, max_fields=10) as form:
        sent = form.get("file")
        if not isinstance(sent, UploadFile) or not sent.filename:
            yield None
            return
        folder = _beside(request)
        try:
            await run_in_threadpool(_keep, sent.file, folder / FILE_NAME)
            yield folder / FILE_NAME
        finally:
            shutil.rmtree(folder, ignore_errors=True)


@router.post(EVERYTHING)
def put_back(request: Request, path: Annotated[Path | None, Depends(brought_file)]) -> Response:
    """Put everything of such a file in the place of all that is kept; what stood is kept beside it."""
    try:
        if path is None:
            raise InputError("all", "No file was chosen: choose a file of everything first.")
        store_of(request).replace_all(path)
        autosaves_of(request).forget()
    except InputError as fault:
        status = getattr(fault, "status", HTTPStatus.UNPROCESSABLE_ENTITY)
        errors = {str(number): part.message for number, part in enumerate(fault.every())}
        return render(request, "refused.html", status=status, errors=errors, back="/files")
    return RedirectResponse("/files?replaced", HTTPStatus.SEE_OTHER)


def clear(folder: Path) -> None:
    """Remove what a server that was killed left of such a file in its data folder."""
    for left in folder.glob(f"{PREFIX}*"):
        remove(left / FILE_NAME)
        with suppress(OSError):
            left.rmdir()


def _beside(request: Request) -> Path:
    """A new folder in the data folder, where there is room; in the system's own where nothing may be written there."""
    try:
        return Path(tempfile.mkdtemp(prefix=PREFIX, dir=store_of(request).folder))
    except OSError:
        return Path(tempfile.mkdtemp(prefix=PREFIX))


def _keep(sent: BinaryIO, path: Path) -> None:
    try:
        with path.open("wb") as kept:
            shutil.copyfileobj(sent, kept, PIECE_BYTES)
    except OSError as fault:
        raise StoreFault(
            f"Nothing was changed: the file could not be kept beside {path.parent.parent} to be looked over "
            f"({fault.strerror}). Make room on that disk and bring it again.",
            HTTPStatus.INSUFFICIENT_STORAGE,
        ) from None
