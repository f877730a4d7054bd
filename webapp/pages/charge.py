"""Charge volts: how full a charge ends at so many volts, what a hold adds, and the pack in its inverter's window."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response

from engine.answers.answer import Notice
from engine.answers.charging import Charging, charging
from engine.errors import InputError
from engine.house.bank import Bank
from engine.house.household import Household
from engine.house.inverter import Inverter
from webapp import downloads
from webapp.charging_form import FINER, bank_of, charge_fields, inverter_of, out_of_span
from webapp.charging_tables import CSV_HEADER, curve_csv
from webapp.charging_view import charge_view, without_remedies
from webapp.cold_line import ColdLines, cold_lines
from webapp.editing import local_now, opened
from webapp.forms import Field, Parsed, Values, parse
from webapp.problems import readings_of
from webapp.questions import Blocked, asked, first_step, json_reply, plain_query, share_checks
from webapp.render import NO_BREAK, Page, as_read, is_partial, render
from webapp.sheet_view import date_and_time
from webapp.standing import next_step

PAGE = Page("Ask", "Charge volts", "/charge", "Which end volts, float, cut-off and restart to set?")
router = APIRouter()

NO_BANK = "There is no bank yet: enter the cells you have on Banks."
FIELD_OF = {
    "cell_v": "volts",
    "tail_c": "tail_a",
    "hold_h": "minutes",
    "power_w": "load_kw",
    "low_soc": "low",
    "high_soc": "high",
}
"""The engine's names of what is asked under another name here."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """The question as read; `checks` are about what was typed, `bank` is the first where none is named."""

    house: Household
    bank: Bank | None
    inverter: Inverter | None
    fields: tuple[Field, ...]
    form: Parsed[Values]
    typed: Mapping[str, str]
    checks: tuple[Notice, ...]
    answer: Charging | None

    @property
    def blocked(self) -> Blocked | None:
        """Why there can be no answer yet."""
        return None if self.house.banks else first_step(self.house, NO_BANK)


@router.get(PAGE.path)
def page(request: Request) -> Response:
    """Show the question and its answer."""
    question = read_question(request)
    errors = question.form.errors
    if errors and is_partial(request):
        return _to_mend(request, question)
    return render(
        request,
        "charge.html",
        "answer",
        status=422 if errors else 200,
        form=question.form,
        fields=question.fields,
        finer=FINER,
        unfolded=any(name in errors or question.typed.get(name, "").strip() for name in FINER),
        query=plain_query(question.typed),
        settled=_settled(question),
        set_now="set" in request.query_params,
        step=next_step(question.house),
        bank=question.bank,
        banks=question.house.banks,
        checks=question.checks,
        blocked=question.blocked,
        answer=question.answer,
        **_shown(question),
    )


@router.get(f"{PAGE.path}.json")
def as_json(request: Request) -> Response:
    """Answer the same question as JSON, unrounded."""
    question = read_question(request)
    return json_reply(question.form.errors, lambda: (question.answer, question.blocked))


@router.get(f"{PAGE.path}.csv")
def as_csv(request: Request) -> Response:
    """Give the charge reached at every end voltage as a file for a spreadsheet."""
    question = read_question(request)
    if question.answer is None or question.bank is None:
        return _no_file(question)
    most_v = None if question.inverter is None else question.inverter.charge_max_v
    text = downloads.csv_text(CSV_HEADER, curve_csv(question.answer, most_v))
    return downloads.file_response(text, f"charge volts {question.bank.name}.csv", "text/csv")


@router.get(f"{PAGE.path}/alone.html")
def as_alone(request: Request) -> Response:
    """Give the answer as one file that opens anywhere, without Greyspell and without a network."""
    question = read_question(request)
    if question.answer is None or question.bank is None:
        return _no_file(question)
    shown = _shown(question)
    made = date_and_time(local_now(request, question.house))
    text = downloads.alone(
        request.app.state.env,
        "charge_alone.html",
        title=f"Charge volts of {question.bank.name}",
        told=f"{question.house.name}, {made}",
        answer=question.answer,
        bank=question.bank,
        alone=True,
        **{**shown, "view": without_remedies(shown["view"])},
    )
    text = as_read(request, text, opened(request)[0])
    return downloads.file_response(text, f"charge volts {question.bank.name}.html", "text/html")


def read_question(request: Request) -> Question:
    """Read the query over the open household and work it out; faults are in the form's errors."""
    _, house = opened(request)
    typed = {name: text for name, text in asked(request).items() if name != "set"}
    bank, errors = bank_of(house, typed.get("bank", ""))
    if bank is None:
        form: Parsed[Values] = Parsed(raw=typed, errors=errors)
        return Question(
            house=house, bank=None, inverter=None, fields=(), form=form, typed=typed, checks=(), answer=None
        )
    fields = charge_fields(house, bank, local_now(request, house).month)
    form = parse(fields, {**typed, "bank": bank.id}, build=lambda values: values)
    checks = share_checks(fields, form)
    errors |= form.errors
    if "volts" not in errors and form.value is not None:
        sentence, remedy = out_of_span(bank, form.value["volts"])
        errors |= {"volts": sentence} if sentence else {}
        checks = (*checks, *remedy)
    inverter = None if form.value is None else inverter_of(house, form.value.get("inverter", ""))
    answer = None if errors or form.value is None else _worked_out(house, bank, inverter, form.value, errors)
    return Question(
        house=house,
        bank=bank,
        inverter=inverter,
        fields=fields,
        form=form.refused(errors) if errors else form,
        typed=typed,
        checks=checks,
        answer=answer,
    )


def _worked_out(
    house: Household, bank: Bank, inverter: Inverter | None, values: Values, errors: dict[str, str]
) -> Charging | None:
    """The answer; what the engine refuses is noted at the field it is typed in."""
    tail_a, held_min, load_kw = values["tail_a"], values["minutes"], values["load_kw"]
    try:
        return charging(
            house,
            bank,
            inverter,
            cell_v=values["volts"],
            hold=values["hold"] == "yes",
            tail_c=None if tail_a is None else tail_a / bank.ah,
            hold_h=None if held_min is None else held_min / 60.0,
            charge_a=values["charge_a"],
            bench_c=values["bench_c"],
            power_w=None if load_kw is None else load_kw * 1000.0,
            low_soc=values["low"],
            high_soc=values["high"],
            month=int(values["month"]),
        )
    except InputError as fault:
        errors |= {FIELD_OF.get(part.field, part.field): part.message for part in fault.every()}
        return None


def _shown(question: Question) -> dict[str, Any]:
    """What the answer's part of the page needs beside the answer."""
    if question.answer is None or question.bank is None:
        return {"view": None}
    view = charge_view(question.house, question.bank, question.inverter, question.answer)
    return {"view": view, "cold": _cold(question.house, question.bank, question.answer.month)}


def _cold(house: Household, bank: Bank, month: int) -> ColdLines:
    """What is said of a bank's cold, where it is joined to an inverter."""
    mine = [alone for supply in house.supplies() for alone in supply.apart if alone.bank.id == bank.id]
    return cold_lines(house, mine, month, plain_query({"bank": bank.id}))


def _settled(question: Question) -> str:
    """The question without the volts and the hold, so that after a save it shows what the bank is now set to."""
    kept = {name: text for name, text in question.typed.items() if name not in ("volts", "hold")}
    return plain_query({**kept, "bank": question.bank.id if question.bank else "", "set": "1"})


def _to_mend(request: Request, question: Question) -> HTMLResponse:
    """Answer a live question that is not complete yet, with the remedies there are (422)."""
    return render(
        request,
        "_charge_problems.html",
        status=422,
        errors=question.form.errors,
        offered=readings_of(request, question.fields),
        warnings=question.checks,
        query=plain_query(question.typed),
    )


def _no_file(question: Question) -> Response:
    """Say why there is no file (422)."""
    told = list(question.form.errors.values()) or [NO_BANK]
    return PlainTextResponse(" ".join(told).replace(NO_BREAK, " "), 422)
