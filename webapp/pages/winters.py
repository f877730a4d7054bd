"""Winters: how often a bank of any size would have run empty in many winters, and the size that rides them out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.answer import supply_of
from engine.answers.autonomy_days import AutonomyDays
from engine.answers.lasting import YEARS
from engine.answers.risks import SHARE_FIELD
from engine.answers.winters import USUAL_SHARE
from engine.errors import Unreachable
from engine.fields import Quantity
from engine.house.household import Supply
from engine.sky.averages import darkest_month
from engine.sky.series import KcSeries
from webapp.editing import opened, store_of
from webapp.facts import lines
from webapp.forms import Field, Parsed, Values, number_field, parse
from webapp.inputs import inputs_used
from webapp.planned_page import Asked, show
from webapp.questions import (
    Blocked,
    asked,
    bank_field,
    every_bank,
    first_step,
    json_reply,
    share_checks,
    tried,
)
from webapp.render import Page
from webapp.skies import MADE, series_of, skies_field
from webapp.standing import standing_notices
from webapp.winters_answer import Told, told
from webapp.winters_view import winters_view

PAGE = Page("Ask", "Winters", "/winters", "How often would it run empty in thirty winters?")
router = APIRouter()

DAYS = Quantity(label="Days of autonomy beside it", unit="days", low=1, high=14, whole=True, hint="The rule of thumb")
USUAL_DAYS = 3
AGE = Field(
    name="age",
    label="Lines for a bank that is",
    kind="choice",
    choices=tuple((str(years), f"{years} years old" if years else "new") for years in YEARS),
    default="0",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Question(Asked):
    """The question as read."""

    series: KcSeries | None


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the question and its answer."""
    return show(request, "winters.html", read_question(request), worked_out, _shown)


@router.get(f"{PAGE.path}.json")
def as_json(request: Request) -> Response:
    """Answer the same question as JSON, unrounded."""
    question = read_question(request)
    return json_reply(question.form.errors, lambda: worked_out(question))


def read_question(request: Request) -> Question:
    """Read the query over the open household; faults are in the form's errors."""
    saved, house = opened(request)
    typed = asked(request)
    store = store_of(request)
    fields = (
        *bank_field(every_bank(house.supplies())),
        skies_field(store, saved.household_id),
        AGE,
        number_field("days", DAYS, default=USUAL_DAYS),
        number_field("share", SHARE_FIELD, default=USUAL_SHARE),
    )
    form: Parsed[Values] = parse(fields, typed, build=lambda values: values)
    errors = dict(form.errors)
    skies = (form.value or {}).get("skies", MADE)
    series = tried(errors, "skies", lambda: series_of(store, saved.household_id, house, skies), None)
    return Question(
        house=house, fields=fields, form=form.refused(errors) if errors else form, typed=typed, series=series
    )


def worked_out(question: Question) -> tuple[Told | None, Blocked | None]:
    """Return the answer, or why there is none."""
    assert question.form.value is not None
    assert question.series is not None
    house, values = question.house, question.form.value
    try:
        month = darkest_month(house.site, house.sun)
        supply, age = supply_asked(question), int(values["age"])
        return told(house, supply, question.series, month, values["share"], values["days"], age), None
    except Unreachable as fault:
        return None, first_step(house, str(fault))


def supply_asked(question: Question) -> Supply:
    """Return the bank that is asked about, with what belongs to it."""
    assert question.form.value is not None
    return supply_of(question.house, question.form.value.get("bank"))


def _shown(question: Question, answer: Told) -> dict[str, Any]:
    supply = supply_asked(question)
    rule: AutonomyDays = answer.autonomy
    return {
        "answer": answer.winters,
        "view": winters_view(answer.winters, rule, answer.lasting, supply),
        "rule": rule,
        "lasting": answer.lasting,
        "priced": question.house.prices.known,
        "ages": YEARS[1:],
        "within": question.typed.get("within") == "size",
        "notices": (
            *standing_notices(question.house),
            *share_checks(question.fields, question.form),
            *answer.winters.notices,
        ),
        "proof": [("The deepest spell", lines(answer.winters.worked)), ("Days of autonomy", lines(rule.worked))],
        "inputs": inputs_used(question.house, (supply,), answer.winters.month),
        "cell": supply.bank.cell,
    }
