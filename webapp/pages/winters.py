"""Winters: how often a bank of any size would have run empty in many winters, and the size that rides them out."""

from __future__ import annotations

from collections.abc import Mapping
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
from engine.house.household import Household, Supply
from engine.sky.averages import darkest_month
from engine.sky.series import KcSeries
from webapp.editing import opened, store_of
from webapp.facts import lines
from webapp.forms import Field, Parsed, Values, number_field, parse
from webapp.inputs import inputs_used
from webapp.problems import problems
from webapp.questions import (
    Blocked,
    asked,
    bank_field,
    every_bank,
    first_step,
    json_reply,
    plain_query,
    share_checks,
    tried,
)
from webapp.render import Page, is_partial, render
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
class Question:
    """The question as read."""

    house: Household
    fields: tuple[Field, ...]
    form: Parsed[Values]
    typed: Mapping[str, str]
    series: KcSeries | None


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the question and its answer."""
    question = read_question(request)
    errors = question.form.errors
    if errors and is_partial(request):
        return problems(request, errors, question.fields)
    answer, blocked = (None, None) if errors else worked_out(question)
    return render(
        request,
        "winters.html",
        "answer",
        status=422 if errors else 200,
        form=question.form,
        fields=question.fields,
        query=plain_query(question.typed),
        blocked=blocked,
        answer=None if answer is None else answer.winters,
        **({} if answer is None else _shown(question, answer)),
    )


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
