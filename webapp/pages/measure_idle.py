"""Measure the idle draw: two readings of a night with everything off, and what they are worth."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.answer import supplies_of
from engine.answers.measuring_idle import IdleDraw, idle_draw
from engine.answers.measuring_readings import METERS, USUAL_ACCURACY_SHARE, USUAL_STEP, USUAL_ZERO_A, Readings
from engine.errors import InputError, Unreachable
from engine.fields import Quantity
from engine.house.bus import clash_sentence
from engine.house.household import Household, Supply
from webapp.editing import local_now, opened
from webapp.facts import lines
from webapp.forms import Field, Parsed, Values, number_field, parse
from webapp.inputs import inputs_used
from webapp.measure_idle_view import METER_NAMES, UNITS, idle_view
from webapp.measure_view import stops_of
from webapp.pages.measure_one import LIST, Question, as_data, show, typed_in
from webapp.questions import (
    bank_field,
    first_step,
    read_moment,
    share_checks,
    to_standard,
    tried,
)
from webapp.units import with_24_hours

PATH = f"{LIST}/idle"
router = APIRouter()

METER = Field(
    name="meter",
    label="You read",
    kind="choice",
    choices=tuple(METER_NAMES.items()),
    default=METERS[0],
)
DARK = Field(name="dark", label="Panels were switched off", kind="tick", hint="Only where daylight lies between")
VOLTS = Quantity(label="Volts of the bank", unit="V", low=5.0, high=1500.0, optional=True)
LEFT = Quantity(label="Left on", unit="W", low=0.0, high=100_000.0, hint="Watts at the sockets of what must not go off")
ACCURACY = Quantity(label="Meter off by up to", unit="%", low=0.0, high=0.2, percent=True, optional=True)
ZERO = Quantity(label="Shunt’s zero off by", unit="A", low=0.0, high=10.0, optional=True)
MORE = ("volts", "step", "accuracy", "zero", "dark")
MOST_COUNTED = 10_000_000.0
_TIME = re.compile(r"\d{1,2}:\d{2}")


@dataclass(frozen=True, slots=True, kw_only=True)
class IdleQuestion(Question):
    """The question as read; `missing` names what is not typed yet, where something is."""

    supply: Supply | None
    missing: tuple[str, ...]
    answer: IdleDraw | None


@router.get(PATH)
def page(request: Request) -> Response:
    """Show the question, what to do and the answer."""
    question = read_question(request)
    shown = _shown(request, question)
    return show(request, question, PATH, "Measure the idle draw", shown, more=MORE, more_label="More about the meter")


@router.get(f"{PATH}.json")
def as_json(request: Request) -> Response:
    """Answer the same question as JSON, unrounded."""
    return as_data(read_question(request))


def read_question(request: Request) -> IdleQuestion:
    """Read the query over the open household and work it out; faults are in the form's errors."""
    _, house = opened(request)
    now = local_now(request, house).replace(second=0, microsecond=0)
    typed = typed_in(request)
    try:
        supplies = supplies_of(house)
    except Unreachable as fault:
        empty: Parsed[Values] = Parsed(raw=typed)
        return IdleQuestion(
            house=house,
            supply=None,
            fields=(),
            form=empty,
            typed=typed,
            missing=(),
            answer=None,
            blocked=first_step(house, str(fault)),
        )
    meter = typed.get("meter", METERS[0])
    fields = _fields(supplies, meter if meter in METERS else METERS[0], now)
    form: Parsed[Values] = parse(fields, typed, build=lambda values: values)
    errors = dict(form.errors)
    values = form.value or {}
    supply = next((one for one in supplies if one.bank.id == values.get("bank")), supplies[0])
    times = {name: tried(errors, name, partial(_moment, form.raw[name], now, label), None) for name, label in _TIMES}
    wanted = [(_label(fields, name), values.get(name)) for name in ("first", "second")]
    wanted += [(label, times[name]) for name, label in _TIMES]
    missing = tuple(label for label, value in wanted if value is None)
    answer = None
    if not errors and (said := clash_sentence(supply.banks, supply.inverter)):
        return IdleQuestion(
            house=house,
            supply=None,
            fields=fields,
            form=form,
            typed=typed,
            missing=(),
            answer=None,
            blocked=first_step(house, said),
        )
    if not errors:
        readings = None if missing else _readings(house, values, times)
        answer = _answer(house, supply, to_standard(house.site, now), values["meter"], readings, errors)
    return IdleQuestion(
        house=house,
        supply=supply,
        fields=fields,
        form=form.refused(errors) if errors else form,
        typed=typed,
        missing=() if len(missing) == len(wanted) else missing,
        answer=answer,
        blocked=None,
    )


_TIMES = (("began", "First read at"), ("ended", "Then read at"))


def _label(fields: tuple[Field, ...], name: str) -> str:
    return next(one.label for one in fields if one.name == name)


def _fields(supplies: tuple[Supply, ...], meter: str, now: datetime) -> tuple[Field, ...]:
    unit, share = UNITS[meter], meter == "percent"
    most = 1.0 if share else MOST_COUNTED
    low = 0.0 if share or meter == "kwh" else -MOST_COUNTED
    reading = Quantity(label="First reading", unit=unit, low=low, high=most, percent=share, optional=True)
    step = Quantity(
        label="Display moves in steps of",
        unit=unit,
        low=0.0,
        high=1.0 if share else 1000.0,
        percent=share,
        optional=True,
    )
    evening = (now - timedelta(days=1)).replace(hour=22, minute=0)
    return (
        *(bank_field(supplies) if len(supplies) > 1 else ()),
        METER,
        number_field("first", reading, hint="In the evening, with every digit"),
        Field(name="began", label=_TIMES[0][1], kind="text", optional=True, hint=f"Like {evening:%Y-%m-%d %H:%M}"),
        number_field("second", dataclasses.replace(reading, label="Second reading"), hint="Before sunrise"),
        Field(name="ended", label=_TIMES[1][1], kind="text", optional=True, hint=f"Like {now:%Y-%m-%d} 06:30"),
        number_field("left_on", LEFT, default=0.0),
        number_field("volts", VOLTS, hint="Empty: by its curve; for Ah and amps typed ones are better"),
        number_field("step", step, hint=f"Empty: {USUAL_STEP[meter] * (100 if share else 1):g} {unit}"),
        number_field("accuracy", ACCURACY, hint=f"Empty: {USUAL_ACCURACY_SHARE[meter] * 100:g} %"),
        number_field("zero", ZERO, hint=f"What it shows with no current. Empty: {USUAL_ZERO_A:g} A"),
        DARK,
    )


def _moment(text: str, now: datetime, label: str) -> datetime | None:
    """Read a moment that is past; a time alone is the last time it was so late."""
    typed = with_24_hours(text.strip())
    if not typed:
        return None
    found = read_moment(typed, now, label)
    if _TIME.fullmatch(typed) and found > now:
        found -= timedelta(days=1)
    if found > now:
        raise InputError("at", f"{label} must be past; {found:%Y-%m-%d %H:%M} has not come yet.")
    return found


def _readings(house: Household, values: Values, times: Mapping[str, datetime | None]) -> Readings:
    began, ended = times["began"], times["ended"]
    assert began is not None
    assert ended is not None
    return Readings(
        meter=values["meter"],
        first=values["first"],
        second=values["second"],
        began=to_standard(house.site, began),
        ended=to_standard(house.site, ended),
        step=values["step"],
        accuracy_share=values["accuracy"],
        zero_a=values["zero"],
        volts_v=values["volts"],
        left_on_w=values["left_on"],
        dark=values["dark"],
    )


def _answer(
    house: Household, supply: Supply, at: datetime, meter: str, readings: Readings | None, errors: dict[str, str]
) -> IdleDraw | None:
    try:
        return idle_draw(house, supply, at, meter, readings)
    except InputError as fault:
        errors[{"left_on_w": "left_on", "volts_v": "volts"}.get(fault.field, fault.field)] = fault.message
        return None


def _shown(request: Request, question: IdleQuestion) -> dict[str, Any]:
    answer, supply = question.answer, question.supply
    if answer is None or supply is None:
        return {"view": None}
    return {
        "view": idle_view(answer, supply, question.fields, question.form, question.missing),
        "notices": (
            *stops_of(question.house, local_now(request, question.house).month),
            *share_checks(question.fields, question.form),
            *answer.notices,
        ),
        "proof": [("", lines(answer.worked))],
        "inputs": inputs_used(question.house, (supply,), 1)[: len(supply.banks) + 1],
        "assumptions": answer.assumptions,
    }
