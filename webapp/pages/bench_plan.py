"""Bench plan: the fewest charges and discharges that answer a question about a cell, and what they will show.

A page under Cell tests. A kept plan holds its forecast as it was made, to be scored against a test afterwards.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from engine.answers.bench_forecast import Forecast
from engine.answers.bench_plan import (
    CELLS,
    CHARGE_A,
    DISCHARGE_A,
    LABEL_AH,
    QUESTIONS,
    TAIL_A,
    WANTED,
    BenchPlan,
    bench_plan,
)
from engine.cells import catalogue
from engine.errors import InputError
from engine.house.household import Household
from engine.json_answer import plain_data
from webapp import bench_store
from webapp.bench_score import kept_words
from webapp.bench_words import bar_in_unit, in_unit
from webapp.editing import ABOUT, Sent, meant, opened, store_of
from webapp.forms import Field, Parsed, Values, number_field, parse
from webapp.numbers import whole
from webapp.problems import problems
from webapp.questions import asked, plain_query
from webapp.render import is_partial, json_answer, json_errors, render

LIST, PATH = "/cell-tests", "/cell-tests/plan"
router = APIRouter()

USUAL_C = 0.2
"""Currents taken where none is typed, in C of the label (assumed: what a bench manages with large cells)."""
USUAL_LABEL_AH = 100.0
USUAL_SHARE = 0.8
MUCH_LONGER = 1.2
"""How many times as long a full sweep takes where it is worth a word (a choice of style)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """The question as read; `plan` is there where nothing is to be mended."""

    fields: tuple[Field, ...]
    form: Parsed[Values]
    typed: Mapping[str, str]
    plan: BenchPlan | None


@router.get(PATH)
def page(request: Request) -> Response:
    """Show the question and its plan."""
    question = read_question(asked(request), opened(request)[1])
    errors = question.form.errors
    if errors and is_partial(request):
        return problems(request, errors, question.fields)
    saved, _ = opened(request)
    return render(
        request,
        "bench_plan.html",
        "answer",
        status=422 if errors else 200,
        here=LIST,
        form=question.form,
        fields=question.fields,
        plan=question.plan,
        forecasts=_shown(question.plan),
        much_shorter=question.plan is not None and question.plan.sweep.hours > MUCH_LONGER * question.plan.hours,
        query=plain_query(question.typed),
        kept=[kept_words(one) for one in bench_store.plans(store_of(request), saved.household_id)],
        just_kept="kept" in request.query_params,
    )


@router.get(f"{PATH}.json")
def as_json(request: Request) -> Response:
    """Answer the same question as JSON, unrounded."""
    question = read_question(asked(request), opened(request)[1])
    return json_errors(question.form.errors) if question.plan is None else json_answer(question.plan)


@router.post(f"{PATH}/keep")
def keep(request: Request, sent: Sent) -> Response:
    """Keep a plan with its forecast."""
    saved, house = meant(request, sent.get("household", "")), opened(request)[1]
    question = read_question(sent, house)
    if question.plan is None:
        raise InputError("", " ".join(question.form.errors.values()))
    forecast: dict[str, Any] = plain_data(question.plan)
    bench_store.keep_plan(store_of(request), saved.household_id, asked_of(question.plan, question.form), forecast)
    back = plain_query({name: text for name, text in sent.items() if text and name not in ABOUT} | {"kept": "1"})
    return RedirectResponse(f"{PATH}?{back}", HTTPStatus.SEE_OTHER)


@router.post(f"{PATH}/drop")
def drop(request: Request, sent: Sent) -> Response:
    """Throw a kept plan away."""
    saved = meant(request, sent.get("household", ""))
    bench_store.drop_plan(store_of(request), saved.household_id, whole(sent.get("plan", "")) or 0)
    return RedirectResponse(PATH, HTTPStatus.SEE_OTHER)


def asked_of(plan: BenchPlan, form: Parsed[Values]) -> dict[str, Any]:
    """Return what a plan was asked with, by which the same one can be made again."""
    values = form.value or {}
    return {
        "question": plan.question,
        "chemistry": plan.chemistry_id,
        "label_ah": plan.label_ah,
        "charge_a": plan.charge_a,
        "discharge_a": plan.discharge_a,
        "tail_a": plan.tail_a,
        "wanted": values["wanted"],
        "cells": values["cells"],
    }


def read_question(typed: Mapping[str, str], house: Household) -> Question:
    """Read the question; faults, those of the engine too, are in the form's errors."""
    fields = _fields(house)
    plans: list[BenchPlan] = []

    def build(values: Values) -> Values:
        plans.append(_planned(values))
        return values

    form = parse(fields, typed, build=build)
    return Question(fields=fields, form=form, typed=typed, plan=plans[0] if plans else None)


def _fields(house: Household) -> tuple[Field, ...]:
    names = catalogue.names()
    curved = (one for one in house.banks if one.cell.base_id in names and one.cell.acceptance_tau_h is None)
    bank = next(curved, None)
    label = bank.label_ah if bank else USUAL_LABEL_AH
    count = bank.series * bank.parallel if bank else 1
    return (
        Field(
            name="question",
            label="What do you want to know?",
            kind="choice",
            choices=tuple(QUESTIONS.items()),
            default=next(iter(QUESTIONS)),
        ),
        Field(
            name="chemistry",
            label="Kind of cell",
            kind="choice",
            choices=tuple(names.items()),
            default=bank.cell.base_id if bank else "lfp",
        ),
        number_field("label_ah", LABEL_AH, default=float(label)),
        number_field("charge_a", CHARGE_A, optional=True, hint=f"Empty: {USUAL_C:g}C"),
        number_field("discharge_a", DISCHARGE_A, optional=True, hint=f"Empty: {USUAL_C:g}C"),
        number_field("tail_a", TAIL_A, optional=True, hint="Empty: usual for the cell"),
        number_field("wanted", WANTED, default=USUAL_SHARE, hint="For the question of volts"),
        number_field("cells", CELLS, default=count, hint="How many there are"),
    )


def _planned(values: Values) -> BenchPlan:
    cell, label_ah = catalogue.load(values["chemistry"]), values["label_ah"]
    usual_charge_a = min(USUAL_C, cell.charge_c_max) * label_ah
    return bench_plan(
        values["question"],
        cell,
        label_ah=label_ah,
        charge_a=values["charge_a"] or usual_charge_a,
        discharge_a=values["discharge_a"] or min(USUAL_C, cell.discharge_c_max) * label_ah,
        tail_a=values["tail_a"] or min(cell.tail_c * label_ah, usual_charge_a),
        wanted=(values["wanted"],),
        cells=values["cells"],
    )


def _shown(plan: BenchPlan | None) -> list[tuple[Forecast, str, str, str]]:
    """Every forecast with its value and bars as they are read."""
    return [
        (
            row,
            in_unit(row.value, row.unit),
            bar_in_unit(None if row.value is None else row.bar, row.unit),
            bar_in_unit(row.after_bar, row.unit),
        )
        for row in (() if plan is None else plan.forecasts)
    ]
