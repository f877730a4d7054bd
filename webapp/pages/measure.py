"""Measure: which of three measurements would tell this household most, and the way to each."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.answer import supplies_of
from engine.answers.measuring_first import First, measure_first
from engine.errors import Unreachable
from engine.house.household import Household
from webapp.editing import local_now, opened
from webapp.forms import Field, Parsed, Values, parse
from webapp.measure_first_view import first_view
from webapp.pages import measure_capacity, measure_dull, measure_idle
from webapp.pages.measure_one import LIST
from webapp.problems import problems
from webapp.questions import Blocked, asked, bank_field, first_step, json_reply, plain_query, to_standard
from webapp.render import Page, is_partial, render

PAGE = Page("Check", "Measure", LIST, "How do I measure idle draw, capacity and sun?")
router = APIRouter()


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """The question as read: which supply, and the ranking for it."""

    house: Household
    fields: tuple[Field, ...]
    form: Parsed[Values]
    answer: First | None
    blocked: Blocked | None


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show which measurement to make first."""
    question = read_question(request)
    errors = question.form.errors
    if errors and is_partial(request):
        return problems(request, errors, question.fields)
    house, answer = question.house, question.answer
    return render(
        request,
        "measure.html",
        "answer",
        status=422 if errors else 200,
        form=question.form,
        fields=question.fields,
        query=plain_query(asked(request)),
        blocked=question.blocked,
        view=None if answer is None else first_view(answer, not house.sun.arrays, len(house.supplies()) > 1),
    )


@router.get(f"{PAGE.path}.json")
def as_json(request: Request) -> Response:
    """Answer the same question as JSON, unrounded."""
    question = read_question(request)
    return json_reply(question.form.errors, lambda: (question.answer, question.blocked))


def read_question(request: Request) -> Question:
    """Read the query over the open household and rank the measurements."""
    _, house = opened(request)
    typed = asked(request)
    fields: tuple[Field, ...] = ()
    form: Parsed[Values] = Parsed(raw=typed)
    answer, blocked = None, None
    try:
        supplies = supplies_of(house)
        fields = bank_field(supplies) if len(supplies) > 1 else ()
        form = parse(fields, typed, build=lambda values: values)
        if form.value is not None:
            supply = next((one for one in supplies if one.bank.id == form.value.get("bank")), supplies[0])
            answer = measure_first(house, supply, to_standard(house.site, local_now(request, house)))
    except Unreachable as fault:
        blocked = first_step(house, str(fault))
    return Question(house=house, fields=fields, form=form, answer=answer, blocked=blocked)


for one in (measure_idle, measure_capacity, measure_dull):
    router.include_router(one.router)
