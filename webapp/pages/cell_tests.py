"""Cell tests: what a bench measured, brought as a file or pasted; the list of them, kept beside the household.

Only the body of the form is read on the event loop; files are taken apart in the server's threads.
"""

from __future__ import annotations

from dataclasses import dataclass
from http import HTTPStatus
from pathlib import PurePath
from typing import TYPE_CHECKING, Annotated

from fastapi import APIRouter, Depends, Request
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse, Response

from engine.errors import InputError
from webapp import bench_example, bench_store
from webapp.bench_reading import first_choices, guessed
from webapp.bench_words import row
from webapp.editing import Sent, opened, store_of
from webapp.guard import MAX_BODY_BYTES
from webapp.pages import bench_plan, cell_test
from webapp.render import Page, render

if TYPE_CHECKING:
    from engine.bench.files import Reading

PAGE = Page("Check", "Cell tests", "/cell-tests")
router = APIRouter()

PASTED = "Pasted rows"
MULTIPART = "multipart/form-data"


@dataclass(frozen=True, slots=True, kw_only=True)
class Brought:
    """What a form brought: a file, or pasted rows."""

    file_name: str = ""
    content: bytes = b""
    pasted: str = ""


async def brought(request: Request) -> Brought:
    """Read the body; a pasted text may be as long as a file.

    Only as the page sends it: taking a urlencoded text apart byte by byte would hold everybody else up.
    """
    if request.headers.get("Content-Type", "").partition(";")[0].strip().lower() != MULTIPART:
        raise HTTPException(
            HTTPStatus.UNSUPPORTED_MEDIA_TYPE, f"A bench file is sent as {MULTIPART}, as the form on Cell tests does"
        )
    async with request.form(max_files=1, max_fields=10, max_part_size=MAX_BODY_BYTES) as form:
        return await _taken(form)


async def _taken(form: FormData) -> Brought:
    sent, pasted = form.get("file"), str(form.get("pasted", ""))
    if isinstance(sent, UploadFile) and sent.filename:
        return Brought(file_name=sent.filename, content=await sent.read(), pasted=pasted)
    return Brought(pasted=pasted)


Upload = Annotated[Brought, Depends(brought)]


def _show(request: Request, errors: dict[str, str] | None = None, sent: Brought | None = None) -> Response:
    store = store_of(request)
    saved, house = opened(request)
    zone = house.site.time_zone
    return render(
        request,
        "cell_tests.html",
        status=422 if errors else 200,
        tests=[row(one, zone) for one in bench_store.accepted(store, saved.household_id)],
        drafts=[row(one, zone) for one in bench_store.drafts(store, saved.household_id)],
        deleted=[row(one, zone) for one in bench_store.deleted(store, saved.household_id)],
        plans=bench_store.plans(store, saved.household_id),
        errors=errors or {},
        pasted=sent.pasted if sent else "",
        most_mb=MAX_BODY_BYTES // 1024**2,
    )


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the tests of the open household and the way to bring one."""
    return _show(request)


@router.post(PAGE.path)
def upload(request: Request, sent: Upload) -> Response:
    """Take a file or pasted rows in as a draft, or say in one sentence why not."""
    field = "file" if sent.file_name else "pasted"
    try:
        content = _one_of(sent)
        reading = guessed(content)
    except InputError as fault:
        return _show(request, {field: fault.message}, sent)
    return _draft(request, PurePath(sent.file_name).stem or PASTED, content, reading)


@router.post(f"{PAGE.path}/example")
def try_example(request: Request, sent: Sent) -> Response:
    """Take the made-up log in, as if it had been uploaded."""
    content = bench_example.log()
    reading = guessed(content)
    return _draft(request, "Made-up log", content, reading, bench_example.CHEMISTRY, bench_example.LABEL_AH)


@router.get(f"{PAGE.path}/example.csv")
def example_file() -> Response:
    """Give the made-up log as a file."""
    headers = {"Content-Disposition": f'attachment; filename="{bench_example.NAME}"'}
    return Response(bench_example.log(), media_type="text/csv", headers=headers)


def _one_of(sent: Brought) -> bytes:
    """The bytes to read: of the file, or of the pasted rows."""
    if sent.file_name and sent.pasted.strip():
        raise InputError(
            "file", "A file was chosen and rows were pasted: bring one of the two, the other as a second test."
        )
    if not sent.file_name and not sent.pasted.strip():
        raise InputError("pasted", "Nothing was brought: choose a file, or paste the rows of one.")
    return sent.content if sent.file_name else sent.pasted.encode()


def _draft(
    request: Request,
    name: str,
    content: bytes,
    reading: Reading,
    chemistry: str = "",
    label_ah: float | None = None,
) -> Response:
    saved, house = opened(request)
    choices = first_choices(content, reading, house, chemistry, label_ah)
    test = bench_store.add(store_of(request), saved.household_id, name, reading.kind, content, choices)
    return RedirectResponse(f"{PAGE.path}/{test.id}", 303)


router.include_router(bench_plan.router)
router.include_router(cell_test.router)
