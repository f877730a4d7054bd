"""Bank size: how large a bank for so many dull days, and where more bank no longer helps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.answer import supply_of
from engine.answers.sizing import MOST_DAYS, Sizing, sizing
from engine.errors import Unreachable
from engine.fields import Quantity
from engine.house.household import Household, Supply
from engine.sky.averages import darkest_month
from engine.sky.days import Sky
from webapp.cold_line import cold_lines
from webapp.dull_days import (
    OWN_DAY,
    USUAL,
    USUAL_CHOICE,
    chosen_spell,
    month_notice,
    read_sky,
    skies_by_days,
    spell_choices,
    usual_dull_days,
)
from webapp.editing import opened
from webapp.facts import lines
from webapp.forms import Field, Parsed, Values, number_field, parse
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
    tried,
)
from webapp.render import Page
from webapp.sizing_view import size_view, window_text
from webapp.standing import standing_notices

PAGE = Page("Ask", "Bank size", "/size", "How big a bank for so many dull days?")
router = APIRouter()

DAYS = Quantity(label="How many days", unit="days", low=1, high=MOST_DAYS, whole=True, hint="1 to 7 in a row")
USUAL_DAYS = 3
WORDS = (USUAL_CHOICE, ("dull", "Dull days"), ("dark", "Dark days"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Question(Asked):
    """The question as read."""

    sky_text: str
    sky: Sky | None
    month: int


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the question and its answer."""
    question = read_question(request)
    house, sky_text = question.house, question.sky_text
    skies = {"sky_choices": spell_choices(house.site, house.sun, sky_text, WORDS), "sky_chosen": sky_text}
    return show(request, "size.html", question, worked_out, _shown, **skies)


@router.get(f"{PAGE.path}.json")
def as_json(request: Request) -> Response:
    """Answer the same question as JSON, unrounded."""
    question = read_question(request)
    return json_reply(question.form.errors, lambda: worked_out(question))


def read_question(request: Request) -> Question:
    """Read the query over the open household; faults are in the form's errors."""
    _, house = opened(request)
    typed = asked(request)
    in_month = month_field(house)
    fields = (
        number_field("days", DAYS, default=USUAL_DAYS),
        in_month,
        *bank_field(every_bank(house.supplies())),
    )
    form: Parsed[Values] = parse(fields, typed, build=lambda values: values)
    errors = dict(form.errors)
    values = form.value or {}
    month, days = int(values.get("month", in_month.default)), int(values.get("days", USUAL_DAYS))
    sky_text = typed["sky"] if "sky" in typed else usual_dull_days(house, month)
    own_days = days if sky_text == OWN_DAY else 0
    spell = chosen_spell(sky_text, house.site, house.sun, days)
    sky = tried(errors, "sky", lambda: read_sky(spell, house, month, own_days), None)
    return Question(
        house=house,
        fields=fields,
        form=form.refused(errors) if errors else form,
        typed=typed,
        sky_text=sky_text,
        sky=sky,
        month=month,
    )


def month_field(house: Household) -> Field:
    """Return the choice of a month, the darkest one unless another is asked for."""
    darkest = darkest_month(house.site, house.sun)
    hint = "Offered first: your darkest month"
    return Field(name="month", label="In", kind="choice", choices=MONTH_CHOICES, default=str(darkest), hint=hint)


def worked_out(question: Question) -> tuple[Sizing | None, Blocked | None]:
    """Return the answer, or why there is none."""
    assert question.sky is not None
    assert question.form.value is not None
    values = question.form.value
    try:
        supply = _supply(question)
        by_days = skies_by_days(question.sky_text, question.house, question.month)
        return sizing(question.house, supply, values["days"], question.month, question.sky, by_days), None
    except Unreachable as fault:
        return None, first_step(question.house, str(fault))


def own_day_note(question: Question) -> str:
    """Say whose days these are where they are the household's own dull day."""
    if question.sky_text != OWN_DAY:
        return ""
    own_kwh = question.house.sun.dull_day_kwh
    return f"Each day is taken as your own dull day, {own_kwh:g} kWh; how often so many come in a row it does not tell."


def _supply(question: Question) -> Supply:
    assert question.form.value is not None
    return supply_of(question.house, question.form.value.get("bank"))


def _shown(question: Question, answer: Sizing) -> dict[str, Any]:
    assert question.sky is not None
    supply = _supply(question)
    view = size_view(question.house, supply, answer, question.sky)
    first = (
        *standing_notices(question.house),
        *month_notice(question.house.site, question.sky, question.month, remedy=True),
        *view.notices,
    )
    return {
        "view": view,
        "cold": cold_lines(question.house, (supply,), question.month, plain_query({"bank": supply.bank.id})),
        "first_notices": first,
        "winters_query": plain_query({"bank": answer.bank_id} if "bank" in question.typed else {}),
        "window": window_text(answer),
        "bus_name": next((s.name for s in question.house.supplies() if s.beside and supply.bank in s.banks), ""),
        "own_day": own_day_note(question),
        "usual_query": plain_query({**question.typed, "sky": USUAL}),
        "proof": [("", lines(answer.worked))],
        "sheet_query": plain_query(
            {
                "days": str(answer.days),
                "month": str(question.month),
                "spell": question.sky_text,
                **({"bank": answer.bank_id} if "bank" in question.typed else {}),
            }
        ),
        "inputs": inputs_used(question.house, (supply,), question.month),
        "month": dict(MONTH_CHOICES)[str(question.month)],
        "cell": supply.bank.cell,
        "bank": supply.bank,
    }
