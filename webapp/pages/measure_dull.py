"""Measure a dull day: the charger's daily kWh of some grey days, and what they are worth."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.measuring_dull import KINDS, MOST_DAYS, Day, DullDay, dull_day
from engine.errors import InputError, Unreachable
from engine.fields import Quantity
from engine.house.household import Household
from webapp.editing import local_now, opened
from webapp.facts import lines
from webapp.forms import Field, Parsed, Values, number_field, parse
from webapp.inputs import sun_inputs
from webapp.measure_dull_view import KIND_NAMES, dull_view
from webapp.pages.measure_one import LIST, Question, as_data, show, typed_in
from webapp.questions import Blocked, read_day, to_standard, tried
from webapp.read_at import FIELD as READ_AT
from webapp.read_at import before_charger

PATH = f"{LIST}/dull"
router = APIRouter()

KWH = Quantity(label="kWh of the day", unit="kWh", low=0.0, high=1_000_000.0, optional=True)
SIDE = dataclasses.replace(READ_AT, label="The kWh were read", hint="They are worked back to before the charger")
EARLIEST = 2000
FEW_ROWS = 4
"""Rows of days that stand open before any is typed (choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DullQuestion(Question):
    """The question as read."""

    answer: DullDay | None
    bank_name: str


@router.get(PATH)
def page(request: Request) -> Response:
    """Show the question, what to do and the answer."""
    question = read_question(request)
    open_rows = _open_rows(question.form.raw)
    by_row: dict[int, list[Field]] = {}
    for one in question.fields:
        by_row.setdefault(_row(one.name), []).append(one)
    return show(
        request,
        question,
        PATH,
        "Measure a dull day",
        _shown(question),
        more=[one.name for n, fields in by_row.items() if n > open_rows for one in fields],
        more_label="More days",
        more_open=False,
        rows=[(f"Day {n}", fields) for n, fields in by_row.items() if 0 < n <= open_rows],
    )


def _shown(question: DullQuestion) -> dict[str, Any]:
    answer = question.answer
    if answer is None:
        return {"view": None}
    return {
        "view": dull_view(answer, question.fields, question.form, question.bank_name),
        "notices": answer.notices,
        "proof": [("", lines(answer.worked))],
        "inputs": sun_inputs(question.house),
        "assumptions": answer.assumptions,
    }


@router.get(f"{PATH}.json")
def as_json(request: Request) -> Response:
    """Answer the same question as JSON, unrounded."""
    return as_data(read_question(request))


def _row(name: str) -> int:
    """Number of the day that a field belongs to; 0 for the others."""
    number = name.rpartition("_")[2]
    return int(number) if number.isdecimal() else 0


def _open_rows(raw: Mapping[str, Any]) -> int:
    """How many days stand open: those typed and one more, never fewer than a few."""
    typed = [n for n in range(1, MOST_DAYS + 1) if raw.get(f"day_{n}", "").strip() or raw.get(f"kwh_{n}", "").strip()]
    return min(max(FEW_ROWS, max(typed, default=0) + 1), MOST_DAYS)


def read_question(request: Request) -> DullQuestion:
    """Read the query over the open household and work it out; faults are in the form's errors."""
    _, house = opened(request)
    now = local_now(request, house)
    typed = typed_in(request)
    supply = next(iter(house.supplies()), None)
    fields = _fields(now.date())
    form: Parsed[Values] = parse(fields, typed, build=lambda values: values)
    errors = dict(form.errors)
    values = form.value or {}
    answer, blocked = None, None
    places, days = _days(house, form, values, now.date(), errors)
    try:
        if not errors:
            answer = dull_day(house, supply, to_standard(house.site, now), days, values[READ_AT.name])
    except Unreachable as fault:
        blocked = Blocked(sentence=str(fault), path="/sun#add-array", label="Enter your panels")
    except InputError as fault:
        name, _, place = fault.field.rpartition("_")
        known = name in ("day", "kwh") and place.isdecimal()
        errors[f"{name}_{places[int(place) - 1]}" if known else ""] = fault.message
    return DullQuestion(
        house=house,
        fields=() if blocked else fields,
        form=form.refused(errors) if errors else form,
        typed=typed,
        answer=answer,
        blocked=blocked,
        bank_name="" if supply is None else supply.name,
    )


def _fields(today: date) -> tuple[Field, ...]:
    kinds = tuple((one, KIND_NAMES[one]) for one in KINDS)
    rows = [
        (
            Field(
                name=f"day_{n}", label=f"Date of day {n}", kind="text", optional=True, hint=_hint(n, f"Like {today}")
            ),
            number_field(
                f"kwh_{n}", dataclasses.replace(KWH, label=f"All panels on day {n}"), hint=_hint(n, "Of that day alone")
            ),
            Field(name=f"kind_{n}", label=f"Day {n} was", kind="choice", choices=kinds, default=KINDS[0]),
        )
        for n in range(1, MOST_DAYS + 1)
    ]
    return (SIDE, *(one for row in rows for one in row))


def _hint(row: int, text: str) -> str:
    return text if row == 1 else ""


def _days(
    house: Household, form: Parsed[Values], values: Values, today: date, errors: dict[str, str]
) -> tuple[list[int], list[Day]]:
    """The days that were typed with the rows they stand in, worked back to before the charger."""
    if errors:
        return [], []
    side = values[READ_AT.name]
    times = tried(errors, READ_AT.name, partial(before_charger, house, side), 1.0)
    places, days = [], []
    for n in range(1, MOST_DAYS + 1):
        text, kwh = form.raw[f"day_{n}"].strip(), values[f"kwh_{n}"]
        if not text and kwh is None:
            continue
        day = tried(errors, f"day_{n}", partial(_read_day, text, today, n), None)
        if kwh is None:
            errors.setdefault(f"kwh_{n}", f"All panels on day {n} is missing: type the kWh, or empty its date.")
        if day is not None and kwh is not None:
            places.append(n)
            days.append(Day(day=day, kwh=kwh * times, kind=values[f"kind_{n}"]))
    return places, days


def _read_day(text: str, today: date, row: int) -> date:
    day = read_day(text, "", f"Date of day {row}", today)
    if not day.year >= EARLIEST or day > today:
        raise InputError("", f"Date of day {row} must be from the year {EARLIEST} to today, {today}; got {day}.")
    return day
