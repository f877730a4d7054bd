"""Log: what the house’s own meter or shunt wrote, brought as files or pasted; all of them are one log, and their list.

Files are taken apart in the server's threads (`uploads`), long ones beside the pages (`jobs`).
"""

from __future__ import annotations

from http import HTTPStatus
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from engine.errors import InputError, Unreachable
from webapp import log_example, meter_store
from webapp.downloads import csv_text, file_response
from webapp.editing import Sent, local_now, meant, opened, store_of
from webapp.log_days import LogDays, days_of_whole
from webapp.log_reading import KIND, first_known, taking
from webapp.log_view import FIRST_ROWS, as_data, daily_table, log_view
from webapp.log_words import row
from webapp.pages import log_file
from webapp.render import Page, json_answer, render
from webapp.uploads import MOST_MB, Brought, Upload

PAGE = Page("Check", "Log", "/log", "What did my meter write, against the model?")
FURTHER: tuple[tuple[str, str, str], ...] = (
    (
        "/log/compared",
        "Measured against predicted",
        "day by day: yield, load and charge, and what the differences point to",
    ),
    ("/log/learn", "Learn from it", "what your inverter, loads, panels and bank really do, number by number"),
)
"""What else is asked of the log: address, what its link says, and a sentence about it."""
router = APIRouter()


def _show(
    request: Request, errors: dict[str, str] | None = None, sent: Brought | None = None, status: int = 422
) -> Response:
    days = _days(request)
    return render(
        request,
        "log.html",
        status=status if errors else 200,
        here=PAGE.path,
        **log_file.KEPT.lists(request, row),
        view=log_view(days) if days else None,
        further=FURTHER,
        made_up=made_up(request),
        errors=errors or {},
        pasted=sent.pasted if sent else "",
        most_mb=MOST_MB,
    )


def _days(request: Request) -> LogDays | None:
    """The log of the open household by the day; None where it has no row."""
    saved, house = opened(request)
    whole = meter_store.whole(store_of(request), saved.household_id)
    if not whole.log.rows:
        return None
    return days_of_whole(whole, house.site.utc_offset_h, ZoneInfo(house.site.time_zone), FIRST_ROWS)


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the log of the open household, its files, and the way to bring one."""
    return _show(request)


@router.post(PAGE.path)
def upload(request: Request, sent: Upload) -> Response:
    """Take a file or pasted rows in as a draft, or say in one sentence why not."""
    saved, house = opened(request)
    store = store_of(request)
    try:
        meant(request, sent.household)
        content = sent.one_of()
        known = first_known(store, saved.household_id, content, ZoneInfo(house.site.time_zone))
    except InputError as fault:
        return _show(request, {sent.field: fault.message}, sent)
    kept = meter_store.add(store, saved.household_id, sent.name, KIND, content, known.stored())
    return RedirectResponse(f"{PAGE.path}/{kept.id}", HTTPStatus.SEE_OTHER)


@router.post(f"{PAGE.path}/example")
def try_example(request: Request, sent: Sent) -> Response:
    """Take the made-up log of the open household in and read it at once."""
    meant(request, sent.get("household", ""))
    saved, house = opened(request)
    store, zone = store_of(request), ZoneInfo(house.site.time_zone)
    try:
        content = _example(request)
    except (InputError, Unreachable) as fault:
        return _show(request, {"": str(fault)})
    known = first_known(store, saved.household_id, content, zone)
    kept = meter_store.add(store, saved.household_id, log_example.SHOWN_NAME, KIND, content, known.stored())
    for _ in taking(store, kept.id, known, zone):
        pass
    return RedirectResponse(PAGE.path, HTTPStatus.SEE_OTHER)


@router.get(f"{PAGE.path}/example.csv")
def example_file(request: Request) -> Response:
    """Give the made-up log as a file, or say on the page why there is none."""
    try:
        content = _example(request)
    except (InputError, Unreachable) as fault:
        return _show(request, {"": str(fault)})
    return file_response(content.decode(), log_example.NAME, "text/csv")


def _example(request: Request) -> bytes:
    _, house = opened(request)
    return log_example.log(house, local_now(request, house).date())


def made_up(request: Request) -> bool:
    """Whether a file of the open household's log is the made-up one."""
    saved, _ = opened(request)
    files = meter_store.accepted(store_of(request), saved.household_id)
    return any(log_example.is_made_up(one.choices.get("header", ())) for one in files)


@router.get(f"{PAGE.path}.json")
def as_json(request: Request) -> Response:
    """Give the days of the whole log as JSON, unrounded."""
    days = _days(request)
    return json_answer(as_data(days) if days else {"rows": 0, "dates": [], "kwh": {}, "charge": None})


@router.get(f"{PAGE.path}.csv")
def as_csv(request: Request) -> Response:
    """Give the days of the whole log as a table to save."""
    days = _days(request)
    header, rows = daily_table(days) if days else (("date",), [])
    return file_response(csv_text(header, rows), "greyspell-log.csv", "text/csv")


router.include_router(log_file.router)
