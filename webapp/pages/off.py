"""Switch off: what must be off, and when, so that the bank lasts to a moment you name."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.answer import assumptions_of
from engine.answers.coming import Coming, soonest
from engine.answers.shedding import LEAST_MIND, MOST_MIND, Shedding, minded_of, sheddable, shedding, usual_until
from engine.errors import InputError
from engine.fields import Quantity
from webapp.facts import lines
from webapp.forms import Field, Parsed, Values, number_field, parse
from webapp.going_on import (
    UNTIL,
    UNTIL_SAID,
    Question,
    answered,
    days_to_come,
    going_on,
    merged,
    notices_of,
    until_field,
)
from webapp.inputs import inputs_used
from webapp.now_question import OFF
from webapp.now_question import Question as Moment
from webapp.now_question import read_question as read_now
from webapp.off_view import off_view, on_the_clock
from webapp.questions import (
    asked,
    bank_field,
    json_reply,
    plain_query,
    read_coming,
    to_standard,
)
from webapp.render import Page

PAGE = Page("Ask", "Switch off", "/off", "What must be off so that it lasts?")
router = APIRouter()

MIND = "mind_"


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the question and its answer; `within` asks for the short one inside Today."""
    question = read_question(request)
    shown = {
        "fields": [one for one in question.fields if not one.name.startswith(MIND)],
        "minds": [one for one in question.fields if one.name.startswith(MIND)],
    }
    return answered(
        request, "off.html", question, shown | _shown(question, on_again=OFF in asked(request)), own=(UNTIL, MIND)
    )


@router.get(f"{PAGE.path}.json")
def as_json(request: Request) -> Response:
    """Answer the same question as JSON, unrounded, with times on the household's clock."""
    question = read_question(request)
    return json_reply(question.form.errors, lambda: (question.answer, question.blocked))


def read_question(request: Request) -> Question[Shedding]:
    """Read the query over the open household and work it out; faults are in the form's errors.

    What is switched off on Today already is on here: this page says itself what to switch off. Inside Today it is off.
    """
    typed = asked(request)
    inside = "within" in request.query_params
    base = read_now(request, {name: text for name, text in typed.items() if inside or name != OFF})
    first, found, blocked = days_to_come(base)
    one = soonest(found, typed.get("bank", "")) if found else None
    fields = (
        *(bank_field(base.supplies) if len(base.supplies) > 1 else ()),
        *(() if one is None else (until_field(base, usual_until(one)), *_mind_fields(one))),
    )
    form: Parsed[Values] = parse(fields, typed, build=lambda values: values)
    errors = {**base.form.errors, **form.errors}
    answer = None
    if one is not None and not errors:
        answer = _answer(base, one, form.value or {}, form.raw, errors)
    return Question(
        now=base,
        fields=fields,
        form=merged(base, form, errors),
        first=first,
        found=found,
        one=one,
        answer=answer,
        blocked=blocked,
    )


def _mind_fields(one: Coming) -> tuple[Field, ...]:
    return tuple(
        number_field(
            f"{MIND}{load.id}",
            Quantity(label=load.name, unit="of 5", low=LEAST_MIND, high=MOST_MIND),
            default=minded_of(load),
        )
        for load in sheddable(one)
    )


def _answer(
    base: Moment, one: Coming, values: Values, raw: Mapping[str, str], errors: dict[str, str]
) -> Shedding | None:
    minded = {name.removeprefix(MIND): value for name, value in values.items() if name.startswith(MIND)}
    try:
        moment = read_coming(raw[UNTIL], base.now, UNTIL_SAID)
        found = shedding(one, to_standard(base.house.site, moment), minded)
        return on_the_clock(found, base.house.site)
    except InputError as fault:
        errors[UNTIL] = fault.message
        return None


def _shown(question: Question[Shedding], *, on_again: bool) -> dict[str, Any]:
    base, answer, one = question.now, question.answer, question.one
    if answer is None or one is None or base.sky is None:
        return {}
    month = answer.at.month
    view = off_view(answer, one, base.house.site, on_again=on_again and not base.off)
    kept = going_on(base)
    return {
        "view": view,
        "notices": notices_of(base, month, view.notices),
        "today_query": plain_query(kept | ({OFF: ",".join(off.load_id for off in answer.offs)} if answer.offs else {})),
        "plain_query": plain_query(kept),
        "proof": [("", lines(answer.worked))],
        "inputs": inputs_used(base.house, (one.supply,), month),
        "assumptions": assumptions_of(base.house, (bank.cell for bank in one.supply.banks), base.sky),
        "has_generator": one.supply.generator is not None,
    }
