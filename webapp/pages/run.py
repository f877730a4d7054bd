"""Generator run: when to start it at the latest, and which runs bring the bank to a moment for the least fuel."""

from __future__ import annotations

import dataclasses
from datetime import date
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.answer import assumptions_of
from engine.answers.coming import Coming, soonest
from engine.answers.starting import USUAL_MARGIN_H, Starting, starting, usual_run_until
from engine.errors import InputError, Unreachable
from engine.fields import Quantity
from engine.house.household import Supply
from webapp.facts import lines
from webapp.forms import Field, Parsed, Values, number_field, parse
from webapp.going_on import (
    UNTIL,
    UNTIL_SAID,
    Question,
    answered,
    days_to_come,
    merged,
    notices_of,
    on_query,
    until_field,
)
from webapp.inputs import inputs_used
from webapp.now_question import Question as Moment
from webapp.now_question import read_question as read_now
from webapp.questions import (
    Blocked,
    bank_field,
    first_step,
    json_reply,
    read_coming,
    to_standard,
)
from webapp.render import Page
from webapp.run_alone import ALONE, alone_sentence, beside_several, generators_on_a_bus
from webapp.run_view import on_the_clock, run_view

PAGE = Page("Ask", "Generator run", "/run", "When to start the generator, at the latest?")
router = APIRouter()

NO_GENERATOR = (
    "There is no generator yet. With one, this page says when to start it at the latest, for how long, and which runs "
    "burn least."
)
MARGIN = Quantity(label="Time to spare", unit="h", low=0, high=12, hint="How much sooner than at the last minute")


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the question and its answer; `within` asks for the short one inside Today."""
    question = read_question(request)
    shown = {"fields": question.fields} | _shown(question)
    return answered(request, "run.html", question, shown, own=(UNTIL, "margin"))


@router.get(f"{PAGE.path}.json")
def as_json(request: Request) -> Response:
    """Answer the same question as JSON, unrounded, with times on the household's clock."""
    question = read_question(request)
    return json_reply(question.form.errors, lambda: (question.answer, question.blocked))


def read_question(request: Request) -> Question[Starting]:
    """Read the query over the open household and work it out; faults are in the form's errors."""
    base = read_now(request)
    first, found, blocked = _with_generator(base)
    asked_for = base.typed.get(ALONE, "") if _alone(base) else base.typed.get("bank", "")
    one = soonest(found, asked_for) if found else None
    fields: tuple[Field, ...] = ()
    if one is not None:
        until = until_field(base, usual_run_until(one))
        margin = number_field("margin", MARGIN, default=USUAL_MARGIN_H)
        several = bank_field(tuple(each.supply for each in found)) if len(found) > 1 else ()
        fields = (*several, until, margin)
    form: Parsed[Values] = parse(fields, base.typed, build=lambda values: values)
    errors = {**base.form.errors, **form.errors}
    answer = None
    if one is not None and not errors:
        answer, blocked = _answer(base, one, form, errors)
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


def _with_generator(base: Moment) -> tuple[date | None, tuple[Coming, ...], Blocked | None]:
    """The days to come of the supplies with a generator, or why there are none."""
    asked_well = not base.form.errors and base.sky is not None
    if asked_well and not base.house.generators:
        return None, (), Blocked(sentence=NO_GENERATOR, path="/inverter", label="Enter a generator")
    first, found, blocked = days_to_come(_with_one_alone(base))
    fed = tuple(one for one in found if one.supply.generator is not None)
    if found and not fed:
        shared = generators_on_a_bus(base.house)
        if shared:
            return None, (), beside_several(*shared[0], base.typed)
        said = "The generator is joined to no inverter that has a bank."
        return None, (), Blocked(sentence=said, path="/inverter", label="Join it to another inverter")
    return first, fed, blocked


def _with_one_alone(base: Moment) -> Moment:
    """The question over a household in which the bank asked about alone is so."""
    if _alone(base) is None:
        return base
    house = base.house.with_bank_alone(base.typed[ALONE])
    joined = {bank.id for bank in house.banks if bank.inverter}
    charges = {bank_id: soc for bank_id, soc in base.charges.items() if bank_id in joined}
    return dataclasses.replace(base, house=house, charges=charges)


def _alone(base: Moment) -> Supply | None:
    """The supply whose bus a bank asked about alone shares with others; None where none is asked so."""
    shared = [supply for _, supply in generators_on_a_bus(base.house)]
    return next((one for one in shared if base.typed.get(ALONE) in [bank.id for bank in one.banks]), None)


def _answer(
    base: Moment, one: Coming, form: Parsed[Values], errors: dict[str, str]
) -> tuple[Starting | None, Blocked | None]:
    assert form.value is not None
    margin_h = float(form.value["margin"])
    try:
        moment = read_coming(form.raw[UNTIL], base.now, UNTIL_SAID)
        return on_the_clock(starting(one, to_standard(base.house.site, moment), margin_h), base.house.site), None
    except InputError as fault:
        errors[UNTIL] = fault.message
    except Unreachable as fault:
        return None, first_step(base.house, str(fault))
    return None, None


def _shown(question: Question[Starting]) -> dict[str, Any]:
    base, answer, one = question.now, question.answer, question.one
    if answer is None or one is None or base.sky is None:
        return {}
    month = answer.at.month
    generator = one.supply.generator
    assert generator is not None
    view = run_view(answer, generator, base.house.site)
    bus = _alone(base)
    off_the_bus = "" if bus is None else alone_sentence(bus, one.supply.bank)
    return {
        "view": view,
        "off_the_bus": off_the_bus,
        "notices": notices_of(base, month, view.notices),
        "plain_query": on_query(base),
        "proof": [("", lines(answer.worked))],
        "inputs": inputs_used(base.house, (one.supply,), month),
        "assumptions": assumptions_of(base.house, (bank.cell for bank in one.supply.banks), base.sky),
    }
