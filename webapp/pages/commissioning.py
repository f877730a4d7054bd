"""Commissioning: what to set on charger, inverter and board on the day, and room to write what was set."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.answer import said_once, supplies_of
from engine.answers.commissioning import Commissioning, commissioning
from engine.errors import Unreachable
from webapp.commissioning_view import cards, differing, sentence
from webapp.editing import local_now, opened
from webapp.forms import Field, Parsed, Values, parse
from webapp.inputs import inputs_used
from webapp.planned_page import Asked, show
from webapp.questions import MONTH_CHOICES, Blocked, asked, first_step, json_reply
from webapp.render import Page
from webapp.standing import standing_notices
from webapp.words import MONTHS

PAGE = Page("Check", "Commissioning", "/commissioning", "What to set on the day, and why?")
router = APIRouter()


@dataclass(frozen=True, slots=True, kw_only=True)
class Question(Asked):
    """The question as read."""

    month: int


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the settings of every bank."""
    return show(request, "commissioning.html", read_question(request), worked_out, _shown)


@router.get(f"{PAGE.path}.json")
def as_json(request: Request) -> Response:
    """Give the same settings as JSON, unrounded."""
    question = read_question(request)
    return json_reply(question.form.errors, lambda: worked_out(question))


def read_question(request: Request) -> Question:
    """Read the query over the open household; faults are in the form's errors."""
    _, house = opened(request)
    typed = asked(request)
    in_month = Field(
        name="month",
        label="Read at the loads and sun of",
        kind="choice",
        choices=MONTH_CHOICES,
        default=str(local_now(request, house).month),
    )
    form: Parsed[Values] = parse((in_month,), typed, build=lambda values: values)
    month = int((form.value or {}).get("month", in_month.default))
    return Question(house=house, fields=(in_month,), form=form, typed=typed, month=month)


def worked_out(question: Question) -> tuple[Commissioning | None, Blocked | None]:
    """Return the settings, or why there are none."""
    try:
        return commissioning(question.house, supplies_of(question.house), question.month), None
    except Unreachable as fault:
        return None, first_step(question.house, str(fault))


def _shown(question: Question, answer: Commissioning) -> dict[str, Any]:
    house, month = question.house, question.month
    return {
        "sentence": sentence(answer),
        "differing": differing(answer),
        "cards": cards(answer),
        "month": MONTHS[month - 1],
        "notices": said_once((*standing_notices(house), *answer.notices)),
        "inputs": inputs_used(house, supplies_of(house), month),
        "cautions": (
            "mains",
            "dc",
            *(("lithium",) if any(bank.cell.needs_board for bank in house.banks) else ()),
            *(("hydrogen",) if any(bank.cell.vents_hydrogen for bank in house.banks) else ()),
            "check",
        ),
    }
