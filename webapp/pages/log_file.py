"""One file of a house’s own meter: how it is read, how far its reading is, and what it holds."""

from __future__ import annotations

import dataclasses
from collections.abc import Hashable, Mapping
from http import HTTPStatus
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from engine.errors import InputError
from engine.house.household import Household
from engine.text.steps import RowsRead
from webapp import meter_store
from webapp.downloads import csv_text, file_response
from webapp.editing import Sent, Typed, store_of
from webapp.jobs import Jobs
from webapp.kept_columns import COLUMN
from webapp.kept_pages import KeptPages, add_keeping
from webapp.kept_words import day
from webapp.log_days import LogDays, days_of_file
from webapp.log_draft import Draft, draft_of, drafted, meanings
from webapp.log_reading import AT_ONCE_BYTES, Choices, Known, Refused, Taken, taking
from webapp.log_view import FIRST_ROWS, added_sentence, as_data, daily_table, findings_of, log_view
from webapp.meter_store import MeterFile
from webapp.render import json_answer, render
from webapp.uploads import ONE

KEPT = KeptPages(files=meter_store.FILES, path="/log")
router = APIRouter(prefix=KEPT.path)

LEFT_OFF = "The reading was left off, because nobody asked after it: read it so once more."
_CHOSEN = ("clock", "utc_offset_h", "ends", "decimal")


@router.get(ONE)
def page(request: Request, file_id: int) -> Response:
    """Show how a draft would be read, or what a file holds."""
    kept, house = KEPT.find(request, file_id)
    if not kept.accepted or "read" in request.query_params:
        kept, _ = KEPT.standing(request, file_id)
        return _show_draft(request, kept, draft_of(KEPT.content(request, kept), kept, _zone(house)))
    return _show_result(request, kept, house)


@router.post(f"{ONE}/read")
def read(request: Request, file_id: int, sent: Sent) -> Response:
    """Look again with other choices, or read the whole file by them: a long one beside the pages."""
    kept, house = KEPT.standing(request, file_id)
    zone, content = _zone(house), KEPT.content(request, kept)
    draft = drafted(content, sent, zone)
    if draft.choices is None or draft.unseen or sent.get("act") != "read":
        return _show_draft(request, kept, draft)
    if draft.lacks is not None:
        return _show_draft(request, kept, draft.refused(draft.lacks))
    known = _known(kept, draft.choices)
    if len(content) <= AT_ONCE_BYTES:
        *_, last = taking(store_of(request), kept.id, known, zone)
        return _ended(request, kept, draft, last)
    asked = _asked(sent)
    _jobs(request).ask(_key(kept, asked, zone), lambda: taking(store_of(request), kept.id, known, zone), anew=True)
    return RedirectResponse(f"{KEPT.address(kept)}/reading?{asked}", HTTPStatus.SEE_OTHER)


@router.get(f"{ONE}/reading")
def reading(request: Request, file_id: int) -> Response:
    """Show how far the reading of a long file is; when it ends, go on to what came of it."""
    kept, house = KEPT.standing(request, file_id)
    sent, zone = dict(request.query_params), _zone(house)
    asked = _asked(sent)
    job = _jobs(request).find(_key(kept, asked, zone))
    if job is not None and not job.done:
        so_far = job.last if isinstance(job.last, RowsRead) else None
        here = f"{KEPT.address(kept)}/reading?{asked}"
        return render(request, "log_reading.html", "reading", here=KEPT.path, kept=kept, so_far=so_far, again=here)
    if "HX-Request" in request.headers:
        return Response(headers={"HX-Redirect": f"{KEPT.address(kept)}/reading?{asked}", "Cache-Control": "no-store"})
    if not asked:
        return RedirectResponse(KEPT.address(kept), HTTPStatus.SEE_OTHER)
    if job is not None and isinstance(job.last, Taken):
        return _ended(request, kept, None, job.last)
    draft = drafted(KEPT.content(request, kept), sent, zone)
    if job is not None and isinstance(job.last, Refused):
        return _ended(request, kept, draft, job.last)
    return _show_draft(request, kept, draft.refused(InputError("", (job and job.refused) or LEFT_OFF)))


@router.get(f"{ONE}.json")
def as_json(request: Request, file_id: int) -> Response:
    """Give the days of a file as JSON, unrounded, with how it was read and how many of its rows are new."""
    kept, house = KEPT.accepted(request, file_id)
    known = Known.of(kept.choices)
    return json_answer(
        {
            "name": kept.name,
            "choices": known.choices,
            "time_zone": known.zone,
            "findings": known.said,
            "added": _added(request, kept),
            **as_data(_days(request, kept, house)),
        }
    )


@router.get(f"{ONE}.csv")
def as_csv(request: Request, file_id: int) -> Response:
    """Give the days of a file as a table to save."""
    kept, house = KEPT.accepted(request, file_id)
    header, rows = daily_table(_days(request, kept, house))
    return file_response(csv_text(header, rows), f"{kept.name}-days.csv", "text/csv")


def _zone(house: Household) -> ZoneInfo:
    return ZoneInfo(house.site.time_zone)


def _known(kept: MeterFile, choices: Choices) -> Known:
    return dataclasses.replace(Known.of(kept.choices), choices=choices, like="")


def _jobs(request: Request) -> Jobs:
    jobs: Jobs = request.app.state.jobs
    return jobs


def _asked(sent: Mapping[str, str]) -> str:
    """What was chosen, as a query that shows the form again."""
    names = (name for name in sorted(sent) if name in _CHOSEN or name.startswith((COLUMN, "totals.", "signs.")))
    return urlencode([(name, sent[name]) for name in names if sent[name]])


def _key(kept: MeterFile, asked: str, zone: ZoneInfo) -> Hashable:
    return ("log", kept.id, kept.made_at, asked, zone.key)


def _ended(request: Request, kept: MeterFile, draft: Draft | None, last: object) -> Response:
    """Go to what a file holds, or show why it cannot be read so."""
    if draft is not None and isinstance(last, Refused):
        return _show_draft(request, kept, draft.refused(last.fault()))
    return RedirectResponse(KEPT.address(kept), HTTPStatus.SEE_OTHER)


def _days(request: Request, kept: MeterFile, house: Household) -> LogDays:
    return days_of_file(store_of(request), kept, house.site.utc_offset_h, _zone(house), FIRST_ROWS)


def _added(request: Request, kept: MeterFile) -> int | None:
    return meter_store.whole(store_of(request), kept.household_id).added.get(kept.id)


def _show_draft(request: Request, kept: MeterFile, draft: Draft) -> Response:
    return render(
        request,
        "log_draft.html",
        status=422 if draft.form.errors else 200,
        here=KEPT.path,
        address=KEPT.address(kept),
        kept=kept,
        draft=draft,
        meanings=meanings(),
    )


def _show_result(
    request: Request,
    kept: MeterFile,
    house: Household,
    errors: dict[str, str] | None = None,
    status: int = 200,
    sent: Typed | None = None,
) -> Response:
    try:
        days = _days(request, kept, house)
    except InputError as fault:
        draft = draft_of(KEPT.content(request, kept), kept, _zone(house))
        return _show_draft(request, kept, draft.refused(fault))
    return render(
        request,
        "log_file.html",
        status=status,
        here=KEPT.path,
        address=KEPT.address(kept),
        kept=kept,
        view=log_view(days),
        added=added_sentence(days.rows, _added(request, kept)),
        findings=findings_of(Known.of(kept.choices), house.site.time_zone),
        made=day(kept.made_at, house.site.time_zone),
        errors=errors or {},
        typed=sent or {},
    )


add_keeping(router, KEPT, _show_result)
