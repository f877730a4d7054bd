"""Measured against predicted: the household’s own log held against the model, day by day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.answer import supplies_of
from engine.answers.checking import Checking
from engine.errors import InputError, Unreachable
from engine.meter.log import MeterLog
from engine.sky.series import KcSeries
from webapp import downloads, meter_store
from webapp.compared_answer import compared, date_fields, read_day, skies_field, sky_of, span_of
from webapp.compared_view import CSV_HEADER, compared_view, csv_rows
from webapp.editing import opened, store_of
from webapp.facts import lines
from webapp.forms import Parsed, Values, parse
from webapp.inputs import inputs_used
from webapp.pages.log import made_up
from webapp.planned_page import Asked, show
from webapp.questions import Blocked, asked, first_step, json_reply, plain_query
from webapp.standing import standing_notices

LOG = "/log"
PATH = f"{LOG}/compared"
NO_LOG = (
    "There is no log yet. Bring what your charger, monitor or inverter wrote down, as a table with times: what the "
    "panels gave, what the house drew, and the charge of the bank, as much of it as there is. Then every number of the "
    "model can be held against what was measured."
)
router = APIRouter()


@dataclass(frozen=True, slots=True, kw_only=True)
class Question(Asked):
    """The question as read; without rows in the log there are no fields."""

    log: MeterLog
    sky: KcSeries | None
    first: date | None
    last: date | None


@router.get(PATH)
def page(request: Request) -> Response:
    """Show the question and its answer."""
    question = read_question(request)
    asked_query = plain_query({name: text for name, text in question.typed.items() if text})
    return show(
        request,
        "log_compared.html",
        question,
        worked_out,
        _shown,
        asked_query=asked_query,
        made_up=made_up(request),
        summer_time=question.house.site.summer_time,
    )


@router.get(f"{PATH}.json")
def as_json(request: Request) -> Response:
    """Answer the same question as JSON, unrounded."""
    question = read_question(request)
    return json_reply(question.form.errors, lambda: worked_out(question))


@router.get(f"{PATH}.csv")
def as_csv(request: Request) -> Response:
    """Return every day of the answer as a table for a spreadsheet; only its head where there is no answer."""
    question = read_question(request)
    answer = None if question.form.errors else worked_out(question)[0]
    text = downloads.csv_text(CSV_HEADER, () if answer is None else csv_rows(answer))
    return downloads.file_response(text, "measured against predicted.csv", "text/csv")


def read_question(request: Request) -> Question:
    """Read the query over the open household and its log; faults are in the form's errors."""
    saved, house = opened(request)
    store, typed = store_of(request), asked(request)
    log = meter_store.whole(store, saved.household_id).log
    if not log.rows:
        form: Parsed[Values] = Parsed(raw={}, value={})
        return Question(house=house, log=log, fields=(), form=form, typed=typed, sky=None, first=None, last=None)
    begin, end = span_of(log, house)
    fields = (*date_fields(begin, end), skies_field(store, saved.household_id, house, log))
    form = parse(fields, typed, build=lambda values: _days(values, begin, end))
    values = form.value or {}
    sky = sky_of(store, saved.household_id, house, values["skies"]) if values else None
    return Question(
        house=house,
        log=log,
        fields=fields,
        form=form,
        typed=typed,
        sky=sky,
        first=values.get("first"),
        last=values.get("last"),
    )


def _days(values: Values, begin: date, end: date) -> Values:
    first = read_day("from", "From", values["from"], begin, end)
    last = read_day("to", "To", values["to"], begin, end)
    if (first or begin) > (last or end):
        raise InputError("to", f"To must not be before From, {first}; got {last}.")
    return {**values, "first": first, "last": last}


def worked_out(question: Question) -> tuple[Checking | None, Blocked | None]:
    """Return the answer, or why there is none."""
    if not question.log.rows:
        return None, Blocked(sentence=NO_LOG, path=LOG, label="Bring a log")
    try:
        return compared(question.house, question.log, question.sky, question.first, question.last), None
    except Unreachable as fault:
        return None, first_step(question.house, str(fault))


def _shown(question: Question, answer: Checking) -> dict[str, Any]:
    return {
        "view": compared_view(answer),
        "notices": standing_notices(question.house),
        "proof": [("", lines(answer.worked))],
        "inputs": inputs_used(question.house, supplies_of(question.house), answer.last.month),
        "sky_title": question.sky.title if question.sky else "",
    }
