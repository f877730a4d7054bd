"""Rainy week: the same days and loads on four chemistries, side by side."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.answer import supply_of
from engine.answers.comparing import COLD_CODE, Comparison, comparing
from engine.errors import Unreachable
from engine.house.household import Household
from engine.quantities import mean_day_of_year
from engine.sky.days import Sky
from webapp.cold_line import cold_lines, refused_by_cold
from webapp.comparing_view import on_the_clock, week_view
from webapp.dull_days import month_notice, read_sky, spell_choices, usual_spell
from webapp.editing import local_now, opened
from webapp.facts import lines
from webapp.forms import Field, Parsed, Values, parse
from webapp.inputs import inputs_used
from webapp.planned_page import Asked, show
from webapp.questions import (
    MONTH_CHOICES,
    Blocked,
    asked,
    bank_field,
    every_bank,
    first_step,
    json_reply,
    plain_query,
    read_coming,
    tiles,
    tried,
)
from webapp.render import Page
from webapp.standing import standing_notices

PAGE = Page("Ask", "Rainy week", "/week", "Which chemistry gets through a rainy week?")
router = APIRouter()

DAYS = 14
"""Days run: the spell and what comes after it."""
WEEK_DAYS = 7
AS_DATED = "date"
WHEN = Field(
    name="month",
    label="When",
    kind="choice",
    choices=((AS_DATED, "From a date"), *MONTH_CHOICES),
    default=AS_DATED,
    hint="A month: from its middle",
)
AT = Field(
    name="at",
    label="Date",
    kind="text",
    default="today",
    optional=True,
    hint="today, or like 1 Dec 2026; not used with a month",
)
BASIS = Field(
    name="basis",
    label="Compare at equal",
    kind="choice",
    choices=(("label", "label kWh"), ("usable", "usable kWh")),
    default="label",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Question(Asked):
    """The question as read; `start` is a midnight of local standard time."""

    sky_text: str
    sky: Sky | None
    start: datetime


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the question and its answer."""
    question = read_question(request)
    house, sky_text = question.house, question.sky_text
    skies = {"sky_choices": spell_choices(house.site, house.sun, sky_text), "sky_chosen": sky_text}
    return show(request, "week.html", question, worked_out, _shown, **skies)


@router.get(f"{PAGE.path}.json")
def as_json(request: Request) -> Response:
    """Answer the same question as JSON, unrounded, with times on the household's clock."""
    question = read_question(request)
    return json_reply(question.form.errors, lambda: worked_out(question))


def read_question(request: Request) -> Question:
    """Read the query over the open household; faults are in the form's errors."""
    _, house = opened(request)
    now = local_now(request, house)
    typed = asked(request)
    fields = (WHEN, AT, BASIS, *bank_field(every_bank(house.supplies())))
    form: Parsed[Values] = parse(fields, typed, build=lambda values: values)
    errors = dict(form.errors)
    moment = tried(errors, "at", lambda: read_coming(form.raw["at"], now, AT.label), now)
    start = start_of(form.raw["month"], moment, now)
    sky_text = typed.get("sky", usual_spell(house.site, house.sun, WEEK_DAYS))
    sky = tried(errors, "sky", lambda: _fourteen(sky_text, house, start.month), None)
    return Question(
        house=house,
        fields=fields,
        form=form.refused(errors) if errors else form,
        typed=typed,
        sky_text=sky_text,
        sky=sky,
        start=start,
    )


def start_of(month: str, moment: datetime, now: datetime) -> datetime:
    """Midnight of the date asked, or of the average day of the next such month."""
    if month not in dict(MONTH_CHOICES):
        return datetime(moment.year, moment.month, moment.day)
    year = now.year + (int(month) < now.month)
    return datetime.strptime(f"{year} {mean_day_of_year(int(month))}", "%Y %j")


def _fourteen(text: str, house: Household, month: int) -> Sky:
    """The spell and the days after it, fourteen in all; a longer spell is not cut."""
    return read_sky(text, house, month, DAYS)


def worked_out(question: Question) -> tuple[Comparison | None, Blocked | None]:
    """Return the answer on the household's clock, or why there is none."""
    assert question.sky is not None
    assert question.form.value is not None
    values = question.form.value
    try:
        supply = supply_of(question.house, values.get("bank"))
        answer = comparing(question.house, supply, question.sky, question.start, values["basis"])
    except Unreachable as fault:
        return None, first_step(question.house, str(fault))
    return on_the_clock(answer, question.house.site), None


def _for_the_sheet(question: Question) -> dict[str, str]:
    """The question by the names that the sheet has for it; a date by its noon, which has the same date all year."""
    month = question.form.raw["month"]
    if month != AS_DATED:
        dated = {"month": month}
    else:
        dated = {"at": f"{question.start:%Y-%m-%d}T12:00"} if "at" in question.typed else {}
    bank = {"bank": question.typed["bank"]} if "bank" in question.typed else {}
    return {"week": question.sky_text, **dated, **bank}


def _shown(question: Question, answer: Comparison) -> dict[str, Any]:
    assert question.sky is not None
    supply = supply_of(question.house, answer.bank_id)
    month = question.start.month
    shared = any(one.beside for one in question.house.supplies())
    refused = {} if shared else refused_by_cold(question.house, {}, question.sky, question.start)
    return {
        "cold": cold_lines(question.house, (supply,), month, plain_query({"bank": supply.bank.id}), refused),
        "view": week_view(answer, question.house.site, supply),
        "first_notices": (
            *standing_notices(question.house),
            *(notice for notice in answer.notices if notice.code == COLD_CODE),
            *month_notice(question.house.site, question.sky, month, remedy=True),
        ),
        "tiles": tiles(answer.sky_days),
        "proof": [("", lines(answer.worked))],
        "sheet_query": plain_query(_for_the_sheet(question)),
        "inputs": inputs_used(question.house, (supply,), month),
    }
