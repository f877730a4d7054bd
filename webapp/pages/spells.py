"""Dull spells: how dull the worst days are here, how often they come, and what helps against them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.spell_windows import FILE, MADE
from engine.answers.spells import Spells, bases, spells
from engine.errors import InputError
from engine.house.household import Household
from engine.sky import climate as climates
from engine.sky.site import Sun
from engine.sky.spells import RISK_YEARS, WINDOW_DAYS
from webapp.editing import opened
from webapp.facts import lines
from webapp.forms import Field, Parsed, Values, parse
from webapp.inputs import sun_inputs
from webapp.problems import problems
from webapp.questions import Blocked, asked, json_reply, plain_query
from webapp.render import Page, is_partial, render
from webapp.spells_view import OFTEN, length, spells_view
from webapp.standing import standing_notices
from webapp.words import MONTHS

PAGE = Page("Ask", "Dull spells", "/spells", "How little sun do the worst days bring here?")
router = APIRouter()

DAYS = Field(
    name="days",
    label="Days in a row",
    kind="choice",
    choices=tuple((str(days), length(days).capitalize()) for days in WINDOW_DAYS),
    default="7",
)
OFTEN_FIELD = Field(
    name="often",
    label="How often",
    kind="choice",
    choices=tuple((str(risk), OFTEN[risk].capitalize()) for risk in RISK_YEARS),
    default="10",
)


RUN_HEADS = (
    "share of all days", "longest, a typical year", "1 year in 5", "1 year in 10", "longest of all, days",
    "3 days or more, times a year", "7 days or more, times a year",
)  # fmt: skip
OWN_HEADS = ("tilt", "direction", "clear day, kWh per kWp", "dull day, kWh per kWp")


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """The question as read."""

    house: Household
    fields: tuple[Field, ...]
    form: Parsed[Values]
    typed: Mapping[str, str]


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
        "spells.html",
        "answer",
        status=422 if errors else 200,
        form=question.form,
        fields=question.fields,
        query=plain_query(question.typed),
        blocked=blocked,
        answer=answer,
        **({} if answer is None else _shown(question.house, answer)),
    )


@router.get(f"{PAGE.path}.json")
def as_json(request: Request) -> Response:
    """Answer the same question as JSON, unrounded."""
    question = read_question(request)
    return json_reply(question.form.errors, lambda: worked_out(question))


def read_question(request: Request) -> Question:
    """Read the query over the open household; faults are in the form's errors."""
    _, house = opened(request)
    typed = asked(request)
    fields = (skies_field(house.sun), DAYS, OFTEN_FIELD)
    return Question(house=house, fields=fields, form=parse(fields, typed, build=lambda values: values), typed=typed)


def skies_field(sun: Sun) -> Field:
    """Return the choice of where the days are from; the owner's own file first where it has spells."""
    names = {MADE: "Made for this place", FILE: f"Measured: your own {sun.sky_file or 'file'}"}
    choices = tuple(
        (basis, names.get(basis) or f"Elsewhere: {climates.names()[basis].split(' (')[0]}") for basis in bases(sun)
    )
    return Field(name="skies", label="Skies", kind="choice", choices=choices, default=FILE if sun.spells else MADE)


def worked_out(question: Question) -> tuple[Spells | None, Blocked | None]:
    """Return the answer, or what on Sun stands in its way."""
    values = question.form.value
    assert values is not None
    try:
        return spells(question.house, values["skies"], int(values["days"]), int(values["often"])), None
    except InputError as fault:
        if not fault.field.startswith("sun."):
            raise
        return None, Blocked(sentence=fault.message, path="/sun", label="Mend it on Sun")


def _shown(house: Household, answer: Spells) -> dict[str, Any]:
    return {
        "view": spells_view(answer, house),
        "first_notices": (*(one for one in standing_notices(house) if one.code != "no-panels"), *answer.notices),
        "proof": [("", lines(answer.worked))],
        "inputs": sun_inputs(house),
        "month_names": MONTHS,
        "run_heads": RUN_HEADS,
        "own_heads": OWN_HEADS,
    }
