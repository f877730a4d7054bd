"""Cold: what charge cold cells take, what cold refuses in these days, and whether a heater is worth its energy."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.cold import Cold, cold
from engine.answers.cold_bank import COLDEST_C, WARMEST_C, cold_banks
from engine.answers.coming import Coming
from engine.answers.heating import (
    AMBIENT,
    BOX_W_PER_K,
    LOSS,
    MASS,
    POWER,
    TO,
    Heater,
    usual_aim_c,
    usual_mass_kg,
    usual_power_w,
)
from engine.answers.notices_cold import TOO_COLD
from engine.errors import InputError
from webapp.cold_view import cold_view
from webapp.facts import lines
from webapp.forms import Field, Parsed, Values, number_field, parse
from webapp.going_on import Question, answered, days_to_come, merged, notices_of, on_query
from webapp.inputs import inputs_used
from webapp.now_question import Question as Moment
from webapp.now_question import read_question as read_now
from webapp.questions import (
    asked,
    bank_field,
    json_reply,
    to_civil,
)
from webapp.render import Page

PAGE = Page("Ask", "Cold", "/cold", "What do cold cells take, refuse and hold?")
router = APIRouter()

HEATER = ("to_c", "ambient_c", "mass_kg", "loss_w_per_k", "heater_w")
"""Fields of the heater, in the order of the form."""
CHART_STEP_C, JUST_BELOW_C = 0.5, 0.01


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the question and its answer; `within` asks for the short one inside Today."""
    question = read_question(request)
    typed, errors = question.now.typed, question.form.errors
    shown = {
        "fields": [one for one in question.fields if one.name not in HEATER],
        "heater_fields": [one for one in question.fields if one.name in HEATER],
        "heater_open": any(name in errors or typed.get(name, "").strip() for name in HEATER),
    }
    return answered(request, "cold.html", question, shown | _shown(question), own=HEATER)


@router.get(f"{PAGE.path}.json")
def as_json(request: Request) -> Response:
    """Answer the same question as JSON, unrounded, with times on the household's clock."""
    question = read_question(request)
    return json_reply(question.form.errors, lambda: (question.answer, question.blocked))


def read_question(request: Request) -> Question[Cold]:
    """Read the query over the open household and work it out; faults are in the form's errors."""
    typed = asked(request)
    base = read_now(request, typed)
    first, found, blocked = days_to_come(base)
    one = _chosen(found, typed.get("bank", ""))
    fields = (
        *(bank_field(base.house.supplies()) if len(found) > 1 else ()),
        *(() if one is None or one.supply.beside else _heater_fields(one)),
    )
    form: Parsed[Values] = parse(fields, typed, build=lambda values: values)
    errors = {**base.form.errors, **form.errors}
    answer = None if one is None or errors else _answer(base, one, form.value or {}, errors)
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


def _chosen(found: tuple[Coming, ...], bank_id: str) -> Coming | None:
    """The supply of the bank asked about; that with the coldest cells where none is named."""
    if not found:
        return None
    coldest = min(found, key=lambda one: min(bank.cell_c for bank in one.supply.banks))
    return next((one for one in found if bank_id in [bank.id for bank in one.supply.banks]), coldest)


def _heater_fields(one: Coming) -> tuple[Field, ...]:
    """What the heater is asked of; an empty one takes what is usual for the bank and the fields before it."""
    bank = one.supply.bank
    return (
        number_field("to_c", TO, optional=True, hint=f"Empty: {usual_aim_c(bank):g} °C, the lowest for a whole charge"),
        number_field("ambient_c", AMBIENT, optional=True, hint=f"Empty: {bank.cell_c:g} °C, as the cells are now"),
        number_field(
            "mass_kg", MASS, optional=True, hint=f"Empty: {usual_mass_kg(bank):.3g} kg, by label and chemistry"
        ),
        number_field("loss_w_per_k", LOSS, default=BOX_W_PER_K),
        number_field("heater_w", POWER, optional=True, hint="Empty: what lifts the cells in three hours"),
    )


def _heater(one: Coming, values: Values) -> Heater:
    bank = one.supply.bank
    typed = {name: value for name, value in values.items() if name in HEATER and value is not None}
    heater = Heater(
        to_c=typed.get("to_c", usual_aim_c(bank)),
        ambient_c=typed.get("ambient_c", bank.cell_c),
        mass_kg=typed.get("mass_kg", usual_mass_kg(bank)),
        loss_w_per_k=typed.get("loss_w_per_k", BOX_W_PER_K),
        power_w=typed.get("heater_w", 0.0),
    )
    usual_w = usual_power_w(heater.lift_kwh(bank.cell_c), heater.hold_w)
    return heater if heater.power_w else dataclasses.replace(heater, power_w=usual_w)


def _answer(base: Moment, one: Coming, values: Values, errors: dict[str, str]) -> Cold | None:
    assert base.sky is not None
    try:
        found = cold(one, base.sky, None if one.supply.beside else _heater(one, values))
    except InputError as fault:
        errors[fault.field] = fault.message
        return None
    return dataclasses.replace(found, at=to_civil(base.house.site, found.at))


def _shown(question: Question[Cold]) -> dict[str, Any]:
    base, answer, one = question.now, question.answer, question.one
    if answer is None or one is None or base.sky is None:
        return {}
    month = answer.at.month
    points = cold_banks(one.household, one.supply, one.at.month, _chart_temperatures(answer))
    rows, several = tuple(bank.rows for bank in points), len(question.found) > 1
    view = cold_view(answer, rows, base.house.site, of_several=several)
    notices = notices_of(base, month, answer.notices)
    cells = [bank.cell for bank in one.supply.banks]
    return {
        "view": view,
        "notices": tuple(notice for notice in notices if notice.code != TOO_COLD),
        "today_query": on_query(base),
        "proof": [("", lines(answer.worked))],
        "inputs": inputs_used(base.house, (one.supply,), month),
        "cautions": (
            *(("lithium",) if any(cell.needs_board for cell in cells) else ()),
            *(("hydrogen",) if any(cell.vents_hydrogen for cell in cells) else ()),
            "heater",
            "check",
        ),
    }


def _chart_temperatures(answer: Cold) -> list[float]:
    """Points of the charts [degC], one just below each coldest charge so that its step stands upright."""
    even = np.arange(COLDEST_C, WARMEST_C + CHART_STEP_C / 2.0, CHART_STEP_C).tolist()
    steps = [bank.charge_min_c - JUST_BELOW_C for bank in answer.banks if COLDEST_C < bank.charge_min_c <= WARMEST_C]
    return sorted({*even, *steps})
