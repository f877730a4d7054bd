"""Measure the capacity: one discharge from full that was counted, and what it is worth."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.measuring_capacity import USUAL_ACCURACY_SHARE, USUAL_STEP, Capacity, capacity
from engine.answers.measuring_discharge import COUNTED, STARTS, STOPS, Counted, cutoff_guards
from engine.errors import InputError
from engine.fields import quantities
from engine.house.bank import Bank
from engine.house.household import Household
from engine.house.inverter import Inverter
from webapp.editing import local_now, opened
from webapp.facts import lines
from webapp.forms import Field, Parsed, Values, number_field, parse
from webapp.inputs import Input, bank_text
from webapp.measure_capacity_view import UNIT_NAMES, Asked, capacity_view
from webapp.measure_view import stops_of
from webapp.pages.measure_one import LIST, Question, as_data, show, typed_in
from webapp.questions import first_step, share_checks, to_standard
from webapp.standing import bank_in_use
from webapp.words import listed

PATH = f"{LIST}/capacity"
router = APIRouter()

NO_BANK = "There is no bank yet: enter the cells you have on Banks."
UNITS = {"ah": "Ah", "kwh": "kWh", "sockets": "kWh"}
START_NAMES = {"held": "held until the current fell", "as_set": "as this bank’s charger ends it"}
STOP_NAMES = {
    "cutoff": "the cut-off ended it",
    "volts": "by hand, at volts under the load",
    "rested": "by hand, then volts after a rest",
    "percent": "by hand, at a % on the monitor",
}
MORE = ("step", "accuracy_share")
ALONE = Field(
    name="alone", label="No other bank was joined", kind="tick", hint="Needed for kWh of a bank on a shared bus"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CapacityQuestion(Question):
    """The question as read; `asked` is about the first bank where none is named."""

    asked: Asked | None
    answer: Capacity | None


@router.get(PATH)
def page(request: Request) -> Response:
    """Show the question, what to do and the answer."""
    question = read_question(request)
    shown = _shown(request, question)
    return show(request, question, PATH, "Measure the capacity", shown, more=MORE, more_label="More about the counter")


@router.get(f"{PATH}.json")
def as_json(request: Request) -> Response:
    """Answer the same question as JSON, unrounded."""
    return as_data(read_question(request))


def read_question(request: Request) -> CapacityQuestion:
    """Read the query over the open household and work it out; faults are in the form's errors."""
    _, house = opened(request)
    typed = typed_in(request)
    if not house.banks:
        empty: Parsed[Values] = Parsed(raw=typed)
        none_yet = first_step(house, NO_BANK)
        return CapacityQuestion(
            house=house, asked=None, fields=(), form=empty, typed=typed, answer=None, blocked=none_yet
        )
    named = typed.get("bank", "")
    bank = next((one for one in house.banks if one.id == named), bank_in_use(house) or house.banks[0])
    inverter = next((one for one in house.inverters if one.id == bank.inverter), None)
    beside = tuple(one.name for one in house.banks if one is not bank and inverter and one.inverter == inverter.id)
    unit = typed.get("unit", "ah")
    fields = _fields(house, bank, inverter, unit if unit in COUNTED else "ah", bool(beside))
    form: Parsed[Values] = parse(fields, typed, build=lambda values: values)
    errors, values = dict(form.errors), form.value or {}
    needed = {"volts": "end_v", "rested": "end_v", "percent": "left_soc"}.get(values.get("stop", ""), "hours")
    wanted = [one for one in fields if one.name in ("amount", "hours", needed)]
    missing = tuple(one.label for one in wanted if values.get(one.name) is None)
    answer = None
    if not errors and not missing:
        at = to_standard(house.site, local_now(request, house))
        answer = _answer(house, bank, inverter, values, beside, at, errors)
    return CapacityQuestion(
        house=house,
        asked=Asked(
            bank=bank, inverter=inverter, beside=beside, missing=() if len(missing) == len(wanted) else missing
        ),
        fields=fields,
        form=form.refused(errors) if errors else form,
        typed=typed,
        answer=answer,
    )


def _fields(house: Household, bank: Bank, inverter: Inverter | None, unit: str, shared: bool) -> tuple[Field, ...]:
    meaning = quantities(Counted)
    low_v, high_v = bank.series * bank.cell.v_low, bank.series * bank.cell.v_max
    amount = dataclasses.replace(meaning["amount"], unit=UNITS[unit], optional=True)
    lead = bank.cell.acceptance_tau_h is not None
    start = "held" if bank.hold or lead else "as_set"
    stop = "rested" if lead else "cutoff" if inverter is not None and cutoff_guards(bank, inverter) else "volts"
    banks = tuple((one.id, one.name) for one in house.banks)
    return (
        *((Field(name="bank", label="Bank", kind="choice", choices=banks, default=bank.id),) if len(banks) > 1 else ()),
        Field(name="unit", label="You counted", kind="choice", choices=tuple(UNIT_NAMES.items()), default="ah"),
        number_field("amount", amount, hint="From full to the stop"),
        number_field("hours", dataclasses.replace(meaning["hours"], optional=True), hint="From full to the stop"),
        number_field("cell_c", meaning["cell_c"], default=bank.cell_c),
        _choice("start", "Full was", STARTS, START_NAMES, start),
        _choice("stop", "It ended because", STOPS, STOP_NAMES, stop),
        number_field("end_v", meaning["end_v"], hint=f"{low_v:.1f} to {high_v:.1f} V; not for the cut-off or a %"),
        number_field("left_soc", meaning["left_soc"], hint="Only where you stopped at a %"),
        *((ALONE,) if shared else ()),
        number_field(
            "step",
            dataclasses.replace(meaning["step"], unit=UNITS[unit]),
            hint=f"Its last digit. Empty: {USUAL_STEP[unit]:g} {UNITS[unit]}",
        ),
        number_field(
            "accuracy_share", meaning["accuracy_share"], hint=f"Empty: {USUAL_ACCURACY_SHARE[unit] * 100:g} %"
        ),
    )


def _choice(name: str, label: str, values: tuple[str, ...], names: Mapping[str, str], default: str) -> Field:
    return Field(
        name=name, label=label, kind="choice", choices=tuple((one, names[one]) for one in values), default=default
    )


def _answer(
    house: Household,
    bank: Bank,
    inverter: Inverter | None,
    values: Values,
    beside: tuple[str, ...],
    at: datetime,
    errors: dict[str, str],
) -> Capacity | None:
    if beside and values["unit"] != "ah" and not values["alone"]:
        share = "share" if len(beside) > 1 else "shares"
        errors["alone"] = (
            f"{listed(beside)} {share} the bus of {bank.name}: kWh tell this bank only with no other joined. Say so, "
            "or take the Ah of a shunt in its own lead."
        )
        return None
    try:
        given = Counted(
            unit=values["unit"],
            amount=values["amount"],
            hours=values["hours"],
            cell_c=values["cell_c"],
            start=values["start"],
            stop=values["stop"],
            end_v=values["end_v"],
            left_soc=values["left_soc"],
            step=values["step"],
            accuracy_share=values["accuracy_share"],
        )
        return capacity(house, bank, inverter, given, at)
    except InputError as fault:
        errors |= {part.field: part.message for part in fault.every()}
        return None


def _shown(request: Request, question: CapacityQuestion) -> dict[str, Any]:
    about, answer = question.asked, question.answer
    if about is None or question.form.errors:
        return {"view": None}
    bank = about.bank
    inputs = [Input(label=bank.name, text=bank_text(bank), path="/banks")]
    if about.inverter is not None:
        one = about.inverter
        text = (
            f"cut-off {one.dc_min_v:g} V, idle {one.idle_w:g} W, {one.efficiency(one.rated_w) * 100:.0f} % at full load"
        )
        inputs.append(Input(label=one.name, text=text, path="/inverter"))
    month = local_now(request, question.house).month
    checks = (*stops_of(question.house, month), *share_checks(question.fields, question.form))
    return {
        "view": capacity_view(answer, about, question.fields, question.form),
        "notices": checks if answer is None else (*checks, *answer.notices),
        "proof": [] if answer is None else [("", lines(answer.worked))],
        "inputs": inputs,
        "assumptions": () if answer is None else answer.assumptions,
    }
