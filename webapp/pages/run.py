"""Generator run: when to start it at the latest, and which runs bring the bank to a moment for the least fuel."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.answer import assumptions_of
from engine.answers.coming import Coming, coming
from engine.answers.notices import household_notices
from engine.answers.starting import USUAL_MARGIN_H, Starting, starting, usual_run_until
from engine.errors import InputError, Unreachable
from engine.fields import Quantity
from webapp.dull_days import SEASON_NAME, spell_choices
from webapp.facts import lines
from webapp.forms import Field, Parsed, Values, number_field, parse
from webapp.inputs import inputs_used
from webapp.now_question import AT, USUAL_SKY
from webapp.now_question import Question as Moment
from webapp.now_question import read_question as read_now
from webapp.questions import (
    Blocked,
    asked,
    bank_field,
    first_step,
    json_reply,
    plain_query,
    read_moment,
    share_checks,
    tiles,
    to_civil,
    to_standard,
)
from webapp.render import Page, is_partial, problems, render
from webapp.run_view import on_the_clock, run_view
from webapp.standing import standing_notices

PAGE = Page("Ask", "Generator run", "/run")
router = APIRouter()

UNTIL = "until"
MARGIN = Quantity(label="Time to spare", unit="h", low=0, high=12, hint="How much sooner than at the last minute")
KEPT = ("reserve", "skies", "off")
"""What of the question this page passes on without asking for it: names that begin so."""
GOES_ON = ("charge", "reserve", "at", "sky", "skies", "off")
"""What of it goes on to other pages."""
WHOLE_HOURS = "%Y-%m-%d %H:%M"


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """Today's question, the supply whose generator is asked about, and what was worked out of it."""

    now: Moment
    fields: tuple[Field, ...]
    form: Parsed[Values]
    first: date | None
    one: Coming | None
    answer: Starting | None
    blocked: Blocked | None


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the question and its answer; `within` asks for the short one inside Today."""
    question = read_question(request)
    errors, typed = question.form.errors, question.now.typed
    if errors and is_partial(request):
        return problems(errors)
    house, sky = question.now.house, question.now.sky_text
    return render(
        request,
        "run.html",
        "answer",
        status=422 if errors else 200,
        form=question.form,
        charges=[one for one in question.now.fields if one.name.startswith("charge")],
        fields=question.fields,
        at=AT,
        more_open=not question.now.guessed or "at" in errors or "sky" in errors,
        kept={name: text for name, text in typed.items() if name.startswith(_kept(question))},
        within=bool(request.query_params.get("within")),
        own_query=plain_query({name: text for name, text in typed.items() if name != "within"}),
        sky_choices=spell_choices(house.site, house.sun, sky, ((USUAL_SKY, SEASON_NAME),)),
        sky_chosen=sky,
        blocked=question.blocked,
        answer=question.answer,
        **_shown(question),
    )


@router.get(f"{PAGE.path}.json")
def as_json(request: Request) -> Response:
    """Answer the same question as JSON, unrounded, with times on the household's clock."""
    question = read_question(request)
    return json_reply(question.form.errors, lambda: (question.answer, question.blocked))


def read_question(request: Request) -> Question:
    """Read the query over the open household and work it out; faults are in the form's errors."""
    typed = asked(request)
    base = read_now(request)
    first, found, blocked = _coming(base)
    one = _chosen(found, typed.get("bank", ""))
    several = len([each for each in found if each.supply.generator is not None]) > 1
    fields = (
        *(bank_field(tuple(each.supply for each in found if each.supply.generator)) if several else ()),
        *(() if one is None else (_until_field(base, one), number_field("margin", MARGIN, default=USUAL_MARGIN_H))),
    )
    form: Parsed[Values] = parse(fields, typed, build=lambda values: values)
    errors = {**base.form.errors, **form.errors}
    answer = None
    if one is not None and not errors:
        answer, blocked = _answer(base, one, form, errors)
    merged = Parsed(raw={**base.form.raw, **form.raw}, value=None if errors else form.value, errors=errors)
    return Question(now=base, fields=fields, form=merged, first=first, one=one, answer=answer, blocked=blocked)


def _kept(question: Question) -> tuple[str, ...]:
    """Beginnings of the names that are passed on; all its own too, where a fault leaves no field for them."""
    return KEPT if question.one is not None else (*KEPT, UNTIL, "margin", "bank")


def _coming(base: Moment) -> tuple[date | None, tuple[Coming, ...], Blocked | None]:
    if base.form.errors or base.sky is None:
        return None, (), None
    if not base.house.generators:
        return None, (), Blocked(sentence="There is no generator yet.", path="/inverter", label="Enter a generator")
    try:
        at = to_standard(base.house.site, base.moment)
        first, found = coming(base.house, base.charges, base.sky, at)
    except Unreachable as fault:
        return None, (), first_step(base.house, str(fault))
    if not any(one.supply.generator for one in found):
        said = "The generator is joined to no inverter that has a bank."
        return None, (), Blocked(sentence=said, path="/inverter", label="Join it to another inverter")
    return first, found, None


def _chosen(found: tuple[Coming, ...], bank_id: str) -> Coming | None:
    """The supply asked about; of those with a generator the one that runs out first where none is named."""
    fed = [one for one in found if one.supply.generator is not None]
    if not fed:
        return None
    named = next((one for one in fed if one.supply.bank.id == bank_id), None)
    if named is not None or len(fed) == 1:
        return named or fed[0]
    ended = {one.supply.bank.id: one.run(until_ended=True).ended_h for one in fed}
    return min(fed, key=lambda one: float("inf") if (h := ended[one.supply.bank.id]) is None else h)


def _until_field(base: Moment, one: Coming) -> Field:
    usual = to_civil(base.house.site, usual_run_until(one))
    return Field(
        name=UNTIL,
        label="To last until",
        kind="text",
        default=f"{usual:{WHOLE_HOURS}}",
        hint=f"A moment such as {usual:{WHOLE_HOURS}}",
    )


def _answer(
    base: Moment, one: Coming, form: Parsed[Values], errors: dict[str, str]
) -> tuple[Starting | None, Blocked | None]:
    assert form.value is not None
    margin_h = float(form.value["margin"])
    try:
        moment = read_moment(form.raw[UNTIL], base.now, "To last until")
        return on_the_clock(starting(one, to_standard(base.house.site, moment), margin_h), base.house.site), None
    except InputError as fault:
        errors[UNTIL] = fault.message
    except Unreachable as fault:
        return None, first_step(base.house, str(fault))
    return None, None


def _shown(question: Question) -> dict[str, Any]:
    base, answer, one = question.now, question.answer, question.one
    if answer is None or one is None or base.sky is None:
        return {}
    month = answer.at.month
    generator = one.supply.generator
    assert generator is not None
    assert question.first is not None
    view = run_view(answer, generator, base.house.site)
    notices = (
        *share_checks(base.fields, base.form),
        *standing_notices(base.house),
        *view.notices,
        *household_notices(base.house, month),
    )
    gravest = {"stop": 0, "check": 1, "note": 2}
    first = question.first
    return {
        "view": view,
        "notices": tuple(sorted(notices, key=lambda notice: gravest[notice.level])),
        "tiles": tiles(
            tuple(
                (first.fromordinal(first.toordinal() + n), base.sky.labels[n], float(base.sky.kc[n]))
                for n in range(base.sky.listed_days)
            )
        ),
        "sky_title": base.sky.title,
        "plain_query": plain_query({name: text for name, text in base.typed.items() if name.startswith(GOES_ON)}),
        "proof": [("", lines(answer.worked))],
        "inputs": inputs_used(base.house, (one.supply,), month),
        "assumptions": assumptions_of(base.house, (bank.cell for bank in one.supply.banks), base.sky),
    }
