"""Cell tests: what a bench measured, brought as a file or pasted; the list of them, kept beside the household.

Files are taken apart in the server's threads (`uploads`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from engine.errors import InputError
from webapp import bench_example, bench_store
from webapp.bench_reading import first_choices, guessed
from webapp.bench_words import row
from webapp.editing import Sent, meant, opened, store_of
from webapp.pages import bench_plan, cell_test
from webapp.render import Page, render
from webapp.uploads import MOST_MB, Brought, Upload

if TYPE_CHECKING:
    from engine.bench.files import Reading

PAGE = Page("Check", "Cell tests", "/cell-tests", "Is my cell test believable, and what follows?")
router = APIRouter()


def _show(request: Request, errors: dict[str, str] | None = None, sent: Brought | None = None) -> Response:
    saved, _ = opened(request)
    return render(
        request,
        "cell_tests.html",
        status=422 if errors else 200,
        **cell_test.KEPT.lists(request, row),
        plans=bench_store.plans(store_of(request), saved.household_id),
        errors=errors or {},
        pasted=sent.pasted if sent else "",
        most_mb=MOST_MB,
    )


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the tests of the open household and the way to bring one."""
    return _show(request)


@router.post(PAGE.path)
def upload(request: Request, sent: Upload) -> Response:
    """Take a file or pasted rows in as a draft, or say in one sentence why not."""
    try:
        meant(request, sent.household)
        content = sent.one_of()
        reading = guessed(content)
    except InputError as fault:
        return _show(request, {sent.field: fault.message}, sent)
    return _draft(request, sent.name, content, reading)


@router.post(f"{PAGE.path}/example")
def try_example(request: Request, sent: Sent) -> Response:
    """Take the made-up log in, as if it had been uploaded."""
    meant(request, sent.get("household", ""))
    content = bench_example.log()
    reading = guessed(content)
    return _draft(request, "Made-up log", content, reading, bench_example.CHEMISTRY, bench_example.LABEL_AH)


@router.get(f"{PAGE.path}/example.csv")
def example_file() -> Response:
    """Give the made-up log as a file."""
    headers = {"Content-Disposition": f'attachment; filename="{bench_example.NAME}"'}
    return Response(bench_example.log(), media_type="text/csv", headers=headers)


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
