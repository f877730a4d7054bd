"""Spares: which spare bank to charge from when one runs low, by what means and when."""

from __future__ import annotations

import dataclasses
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import Response

from engine.answers.answer import assumptions_of
from engine.answers.coming import Coming, soonest
from engine.answers.spares import GUESS_SOC, SPARE_CHARGE, spares, unjoined
from engine.answers.spares_joining import CELL_MOHM, Leads
from engine.answers.spares_parts import Spares, joining_lines, own_assumptions
from engine.answers.spares_sources import Means
from engine.errors import InputError
from engine.house.bank import Bank
from webapp.facts import lines
from webapp.forms import Field, Parsed, Values, number_field, number_fields, parse
from webapp.going_on import Question, answered, days_to_come, merged, notices_of, on_query
from webapp.inputs import Input, bank_text, inputs_used
from webapp.now_question import Question as Moment
from webapp.now_question import read_question as read_now
from webapp.questions import (
    Blocked,
    bank_field,
    json_reply,
    no_loads_note,
)
from webapp.render import Page, percent
from webapp.spares_view import on_the_clock, spares_view

PAGE = Page("Ask", "Spares", "/spares", "Which spare bank to charge from, and when?")
router = APIRouter()

SPARE = "spare_"
OHM = "cell_mohm_"
DEVICE = ("power_w", "efficiency", "leads_mohm")
NO_SPARE = (
    "There is no spare bank. A spare is a bank of yours that is joined to no inverter, or to another one: enter it on "
    "Banks as not joined."
)


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the question and its answer; `within` asks for the short one inside Today."""
    question = read_question(request)
    means = [one for one in question.fields if one.name.startswith((*DEVICE, OHM))]
    shown = {"fields": [one for one in question.fields if one not in means], "means": means}
    return answered(request, "spares.html", question, shown | _shown(question))


@router.get(f"{PAGE.path}.json")
def as_json(request: Request) -> Response:
    """Answer the same question as JSON, unrounded, with its moment on the household's clock."""
    question = read_question(request)
    return json_reply(question.form.errors, lambda: (question.answer, question.blocked))


def read_question(request: Request) -> Question[Spares]:
    """Read the query over the open household and work it out; faults are in the form's errors."""
    base = read_now(request)
    first, found, blocked = days_to_come(base)
    loose = unjoined(base.house)
    if blocked is None and not loose and len(base.supplies) < 2:
        blocked = Blocked(sentence=NO_SPARE, path="/banks", label="Enter a spare bank")
    one = soonest(found, base.typed.get("bank", "")) if found and blocked is None else None
    fields = () if blocked else _fields(base, one, loose)
    form: Parsed[Values] = parse(fields, base.typed, build=lambda values: values)
    errors = {**base.form.errors, **form.errors, **_strangers(base, loose)}
    answer = None
    if one is not None and not errors:
        answer = _answer(base, found, one, form.value or {}, errors)
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


def _fields(base: Moment, one: Coming | None, loose: tuple[Bank, ...]) -> tuple[Field, ...]:
    """The bank where there are several, the charge of each spare that is joined to nothing, and the means."""
    choice = bank_field(base.supplies) if len(base.supplies) > 1 else ()
    alone = [supply.bank for supply in base.supplies if not supply.beside]
    return (
        *(
            dataclasses.replace(field, label="Runs low", default=one.supply.bank.id if one else field.default)
            for field in choice
        ),
        *(_charge_field(bank) for bank in loose),
        *number_fields(Means),
        *number_fields(Leads, "leads_mohm"),
        *(_ohm_field(bank) for bank in (*alone, *loose)),
    )


def _charge_field(bank: Bank) -> Field:
    return number_field(
        f"{SPARE}{bank.id}",
        dataclasses.replace(SPARE_CHARGE, label=f"Charge of {bank.name}"),
        optional=True,
        hint=f"Empty: {percent(GUESS_SOC)}, a guess",
    )


def _ohm_field(bank: Bank) -> Field:
    return number_field(
        f"{OHM}{bank.id}",
        dataclasses.replace(CELL_MOHM, label=f"One cell of {bank.name}"),
        hint="Empty: from its curve",
    )


def _strangers(base: Moment, loose: tuple[Bank, ...]) -> dict[str, str]:
    """A sentence for each charge of a spare that is not there."""
    known = [f"{SPARE}{bank.id}" for bank in loose]
    return {
        name: f"“{name}” asks about a bank that does not stand unjoined here; this page takes: "
        f"{', '.join(known) or 'none'}."
        for name in base.typed
        if name.startswith(SPARE) and name not in known
    }


def _answer(
    base: Moment, found: tuple[Coming, ...], one: Coming, values: Values, errors: dict[str, str]
) -> Spares | None:
    charges, ohms = (
        {
            name.removeprefix(start): value
            for name, value in values.items()
            if name.startswith(start) and value is not None
        }
        for start in (SPARE, OHM)
    )
    try:
        means = Means(power_w=values["power_w"], efficiency=values["efficiency"])
        leads = Leads(leads_mohm=values["leads_mohm"], cell_mohm=ohms)
        return on_the_clock(spares(found, one, charges, means, leads), base.house.site)
    except InputError as fault:
        errors[fault.field] = fault.message
        return None


def _shown(question: Question[Spares]) -> dict[str, Any]:
    base, answer, one = question.now, question.answer, question.one
    if answer is None or one is None or base.sky is None:
        return {}
    month = answer.at.month
    view = spares_view(answer, one, base.house.site)
    loose = unjoined(base.house)
    banks = (*(bank for other in question.found for bank in other.supply.banks), *loose)
    return {
        "view": view,
        "notices": notices_of(base, month, (*view.notices, *no_loads_note((one.supply,))), question, idle_too=True),
        "plain_query": on_query(base),
        "proof": _proof(answer),
        "inputs": (
            *(Input(label=bank.name, text=f"{bank_text(bank)}; joined to nothing", path="/banks") for bank in loose),
            *inputs_used(base.house, tuple(other.supply for other in question.found), month),
        ),
        "assumptions": (
            *own_assumptions(answer),
            *assumptions_of(base.house, (bank.cell for bank in banks), base.sky),
        ),
        "hydrogen": any(bank.cell.vents_hydrogen for bank in banks),
        "lithium": any(bank.cell.needs_board for bank in banks),
    }


def _proof(answer: Spares) -> list[tuple[str, list[tuple[str, str, str]]]]:
    """What goes over, and the leads clipped together, step by step."""
    found = [(f"Charge from {answer.spares[0].name}", lines(answer.worked))] if answer.worked else []
    return found + [
        (f"{spare.name} clipped to {answer.name}", lines(joining_lines(spare.joining)))
        for spare in answer.spares
        if spare.joining is not None
    ]
