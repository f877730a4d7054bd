"""Dull spells: how dull the worst days are here, how often they come, and what helps against them."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.spell_windows import FILE, MADE
from engine.answers.spells import Spells, bases, spells
from engine.errors import InputError
from engine.sky import climate as climates
from engine.sky.site import Sun
from engine.sky.spells import RISK_YEARS, WINDOW_DAYS
from webapp.editing import opened
from webapp.facts import lines
from webapp.forms import Field, parse
from webapp.inputs import sun_inputs
from webapp.planned_page import Asked, show
from webapp.questions import Blocked, asked, json_reply
from webapp.render import Page
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


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the question and its answer."""
    return show(request, "spells.html", read_question(request), worked_out, _shown)


@router.get(f"{PAGE.path}.json")
def as_json(request: Request) -> Response:
    """Answer the same question as JSON, unrounded."""
    question = read_question(request)
    return json_reply(question.form.errors, lambda: worked_out(question))


def read_question(request: Request) -> Asked:
    """Read the query over the open household; faults are in the form's errors."""
    _, house = opened(request)
    typed = asked(request)
    fields = (skies_field(house.sun), DAYS, OFTEN_FIELD)
    return Asked(house=house, fields=fields, form=parse(fields, typed, build=lambda values: values), typed=typed)


def skies_field(sun: Sun) -> Field:
    """Return the choice of where the days are from; the owner's own file first where it has spells."""
    names = {MADE: "Made for this place", FILE: f"Measured: your own {sun.sky_file or 'file'}"}
    choices = tuple(
        (basis, names.get(basis) or f"Elsewhere: {climates.names()[basis].split(' (')[0]}") for basis in bases(sun)
    )
    return Field(name="skies", label="Skies", kind="choice", choices=choices, default=FILE if sun.spells else MADE)


def worked_out(question: Asked) -> tuple[Spells | None, Blocked | None]:
    """Return the answer, or what on Sun stands in its way."""
    values = question.form.value
    assert values is not None
    try:
        return spells(question.house, values["skies"], int(values["days"]), int(values["often"])), None
    except InputError as fault:
        if not fault.field.startswith("sun."):
            raise
        return None, Blocked(sentence=fault.message, path="/sun", label="Mend it on Sun")


def _shown(question: Asked, answer: Spells) -> dict[str, Any]:
    house = question.house
    return {
        "view": spells_view(answer, house),
        "first_notices": (*(one for one in standing_notices(house) if one.code != "no-panels"), *answer.notices),
        "proof": [("", lines(answer.worked))],
        "inputs": sun_inputs(house),
        "month_names": MONTHS,
        "run_heads": RUN_HEADS,
        "own_heads": OWN_HEADS,
    }
