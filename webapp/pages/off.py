"""Switch off: what must be off, and when, so that the bank lasts to a moment you name."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.answer import assumptions_of
from engine.answers.coming import Coming, coming
from engine.answers.notices import household_notices
from engine.answers.shedding import LEAST_MIND, MOST_MIND, Shedding, minded_of, sheddable, shedding, usual_until
from engine.errors import InputError, Unreachable
from engine.fields import Quantity
from webapp.dull_days import SEASON_NAME, spell_choices
from webapp.facts import lines
from webapp.forms import Field, Parsed, Values, number_field, parse
from webapp.inputs import inputs_used
from webapp.now_question import AT, OFF, USUAL_SKY
from webapp.now_question import Question as Moment
from webapp.now_question import read_question as read_now
from webapp.off_view import off_view, on_the_clock
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
from webapp.standing import standing_notices

PAGE = Page("Ask", "Switch off", "/off")
router = APIRouter()

UNTIL = "until"
MIND = "mind_"
KEPT = ("reserve", "skies")
"""What of the question this page passes on without asking for it: names that begin so."""
GOES_ON = ("charge", "reserve", "at", "sky", "skies")
"""What of it goes on to other pages."""
WHOLE_HOURS = "%Y-%m-%d %H:%M"


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """Today's question, the bank that is asked about and what was worked out of it; `wrong` where it cannot be."""

    now: Moment
    fields: tuple[Field, ...]
    form: Parsed[Values]
    first: date | None
    one: Coming | None
    answer: Shedding | None
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
        "off.html",
        "answer",
        status=422 if errors else 200,
        form=question.form,
        charges=[one for one in question.now.fields if one.name.startswith("charge")],
        fields=[one for one in question.fields if not one.name.startswith(MIND)],
        minds=[one for one in question.fields if one.name.startswith(MIND)],
        at=AT,
        more_open=not question.now.guessed or "at" in errors or "sky" in errors,
        kept={name: text for name, text in typed.items() if name.startswith(_kept(question))},
        within=bool(request.query_params.get("within")),
        own_query=plain_query({name: text for name, text in typed.items() if name != "within"}),
        query=plain_query(typed),
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
    """Read the query over the open household and work it out; faults are in the form's errors.

    What is switched off on Today already is on here: this page says itself what to switch off.
    """
    typed = asked(request)
    base = read_now(request, {name: text for name, text in typed.items() if name != OFF})
    first, found, blocked = _coming(base)
    one = _chosen(found, typed.get("bank", ""))
    fields = (
        *(bank_field(base.supplies) if len(base.supplies) > 1 else ()),
        *(() if one is None else (_until_field(base, one), *_mind_fields(one))),
    )
    form: Parsed[Values] = parse(fields, typed, build=lambda values: values)
    errors = {**base.form.errors, **form.errors}
    answer = None
    if one is not None and not errors:
        answer = _answer(base, one, form.value or {}, form.raw, errors)
    merged = Parsed(raw={**base.form.raw, **form.raw}, value=None if errors else form.value, errors=errors)
    return Question(now=base, fields=fields, form=merged, first=first, one=one, answer=answer, blocked=blocked)


def _kept(question: Question) -> tuple[str, ...]:
    """Beginnings of the names that are passed on; all its own too, where a fault leaves no field for them."""
    return KEPT if question.one is not None else (*KEPT, UNTIL, MIND, "bank")


def _coming(base: Moment) -> tuple[date | None, tuple[Coming, ...], Blocked | None]:
    if base.form.errors or base.sky is None:
        return None, (), None
    try:
        at = to_standard(base.house.site, base.moment)
        return *coming(base.house, base.charges, base.sky, at), None
    except Unreachable as fault:
        return None, (), first_step(base.house, str(fault))


def _chosen(found: tuple[Coming, ...], bank_id: str) -> Coming | None:
    """The supply asked about; the one that runs out first where none is named."""
    if not found:
        return None
    ended = {one.supply.bank.id: one.run(until_ended=True).ended_h for one in found}
    soonest = min(found, key=lambda one: float("inf") if (h := ended[one.supply.bank.id]) is None else h)
    return next((one for one in found if one.supply.bank.id == bank_id), soonest)


def _until_field(base: Moment, one: Coming) -> Field:
    usual = to_civil(base.house.site, usual_until(one))
    return Field(
        name=UNTIL,
        label="To last until",
        kind="text",
        default=f"{usual:{WHOLE_HOURS}}",
        hint=f"A moment such as {usual:{WHOLE_HOURS}}",
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
        moment = read_moment(raw[UNTIL], base.now, "To last until")
        found = shedding(one, to_standard(base.house.site, moment), minded)
        return on_the_clock(found, base.house.site)
    except InputError as fault:
        errors[UNTIL] = fault.message
        return None


def _shown(question: Question) -> dict[str, Any]:
    base, answer, one = question.now, question.answer, question.one
    if answer is None or one is None or base.sky is None:
        return {}
    month = answer.at.month
    view = off_view(answer, one, base.house.site)
    notices = (
        *share_checks(base.fields, base.form),
        *standing_notices(base.house),
        *view.notices,
        *household_notices(base.house, month),
    )
    gravest = {"stop": 0, "check": 1, "note": 2}
    kept = {name: text for name, text in base.typed.items() if name.startswith(GOES_ON)}
    first = question.first
    assert first is not None
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
        "today_query": plain_query(kept | ({OFF: ",".join(off.load_id for off in answer.offs)} if answer.offs else {})),
        "plain_query": plain_query(kept),
        "proof": [("", lines(answer.worked))],
        "inputs": inputs_used(base.house, (one.supply,), month),
        "assumptions": assumptions_of(base.house, (bank.cell for bank in one.supply.banks), base.sky),
        "has_generator": one.supply.generator is not None,
    }
