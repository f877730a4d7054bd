"""Cell care: what each bank asks of its keeper, from full charges and water to air and cold limits."""

from __future__ import annotations

from datetime import date
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.answer import Notice, said_once
from engine.answers.care import Care, care
from engine.answers.coming import Coming
from engine.answers.notices_lead import ACID
from engine.errors import InputError
from engine.house.cold import is_lead
from webapp.care_view import care_context, on_the_clock
from webapp.facts import lines
from webapp.forms import Field, Parsed, Values, parse
from webapp.going_on import Question, answered, days_to_come, merged, notices_of, on_query
from webapp.inputs import inputs_used
from webapp.now_question import Question as Moment
from webapp.now_question import read_question as read_now
from webapp.questions import json_reply, read_day, tried
from webapp.render import Page

PAGE = Page("Check", "Cell care", "/care", "What do the cells need, and when next?")
router = APIRouter()

FULL = "full"


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the question and its answer."""
    question = read_question(request)
    return answered(request, "care.html", question, {"fields": question.fields} | _shown(question), own=(FULL,))


@router.get(f"{PAGE.path}.json")
def as_json(request: Request) -> Response:
    """Answer the same question as JSON, unrounded, with times on the household's clock."""
    question = read_question(request)
    return json_reply(question.form.errors, lambda: (question.answer, question.blocked))


def read_question(request: Request) -> Question[Care]:
    """Read the query over the open household and work it out; faults are in the form's errors."""
    base = read_now(request)
    first, found, blocked = days_to_come(base)
    fields = (_full_field(base),) if any(is_lead(bank) for supply in base.supplies for bank in supply.banks) else ()
    form: Parsed[Values] = parse(fields, base.typed, build=lambda values: values)
    errors = {**base.form.errors, **form.errors}
    last_on = tried(errors, FULL, lambda: _read_day(form.raw.get(FULL, ""), base), None)
    answer = _answer(base, found, last_on, errors) if found and not errors else None
    return Question(
        now=base,
        fields=fields,
        form=merged(base, form, errors),
        first=first,
        found=found,
        one=None,
        answer=answer,
        blocked=blocked,
    )


def _full_field(base: Moment) -> Field:
    return Field(
        name=FULL,
        label="Last full on",
        kind="text",
        optional=True,
        hint=f"Like {base.now:%Y-%m-%d}; empty if not known. Of several banks the longest ago",
    )


def _read_day(text: str, base: Moment) -> date | None:
    """Read the day of the last full charge; None where nothing is typed."""
    return read_day(text, FULL, "Last full on", base.now.date(), ", or empty") if text.strip() else None


def _answer(base: Moment, found: tuple[Coming, ...], last_on: date | None, errors: dict[str, str]) -> Care | None:
    assert base.sky is not None
    try:
        return on_the_clock(care(found, base.sky, last_on, told=base.charges), base.house.site)
    except InputError as fault:
        errors[fault.field] = fault.message
        return None


def _shown(question: Question[Care]) -> dict[str, Any]:
    base, answer = question.now, question.answer
    if answer is None or base.sky is None:
        return {}
    month = answer.at.month
    supplies = tuple(one.supply for one in question.found)
    leads = [bank.lead for bank in answer.banks if bank.lead is not None]
    return care_context(answer) | {
        "notices": _minded(notices_of(base, month, answer.notices), answer),
        "today_query": on_query(base),
        "proof": [("", lines(answer.worked))],
        "inputs": inputs_used(base.house, supplies, month),
        "cautions": (
            "dc",
            *(("hydrogen",) if leads else ()),
            *(("lithium",) if len(leads) < len(answer.banks) else ()),
            *(("generator",) if any(lead.full.run is not None for lead in leads) else ()),
            "check",
        ),
    }


def _minded(notices: tuple[Notice, ...], answer: Care) -> tuple[Notice, ...]:
    """Each notice once; what the house says of the acid at the reserve gives way to what the answer says of it."""
    return said_once(one for one in notices if one.code not in ACID or one in answer.notices)
