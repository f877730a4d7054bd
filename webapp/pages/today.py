"""Today: how long have I got, from the charge now and the days as you see them coming."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.autonomy import Autonomy, autonomy
from engine.errors import Unreachable
from webapp.autonomy_view import BankView, bank_views, on_the_clock
from webapp.dull_days import month_notice, spell_choices
from webapp.facts import lines
from webapp.inputs import inputs_used
from webapp.now_question import DAY_BY_DAY_CHOICE, Question, form_days, read_question, sky_chosen
from webapp.questions import (
    Blocked,
    Tile,
    first_step,
    json_reply,
    no_loads_note,
    plain_query,
    share_checks,
    tiles,
    to_standard,
)
from webapp.render import Page, is_partial, problems, render
from webapp.standing import standing_notices

PAGE = Page("Ask", "Today", "/today")
router = APIRouter()


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the question and its answer."""
    question = read_question(request)
    errors = question.form.errors
    if errors and is_partial(request):
        return problems(errors)
    answer, blocked = (None, None) if errors else worked_out(question)
    return render(
        request,
        PAGE.path[1:] + ".html",
        "answer",
        status=422 if errors else 200,
        form=question.form,
        fields=question.fields,
        query=plain_query(question.typed),
        partial=is_partial(request),
        sky_choices=spell_choices(
            question.house.site, question.house.sun, sky_chosen(question.sky_text), (DAY_BY_DAY_CHOICE,)
        ),
        sky_chosen=sky_chosen(question.sky_text),
        sky_days=form_days(question, None if answer is None else answer.sky_days[0][0]),
        blocked=blocked,
        answer=answer,
        **({} if answer is None else _shown(question, answer)),
    )


@router.get(f"{PAGE.path}.json")
def as_json(request: Request) -> Response:
    """Answer the same question as JSON, unrounded, with times on the household's clock."""
    question = read_question(request)
    return json_reply(question.form.errors, lambda: worked_out(question))


def worked_out(question: Question) -> tuple[Autonomy | None, Blocked | None]:
    """Return the answer on the household's clock, or why there is none."""
    assert question.sky is not None
    at = to_standard(question.house.site, question.moment)
    try:
        answer = autonomy(question.house, question.charges, question.sky, at)
    except Unreachable as fault:
        return None, first_step(question.house, str(fault))
    return on_the_clock(answer, question.house.site), None


def _for_the_sheet(question: Question) -> dict[str, str]:
    """What was typed of the question, by the names that the sheet has for it: the same ones."""
    names = [*(field.name for field in question.fields), "sky"]
    return {name: question.typed[name] for name in names if name in question.typed}


def _shown(question: Question, answer: Autonomy) -> dict[str, Any]:
    assert question.sky is not None
    month = answer.at.month
    lacking = (
        *standing_notices(question.house),
        *no_loads_note(question.supplies),
        *month_notice(question.house.site, question.sky, month, remedy=False),
    )
    notices = (*share_checks(question.fields, question.form), *lacking, *answer.notices)
    views: tuple[BankView, ...] = bank_views(question.house, question.supplies, answer, question.guessed, question.sky)
    strip: tuple[Tile, ...] = tiles(answer.sky_days)
    return {
        "views": views,
        "soonest": next(view for view in views if view.bank.bank_id == answer.bank_id),
        "tiles": strip,
        "sky_caption": answer.sky_title,
        "notices": notices,
        "proof": [(view.bank.name if len(views) > 1 else "", lines(view.bank.worked)) for view in views],
        "inputs": inputs_used(question.house, question.supplies, month),
        "sheet_query": plain_query(_for_the_sheet(question)),
    }
